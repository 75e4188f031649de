"""Which spare shells can be there in time: on hand, due back, relined, or ordered today."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

import numpy as np

from dashboards.outage_plan.pump_openings.inputs import Bearing, Inputs, Spare
from inspections.wear.arrays import FloatArray


@dataclass(frozen=True)
class Pool:
    """Half shells that serve the same bearings: one bore, or still to be bored (`bore_um` None)."""

    shell_type: str
    half: str
    bore_um: float | None
    spares: tuple[Spare, ...]
    ready: FloatArray  # (T,) of those on hand and due back, how many are there by each outage
    orderable: FloatArray  # (T,) how many more an order of today brings by then; inf: as many as wanted

    @property
    def total(self) -> FloatArray:
        """(T,) all that can be there, without what comes back relined."""
        return self.ready + self.orderable


@dataclass(frozen=True)
class Family:
    """All pools of one half of one shell type; shells that come out return relined, to be bored."""

    shell_type: str
    half: str
    bored: tuple[Pool, ...]
    plain: Pool  # still to be bored
    returns: FloatArray  # (T, T) 1 where a shell out in the first outage is back for the second

    @property
    def name(self) -> str:
        """The family as the plant calls it."""
        return f"{self.shell_type} {self.half}"

    def same_stock(self, other: Family) -> bool:
        """Whether the other half's shells come in the same numbers: where both are needed, one count does."""
        mine, theirs = [*self.bored, self.plain], [*other.bored, other.plain]
        return (
            self.shell_type == other.shell_type
            and [p.bore_um for p in mine] == [p.bore_um for p in theirs]
            and np.array_equal(self.returns, other.returns)
            and all(np.array_equal(p.total, q.total) for p, q in zip(mine, theirs, strict=True))
        )

    def pool_of(self, bearing: Bearing, tolerance_um: float) -> int:
        """The bored pool whose shells fit without boring, or -1."""
        if bearing.bore_um is None or not self.bored:
            return -1
        off = [abs(p.bore_um - bearing.bore_um) for p in self.bored if p.bore_um is not None]
        k = int(np.argmin(off))
        return k if off[k] <= tolerance_um else -1


def families(inputs: Inputs) -> dict[tuple[str, str], Family]:
    """Every half of every shell type that some bearing needs; an unlisted type has none and no lead time."""
    wanted = sorted({(b.shell_type, h) for b in inputs.bearings if b.shell_type for h in b.halves})
    made = {}
    for kind, half in wanted:
        mine = [s for s in inputs.spares if s.shell_type == kind and s.half in ("", half)]
        bores = sorted({s.bore_um for s in mine if s.bore_um is not None})
        pools = tuple(_pool(inputs, kind, half, b, [s for s in mine if s.bore_um == b]) for b in bores)
        plain = _pool(inputs, kind, half, None, [s for s in mine if s.bore_um is None])
        made[kind, half] = Family(kind, half, pools, plain, _returns(inputs, kind, half))
    return made


def _pool(inputs: Inputs, kind: str, half: str, bore: float | None, mine: list[Spare]) -> Pool:
    margin = inputs.settings.margin_days
    ready, orderable = np.zeros(len(inputs.outages)), np.zeros(len(inputs.outages))
    for spare in mine:
        ready += spare.on_hand
        for day, n in spare.due_back:
            ready += n * ((day - inputs.as_of).days + margin <= inputs.starts)
        if spare.lead_time_days is not None:
            many = np.inf if spare.may_order is None else float(spare.may_order)
            orderable = orderable + np.where(spare.lead_time_days + margin <= inputs.starts, many, 0.0)
    return Pool(kind, half, bore, tuple(mine), ready, orderable)


def _returns(inputs: Inputs, kind: str, half: str) -> FloatArray:
    n = len(inputs.outages)
    days = inputs.relined_after(kind, half)
    if days is None:
        return np.zeros((n, n))
    back = inputs.starts + days + inputs.settings.margin_days
    return (back[:, None] <= inputs.starts[None, :]).astype(float)


@dataclass(frozen=True)
class Taken:
    """Where one replacement's half shell comes from."""

    bearing: str
    family: str
    outage: int
    source: str  # on hand, due back, relined, order, or short
    bored: bool
    lead_time_days: float | None = None


