"""Signing in and out, a password of one's own, and whether the site is up."""

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.forms import PasswordChangeForm
from django.contrib.auth.views import LoginView, LogoutView, PasswordChangeView
from django.db import connection, transaction
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import resolve_url
from django.views.decorators.http import require_safe

from fleet.plant.people import tell_state


class SignIn(LoginView):
    template_name = "fleet/sign_in.html"
    redirect_authenticated_user = True


class SignOut(LogoutView):
    pass


class ChangePassword(PasswordChangeView):
    """Asks for the password in use once more; every other session of the account ends with the change."""

    template_name = "fleet/change_password.html"

    def form_valid(self, form: PasswordChangeForm) -> HttpResponse:
        form.user.must_change_password = False
        with transaction.atomic():
            answer = super().form_valid(form)
            tell_state(form.user, "password changed by its holder")
        messages.success(self.request, "Your password is changed.")
        return answer

    def get_success_url(self) -> str:
        return resolve_url(settings.LOGIN_REDIRECT_URL)


@login_not_required
@require_safe
def health(request: HttpRequest) -> JsonResponse:
    """Up, with the record within reach; says nothing else."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
        cursor.fetchone()
    return JsonResponse({"up": True})
