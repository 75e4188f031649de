"""What those whom a plan concerns are told on their next page: that an outage of the accepted plan moved, or
that they must agree.
"""

from typing import Any

from django.http import HttpRequest

from dashboards.outage_plan.following import moved_since
from fleet.access import sites_for
from fleet.clock import today_at, today_in
from fleet.models import Account
from inspections.deferrals.deferral_states import told_to
from inspections.models import Plan


def plan_notices(request: HttpRequest) -> dict[str, Any]:
    """For every page's head: what waits for this account's agreement; interim checks of theirs that are
    overdue; each moved outage, until a plan is accepted anew.
    """
    user = getattr(request, "user", None)
    if user is None or not user.is_authenticated:
        return {}
    waiting, overdue = told_to(user, today_in("UTC"))
    return {"agreements_wanted": waiting, "checks_overdue": overdue, "plan_notices": _moved(user)}


def _moved(user: Account) -> list[tuple[str, str]]:
    sites = {site.pk: site for site in sites_for(user, "hear of the plan")}
    if not sites:
        return []
    planned = set(Plan.objects.standing().filter(site__in=sites).values_list("site", flat=True))
    told = [
        (sites[pk].name, words) for pk in planned for words in moved_since(sites[pk], today_at(sites[pk]))
    ]
    return sorted(told)
