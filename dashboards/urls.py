"""Addresses of the questions over the whole fleet."""

from django.urls import path

from dashboards.views import at_pump, deferrals, plan, plan_changes, quality, trends, watch

urlpatterns = [
    path("quality/", quality.page, name="quality"),
    path("", watch.watch, name="watch-list"),
    path("pump/", at_pump.at_pump, name="at-pump"),
    path("watch-list.xlsx", watch.watch_sheet, name="watch-list-sheet"),
    path("trends/", trends.trends, name="trends"),
    path("plan/", plan.plan, name="plan"),
    path("plan/sites/", plan.all_sites, name="plan-sites"),
    path("plan/outage-plan.xlsx", plan.plan_sheet, name="plan-sheet"),
    path("plan/outage-plan.csv", plan.plan_csv, name="plan-csv"),
    path("plan/outage-plan.ics", plan.plan_calendar, name="plan-calendar"),
    path("plan/bearing/", plan.bearing, name="plan-bearing"),
    path("plan/outage/", plan.outage, name="plan-outage"),
    path("plan/compare/", plan.compare, name="plan-compare"),
    path("plan/work/", plan.work_list, name="work-list"),
    path("plan/change/", plan_changes.change, name="plan-change"),
    path("plan/anew/", plan_changes.anew, name="plan-anew"),
    path("plan/accept/", plan_changes.accept, name="plan-accept"),
    path("plan/run-on/", plan_changes.run_on, name="plan-run-on"),
    path("deferrals/", deferrals.page, name="deferrals"),
    path("deferrals/answers/", deferrals.answer_many, name="deferral-answers"),
    path("deferrals/<uuid:pk>/", deferrals.answer, name="deferral-answer"),
    path("decide/<uuid:pk>/", deferrals.decide, name="decide"),
    path("decide/<uuid:pk>/check/", deferrals.check, name="deferral-check"),
    path("plan/put-off/", plan_changes.defer, name="plan-put-off"),
]
