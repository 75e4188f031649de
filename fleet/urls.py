"""The site's addresses (interfaces.md: they stay)."""

from django.urls import include, path

from fleet.views import sign_in

urlpatterns = [
    path("sign-in/", sign_in.SignIn.as_view(), name="sign-in"),
    path("sign-in/password/", sign_in.ChangePassword.as_view(), name="change-password"),
    path("sign-out/", sign_in.SignOut.as_view(), name="sign-out"),
    path("health/", sign_in.health, name="health"),
    path("", include("dashboards.urls")),
    path("", include("inspections.urls")),
]
