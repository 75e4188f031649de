"""A world of `decision_world` on the site's own path: its history as sheets, then outage by outage forecast,
plan, pump, record.

Nothing of the world is told to the site but what a plant would record. The clock is set to each day in turn.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from urllib.parse import parse_qs, urlsplit

import numpy as np
from django.test import Client

from dashboards.outage_plan.acceptance import accept
from dashboards.outage_plan.agreements import not_agreed, standing_at
from dashboards.outage_plan.following import Followed, follow
from dashboards.outage_plan.versions import propose, weigh
from fleet import clock
from fleet.models import Bearing, Outage, Site
from fleet.plant.choices import set_setting
from inspections.forecasts.judgement.current_judgements import judgements
from inspections.forecasts.refit import refit
from inspections.models import Plan, Visit
from inspections.visits.device_memory import DeviceMemory
from inspections.visits.trigger_at_pump import Opening
from inspections.visits.visit_record import VisitRecord
from inspections.visits.word_at_pump import CLOSE_UP, ENGINEER, HOLD, REPLACE
from inspections.wear.arrays import FloatArray, IntArray
from inspections.wear.decision import at_pump, bisected
from inspections.wear.verdict_at_limit import guard_band_um
from tests import makers, sheet_makers
from tests.bench.decision_world import (
    GAUGE,
    HISTORY,
    LEAD,
    LIMIT,
    MEASURE_H,
    NEW_HIGH,
    NEW_LOW,
    OPEN_H,
    OUTAGES,
    REPLACE_H,
    SCRAPE_H,
    Chance,
    D,
    Plant,
    class_terms,
    drawn,
)
from tests.bench.site_decade import RISK
from tests.dashboards.outage_plan.plan_fleet import run_on

FIRST = dt.date(2019, 3, 4)
AHEAD, LASTS, AFTER = dt.timedelta(days=30), dt.timedelta(days=13), dt.timedelta(days=40)
ENDS, MOST_STEPS, KNOWN_AHEAD = ("DE", "NDE"), 16, 6
REGISTER = (
    *("site", "pump", "duty_hours_per_day", "time_zone", "position", "journal_diameter"),
    *("new_clearance_min", "new_clearance_max", "in_service_max", "limit_basis", "limits_from"),
    *("scrapeable", "class", "basis", "unit"),
)
HISTORY_SHEET = (
    *("site", "pump", "position", "date", "why", "event", "stage", "station", "method", "value", "unit"),
    *("half", "reason", "by"),
)


def day_of(k: int) -> dt.date:
    """The first day of the outage after interval ``k``, counted from 0; -1: the day of the first shells."""
    return FIRST + dt.timedelta(days=round((k + 1) * D * 1000.0 / 24.0))


def without_findings(n: int, seed: int) -> Chance:
    """A world in which no look has a contact finding and none spoils a bearing: a print is no number."""
    chance = drawn(n, seed)
    return replace(chance, contact=np.ones_like(chance.contact), infant=np.ones_like(chance.infant))


class _Hand:
    """Stands for the clock's `datetime`: each look is a moment later than the one before."""

    UTC = dt.UTC

    def __init__(self) -> None:
        self.datetime, self.instant = self, dt.datetime(2000, 1, 1, tzinfo=dt.UTC)

    def now(self, zone: dt.tzinfo) -> dt.datetime:
        """The instant that was set, and a little more."""
        self.instant += dt.timedelta(microseconds=100)
        return self.instant.astimezone(zone)

    def set(self, day: dt.date) -> None:
        """The morning of a day."""
        self.instant = dt.datetime(day.year, day.month, day.day, 6, tzinfo=dt.UTC)


@contextmanager
def clock_in_hand() -> Iterator[_Hand]:
    """The site's only reader of the clock reads this one meanwhile."""
    kept, hand = clock.dt, _Hand()
    clock.dt = hand  # type: ignore[assignment]
    try:
        yield hand
    finally:
        clock.dt = kept


