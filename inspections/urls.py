"""Addresses of one bearing and of how its dates come about."""

from django.urls import path

from inspections.views import (
    backtest,
    bundle,
    correcting,
    dates,
    gauges,
    history,
    labels,
    method,
    record,
    record_closing,
    record_contact,
    record_offline,
    record_photo,
    words,
)
from inspections.views.bearing import bearing, label

AT = "bearings/<str:pump>/<str:position>/"
urlpatterns = [
    path(AT, bearing, name="bearing"),
    path(f"{AT}record/", record.start, name="record"),
    path(f"{AT}record/reading/", record.reading, name="record-reading"),
    path(f"{AT}record/could-not/", record.could_not, name="record-could-not"),
    path(f"{AT}record/mend/", record.mend, name="record-mend"),
    path(f"{AT}record/visit/", record.overview, name="record-overview"),
    path(f"{AT}record/contact/", record_contact.check, name="record-check"),
    path(f"{AT}record/print/", record_contact.shown_print, name="record-print"),
    path(f"{AT}record/scraped/", record_contact.scraped, name="record-scraped"),
    path(f"{AT}record/seen/", record_closing.seen, name="record-seen"),
    path(f"{AT}record/work/", record_closing.work, name="record-work"),
    path(f"{AT}record/opened/", record_closing.opened, name="record-opened"),
    path(f"{AT}record/photo/", record_photo.photo, name="record-photo"),
    path(f"{AT}record/close/", record_closing.close, name="record-close"),
    path(f"{AT}record/receipt/", record_closing.receipt, name="record-receipt"),
    path(f"{AT}record/sheet/", record_closing.sheet, name="record-sheet"),
    path(f"{AT}history/", history.history, name="bearing-history"),
    path(f"{AT}correct/<uuid:thing>/", correcting.correct, name="bearing-correct"),
    path(f"{AT}bundle/", bundle.bundle, name="bearing-bundle"),
    path("photos/<uuid:pk>/", record_photo.shown, name="photo"),
    path("record/offline/", record_offline.shell, name="record-offline"),
    path("record/pack/", record_offline.pack, name="record-pack"),
    path("record/queue/", record_offline.queue, name="record-queue"),
    path("recording-worker.js", record_offline.worker, name="record-worker"),
    path("gauges/", gauges.gauges, name="gauges"),
    path("gauges/<uuid:pk>/", gauges.gauge, name="gauge"),
    path("gauges/<uuid:pk>/in-doubt/<uuid:check>.xlsx", gauges.recall_sheet, name="gauge-recall"),
    path("gauges/certificate/<uuid:pk>/", gauges.certificate, name="certificate"),
    path("labels/", labels.labels, name="labels"),
    path("b/<uuid:pk>/", label, name="bearing-label"),
    path("dates-anew/", dates.anew, name="dates-anew"),
    path("import/words/", words.words, name="import-words"),
    path("method/", method.method, name="method"),
    path("backtest/", backtest.backtest, name="backtest"),
]
