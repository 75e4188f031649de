"""A second factor of one's own, and (for administrators) of which roles it is asked;
notices that were read.
"""

from django import forms
from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from fleet.access import first_page, require, sites_of
from fleet.drawing import qr_drawing
from fleet.models import Account, Role
from fleet.plant import break_glass, notices, second_factor
from fleet.plant.accounts import GOVERN
from fleet.plant.acts import Refused
from fleet.plant.required_factor import roles_required
from fleet.views.sign_in import CodeForm, wrong
from fleet.web import audit_log
from fleet.web.one_time_codes import address_of, new_salt, read_code, secret_of

OFFERED = "code_salt_offered"


class SetUpForm(CodeForm):
    """The password once more, the code of the telephone in use where there is one, and a
    code of the new one.
    """

    password = forms.CharField(
        label="Your password",
        max_length=4096,
        strip=False,
        error_messages={"required": "Type your password once more."},
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )
    present = forms.CharField(
        label="Code of the telephone set up before",
        max_length=20,
        help_text="Where that telephone is lost, ask an administrator to reset the second factor.",
        error_messages={"required": "Type the six digits that the telephone set up before shows."},
        widget=forms.TextInput(attrs={"autocomplete": "off", "inputmode": "numeric"}),
    )
    field_order = ("password", "present", "code")

    def __init__(self, *args, account: Account, **kwargs):
        super().__init__(*args, **kwargs)
        self.account = account
        self.fields["code"].help_text = "Six digits, from the telephone that scanned the square above."
        del self.fields["code"].widget.attrs["autofocus"]
        if not account.code_salt:
            del self.fields["present"]

    def clean_password(self) -> str:
        if not self.account.check_password(self.cleaned_data["password"]):
            raise forms.ValidationError("This is not your password. Nothing was set up.")
        return ""

    def clean_present(self) -> str:
        code = read_code(self.cleaned_data["present"])
        if self.errors or not code or not second_factor.is_right(self.account, code):
            raise forms.ValidationError("This is no code of the telephone set up before. Nothing was set up.")
        return code


@require_http_methods(["GET", "HEAD", "POST"])
def own(request: HttpRequest) -> HttpResponse:
    """Set up a second factor, or another telephone for it."""
    account = request.user
    if account.is_sealed:
        raise PermissionDenied("The break-glass account has no second factor.")
    salt = request.session.get(OFFERED) or new_salt()
    request.session[OFFERED] = salt
    form = SetUpForm(request.POST or None, account=account)
    try:
        if request.method == "POST" and _done(request, account, form, salt):
            return redirect(first_page(request.user))
    except second_factor.TooManyWrongCodes:
        return render(request, "fleet/too_many_tries.html", status=429)
    except Refused as refused:
        form.add_error(None, str(refused))
    secret = secret_of(account.pk, salt)
    context = {
        "form": form,
        "qr": qr_drawing(address_of(secret, account.username), "Square to scan with the telephone"),
        "secret": " ".join(secret[start : start + 4] for start in range(0, len(secret), 4)),
    }
    return render(request, "fleet/second_factor.html", context)


def _done(request: HttpRequest, account: Account, form: SetUpForm, salt: str) -> bool:
    if not form.is_valid():
        if {"password", "present"} & set(form.errors):
            wrong(request, account)
        return False
    if not second_factor.set_up(account, salt=salt, code=form.cleaned_data["code"]):
        form.add_error(
            "code",
            "The telephone shows another code. Scan the square anew, or look at the telephone's clock.",
        )
        return False
    del request.session[OFFERED]
    update_session_auth_hash(request, account)
    audit_log.say("second factor set up", request, person=account.person_id)
    messages.success(request, "Your second factor is set up. From now on signing in asks for a code too.")
    return True


def asked_and_sealed(administrator: Account) -> dict[str, object]:
    """For the page of people: of which roles a second factor is asked, and how the break-glass account
    stands.
    """
    everywhere = sites_of(administrator, GOVERN) is None
    asked = roles_required()
    return {
        "everywhere": everywhere,
        "asked_of": sorted(asked),
        "roles": [(word, word in asked) for word in Role.Word.values],
        "sealed": break_glass.sealed_account(),
    }


@require_POST
def asked(request: HttpRequest) -> HttpResponse:
    """Of which roles the plant asks a second factor."""
    _must_govern_all(request)
    roles = request.POST.getlist("role")
    try:
        second_factor.require_of(roles, by=request.user.person_id)
    except Refused as refused:
        messages.error(request, str(refused))
    else:
        audit_log.say("second factor asked of roles", request, roles=", ".join(roles) or "none")
        words = f"A second factor is asked of: {', '.join(sorted(roles))}." if roles else ""
        messages.success(request, words or "A second factor is asked of nobody.")
    return redirect("people")


@require_POST
def seal(request: HttpRequest) -> HttpResponse:
    """Seal the break-glass account, anew or for the first time."""
    _must_govern_all(request)
    try:
        password = break_glass.seal(by=request.user.person_id)
    except Refused as refused:
        messages.error(request, str(refused))
    else:
        audit_log.say("break-glass account sealed", request)
        messages.success(
            request,
            f"Sealed. Sign-in name {break_glass.USERNAME}, password for one use, shown once: {password} Write"
            " both down, put them into an envelope, close and sign it, and lock it away.",
        )
    return redirect("people")


def _must_govern_all(request: HttpRequest) -> None:
    require(request.user, GOVERN)
    if sites_of(request.user, GOVERN) is not None:
        raise PermissionDenied("This needs an administrator of all sites.")


@require_POST
def notices_read(request: HttpRequest) -> HttpResponse:
    """What stood before the account was read."""
    n = notices.read(request.user)
    audit_log.say("notices read", request, n=n)
    return redirect(first_page(request.user))