@dataclass
class Remembered(Plant):
    """A world that keeps what a plant would have written down, as rows of a history's sheet."""

    rows_of_sheet: list[dict[str, str]] = field(default_factory=list)

    def __post_init__(self) -> None:
        """New shells everywhere, as left."""
        super().__post_init__()
        self._write(self.rows, "shell_change")
        self._write(self.rows, "reading", self.first, "as_left")

    def read(self, who: IntArray) -> FloatArray:
        """As found."""
        y = super().read(who)
        self._write(who, "reading", y, "as_found")
        return y

    def renew(self, who: IntArray) -> None:
        """New shells, as left."""
        self._write(who, "shell_change")
        super().renew(who)

    def _as_left(self, who: IntArray) -> None:
        super()._as_left(who)
        self._write(who, "reading", self.last[who], "as_left")

    def _write(self, who: IntArray, event: str, y: FloatArray | None = None, stage: str = "") -> None:
        for n, i in enumerate(who.tolist()):
            row = {"site": "Weir", "pump": f"P-{i // 2 + 1}", "position": ENDS[i % 2], "why": "planned"}
            row |= {"date": day_of(self.k).isoformat(), "event": event, "by": "A. Fitter"}
            if y is None:
                row |= {"half": "both", "reason": "worn"}
            else:
                row |= {"stage": stage, "station": "12", "value": typed(y[n]), "unit": "um"}
                row |= {"method": self.method(i)}
            self.rows_of_sheet.append(row)

    def method(self, i: int) -> str:
        """By what a bearing is measured."""
        return "bore_gauge" if self.chance.gauge[i] == GAUGE else "lead_wire"


def typed(um: float) -> str:
    """A reading as it is typed: whole um."""
    return str(max(round(float(um)), 1))


@dataclass
class Looked:
    """One bearing at one opening: what the plan printed and the pump was held against, what was found and
    done, and the numbers-only rule on the same reading.
    """

    bearing: str
    outage: int
    planned: tuple[str, str]  # of the accepted plan's job: kind of trigger, um
    held: tuple[str, str]  # of the pump's opening
    live: tuple[str, str]  # of the judgement of the visit's day
    truth_um: float
    found_um: float = float("nan")
    readings: int = 0
    words: list[str] = field(default_factory=list)  # the closing page's, in turn
    steps: list[str] = field(default_factory=list)  # what "What comes next?" said
    signed: int = 0  # dispositions of a person
    renewed: bool = False
    state: str = ""  # of its job, after the outage
    left: float = float("nan")  # the site's chance to pass before the next outage, once closed
    plain_chance: float = float("nan")
    plain_trigger: float = float("nan")

    @property
    def plain_renews(self) -> bool:
        """Whether the rule that knows the world would have renewed it by the same reading."""
        return self.plain_chance > RISK or self.found_um >= self.plain_trigger


