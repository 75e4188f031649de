"""A rigid straight journal lowered into a rigid half shell: where it comes to rest, and where it prints.

Lengths are in films of dye, so that only ratios matter: a round bore of radial clearance R films prints to
`arccos(1 - 1/R)` on either side. Angles are radians from the bottom of the half shell, joints at -pi/2 and
pi/2; x runs along the shell from -1 to +1. Source: own geometry, rigid bodies, no load.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

SEARCH_ROUNDS = 3
SEARCH_POINTS = 17
SEARCH_WIDTH = 1.2  # radial clearances to either side of the middle
SEARCH_SHRINK = 6.0
RELIEVED_LENGTH = 0.88  # share of the length over which a side relief runs
FAR = 1e6  # films: the gap inside a relief, which neither touches nor prints


def _zeros() -> FloatArray:
    return np.zeros(1)


@dataclass(frozen=True)
class Pressing:
    """N shafts in N shells; every field is (N,) in films unless it says otherwise, or (1,) for all alike.

    scale : R, half the diametral clearance as it is now; sets the width of the search for rest.
    radius : radial clearance of the bore as it was made; below 0 where the bore is smaller than the journal.
    tilt, skew : difference of the axis from end to end, in height and to the side; above 0 the shaft lies
        lower, or further to +a, at x = +1.
    set_down : z where the shaft is set down. friction : slope of its path under which it rolls no further;
        inf where it is held.
    oval : adds `oval sin^2 a` to the gap. crown : above 0 the middle is hollow, below 0 it stands proud.
    wave, wave_along, wave_around, wave_phase : height; periods along and around; phase in radians.
    film_slope : film at x = +1 over the middle one, less 1; the other end has as much less.
    relief : angle from which the sides are relieved over the length, radians; inf for none.
    bumps : (N, K, 5) height, x, a, width along, width around.
    pinch, pinch_unlike, pinch_along : joints drawn in; share more at +a than at -a; share more at x = +1.
    worn : depth worn at the middle of the length. worn_at : angle at which the shaft ran, radians.
    worn_tilt, worn_skew : the axis from end to end as it ran. worn_fit : adds `worn_fit sin^2` of the angle
        from the middle of the worn arc to what was worn to the journal's own radius.
    """

    scale: FloatArray
    radius: FloatArray
    tilt: FloatArray = field(default_factory=_zeros)
    skew: FloatArray = field(default_factory=_zeros)
    set_down: FloatArray = field(default_factory=_zeros)
    friction: FloatArray = field(default_factory=_zeros)
    oval: FloatArray = field(default_factory=_zeros)
    crown: FloatArray = field(default_factory=_zeros)
    wave: FloatArray = field(default_factory=_zeros)
    wave_along: FloatArray = field(default_factory=_zeros)
    wave_around: FloatArray = field(default_factory=_zeros)
    wave_phase: FloatArray = field(default_factory=_zeros)
    film_slope: FloatArray = field(default_factory=_zeros)
    relief: FloatArray = field(default_factory=lambda: np.full(1, np.inf))
    bumps: FloatArray = field(default_factory=lambda: np.zeros((1, 0, 5)))
    pinch: FloatArray = field(default_factory=_zeros)
    pinch_unlike: FloatArray = field(default_factory=_zeros)
    pinch_along: FloatArray = field(default_factory=_zeros)
    worn: FloatArray = field(default_factory=_zeros)
    worn_at: FloatArray = field(default_factory=_zeros)
    worn_tilt: FloatArray = field(default_factory=_zeros)
    worn_skew: FloatArray = field(default_factory=_zeros)
    worn_fit: FloatArray = field(default_factory=_zeros)


def free_gap(p: Pressing, x: FloatArray, a: FloatArray) -> FloatArray:
    """(N, rows, columns) gap in films before the shaft is lowered, its axis on the bore's.

    Parameters
    ----------
    p : N shafts. x : (columns,) places along, -1 to +1. a : (rows,) angles, radians.
    """
    along, around = x[None, None, :], a[None, :, None]
    sine, cosine = np.sin(around), np.cos(around)
    gap = _bore(p, around, sine) + np.zeros((1, 1, len(x)))
    if p.worn.any():
        gap = np.maximum(gap, _worn(p, along, around, sine, cosine))
    gap = gap + np.where(_wide(p.crown) >= 0, _wide(p.crown) * (1.0 - along**2), -_wide(p.crown) * along**2)
    drawn_in = _wide(p.pinch) * sine**2 * (1.0 + _wide(p.pinch_unlike) * np.sign(around))
    gap = gap - drawn_in * (1.0 + _wide(p.pinch_along) * along)
    for bump in np.moveaxis(p.bumps, 1, 0):
        gap = gap - _bump(bump, along, around)
    turns = np.pi * (_wide(p.wave_along) * along + _wide(p.wave_around) * around / (np.pi / 2))
    gap = gap + _wide(p.wave) * np.sin(turns + _wide(p.wave_phase))
    # The worn arc follows the axis as it ran; the bore and the arc are both seen from the axis as it lies
    # now.
    low, aside = p.tilt + p.worn_tilt, p.skew + p.worn_skew
    gap = gap - 0.5 * along * (_wide(low) * cosine + _wide(aside) * sine)
    relieved = (np.abs(around) > _wide(p.relief)) & (np.abs(along) < RELIEVED_LENGTH)
    return np.where(relieved, FAR, gap)


def rest(p: Pressing, least: FloatArray, a: FloatArray) -> tuple[FloatArray, FloatArray]:
    """(N,) fall y and (N,) side step z, in films, of the shaft at rest.

    Parameters
    ----------
    p : N shafts. least : (N, rows) smallest free gap along each line of the shell. a : (rows,) radians.

    Notes
    -----
    `y(z) = min (f - z sin a) / cos a` is the lowest the axis may lie at z, a concave function. A free shaft
    rolls until the slope of its path is under the friction: z maximises `y(z) - friction |z - set_down|`.
    A held shaft stays where it was set down.
    """
    # Where every shaft has the same few numbers they are written out once for each.
    n = len(least)
    scale, at, friction = (np.broadcast_to(v, (n,)) for v in (p.scale, p.set_down, p.friction))
    held = np.isinf(friction)
    middle, half = np.zeros(n), SEARCH_WIDTH * scale
    steps = np.arange(SEARCH_POINTS) / (0.5 * (SEARCH_POINTS - 1)) - 1.0
    slope = np.where(held, 0.0, friction)
    for _ in range(SEARCH_ROUNDS):
        z = middle[:, None] + half[:, None] * steps[None, :]
        worth = _fall(least, a, z) - slope[:, None] * np.abs(z - at[:, None])
        middle = z[np.arange(n), np.argmax(worth, axis=1)]
        half = half / SEARCH_SHRINK
    z = np.where(held, at, middle)
    return _fall(least, a, z[:, None])[:, 0], z


def gaps(p: Pressing, x: FloatArray, a: FloatArray) -> FloatArray:
    """(N, rows, columns) gap in films with the shaft at rest: 0 where it touches, never below.

    >>> pinched = Pressing(np.array([10.0]), np.array([10.0]), pinch=np.array([8.0]))
    >>> angles = np.radians(np.arange(-89.0, 90.0))
    >>> gap = gaps(pinched, np.zeros(1), angles)[0, :, 0]
    >>> int(abs(np.degrees(angles[gap.argmin()])).round()), round(float(gap[89]), 3)
    (60, 2.0)
    """
    free = free_gap(p, x, a)
    y, z = rest(p, free.min(axis=2), a)
    lowered = y[:, None] * np.cos(a)[None, :] + z[:, None] * np.sin(a)[None, :]
    return np.asarray(free - lowered[:, :, None])


def closeness(p: Pressing, x: FloatArray, a: FloatArray) -> NDArray[np.uint8]:
    """(N, rows, columns) 0 where nothing prints, else 1 (the gap is the whole film) to 255 (it touches)."""
    film = (1.0 + p.film_slope[:, None] * x[None, :])[:, None, :]
    gap = gaps(p, x, a)
    whole = 1.0 + np.floor(254.0 * np.clip(1.0 - gap / film, 0.0, 1.0))
    return np.where(gap < film, whole, 0.0).astype(np.uint8)


def printed(p: Pressing, x: FloatArray, a: FloatArray) -> NDArray[np.bool_]:
    """(N, rows, columns) where the gap is under the film."""
    return np.asarray(closeness(p, x, a) > 0)


def touching_deg(radius: float, pinch: float) -> tuple[float, float]:
    """(degrees from the bottom, gap there at the bottom) of a journal in a shell pinched by more than half
    its clearance.

    Source: own geometry; `cos a = sqrt((r - p) / p)`, gap `r - 2 sqrt((r - p) p)`. Lengths in one unit, any.

    >>> [round(v, 3) for v in touching_deg(10.0, 8.0)]
    [60.0, 2.0]
    """
    if not 0.5 * radius < pinch <= radius:
        raise ValueError(
            f"A pinch of {pinch:g} in a clearance of {radius:g}: it lies from half of it to all of it."
        )
    cosine = np.sqrt((radius - pinch) / pinch)
    return float(np.degrees(np.arccos(cosine))), float(radius - 2.0 * np.sqrt((radius - pinch) * pinch))


def _wide(values: FloatArray) -> FloatArray:
    return np.asarray(values)[:, None, None]


def _bore(p: Pressing, around: FloatArray, sine: FloatArray) -> FloatArray:
    return np.asarray(_wide(p.radius) + _wide(p.oval) * sine**2)


def _worn(
    p: Pressing, along: FloatArray, around: FloatArray, sine: FloatArray, cosine: FloatArray
) -> FloatArray:
    """(N, rows, columns) the journal's own outline where it ran; without wear it lies inside the bore."""
    deep = p.radius + p.worn
    low = _wide(deep * np.cos(p.worn_at)) + 0.5 * along * _wide(p.worn_tilt)
    aside = _wide(deep * np.sin(p.worn_at)) + 0.5 * along * _wide(p.worn_skew)
    fit = _wide(p.worn_fit) * np.sin(around - _wide(p.worn_at)) ** 2
    return np.asarray(low * cosine + aside * sine + fit)


def _bump(bump: FloatArray, along: FloatArray, around: FloatArray) -> FloatArray:
    height, x, a, length, width = (_wide(bump[:, k]) for k in range(5))
    off = ((along - x) / length) ** 2 + ((around - a) / width) ** 2
    return np.asarray(height * np.exp(-off))


def _fall(least: FloatArray, a: FloatArray, z: FloatArray) -> FloatArray:
    """(N, Z) lowest fall of the axis at each of (N, Z) side steps."""
    below = (least[:, None, :] - z[:, :, None] * np.sin(a)) / np.cos(a)
    return np.asarray(below.min(axis=2))
