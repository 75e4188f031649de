"""The library of prints that a print is compared with: made once per process from a counter hash, no data
file.

A counter hash rather than a generator with a state: any program that knows these lines makes the same prints,
so that the server and a page without network answer alike. Ranges are judgement; they are in films of dye.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from .press import FloatArray, Pressing, closeness

ROWS, COLUMNS = 20, 28  # points of a print around and along
DRAWS = 64
PER_FAMILY = 4194304

# In the order of their numbers; a worn family has the number of its sibling plus 9.
SIZES = {
    "straight": 1500,
    "tilt": 1200,
    "skew": 1200,
    "side": 1200,
    "hollow": 1000,
    "proud": 1000,
    "spot": 3000,
    "spots": 3000,
    "pinch": 3000,
}
WORN_SIZES = {
    "straight": 1500,
    "tilt": 900,
    "skew": 700,
    "side": 700,
    "hollow": 700,
    "proud": 700,
    "spot": 1800,
    "spots": 1800,
    "pinch": 1800,
}
FAMILIES = tuple(SIZES)
PARTS = ("bored", "worn")

LEVEL = (0.35, 130.0)  # R: half the clearance, films
BY_DARKNESS = 0.2  # share of people who tap by darkness, whatever the page says
WORN_SHARE = (0.04, 2.6)  # depth worn over the original radial clearance


@dataclass(frozen=True)
class Library:
    """One part: prints of shells as bored or scraped, or of shells that have run.

    closeness : (N, ROWS, COLUMNS) 0 where nothing prints, else 1 to 255 the closer, the darker; a tilt
        carries at the last column, a shaft to one side lies to the last row.
    ranges : where each family's prints stand.
    level : (N,) ln R. relief : (N,) whether the sides are relieved.
    half_arc_deg : (N,) half the arc worn to the journal, degrees; 0 in the part as bored.
    least_share, heavy_share : (N,) the person's own eye: half of the cells with the first share of blue are
        tapped at all, with the second twice. by_darkness : (N,) a person who taps twice where the blue is
        dark rather than where much of the cell is blue.
    """

    closeness: NDArray[np.uint8]
    ranges: dict[str, slice]
    level: FloatArray
    relief: NDArray[np.bool_]
    half_arc_deg: FloatArray
    least_share: FloatArray
    heavy_share: FloatArray
    by_darkness: NDArray[np.bool_]

    @property
    def prints(self) -> NDArray[np.bool_]:
        """(N, ROWS, COLUMNS) True where it prints."""
        return np.asarray(self.closeness > 0)


def uniform(family: int, n: NDArray[np.int64] | int, k: NDArray[np.int64] | int) -> FloatArray:
    """The k-th number between 0 and 1 of print n of a family, the same on every machine.

    Parameters
    ----------
    family : number of the family. n : print, 0 to 65535. k : draw, 0 to 63. n and k broadcast.

    >>> [round(float(uniform(0, 0, k)), 9) for k in range(3)], round(float(uniform(6, 2999, 41)), 9)
    ([0.070266898, 0.731120102, 0.83843797], 0.712164203)
    """
    word, shift = np.uint64(0xFFFFFFFF), np.uint64
    i = np.asarray(np.asarray(n) * DRAWS + k + family * PER_FAMILY + 1).astype(np.uint64)
    i = (i * shift(0x9E3779B1)) & word
    i = ((i ^ (i >> shift(16))) * shift(0x85EBCA6B)) & word
    i = ((i ^ (i >> shift(13))) * shift(0xC2B2AE35)) & word
    i = i ^ (i >> shift(16))
    return np.asarray((i.astype(np.float64) + 0.5) / 4294967296.0)


def points() -> tuple[FloatArray, FloatArray]:
    """(COLUMNS,) places along, -1 to +1, and (ROWS,) angles in radians, of a print's points."""
    x = 2.0 * (np.arange(COLUMNS) + 0.5) / COLUMNS - 1.0
    return x, np.pi * ((np.arange(ROWS) + 0.5) / ROWS - 0.5)


