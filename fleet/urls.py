"""The site's addresses (interfaces.md: they stay)."""

from django.urls import include, path

from fleet.views import (
    background_jobs,
    brought,
    importing,
    names,
    people,
    proof,
    reading_plans,
    second_factor,
    sign_in,
    sites,
)

urlpatterns = [
    path("sign-in/", sign_in.SignIn.as_view(), name="sign-in"),
    path("sign-in/password/", sign_in.ChangePassword.as_view(), name="change-password"),
    path("sign-in/code/", sign_in.code, name="sign-in-code"),
    path("sign-in/second-factor/", second_factor.own, name="second-factor"),
    path("sign-out/", sign_in.SignOut.as_view(), name="sign-out"),
    path("health/", sign_in.health, name="health"),
    path("people/", people.page, name="people"),
    path("people/second-factor/", second_factor.asked, name="second-factor-asked"),
    path("people/break-glass/", second_factor.seal, name="break-glass-seal"),
    path("notices/read/", second_factor.notices_read, name="notices-read"),
    path("sites/", sites.sites, name="sites"),
    path("people/<int:account_id>/", people.change, name="people-change"),
    path("bearings/<str:pump>/<str:position>/names/", names.names, name="bearing-names"),
    path("proof/", proof.proof, name="proof"),
    path("proof/seal/", proof.take_seal, name="take-seal"),
    path("proof/hold/", proof.hold_seal, name="hold-seal"),
    path("proof/check/", proof.check_record, name="check-record"),
    path("proof/who/", proof.who, name="who-may"),
    path("jobs/<uuid:job_id>/", background_jobs.job, name="job"),
    path("import/", importing.sheets, name="import"),
    path("import/template/<slug:holds>/", importing.template, name="import-template"),
    path("import/<uuid:sheet_id>/", importing.done, name="import-done"),
    path("import/<uuid:sheet_id>/withdraw/", importing.withdraw, name="import-withdraw"),
    path("import/<uuid:sheet_id>/settle/", brought.settle, name="import-settle"),
    path("import/<uuid:sheet_id>/remarks.xlsx", brought.sheet_back, name="import-back"),
    path("import/draft/<uuid:draft_id>/", reading_plans.questions, name="import-questions"),
    path("import/draft/<uuid:draft_id>/plan/", reading_plans.plan, name="import-plan"),
    path("import/draft/<uuid:draft_id>/remarks.xlsx", reading_plans.marked, name="import-marked"),
    path("", include("dashboards.urls")),
    path("", include("inspections.urls")),
]
