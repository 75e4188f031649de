"""Changes that nobody wrote down: where a clearance fell, what may have happened, weighed with the whole
record.

In such a gap a new life, another level at the kept rate (another gauge, say) or nothing (the readings are
slips) is supposed in turn, each with the slips that suit it best; the forecast piles what they say. See
docs/wear-model.md, section 8.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from .arrays import FloatArray, Histories, IntArray, Kind
from .belief import evidence
from .event_effects import Frame, frame, lay_out
from .own_curve import TIMES, own_curves, part_of
from .parameters import Params
from .slips import cannot_be, last_readings, likely_slips, rate_of, slip_odds

# A new life, another level with the rate kept, nothing: of a gap in which a reading fell, and of one in which
# a person has said that the level is not known. Design assumptions with no published source.
IN_A_GAP = (0.02, 0.0025, 0.9775)
SAID_UNKNOWN = (0.85, 0.10, 0.05)
KINDS = (Kind.NEW_LIFE, Kind.NEW_BASELINE, Kind.OPENED)  # the last, of no known reason, does nothing
NOTHING = 2
# Sds of the readings' difference, and share of new clearance, that a fall is larger than; fewer sds where a
# change does away with a slip.
FALL_SDS, SLIPS_FALL_SDS, FALL_SHARE = 3.5, 2.0, 0.15
LEAST_SHARE = 1e-3  # of an account that is kept
EACH_WEIGHED = (
    2  # latest places of a bearing whose accounts are all weighed; earlier ones are weighed together
)


@dataclass(frozen=True)
class Supposed:
    """Histories with a place in each gap where a change is supposed.

    place (E,): events that stand for what nobody wrote down, UNSURE until accounts are weighed; said (E,):
    those that a person put there; origin (E,): event of the record each comes from, -1 for those put in;
    sds (B,): how large a fall is, in sds of the readings' difference.
    """

    histories: Histories
    place: NDArray[np.bool_]
    said: NDArray[np.bool_]
    origin: IntArray
    sds: FloatArray

    def take(self, bearings: IntArray) -> Supposed:
        """The chosen bearings, repeats allowed."""
        h = self.histories
        events = np.concatenate(
            [np.arange(h.start[i], h.start[i + 1]) for i in bearings] or [np.zeros(0, dtype=np.int64)]
        )
        events_of = self.place[events], self.said[events], self.origin[events]
        return Supposed(h.take(bearings), *events_of, self.sds[bearings])


@dataclass(frozen=True)
class Account:
    """One account of some bearings' records: members (b,) ascending, their frame, readings set aside (E,),
    share (b,); ``times`` the class's exponent, where it is another curve that is supposed.
    """

    members: IntArray
    f: Frame
    aside: NDArray[np.bool_]
    share: FloatArray
    times: float = 1.0


@dataclass(frozen=True)
class Record:
    """B bearings' records as they are read: the likeliest account of each, and the others where one is in
    doubt.

    chances (B, 3): of new metal, another level and nothing in the latest gap; NaN where nothing is in doubt.
    event (B,): the event of the record by which that gap ends (the reading that fell, or the person's word),
    -1 for none.
    """

    f: Frame
    aside: NDArray[np.bool_]
    origin: IntArray
    share: FloatArray
    others: tuple[Account, ...]
    chances: FloatArray
    event: IntArray

    @property
    def bent(self) -> NDArray[np.bool_]:
        """(B,) bearings read under other curves than their class's too."""
        return ~np.isnan(self.times_over())

    def times_over(self) -> FloatArray:
        """(B,) the exponent of age that such a bearing's record speaks for, over its class's; NaN for others.

        The mean of its log over the curves by their weight.
        """
        log, some = np.zeros(len(self.share)), np.zeros(len(self.share), dtype=bool)
        for account in self.others:
            if account.times != 1.0:
                some[account.members] = True
                log[account.members] += account.share * np.log(account.times)
        return np.where(some, np.exp(log), np.nan)


def read_record(h: Histories, p: Params) -> Record:
    """The records of B bearings under the fleet's numbers, a fall that nobody explained read in every way it
    may be, and one that bends under the curves it may follow.
    """
    return _with_own_curves(_with_last_fall(_read(h, p), h, p), p)


def _with_own_curves(record: Record, p: Params) -> Record:
    """The records with the other curves of bearings that may well follow one; they part the share of the
    likeliest account.
    """
    members, weight = own_curves(record.f, p, record.aside)
    if not len(members):
        return record
    share, weight = record.share.copy(), weight * record.share[members, None]
    share[members] = weight[:, 0]
    f, aside = part_of(record.f, record.aside, members)
    curves = [Account(members, f, aside, weight[:, k], TIMES[k]) for k in range(1, len(TIMES))]
    return replace(record, share=share, others=(*record.others, *curves))


def _read(h: Histories, p: Params) -> Record:
    """The records with every fall but one at the last reading weighed."""
    s = supposed(h, sds=_least_falls(h, p))
    n = h.n_bearings
    if not s.place.any():
        f = frame(h)
        aside, whole = likely_slips(f, p, last_too=False), np.arange(len(h.kind))
        blank = np.full((n, 3), np.nan), np.full(n, -1)
        return Record(f, aside, whole, np.ones(n), (), *blank)
    doubted = np.unique(s.histories.owner[s.place])
    weighed = _weighed(s, doubted, p)
    f = frame(_with_kinds(s, weighed.best()))
    aside = likely_slips(f, p, last_too=False)
    share = np.ones(n)
    share[doubted] = weighed.share[weighed.rank == 0]
    return Record(f, aside, s.origin, share, weighed.others(), *_latest(s, doubted, weighed, n))


def _with_last_fall(record: Record, h: Histories, p: Params) -> Record:
    """The records with the chances of what lies behind a fall at the last reading, for the question to a
    person.

    Its dates are not piled by them: nothing read later speaks, so the earlier of two dates governs until it
    is answered. Where a change is the likeliest, no reading before it is set aside to make room for it.
    """
    fallen, _ = _falls(h, np.full(h.n_bearings, FALL_SDS), last_too=True)
    last = (
        np.unique(h.owner[fallen[fallen == last_readings(frame(h))[h.owner[fallen]]]])
        if len(fallen)
        else fallen
    )
    if not len(last):
        return record
    own = h.take(last)
    s = supposed(own, last_too=True)
    weighed = _weighed(s, np.arange(len(last)), p)
    chances, event = _latest(s, np.arange(len(last)), weighed, len(last))
    told, at = record.chances.copy(), record.event.copy()
    told[last] = chances
    at[last] = np.where(event >= 0, event - own.start[:-1] + h.start[last], -1)
    changed = last[np.argmax(chances, axis=1) != NOTHING]
    return replace(record, aside=_judged_without_last(record, changed, p), chances=told, event=at)


def _judged_without_last(record: Record, bearings: IntArray, p: Params) -> NDArray[np.bool_]:
    """(E,) the readings set aside, those of some bearings judged without their last reading."""
    aside = record.aside.copy()
    if len(bearings):
        mine = np.flatnonzero(np.isin(record.f.owner, bearings))
        own, _ = part_of(record.f, aside, bearings)
        earlier = np.ones(len(mine), dtype=bool)
        earlier[last_readings(own)] = False
        rest = frame(own.histories.keep_events(earlier))
        aside[mine] = False
        aside[mine[earlier]] = likely_slips(rest, p, last_too=False)
    return aside


def likeliest(s: Supposed, p: Params) -> Frame:
    """The records with the likeliest account of each gap, under the fleet's numbers."""
    if not s.place.any():
        return frame(s.histories)
    doubted = np.unique(s.histories.owner[s.place])
    return frame(_with_kinds(s, _weighed(s, doubted, p).best()))


def _least_falls(h: Histories, p: Params) -> FloatArray:
    """(B,) how large a fall is, in sds of the readings' difference: a smaller one counts in records in which
    a change there does away with a slip.
    """
    least = [np.full(h.n_bearings, sds) for sds in (FALL_SDS, SLIPS_FALL_SDS)]
    falls = [np.bincount(h.owner[_falls(h, sds, last_too=False)[0]], minlength=h.n_bearings) for sds in least]
    more = np.flatnonzero(falls[1] > falls[0])
    if len(more):
        own = h.take(more)
        slips = []
        for sds in least:
            f = frame(supposed(own, sds=sds[more]).histories)
            slips.append(np.bincount(f.owner[likely_slips(f, p, last_too=False)], minlength=len(more)))
        least[0][more[slips[1] < slips[0]]] = SLIPS_FALL_SDS
    return least[0]


def supposed(h: Histories, *, sds: FloatArray | None = None, last_too: bool = False) -> Supposed:
    """The histories with a place before every reading that fell, and one at each level that a person calls
    unknown.

    ``sds`` (B,): how large a fall is, 3.5 unless given. A fall at a bearing's last reading is among them
    where ``last_too`` is set.
    """
    sds = np.full(h.n_bearings, FALL_SDS) if sds is None else sds
    fallen, before = _falls(h, sds, last_too=last_too)
    said = h.kind == Kind.UNSURE
    if not len(fallen):
        return Supposed(h, said, said, np.arange(len(h.kind)), sds)
    middle = 0.5 * (h.exposure_kh[before] + h.exposure_kh[fallen])
    at = np.array(
        [
            next((k for k in range(a + 1, b) if h.exposure_kh[k] > x), b)
            for a, b, x in zip(before, fallen, middle, strict=True)
        ]
    )
    origin = np.insert(np.arange(len(h.kind)), at, -1)
    new = origin < 0
    starts = 0.5 * (h.starts_k[before] + h.starts_k[fallen])
    put = h.with_events(at, kind=int(Kind.UNSURE), exposure_kh=middle, starts_k=starts)
    place = put.kind == Kind.UNSURE
    return Supposed(put, place, place & ~new, origin, sds)


def _falls(h: Histories, sds: FloatArray, *, last_too: bool) -> tuple[IntArray, IntArray]:
    """Readings (F,) that fell with nothing written, the last of a bearing only if asked for, and the reading
    (F,) before each.

    By more than ``sds`` (B,) of their difference, as the gauges are stated, and 0.15 of new clearance. The
    last reading is weighed by nothing later: where it surprises the earlier of two dates governs
    (``forecast``).
    """
    f = frame(h)
    seen = np.flatnonzero(f.usable & (h.kind == Kind.READING))
    if len(seen) < 2:
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    part = np.cumsum(h.among(Kind.NEW_LIFE, Kind.NEW_BASELINE, Kind.UNSURE))
    a, b = seen[:-1], seen[1:]
    fell = (f.owner[a] == f.owner[b]) & (part[a] == part[b]) & _fell(h, f, sds, a, b)
    if not last_too:
        fell &= b != last_readings(f)[f.owner[b]]
    return b[fell], a[fell]


def _fell(h: Histories, f: Frame, sds: FloatArray, a: IntArray, b: IntArray) -> NDArray[np.bool_]:
    """(N,) whether reading b (N,) lies under reading a (N,) by more than gauges and new clearance explain."""
    sd = np.array([np.hypot(m.sd_um, m.bias_sd_um) for m in h.methods])
    var_a, var_b = (sd[h.method[x]] ** 2 + np.nan_to_num(h.extra_sd_um[x]) ** 2 for x in (a, b))
    least = np.maximum(sds[f.owner[b]] * np.sqrt(var_a + var_b), FALL_SHARE * f.new_um[f.owner[b]])
    return np.asarray(h.value_um[a] - h.value_um[b] > least)


@dataclass(frozen=True)
class _Weighed:
    """Accounts (N,) of doubted bearings, kept ones only: whose, how likely, and the rank of each among its
    bearing's.
    """

    owner: IntArray
    share: FloatArray
    rank: IntArray
    states: IntArray  # (N, places of all) state of each place, -1 for another bearing's
    frames: Supposed
    aside: NDArray[np.bool_]

    def best(self) -> IntArray:
        """State of each place under the likeliest account of its bearing."""
        return np.asarray(self.states[self.rank == 0].max(axis=0))

    def others(self) -> tuple[Account, ...]:
        """The accounts after the likeliest, those of one rank together."""
        h = self.frames.histories
        found = []
        for rank in range(1, int(self.rank.max()) + 1):
            chosen = np.flatnonzero(self.rank == rank)
            chosen = chosen[np.argsort(self.owner[chosen])]
            events = np.concatenate([np.arange(h.start[i], h.start[i + 1]) for i in chosen])
            found.append(
                Account(self.owner[chosen], frame(h.take(chosen)), self.aside[events], self.share[chosen])
            )
        return tuple(found)


def _weighed(s: Supposed, doubted: IntArray, p: Params) -> _Weighed:
    """Every account of the doubted bearings, each with the slips that suit it best, weighed by evidence and
    belief.
    """
    places = np.flatnonzero(s.place)
    of = s.histories.owner[places]
    owner, states = [], []
    for i in doubted:
        mine = np.flatnonzero(of == i)
        for account in _accounts(len(mine)):
            row = np.full(len(places), -1)
            row[mine] = account
            owner.append(int(i))
            states.append(row)
    whose, table = np.array(owner), np.array(states)
    many = s.take(whose)
    named = table[table >= 0]  # rows in order, and in each its own places in order
    many = replace(many, histories=_with_kinds(many, named))
    f = frame(many.histories)
    aside = likely_slips(f, p, last_too=True) | cannot_be(f)
    slips = np.bincount(f.owner[aside], slip_odds(f.histories.value_um[aside]), len(whose))
    belief = np.log(np.where(many.said[many.place, None], SAID_UNKNOWN, IN_A_GAP))
    prior = np.bincount(f.owner[many.place], belief[np.arange(len(named)), named], len(whose))
    log = evidence(f, lay_out(f, p, aside), rate_of(f, p)) + slips + prior
    log[_without_ground(many, named, f, aside)] = -np.inf
    return _kept(whose, log, table, many, aside)


def _without_ground(s: Supposed, states: IntArray, f: Frame, aside: NDArray[np.bool_]) -> IntArray:
    """Accounts, ascending, that suppose a change where no reading that they keep lies under the one before.

    The slip set aside explains the fall: without it the gap is like any other, of which no change is
    believed. What a person said stays.
    """
    h, place = s.histories, np.flatnonzero(s.place)
    place = place[(states != NOTHING) & ~s.said[place]]
    written = h.among(Kind.NEW_LIFE, Kind.NEW_BASELINE) & (~s.place | s.said)
    part = f.owner + np.cumsum(written)  # ascending, another one for each stretch of each bearing
    kept = np.flatnonzero(f.usable & (h.kind == Kind.READING) & ~aside)
    if not len(kept):
        return np.unique(f.owner[place])
    after = np.searchsorted(kept, place)
    a, b = kept[np.maximum(after - 1, 0)], kept[np.minimum(after, len(kept) - 1)]
    grounded = (part[a] == part[place]) & (part[b] == part[place]) & _fell(h, f, s.sds, a, b)
    return np.unique(f.owner[place[~grounded]])


def _accounts(n: int) -> list[tuple[int, ...]]:
    """States of a bearing's n places: all of the latest ones, with earlier ones new lives or nothing
    together.
    """
    earlier = n - min(n, EACH_WEIGHED)
    first = [(state,) * earlier for state in ((0, NOTHING) if earlier else (0,))]
    return [early + late for early in first for late in product(range(3), repeat=n - earlier)]


def _kept(
    owner: IntArray, log: FloatArray, states: IntArray, many: Supposed, aside: NDArray[np.bool_]
) -> _Weighed:
    """Shares of the accounts, the least likely left out, ranked within each bearing."""
    share, rank = np.zeros(len(owner)), np.zeros(len(owner), dtype=np.int64)
    for i in np.unique(owner):
        mine = np.flatnonzero(owner == i)
        weight = np.exp(np.nan_to_num(log[mine], nan=-np.inf) - np.nanmax(log[mine]))
        share[mine] = np.where(weight < LEAST_SHARE * weight.sum(), 0.0, weight)
        share[mine] /= share[mine].sum()
        rank[mine[np.argsort(-share[mine], kind="stable")]] = np.arange(len(mine))
    kept = np.flatnonzero(share > 0)
    h = many.histories
    events = np.concatenate([np.arange(h.start[i], h.start[i + 1]) for i in kept])
    return _Weighed(owner[kept], share[kept], rank[kept], states[kept], many.take(kept), aside[events])


def _with_kinds(s: Supposed, states: IntArray) -> Histories:
    """The histories with each place (P,) in the state of an account."""
    kind = s.histories.kind.copy()
    kind[s.place] = np.array(KINDS)[states]
    return replace(s.histories, kind=kind)


def _latest(s: Supposed, doubted: IntArray, weighed: _Weighed, n: int) -> tuple[FloatArray, IntArray]:
    """(B, 3) chances of each state of the latest gap, and (B,) the event of the record that ends it."""
    chances, event = np.full((n, 3), np.nan), np.full(n, -1)
    places = np.flatnonzero(s.place)
    of = s.histories.owner[places]
    for i in doubted:
        last = np.flatnonzero(of == i)[-1]
        mine = weighed.owner == i
        chances[i] = np.bincount(weighed.states[mine, last], weighed.share[mine], minlength=3)
        at = places[last]
        event[i] = s.origin[at] if s.said[at] else _first_reading(s, at)
    return chances, event


def _first_reading(s: Supposed, at: int) -> int:
    """The event of the record of the first reading after a place."""
    later = np.flatnonzero(s.histories.kind[at:] == Kind.READING)
    return int(s.origin[at + later[0]]) if len(later) else -1