@dataclass
class _Shelf:
    """A pool while shells are handed out in the order of the outages."""

    pool: Pool
    used: dict[str, int] = field(default_factory=lambda: {"on hand": 0, "due back": 0, "order": 0})
    on_hand: int = 0
    lead: float = np.inf

    def __post_init__(self) -> None:
        self.on_hand = sum(s.on_hand for s in self.pool.spares)
        leads = [s.lead_time_days for s in self.pool.spares if s.lead_time_days is not None]
        self.lead = min(leads, default=np.inf)

    def take(self, t: int) -> tuple[str, float | None] | None:
        if self.used["on hand"] < self.on_hand:
            return self._took("on hand", None)
        if self.used["due back"] < self.pool.ready[t] - self.on_hand:
            return self._took("due back", None)
        return None

    def order(self, t: int) -> tuple[str, float | None] | None:
        if self.used["order"] >= self.pool.orderable[t]:
            return None
        return self._took("order", self.lead)

    def _took(self, source: str, lead: float | None) -> tuple[str, float | None]:
        self.used[source] += 1
        return source, lead


def hand_out(
    inputs: Inputs, made: dict[tuple[str, str], Family], wanted: list[tuple[int, int]]
) -> list[Taken]:
    """Give each replacement (bearing, outage) its half shells, the earliest outage and the readiest first.

    A shell of the right bore goes before one to be bored, because it serves nobody else; an order comes last.
    """
    shelves = {
        (key, k): _Shelf(pool)
        for key, family in made.items()
        for k, pool in [(-1, family.plain), *enumerate(family.bored)]
    }
    relined: dict[tuple[str, str], int] = dict.fromkeys(made, 0)
    out = {key: np.zeros(len(inputs.outages)) for key in made}  # halves that came out, by outage
    taken = []
    for i, t in sorted(wanted, key=lambda w: (inputs.starts[w[1]], w[0])):
        bearing = inputs.bearings[i]
        for half in bearing.halves if bearing.shell_type else ():
            key = (bearing.shell_type, half)
            family = made.get(key)
            if family is None:
                continue
            k = family.pool_of(bearing, inputs.settings.bore_tolerance_um)
            own, plain = shelves[key, k], shelves[key, -1]
            got = own.take(t) or plain.take(t)
            if got is None and relined[key] < out[key] @ family.returns[:, t]:
                relined[key] += 1
                got = ("relined", None)
            if got is None:
                got = own.order(t) or plain.order(t)
            source, lead = got or ("short", None)
            out[key][t] += 1
            bored = k >= 0 and source != "relined"
            taken.append(Taken(bearing.name, family.name, t, source, bored, lead))
    return taken


@dataclass(frozen=True)
class MonthOfSpares:
    """One shell type's half at the end of a month: there, and what came and went during it."""

    month: dt.date
    family: str
    arrived: int
    used: int
    there: int
    relined: int = 0  # of those arrived


def by_month(inputs: Inputs, made: dict[tuple[str, str], Family], taken: list[Taken]) -> list[MonthOfSpares]:
    """Shells by month from the as-of month to the last outage; orders arrive just before their outage."""
    moves: dict[str, list[tuple[dt.date, int, int, int]]] = {f.name: [] for f in made.values()}
    for (kind, half), family in made.items():
        for pool in (family.plain, *family.bored):
            for spare in pool.spares:
                moves[family.name].append((inputs.as_of, spare.on_hand, 0, 0))
                moves[family.name] += [(day, n, 0, 0) for day, n in spare.due_back]
        days = inputs.relined_after(kind, half)
        for t in taken:
            if t.family == family.name:
                start = inputs.outages[t.outage].start_on
                moves[family.name].append((start, int(t.source == "order"), 1, 0))
                if days is not None:
                    moves[family.name].append((start + dt.timedelta(days=days), 1, 0, 1))
    last = max((o.start_on for o in inputs.outages), default=inputs.as_of)
    rows = []
    for name, mine in moves.items():
        there = 0
        for month in _months(inputs.as_of, last):
            now = [m for m in mine if (m[0].year, m[0].month) == (month.year, month.month)]
            came, went = sum(m[1] for m in now), sum(m[2] for m in now)
            there += came - went
            rows.append(MonthOfSpares(month, name, came, went, there, sum(m[3] for m in now)))
    return rows


def _months(first: dt.date, last: dt.date) -> list[dt.date]:
    n = (last.year - first.year) * 12 + last.month - first.month + 1
    return [
        dt.date(first.year + (first.month - 1 + k) // 12, (first.month - 1 + k) % 12 + 1, 1) for k in range(n)
    ]