@cache
def library(part: str) -> Library:
    """One part of the library, made at its first use in a process.

    Parameters
    ----------
    part : `bored` (new or scraped) or `worn` (run in, the bore worn to the journal over an arc).
    """
    x, a = points()
    sizes = SIZES if part == "bored" else WORN_SIZES
    prints, levels, reliefs, arcs, eyes = [], [], [], [], []
    ranges, start = {}, 0
    for number, (family, size) in enumerate(sizes.items()):
        u = draws(number + (len(SIZES) if part == "worn" else 0), size)
        p = pressing(family, u, worn=part == "worn")
        prints.append(closeness(p, x, a))
        levels.append(np.log(p.scale))
        reliefs.append(np.isfinite(p.relief))
        arcs.append(np.degrees(np.arccos(np.clip(p.radius / (p.radius + p.worn), -1.0, 1.0))))
        eyes.append(np.stack([_log_between(u[:, 16], 0.02, 0.09), _between(u[:, 17], 0.36, 0.64), u[:, 60]]))
        ranges[family] = slice(start, start + size)
        start += size
    eye = np.concatenate(eyes, axis=1)
    return Library(
        np.concatenate(prints),
        ranges,
        np.concatenate(levels),
        np.concatenate(reliefs),
        np.concatenate(arcs) if part == "worn" else np.zeros(start),
        eye[0],
        eye[1],
        eye[2] < BY_DARKNESS,
    )


def draws(number: int, size: int) -> FloatArray:
    """(size, DRAWS) numbers between 0 and 1 of the family with this number."""
    return uniform(number, np.arange(size)[:, None], np.arange(DRAWS)[None, :])


def pressing(family: str, u: FloatArray, worn: bool) -> Pressing:
    """The shafts and shells of a family from their (N, DRAWS) numbers."""
    scale = _log_between(u[:, 0], *LEVEL)
    held = u[:, 5] < 0.5
    direction = 2.0 * np.pi * u[:, 10]
    relieved = u[:, 14] < 0.3
    fields = {
        "scale": scale,
        "radius": scale,
        "tilt": _triangle(u[:, 1], u[:, 2], 0.8),
        "skew": _around(u[:, 3], 0.15) * scale,
        "set_down": scale * np.sin(np.radians(_around(u[:, 4], 12.0))),
        "friction": np.where(held, np.inf, 0.25 * u[:, 6]),
        "oval": _around(u[:, 7], 0.15) * scale,
        "crown": _around(u[:, 8], 0.5),
        "wave": 0.22 * u[:, 9],
        "wave_along": np.cos(direction),
        "wave_around": np.sin(direction),
        "wave_phase": 2.0 * np.pi * u[:, 11],
        "film_slope": _triangle(u[:, 12], u[:, 13], 0.2),
        "relief": np.where(relieved, np.radians(_between(u[:, 15], 50.0, 78.0)), np.inf),
    }
    if worn:
        fields |= _run_in(u, scale)
    fields |= _pinched(u, fields, worn) if family == "pinch" else _family(family, u, scale)
    if worn:
        fields |= _off_the_arc(family, u, fields)
    return Pressing(**fields)


def _run_in(u: FloatArray, scale: FloatArray) -> dict[str, FloatArray]:
    """What wear does: the clearance as it is now is twice the original radial one and the depth worn.

    A shaft that lies straight lies where it ran, within a part of a film.
    """
    share = _log_between(u[:, 48], *WORN_SHARE)
    radius = 2.0 * scale / (2.0 + share)
    worn_at = np.radians(_around(u[:, 49], 20.0))
    return {
        "skew": _around(u[:, 3], 0.5),
        "set_down": radius * (1.0 + share) * np.sin(worn_at) + _around(u[:, 4], 0.5),
        "radius": radius,
        "oval": _around(u[:, 7], 0.15) * radius,
        "worn": share * radius,
        "worn_at": worn_at,
        "worn_tilt": _triangle(u[:, 50], u[:, 51], 0.8) * share * radius,
        "worn_skew": _around(u[:, 52], 0.15) * share * radius,
        "worn_fit": _between(u[:, 53], -0.6, 1.0),
    }


