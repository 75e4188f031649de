"""Who may do what at which site: the one place that answers both "may they?" and "to which things?"."""

from collections.abc import Iterable
from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.db.models import QuerySet

from fleet.models import Account, Role, Site

Word = Role.Word

# What each act of the site needs: any one of these roles at the site concerned.
MAY: dict[str, frozenset[str]] = {
    "read": frozenset(Word.values) - {Word.ADMINISTRATOR},
    "record": frozenset({Word.MECHANIC, Word.FOREMAN, Word.ENGINEER}),
    "sign": frozenset({Word.MECHANIC, Word.FOREMAN, Word.ENGINEER}),
    "approve": frozenset({Word.FOREMAN, Word.ENGINEER}),
    "calibrate": frozenset({Word.FOREMAN, Word.ENGINEER}),
    "correct": frozenset({Word.ENGINEER}),
    "import": frozenset({Word.ENGINEER}),
    "import plans": frozenset({Word.ENGINEER, Word.PLANNER}),
    "plan": frozenset({Word.ENGINEER, Word.PLANNER}),
    "agree as engineer": frozenset({Word.ENGINEER}),
    "agree for operations": frozenset({Word.OPERATIONS}),
    "hear of the plan": frozenset({Word.FOREMAN, Word.ENGINEER, Word.PLANNER}),
    "dispose": frozenset({Word.ENGINEER}),
    "set limits": frozenset({Word.ENGINEER}),
    "confirm shells": frozenset({Word.FOREMAN, Word.ENGINEER}),
    "export": frozenset({Word.ENGINEER, Word.PLANNER, Word.AUDITOR}),
    "audit": frozenset({Word.ENGINEER, Word.AUDITOR, Word.ADMINISTRATOR}),
    "work dates out": frozenset({Word.ENGINEER, Word.PLANNER}),
    "people and sites": frozenset({Word.ADMINISTRATOR}),
}


def roles_of(account: Account) -> list[tuple[str, object]]:
    """The account's standing roles as (role, site id or None for all sites); read once per request."""
    cached = getattr(account, "_roles_held", None)
    if cached is None:
        cached = list(
            Role.objects.standing().filter(person_id=account.person_id).values_list("role", "site_id")
        )
        account._roles_held = cached  # type: ignore[attr-defined]
    return cached


def sites_for(account: Account, act: str = "read") -> QuerySet[Site]:
    """The sites at which an account may do an act."""
    held = [site for role, site in roles_of(account) if role in MAY[act]]
    sites = Site.objects.standing()
    return sites if None in held else sites.filter(pk__in=[str(where) for where in held])


def sites_of(account: Account, act: str) -> frozenset[UUID] | None:
    """The inner ids of the sites at which an account may do an act; None where it may at all, also at new
    ones.
    """
    held = [where for role, where in roles_of(account) if role in MAY[act]]
    return None if None in held else frozenset(UUID(str(where)) for where in held)


def may(account: Account, act: str, site: Site | None = None) -> bool:
    """Whether an account may do an act at a site, or (without one) at any."""
    held = [where for role, where in roles_of(account) if role in MAY[act]]
    return None in held or (bool(held) if site is None else site.pk in held)


def first_page(account: Account) -> str:
    """The name of the page that an account opens with: who records and is told of no plan starts at the
    pump.
    """
    at_pump = may(account, "record") and not may(account, "hear of the plan")
    return "at-pump" if at_pump else "watch-list"


def require(account: Account, act: str, site: Site | None = None) -> None:
    """Refuse (403) what an account may not do at a site it may see.

    Raises
    ------
    PermissionDenied
    """
    if not may(account, act, site):
        raise PermissionDenied(f"This needs one of these roles here: {', '.join(sorted(MAY[act]))}.")


def words_for(account: Account) -> str:
    """The account's roles and sites in words, for the head of every page."""
    held = roles_of(account)
    roles = ", ".join(sorted({role for role, _ in held})) or "no role"
    if any(site is None for _, site in held):
        return f"{roles}, all sites"
    names: Iterable[str] = Site.objects.filter(pk__in=[site for _, site in held]).values_list(
        "name", flat=True
    )
    return f"{roles}, {', '.join(names)}" if held else roles
