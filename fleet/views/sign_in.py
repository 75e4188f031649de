"""Signing in and out, a password of one's own, and whether the site is up."""

import datetime as dt

from axes.handlers.proxy import AxesProxyHandler
from axes.helpers import get_lockout_response
from django import forms
from django.contrib import messages
from django.contrib.auth import login
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.forms import AuthenticationForm, PasswordChangeForm
from django.contrib.auth.signals import user_login_failed
from django.contrib.auth.views import LoginView, LogoutView, PasswordChangeView
from django.db import connection, transaction
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.crypto import constant_time_compare
from django.views.decorators.http import require_http_methods, require_safe

from fleet.access import first_page
from fleet.clock import now
from fleet.models import Account
from fleet.plant import break_glass, second_factor
from fleet.plant.acts import Refused
from fleet.plant.people import tell_state
from fleet.plant.required_factor import look_again
from fleet.web import audit_log
from fleet.web.one_time_codes import read_code

# What the session holds between the password and the code, and for how long.
WAITING = "code_awaited"
WAITS_FOR = dt.timedelta(minutes=5)


class CodeForm(forms.Form):
    """The code of the moment."""

    code = forms.CharField(
        label="Code",
        max_length=20,
        help_text="Six digits, from the telephone that you set up for this site.",
        error_messages={"required": "Type the six digits that the telephone shows."},
        widget=forms.TextInput(
            attrs={"autocomplete": "one-time-code", "inputmode": "numeric", "autofocus": True}
        ),
    )

    def clean_code(self) -> str:
        code = read_code(self.cleaned_data["code"])
        if not code:
            raise forms.ValidationError("A code has six digits. Type the six that the telephone shows now.")
        return code


class SignIn(LoginView):
    """A password, and then (at /sign-in/code/) the code of who has a second factor."""

    template_name = "fleet/sign_in.html"
    redirect_authenticated_user = True
    account: Account | None = None

    def get_default_redirect_url(self) -> str:
        return reverse(first_page(self.account or self.request.user))

    def form_valid(self, form: AuthenticationForm) -> HttpResponse:
        self.account = account = form.get_user()
        if account.is_sealed:
            return self._unsealed(account, form)
        look_again(account.person_id)
        if not account.code_salt:
            return super().form_valid(form)
        self.request.session.cycle_key()
        self.request.session[WAITING] = {
            "account": account.pk,
            "backend": account.backend,
            "hash": account.get_session_auth_hash(),
            "until": (now() + WAITS_FOR).isoformat(),
            "then": self.get_success_url(),
        }
        return redirect("sign-in-code")

    def _unsealed(self, account: Account, form: AuthenticationForm) -> HttpResponse:
        """The break-glass account: its password is used up, and the session is short."""
        if not break_glass.open_seal(account, address=audit_log.address_of(self.request)):
            form.add_error(None, form.get_invalid_login_error())
            return self.form_invalid(form)
        answer = super().form_valid(form)
        self.request.session.set_expiry(break_glass.OPEN_FOR_S)
        audit_log.say("break-glass account used", self.request)
        return answer


@login_not_required
@require_http_methods(["GET", "HEAD", "POST"])
def code(request: HttpRequest) -> HttpResponse:
    """The code after the password; only with both is anybody signed in."""
    account = _awaited(request)
    if account is None:
        return redirect("sign-in")
    form = CodeForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        if not AxesProxyHandler.is_allowed(request, {"username": account.username}):
            return get_lockout_response(request)
        if answer := _with_code(request, account, form):
            return answer
    return render(request, "fleet/sign_in_code.html", {"form": form})


def _awaited(request: HttpRequest) -> Account | None:
    """Whose password was right a moment ago in this session, and has not changed since."""
    waiting = request.session.get(WAITING)
    if not waiting:
        return None
    held = Account.objects.filter(pk=waiting["account"], is_active=True).exclude(code_salt="")
    account: Account | None = held.first()
    if (
        account is None
        or dt.datetime.fromisoformat(waiting["until"]) < now()
        or not constant_time_compare(account.get_session_auth_hash(), waiting["hash"])
    ):
        del request.session[WAITING]
        messages.error(request, "The code was not given within five minutes. Sign in again.")
        return None
    return account


def _with_code(request: HttpRequest, account: Account, form: CodeForm) -> HttpResponse | None:
    """Signed in, or shut out for a while; None with the fault on the form."""
    try:
        if second_factor.is_right(account, form.cleaned_data["code"]):
            waiting = request.session.pop(WAITING)
            login(request, account, backend=waiting["backend"])
            return redirect(waiting["then"])
    except second_factor.TooManyWrongCodes:
        audit_log.say("second factor refused, too many tries", request, person=account.person_id)
        return render(request, "fleet/too_many_tries.html", status=429)
    except Refused as refused:
        form.add_error(None, str(refused))
        return None
    wrong(request, account)
    form.add_error(
        "code",
        "This code is wrong, was used before or is no longer in force. Wait for the next one and type it."
        " Where every code is refused, look at the telephone's clock.",
    )
    return None


def wrong(request: HttpRequest, account: Account) -> None:
    """A wrong code counts as a wrong password does: one name, one count."""
    user_login_failed.send(sender=__name__, credentials={"username": account.username}, request=request)


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
        return reverse(first_page(self.request.user))


@login_not_required
@require_safe
def health(request: HttpRequest) -> JsonResponse:
    """Up, with the record within reach; says nothing else."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
        cursor.fetchone()
    return JsonResponse({"up": True})
