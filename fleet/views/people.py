"""People: who may sign in and do what where. For administrators alone."""

from collections import defaultdict
from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from fleet.access import require, sites_for, sites_of
from fleet.models import Account, Person, Role, Site
from fleet.plant import accounts as people
from fleet.plant import second_factor
from fleet.plant.acts import Refused
from fleet.plant.name_removal import blank_name
from fleet.views.second_factor import asked_and_sealed
from fleet.web import audit_log

ALL_SITES = ""


class AdmitForm(forms.Form):
    """A person, a role, and where it is held."""

    name = forms.CharField(
        label="Name",
        max_length=80,
        help_text="It is the sign-in name too.",
        error_messages={"required": "Give the person's name."},
    )
    role = forms.ChoiceField(label="Role", choices=[(word, word) for word in Role.Word.values])
    site = forms.ChoiceField(label="Where", required=False)

    def __init__(self, *args, account: Account, **kwargs):
        super().__init__(*args, **kwargs)
        sites = [(str(site.pk), site.name) for site in sites_for(account, people.GOVERN)]
        everywhere = [(ALL_SITES, "all sites")] if sites_of(account, people.GOVERN) is None else []
        self.fields["site"].choices = [*everywhere, *sites]  # type: ignore[attr-defined]
        self.fields["site"].required = not everywhere


@require_http_methods(["GET", "HEAD", "POST"])
def page(request: HttpRequest) -> HttpResponse:
    """Everybody who may sign in or holds a role here; a form to admit somebody."""
    require(request.user, people.GOVERN)
    form = AdmitForm(request.POST or None, account=request.user)
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        site = get_object_or_404(Site, pk=said["site"]) if said["site"] else None
        try:
            account, password = people.admit(
                name=said["name"], role=said["role"], site=site, by=request.user.person_id
            )
        except Refused as refused:
            form.add_error(None, str(refused))
        else:
            audit_log.say(
                "role given", request, person=account.person_id, role=said["role"], site=site or "all sites"
            )
            _tell(
                request,
                account,
                password,
                f"{account.person} is {said['role']} at {site or 'all sites'} now.",
            )
            return redirect("people")
    context = {"form": form, "rows": _rows(request.user), **asked_and_sealed(request.user)}
    return render(request, "fleet/people.html", context)


def _rows(administrator: Account) -> list[dict[str, Any]]:
    """By account: the person, the roles that the administrator may see, and whether it may be touched."""
    own = sites_of(administrator, people.GOVERN)
    roles = Role.objects.standing().select_related("person", "site").order_by("role", "site__folded")
    if own is not None:
        roles = roles.filter(Q(site__in=own) | Q(site=None))
    held: dict[UUID, list[Role]] = defaultdict(list)
    for role in roles:
        held[role.person_id].append(role)
    accounts = (
        Account.objects.select_related("person")
        .filter(person__in=held)
        .order_by("person__folded", "username")
    )
    everywhere = (
        set(
            Role.objects.standing()
            .filter(person__in=held)
            .exclude(site__in=own or [])
            .values_list("person_id", flat=True)
        )
        if own is not None
        else set()
    )
    return [
        {
            "account": one,
            "roles": [(role, own is None or role.site_id in own) for role in held[one.person_id]],
            "touch": one.person_id not in everywhere,
        }
        for one in accounts
    ]


def _tell(request: HttpRequest, account: Account, password: str, what: str) -> None:
    if password:
        what += f" Password of {account.username} for the first sign-in, shown once: {password}"
    messages.success(request, what)


@require_POST
def change(request: HttpRequest, account_id: int) -> HttpResponse:
    """A new password, the way to sign in shut or opened again, a name taken out, or a role ended."""
    require(request.user, people.GOVERN)
    account = get_object_or_404(Account.objects.select_related("person"), pk=account_id)
    act = request.POST.get("act", "")
    if act == "end":
        return _end(request, account)
    if not people.governs(request.user, account):
        messages.error(
            request,
            f"{account.person} also holds a role at a site that is not yours. Ask an administrator of all"
            " sites.",
        )
        return redirect("people")
    if account == request.user and act != "password":
        messages.error(request, "Nobody shuts out themselves. Ask another administrator.")
        return redirect("people")
    try:
        _act(request, account, act)
    except Refused as refused:
        messages.error(request, str(refused))
    else:
        audit_log.say(f"people: {act}", request, person=account.person_id)
    return redirect("people")


def _act(request: HttpRequest, account: Account, act: str) -> None:
    by = request.user.person_id
    if act == "password":
        _tell(request, account, people.renew(account, by=by), "")
    elif act == "second factor":
        second_factor.reset(account, by=by)
        messages.success(request, f"The second factor of {account.person} is reset; they are told of it.")
    elif act in ("shut", "open"):
        people.shut(account, by=by, open_again=act == "open")
        messages.success(
            request,
            f"{account.person} {'may sign in again' if act == 'open' else 'may not sign in any more'}.",
        )
    elif act == "blank":
        blank_name(person=account.person, by=by)
        messages.success(request, "The name is taken out. The record keeps who did what by a number alone.")


def _end(request: HttpRequest, account: Account) -> HttpResponse:
    role = get_object_or_404(Role.objects.standing(), pk=request.POST.get("role"), person=account.person_id)
    require(request.user, people.GOVERN, role.site)
    own = sites_of(request.user, people.GOVERN)
    try:
        if role.site is None and own is not None:
            raise Refused("A role at all sites is ended by an administrator of all sites.")
        people.end_role(role=role, reason=request.POST.get("reason", ""), by=request.user.person_id)
    except Refused as refused:
        messages.error(request, str(refused))
    else:
        audit_log.say("role ended", request, person=account.person_id, role=role.role)
        messages.success(request, f"{Person.objects.get(pk=account.person_id)} is {role.role} no more.")
    return redirect("people")
