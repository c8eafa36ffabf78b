"""The ground that a rig may sweep, seen from above: everywhere its pivot may be, grown by how far it reaches.

The pivot (docs/conventions.md) goes where slides carry it. Pan turns the camera about it, so that whatever pan does, no
part is further from the pivot than the reach: that is the keep-clear area, whatever the heights. Where two slides carry
the pivot, every pairing of their positions counts, also one that the move never makes.
Source: textbook (Minkowski sum with a disc; area by Steiner's formula; convex hull by Andrew's monotone chain).
"""

import itertools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sequencer.rig.axis import Rig
from sequencer.rig.pose import READ_AS, stood

Floats = NDArray[np.float64]
_MOST_SLIDES = 8


@dataclass(frozen=True, slots=True, eq=False)
class Zone:
    """Where the pivot may be, a convex polygon (or a line, or a point), and how far from it the rig reaches.

    Shape: `corners` (K, 2), against the clock. Unit: metres.
    """

    corners: Floats
    reach_m: float

    @property
    def area_m2(self) -> float:
        """The keep-clear area."""
        after = np.roll(self.corners, -1, axis=0)
        inner = 0.5 * float(np.sum(self.corners[:, 0] * after[:, 1] - after[:, 0] * self.corners[:, 1]))
        around = float(np.linalg.norm(after - self.corners, axis=1).sum())
        return inner + around * self.reach_m + math.pi * self.reach_m**2

    @property
    def bounds(self) -> tuple[Floats, Floats]:
        """The least and the largest x and y of the keep-clear area."""
        return self.corners.min(axis=0) - self.reach_m, self.corners.max(axis=0) + self.reach_m

    def outline(self, steps: int = 24) -> Floats:
        """Return the edge of the keep-clear area, each round corner in so many steps a half turn. Shape: (N, 2)."""
        side = np.roll(self.corners, -1, axis=0) - self.corners
        if len(self.corners) == 1:
            side = np.array([[1.0, 0.0], [-1.0, 0.0]])
        normal = np.arctan2(-side[:, 0], side[:, 1])  # of a way against the clock, outwards is to the right
        parts = []
        for place, after in enumerate(normal):
            turn = (after - normal[place - 1]) % (2 * math.pi)
            count = max(2, math.ceil(turn / math.pi * steps) + 1)
            angle = normal[place - 1] + np.linspace(0.0, turn, count)
            round_it = self.reach_m * np.stack([np.cos(angle), np.sin(angle)], axis=1)
            parts.append(self.corners[place % len(self.corners)] + round_it)
        return np.concatenate(parts)

    def clear_m(self, shape: Floats, radius_m: float = 0.0) -> float:
        """Return how far a convex shape, grown by `radius_m`, is from the keep-clear area; zero or less: within it.

        Shape: (N, 2).
        """
        # two convex shapes are as far apart as their differences are from the origin
        between = hull((shape[:, None, :] - self.corners[None, :, :]).reshape(-1, 2))
        return _from_origin(between) - self.reach_m - radius_m


def zone(rig: Rig, ends: Floats, reach_m: float) -> Zone:
    """Return the zone of a rig whose axes may be anywhere between `ends`. Shape: (A, 2). Unit: each axis's own.

    Error: ValueError for more slides than anybody has.
    """
    return Zone(hull(_pivots(rig, ends)[:, :2]), reach_m)


def heights_m(rig: Rig, ends: Floats) -> tuple[float, float]:
    """Return how low and how high the pivot may be. Shape: (A, 2)."""
    up = _pivots(rig, ends)[:, 2]
    return float(up.min()), float(up.max())


def endless(rig: Rig) -> tuple[str, ...]:
    """Return the slides and lifts that have no ends: where their whole travel leads nobody can say."""
    return tuple(axis.name for axis in rig.axes if _carries(axis.kind, axis.unit) and axis.travel is None)


def travels(rig: Rig, otherwise: Floats) -> Floats:
    """Return the whole travel of each axis; `otherwise` for one without ends. Shape: (A, 2)."""
    pairs = zip(rig.axes, otherwise, strict=True)
    return np.array([axis.travel if axis.travel is not None else own for axis, own in pairs], dtype=np.float64)


def hull(points: Floats) -> Floats:
    """Return the corners of the convex hull, against the clock. Shape: (N, 2) to (K, 2)."""
    ordered = sorted({(float(x), float(y)) for x, y in points})
    if len(ordered) < 3:
        return np.array(ordered)
    return np.array(_half(ordered) + _half(ordered[::-1]))


def _half(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Return one side of a hull, without its last point."""
    found: list[tuple[float, float]] = []
    for point in points:
        while len(found) > 1 and _turn(found[-2], found[-1], point) <= 0:
            found.pop()
        found.append(point)
    return found[:-1]


def _turn(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def _from_origin(corners: Floats) -> float:
    """Return how far the origin is from a convex polygon; 0 inside."""
    after = np.roll(corners, -1, axis=0)
    side = after - corners
    if len(corners) > 2 and bool((corners[:, 0] * side[:, 1] - corners[:, 1] * side[:, 0] >= 0).all()):
        return 0.0
    squared = np.maximum((side**2).sum(axis=1), np.finfo(np.float64).tiny)
    along = np.clip(-(corners * side).sum(axis=1) / squared, 0.0, 1.0)
    return float(np.linalg.norm(corners + along[:, None] * side, axis=1).min())


def _carries(kind: str, unit: str) -> bool:
    return kind in ("slide", "lift") and unit == READ_AS[kind]


def _pivots(rig: Rig, ends: Floats) -> Floats:
    """Return where the pivot is with every slide and lift at either end. Shape: (N, 3)."""
    moving = [n for n, axis in enumerate(rig.axes) if _carries(axis.kind, axis.unit)]
    if len(moving) > _MOST_SLIDES:
        raise ValueError(f"the rig has {len(moving)} slides and lifts; {_MOST_SLIDES} is the most that is drawn")
    places = np.repeat(ends[None, :, 0], 2 ** len(moving), axis=0)
    for row, which in enumerate(itertools.product((0, 1), repeat=len(moving))):
        places[row, moving] = ends[moving, which]
    pivot, _ = stood(rig, places)
    return pivot
