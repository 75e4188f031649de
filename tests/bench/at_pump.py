"""How long the server works between a scanned label and the receipt: two as-found, a scrape, two as-left
readings.

On a record of its own choice: `DATABASE_URL=sqlite:///... PLAIN_HTTP=yes python -m tests.bench.at_pump
[--pumps 5]`. It writes visits into that record: give it a copy.
"""

import argparse
import os
import time

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")
import django

django.setup()

from django.conf import settings
from django.test import Client

from fleet.models import Account, Bearing
from fleet.web.bearing_addresses import bearing_address
from inspections.visits.expectations import before


def walk(client: Client, bearing: Bearing, person: str) -> dict[str, float]:
    """Seconds of the server by step, for one bearing."""
    took: dict[str, float] = {}

    def ask(name: str, address: str, post: dict | None = None) -> str:
        began = time.perf_counter()
        answer = client.get(address) if post is None else client.post(address, post)
        took[name] = took.get(name, 0.0) + time.perf_counter() - began
        assert answer.status_code in (200, 302), (name, answer.status_code)
        return answer.get("Location", "")

    def page(name: str) -> str:
        return bearing_address(bearing, name)

    ask("start page", ask("label", f"/b/{bearing.pk}/"))
    ask("reading pages", ask("begin", page("record"), {"measured_by": person}))
    known = before(bearing, expecting_day(bearing))
    um = known.figures["clearance_um_p50"] or 200.0
    usual = {"unit": "mm", "method": "bore_gauge", "basis": "diametral"}
    for stage, more in (("as_found", 0.0), ("as_left", 12.0)):
        if stage == "as_left":
            ask("reading pages", ask("scrape", page("record-scraped"), {}))
        for _ in range(2):
            where = f"{page('record-reading')}&stage={stage}"
            ask(
                "reading pages", ask("store a reading", where, usual | {"value": f"{(um + more) / 1000:.3f}"})
            )
    ask("close page", page("record-close"))
    ask(
        "receipt",
        ask(
            "close",
            page("record-close"),
            {"decided": "close up", "listed": "yes", "why": "measured for a benchmark"},
        ),
    )
    return took


def expecting_day(bearing: Bearing):
    from fleet.clock import today_at

    return today_at(bearing.place.site)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pumps", type=int, default=5)
    chosen = parser.parse_args()
    settings.ALLOWED_HOSTS.append("testserver")
    account = Account.objects.get(username="mechanic")
    account.must_change_password = False
    account.save(update_fields=["must_change_password"])
    client = Client()
    client.force_login(account)
    bearings = list(Bearing.objects.standing().in_order())[:: 80 // (chosen.pumps + 1)][: chosen.pumps + 1]
    for n, bearing in enumerate(bearings):
        took = walk(client, bearing, str(account.person_id))
        if n:  # the first one warms the process up
            words = ", ".join(f"{name} {1000 * s:.0f}" for name, s in took.items())
            print(f"{bearing}: {1000 * sum(took.values()):.0f} ms of server ({words})")


if __name__ == "__main__":
    main()
