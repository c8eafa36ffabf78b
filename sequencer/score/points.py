"""Points in the set that have a name, so that the camera can be aimed at them. They move nothing.

Places are in the rig's own space (docs/conventions.md), in metres.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

FARTHEST_M = 10_000.0


@dataclass(frozen=True, slots=True)
class Point:
    """A point by its name: how far to the right, ahead and above the ground; `sigma_m` is how sure that is.

    `sigma_m` is the standard deviation along the worst direction, where it was found by aiming; None where it was
    measured, or nobody knows. Error: ValueError in plain words.
    """

    name: str
    at_m: tuple[float, float, float]
    sigma_m: float | None = None

    def __post_init__(self) -> None:
        if not self.name.strip() or not self.name.isprintable():
            raise ValueError("that is no name of a point; write one or more printable characters")
        for value in self.at_m:
            if not (math.isfinite(value) and abs(value) <= FARTHEST_M):
                raise ValueError(f"at_m has {value:g}; it must be from {-FARTHEST_M:g} to {FARTHEST_M:g} metres")
        if self.sigma_m is not None and not (math.isfinite(self.sigma_m) and self.sigma_m > 0):
            raise ValueError(f"sigma_m is {self.sigma_m:g}; it must be above zero, or left out")


Points = tuple[Point, ...]


def point_of(points: Sequence[Point], name: str) -> Point:
    """Return the point `name`. Error: ValueError that lists the points there are."""
    for one in points:
        if one.name == name:
            return one
    there = ", ".join(one.name for one in points) or "none"
    raise ValueError(f"there is no point {name!r}; points: {there}")


def with_point(points: Points, point: Point) -> Points:
    """Return the points with this one: in the place of the one of its name, or the last."""
    if all(one.name != point.name for one in points):
        return (*points, point)
    return tuple(point if one.name == point.name else one for one in points)


def without_point(points: Points, name: str) -> Points:
    """Return the points but for one. Error: ValueError for one that is not there."""
    gone = point_of(points, name)
    return tuple(one for one in points if one is not gone)