class OnSite:
    """The site as a player: makes itself of a world's history, then plays outage by outage."""

    def __init__(self, plant: Remembered, hand: _Hand, seed: int = 1) -> None:
        self.plant, self.hand, self.rng = plant, hand, np.random.default_rng(seed)
        self.looked: list[Looked] = []
        self.plans: list[Plan] = []
        self.back: list[str] = []  # jobs that a plan made after their outage's work holds again in it
        self.count: Counter[str] = Counter()
        hand.set(day_of(plant.k) - 2 * AHEAD)
        self._made()
        self.site = Site.objects.get(name="Weir")
        self.by = makers.somebody()
        self.bearings = self._in_order()
        roles = ("mechanic", "engineer", "operations")
        self.accounts = {role: makers.an_account(role=role, site=self.site) for role in roles}

    def _made(self) -> None:
        """Register, hours, outages and history by their sheets, and what the plant states of its gauges."""
        n = len(self.plant.rows)
        facts = {"site": "Weir", "duty_hours_per_day": "24", "time_zone": "Etc/UTC", "unit": "um"}
        facts |= {"journal_diameter": "100000", "new_clearance_min": f"{NEW_LOW:.0f}", "class": "lift"}
        facts |= {"new_clearance_max": f"{NEW_HIGH:.0f}", "in_service_max": f"{LIMIT:.0f}"}
        facts |= {"limit_basis": "plant", "limits_from": FIRST.isoformat(), "scrapeable": "yes"}
        facts |= {"basis": "diametral"}
        rows = [facts | {"pump": f"P-{i // 2 + 1}", "position": ENDS[i % 2]} for i in range(n)]
        self._imported(rows, REGISTER, "register")
        by = makers.somebody()
        said = {"bore_gauge": (GAUGE, 0.0), "lead_wire": (LEAD, 0.0)}
        spreads = {name: {"sd_um": str(sd), "bias_sd_um": str(off)} for name, (sd, off) in said.items()}
        set_setting(name="method_spreads", value=spreads, from_on=FIRST, by=by)
        set_setting(name="stations", value=["12"], from_on=FIRST, by=by)
        work = {"open": OPEN_H, "measure": MEASURE_H, "scrape": SCRAPE_H, "replace": REPLACE_H}
        hours = {f"{name}_hours": f"{value:.0f}" for name, value in work.items()}
        self._imported([{"class": ""} | hours], ("class", *hours), "work_hours")
        last = HISTORY + OUTAGES + KNOWN_AHEAD
        when = [(f"outage {k - HISTORY + 2}", day_of(k)) for k in range(HISTORY - 1, last)]
        outages = [
            {"site": "Weir", "name": name, "start": on.isoformat(), "end": (on + LASTS).isoformat()}
            for name, on in when
        ]
        self._imported(outages, ("site", "name", "start", "end"), "outages")
        self._imported(self.plant.rows_of_sheet, HISTORY_SHEET, "history")

    @staticmethod
    def _imported(rows: list[dict[str, str]], columns: tuple[str, ...], holds: str) -> None:
        full = [dict.fromkeys(columns, "") | row for row in rows]
        made = makers.a_sheet(sheet_makers.csv_bytes(full, columns).decode(), holds=holds)
        assert made.ok, (holds, made.findings[:3])

    def _in_order(self) -> list[Bearing]:
        """The bearings in the world's order."""
        rows = Bearing.objects.select_related("place__site").filter(place__site=self.site)
        named = {(one.place.tag, one.name): one for one in rows}
        return [named[f"P-{i // 2 + 1}", ENDS[i % 2]] for i in range(len(self.plant.rows))]

    # an outage ------------------------------------------------------------------------------------------

    def play(self, plant: Plant) -> None:
        """One outage: planned some weeks before, worked, followed."""
        start = day_of(plant.k)
        outage = Outage.objects.get(site=self.site, start_on=start)
        plan = self._accepted(start - AHEAD)
        jobs = {job["bearing"]: job for job in plan.jobs if job["outage"] == str(outage.pk)}
        self.count["between outages"] += sum(job["outage"].startswith("before") for job in plan.jobs)
        self.hand.set(start)
        refit(by=self.by)
        opened = np.array([str(one.pk) in jobs for one in self.bearings]).reshape(-1, 2).any(axis=1)
        plant.open(opened)
        seen = [self._pump(p, jobs) for p in np.flatnonzero(opened).tolist()]
        here = [one for some in seen for one in some]
        self._followed(outage, here, start + LASTS)
        self.looked += here

    def _accepted(self, on: dt.date) -> Plan:
        """The night's forecast and the plan worked out of it, agreed to where it must be, accepted."""
        self.hand.set(on)
        refit(by=self.by)
        draft = propose(self.site, on, by=self.by)
        lacking = [one.bearing for one in not_agreed(draft, weigh(draft), standing_at(self.site, on))]
        run_on(on, *Bearing.objects.select_related("place__site").filter(pk__in=lacking))
        self.count["agreed to run on"] += len(lacking)
        plan = accept(draft=draft, reason="agreed at the planning meeting", on=on, by=self.by)
        self.plans.append(plan)
        return plan

    # a pump ---------------------------------------------------------------------------------------------

    def _pump(self, pump: int, jobs: dict) -> list[Looked]:
        """Both bearings by the site's next step, then the visit closed."""
        client = self._client("mechanic")
        both = [2 * pump, 2 * pump + 1]
        seen = [self._bearing(client, i, jobs.get(str(self.bearings[i].pk))) for i in both]
        own, other = (self.bearings[i] for i in both)
        address = self._at(own, "close/")
        page = client.get(address)
        said = {"listed": "yes"} | {f"decided{one.mine}": one.advice.word for one in page.context["sides"]}
        assert all(one.advice.word == CLOSE_UP for one in page.context["sides"]), (own, other)
        client.post(address, said)
        assert not Visit.objects.standing().filter(place=own.place, closed_on__isnull=True).exists(), own
        return seen

    def _client(self, role: str) -> Client:
        client = Client()
        client.force_login(self.accounts[role])
        return client

    @staticmethod
    def _at(bearing: Bearing, page: str = "") -> str:
        return f"/bearings/{bearing.place.tag}/{bearing.name}/record/{page}"

    def _bearing(self, client: Client, i: int, job: dict | None) -> Looked:
        """One bearing walked as the site leads: every step is the one that the site names."""
        bearing = self.bearings[i]
        client.post(self._at(bearing), {"measured_by": self.accounts["mechanic"].person_id})
        opening = self._opening(bearing)
        one = Looked(
            str(bearing),
            self.plant.k,
            (job["trigger_is"], job["trigger_um"]) if job else ("not planned", ""),
            trigger_of(opening.at),
            trigger_of(opening.live or opening.at),
            float(self.plant.level[i]),
        )
        for _ in range(MOST_STEPS):
            address, words = client.get(self._at(bearing, "visit/")).context["next"]
            one.steps.append(words)
            if "/reading/" in address:
                self._measured(client, address, i, one)
                continue
            word = client.get(address).context["side"].advice.word
            one.words.append(word)
            if word == CLOSE_UP:
                self._settled(i, one)
                return one
            self._answered(client, bearing, i, word, one)
        raise AssertionError(f"no end at {bearing}: {one}")

    def _opening(self, bearing: Bearing) -> Opening:
        today = clock.today_at(self.site)
        visit = Visit.objects.standing().get(place=bearing.place, closed_on__isnull=True)
        memory = DeviceMemory({}, visit.pk, self.accounts["mechanic"].person_id, today)
        return VisitRecord(bearing, visit, today, memory).opening

    def _measured(self, client: Client, address: str, i: int, one: Looked) -> None:
        """A reading with the error of its gauge; the first of an opening with the world's own."""
        asked = parse_qs(urlsplit(address).query)
        plant, left = self.plant, asked["stage"] == ["as_left"]
        errors = plant.chance.left if left else plant.chance.error
        first = "again" not in asked
        error = errors[i, plant.k] if first else self.rng.normal()
        value = typed(plant.level[i] + plant.chance.gauge[i] * error)
        if not left:
            one.found_um, one.readings = float(value), one.readings + 1
        self.count["readings"] += 1
        self.count["measured again"] += not first
        said = {"value": value, "unit": "um", "method": plant.method(i), "basis": "diametral"}
        answer = client.post(address, said)
        assert answer.status_code == 302, (address, said, answer.context["form"].errors)

    def _answered(self, client: Client, bearing: Bearing, i: int, word: str, one: Looked) -> None:
        """What a word other than to close up asks for: a new shell, or the engineer's signature."""
        if word == REPLACE:
            self._settled(i, one)
            one.renewed = True
            self.plant.renew(np.array([i]))
            said = {"kind": "shell_change", "half": "both", "reason": "worn", "no_serial": "yes"}
            client.post(self._at(bearing, "work/"), said)
            return
        assert word in (HOLD, ENGINEER), (bearing, word, one)
        one.signed += 1
        # A new shell out of its range is used as it is; of an old one the engineer takes the stricter side.
        answer = {"answer": "use_as_is" if one.renewed else "replace", "checked": "measured again by two"}
        until = clock.today_at(self.site) + dt.timedelta(days=365)
        answer |= {"no_checks_why": "it runs in", "expires_on": until.isoformat(), "why": "as measured"}
        self._client("engineer").post(f"/bearings/{bearing.place.tag}/{bearing.name}/disposition/", answer)

    def _settled(self, i: int, one: Looked) -> None:
        """The numbers-only rule, which knows the world, told the reading that counts; once an opening."""
        if np.isfinite(one.plain_chance) or not one.readings:
            return
        who, plant = np.array([i]), self.plant
        t, p = class_terms(plant.chance.gauge[who], RISK), plant.belief.predictive(None).take(who)
        sd, step = plant.chance.gauge[who], np.full(1, D)

        def chance(y: FloatArray) -> FloatArray:
            return at_pump(p, t, y, sd, step).closed

        one.plain_chance = float(chance(np.array([one.found_um]))[0])
        root = bisected(chance, t.accepted, np.full(1, 100.0), np.full(1, 400.0), np.ones(1))
        one.plain_trigger = min(float(root[0]), LIMIT - guard_band_um(float(sd[0])))
        plant.belief.read(who, np.array([one.found_um]))
        plant.last[i] = one.found_um

    # after the outage -----------------------------------------------------------------------------------

    def _followed(self, outage: Outage, here: list[Looked], last: dt.date) -> None:
        """How the jobs stand and what is said of the bearings once the outage is over."""
        self.hand.set(last)
        again = propose(self.site, last, by=self.by)
        self.back += [bearing for bearing, _, where in again.solved["jobs"] if where == outage.name]
        self.hand.set(outage.start_on + AFTER)
        day = outage.start_on + AFTER
        states = {job.name: job for one in follow(self.site, day) if one.outage == outage for job in one.jobs}
        refit(by=self.by)
        judged = judgements(self.bearings, day)
        at = {str(one): (i, one) for i, one in enumerate(self.bearings)}
        for one in here:
            i, bearing = at[one.bearing]
            one.state = _word(states.get(f"{bearing.place.tag} {bearing.name}"))
            one.left = float(judged[bearing.pk].columns[0].past or 0.0)
            if not one.renewed:
                self.plant.pending[i] = one.left


def trigger_of(column: object) -> tuple[str, str]:
    """Kind and um of a column's trigger, as an accepted plan writes them."""
    um = getattr(column, "trigger_um", None)
    return getattr(column, "trigger_is", ""), "" if um is None else f"{um:.0f}"


def _word(job: Followed | None) -> str:
    return job.state.word if job else "no job"


def played_on_site(plant: Remembered, hand: _Hand, outages: int = OUTAGES) -> OnSite:
    """A world's history made a site, then so many outages of it."""
    plant.history()
    player = OnSite(plant, hand)
    for _ in range(outages):
        player.play(plant)
        plant.run()
    return player
