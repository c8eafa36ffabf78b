"""Points that pass nearly above or below the camera, where pan has to turn round ever faster: found, passed and told.

Straight above, pan is free; a hair beside it, pan must turn by half a turn while the point goes by. So a path that goes
straight through is passed by tilting on over the top, pan still; one that passes beside keeps its side, and pan turns.
Neither is a flip; what each costs is said. It refuses to judge speeds.
Source: textbook (the singularity of a two-axis mount at its first axis, the keyhole of a tracking mount).
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

NEAR = 0.1  # of the distance: nearer to the pan axis, pan turns ten times as far as the view or more
_FINE = 2001  # instants looked at between two samples
# times as far as the pass: so near, pan goes straight on where the head goes over the top. How large it is costs no
# more than the pass is off, since what pan is off by counts the less the nearer it is; and beyond it pan hardly stirs
_ZONE = 1000.0
_LEAST = 1e-7  # radians: nearer to the pan axis, rounding makes pan what it likes


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """The way from the pivot to the point, and what the lens adds. Shape: `way` (T, 3), others (T,). Unit: metres.

    `aside` and `above` are where the rolled pupil lies; `ahead` how far the point then is along the optical axis from
    where the pivot is level with it.
    """

    t_s: Floats
    way: Floats
    aside: Floats
    above: Floats
    ahead: Floats

    @property
    def level(self) -> Floats:
        """How far the point is from the pan axis, once the lens beside it is taken off."""
        found: Floats = np.sqrt(np.maximum(self.way[:, 0] ** 2 + self.way[:, 1] ** 2 - self.aside**2, 0.0))
        return found

    @property
    def nearness(self) -> Floats:
        """That, as a part of the distance in the plane of tilt: the sine of the angle from straight up or down."""
        found: Floats = self.level / np.hypot(self.ahead, self.above)
        return found


@dataclass(frozen=True, slots=True)
class Near:
    """A stretch in which the point is nearly straight above the camera, or below it (`up` false).

    Closest at `at_s`, where it is `off_deg` from straight up or down. `pan_speed` is the fastest that pan must turn.
    `over`: tilt goes on over the top there, and the picture is upside down after it, or upright again.
    Unit: seconds, degrees, degrees a second.
    """

    from_s: float
    to_s: float
    at_s: float
    up: bool
    off_deg: float
    pan_speed: float
    over: bool


def passes(seen: Seen, within: float, begins: float) -> tuple[Floats, tuple[Near, ...]]:
    """Return on which side of the top the head is at each sample, 1 or -1, and the stretches near to it.

    A path that comes to within `within` of straight up or down and goes on changes sides there. Shape: (T,).
    Unit: `within` radians.
    """
    near = seen.nearness
    sides = np.full(len(near), begins)
    found = []
    for first, last in _runs(near < NEAR):
        closest, over = (float(seen.t_s[first]), float(near[first])), False
        passed = set()
        for low in _lowest(near, first, last):
            at_s, least = _closest(seen, low)
            if least < closest[1]:
                closest = at_s, least
            ends = _ends(near, low, within)
            if least <= within and ends not in passed and _goes_on(seen, ends):
                sides[seen.t_s > at_s] *= -1
                over = True
            passed.add(ends)
        place = int(np.clip(np.searchsorted(seen.t_s, closest[0]), first, last - 1))
        found.append(
            Near(
                from_s=float(seen.t_s[first]),
                to_s=float(seen.t_s[last - 1]),
                at_s=closest[0],
                up=bool(seen.way[place, 2] > 0),
                off_deg=float(np.degrees(np.arcsin(min(closest[1], 1.0)))),
                pan_speed=0.0,
                over=over,
            )
        )
    return sides, tuple(found)


def settled_turns(
    seen: Seen, sides: Floats, near: tuple[Near, ...], within: float
) -> tuple[Floats, Floats, tuple[Near, ...]]:
    """Return pan and tilt in degrees, without a jump from sample to sample, and the stretches with how fast pan turns.

    Shape: (T,) each. Unit: `within` radians, as in `passes`.
    """
    # so near, whichever way pan points costs less than that
    free = seen.nearness < max(_LEAST, within)
    for one in near:
        if one.over:
            inside = (seen.t_s >= one.from_s) & (seen.t_s <= one.to_s)
            free |= inside & (seen.nearness < _ZONE * np.sin(np.radians(one.off_deg)))
    pan_deg = _bridged(seen.t_s, _pan_deg(seen, sides), free)
    pan = np.radians(pan_deg)
    level = seen.way[:, 1] * np.cos(pan) - seen.way[:, 0] * np.sin(pan)
    tilt = np.arctan2(seen.way[:, 2], level) - np.arctan2(seen.above, seen.ahead)
    tilt_deg = np.degrees(np.unwrap(tilt))
    return pan_deg, tilt_deg, tuple(replace(one, pan_speed=_fastest(seen, pan_deg, one)) for one in near)


def _pan_deg(seen: Seen, sides: Floats) -> Floats:
    """Return pan for the side on which the head is. Shape: (T,)."""
    found: Floats = np.degrees(np.arctan2(seen.way[:, 1], seen.way[:, 0]) - np.arctan2(sides * seen.level, seen.aside))
    return found


def _bridged(t_s: Floats, values: Floats, free: Bools) -> Floats:
    """Return the values unwrapped, going straight where they are free."""
    kept = ~free
    if not kept.any():
        return np.full(len(values), float(values[0]))
    found: Floats = np.interp(t_s, t_s[kept], np.unwrap(values[kept], period=360.0))
    return found


def _runs(where: Bools) -> list[list[int]]:
    found: list[list[int]] = np.flatnonzero(np.diff(where, prepend=False, append=False)).reshape(-1, 2).tolist()
    return found


def _lowest(near: Floats, first: int, last: int) -> list[int]:
    """Return the samples of a run that are nearest to the pan axis: one for each pass; the first of equal ones."""
    low = [
        place
        for place in range(max(first, 1), min(last, len(near) - 1))
        if near[place] < near[place - 1] and near[place] <= near[place + 1]
    ]
    return low or [first + int(near[first:last].argmin())]


def _closest(seen: Seen, low: int) -> tuple[float, float]:
    """Return when, and how near, the point passes about a sample: on the parabola through it and its neighbours."""
    if not 0 < low < len(seen.t_s) - 1:
        return float(seen.t_s[low]), float(seen.nearness[low])
    fine = _parabola(seen, low)
    near = fine.nearness
    least = int(near.argmin())
    return float(fine.t_s[least]), float(near[least])


def _parabola(seen: Seen, low: int) -> Seen:
    """Return what is seen about a sample, at many instants between its neighbours."""
    span = slice(low - 1, low + 2)
    own_s = seen.t_s[span]
    at_s = np.linspace(own_s[0], own_s[2], _FINE)
    weights = np.stack(
        [
            np.prod([(at_s - own_s[other]) / (own_s[one] - own_s[other]) for other in range(3) if other != one], axis=0)
            for one in range(3)
        ]
    )
    columns = (seen.way[span], seen.aside[span], seen.above[span], seen.ahead[span])
    return Seen(at_s, *(weights.T @ column for column in columns))


def _ends(near: Floats, low: int, within: float) -> tuple[int, int]:
    """Return the samples before and after a pass at which the point is not at the top; -1 and T where there is none."""
    away = np.flatnonzero(near > max(2 * within, 2 * _LEAST))
    before, after = away[away < low], away[away > low]
    return int(before[-1]) if len(before) else -1, int(after[0]) if len(after) else len(near)


def _goes_on(seen: Seen, ends: tuple[int, int]) -> bool:
    """Whether the point leaves the top on the other side than it came from."""
    came, goes = ends
    return came >= 0 and goes < len(seen.t_s) and bool(seen.way[came, :2] @ seen.way[goes, :2] < 0)


def _fastest(seen: Seen, pan_deg: Floats, one: Near) -> float:
    """Return the fastest that pan turns in a stretch; between two samples too, where it keeps its side."""
    inside = np.flatnonzero((seen.t_s >= one.from_s) & (seen.t_s <= one.to_s))
    around = slice(max(int(inside[0]) - 1, 0), int(inside[-1]) + 2)
    steps = np.abs(np.diff(pan_deg[around]) / np.diff(seen.t_s[around]))
    fastest = float(steps.max(initial=0.0))
    low = int(np.clip(np.searchsorted(seen.t_s, one.at_s), 1, len(seen.t_s) - 2))
    if one.over or len(seen.t_s) < 3 or one.off_deg < np.degrees(_LEAST):
        return fastest
    fine = _parabola(seen, low)
    pan_deg = np.unwrap(_pan_deg(fine, np.ones(_FINE)), period=360.0)
    return max(fastest, float(np.abs(np.diff(pan_deg) / np.diff(fine.t_s)).max()))
