"""Signing in and out, and whether the site is up."""

from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import LoginView, LogoutView
from django.db import connection
from django.http import HttpRequest, JsonResponse
from django.views.decorators.http import require_safe


class SignIn(LoginView):
    template_name = "fleet/sign_in.html"
    redirect_authenticated_user = True


class SignOut(LogoutView):
    pass


@login_not_required
@require_safe
def health(request: HttpRequest) -> JsonResponse:
    """Up, with the record within reach; says nothing else."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
        cursor.fetchone()
    return JsonResponse({"up": True})