def _family(family: str, u: FloatArray, scale: FloatArray) -> dict[str, FloatArray]:
    if family == "tilt":
        return {"tilt": _log_between(u[:, 18], 1.2, 14.0)}
    if family == "skew":
        return {"skew": 2.0 * scale * np.sin(np.radians(_between(u[:, 18], 18.0, 50.0)))}
    if family == "side":
        aside = scale * np.sin(np.radians(_between(u[:, 18], 22.0, 75.0)))
        return {"set_down": aside, "friction": np.full(len(u), np.inf)}
    if family in ("hollow", "proud"):
        crown = _log_between(u[:, 18], 1.2, 10.0)
        return {"crown": crown if family == "hollow" else -crown}
    if family in ("spot", "spots"):
        return {"bumps": _bumps(family, u)}
    return {}


def _off_the_arc(family: str, u: FloatArray, fields: dict[str, FloatArray]) -> dict[str, FloatArray]:
    """In an arc worn to the journal a shaft lies askew or aside by films, not by degrees."""
    scale = fields["scale"]
    if family == "skew":
        most = np.maximum(2.0 * scale * np.sin(np.radians(50.0)), 3.0)
        return {"skew": np.asarray(2.0 * np.exp(np.log(most / 2.0) * u[:, 18]))}
    if family == "side":
        most = np.maximum(scale * np.sin(np.radians(75.0)), 2.0)
        ran = (fields["radius"] + fields["worn"]) * np.sin(fields["worn_at"])
        return {"set_down": ran + np.exp(np.log(most) * u[:, 18])}
    return {}


def _bumps(family: str, u: FloatArray) -> FloatArray:
    """(N, K, 5) one spot, or two in 65 % and three in 35 %."""
    bumps = []
    for k in range(1 if family == "spot" else 3):
        v = u[:, 20 + 5 * k : 25 + 5 * k]
        height = _log_between(v[:, 0], 1.5, 8.0)
        if k == 2:
            height = np.where(u[:, 18] < 0.65, 0.0, height)
        x, a = _around(v[:, 1], 0.92), np.radians(_around(v[:, 2], 42.0))
        bumps.append(
            np.stack(
                [height, x, a, _between(v[:, 3], 0.08, 0.4), np.radians(_between(v[:, 4], 7.0, 26.0))], axis=1
            )
        )
    return np.stack(bumps, axis=1)


def _pinched(u: FloatArray, fields: dict[str, FloatArray], worn: bool) -> dict[str, FloatArray]:
    """Joints drawn in by more than half the clearance; in a third a new bore under size,
    eased at the joints.
    """
    radius = fields["radius"]
    under = (u[:, 43] < 1.0 / 3.0) & (not worn)
    eased = np.radians(_between(u[:, 15], 50.0, 78.0))
    return {
        "radius": np.where(under, -radius * _log_between(u[:, 44], 0.03, 0.5), radius),
        "pinch": np.where(under, 0.0, radius * _between(u[:, 40], 0.62, 0.99)),
        "pinch_unlike": _around(u[:, 41], 0.12),
        "pinch_along": _around(u[:, 42], 0.2),
        "relief": np.where(under, eased, fields["relief"]),
    }


def _between(u: FloatArray, low: float, high: float) -> FloatArray:
    return low + (high - low) * u


def _log_between(u: FloatArray, low: float, high: float) -> FloatArray:
    return np.asarray(low * np.exp(np.log(high / low) * u))


def _around(u: FloatArray, half: float) -> FloatArray:
    return half * (2.0 * u - 1.0)


def _triangle(u: FloatArray, v: FloatArray, half: float) -> FloatArray:
    return half * (u + v - 1.0)
