"""What a lens does at the positions of its motors, as measured tables: distance, focal length, breathing, its pupil.

Between the rows of a table curves run that keep its order. Distances count from the sensor plane, as lens scales do,
and are interpolated by their inverse, with which a focus ring goes more evenly, and which ends at infinity.
It refuses rows out of order, and guesses nothing outside of them. Source: the thin lens, any textbook of optics: the
way of a focusing lens is f squared over the distance, to first order.
"""

import math
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sequencer.rig.distance import Scale, distance_text, metres, scale_of
from sequencer.rig.monotone import Curve

Floats = NDArray[np.float64]
_FARTHEST_PUPIL_MM = 10_000.0


@dataclass(frozen=True, slots=True)
class FocusRow:
    """At motor position `at` the lens is focused at `distance`, as its scale says it: `2.4 m`, `8 ft`, `inf`."""

    at: float
    distance: str


@dataclass(frozen=True, slots=True)
class FocusTable:
    """The lens's focus scale: from motor position to distance, and back. Unit: the axis's own; metres.

    Error: ValueError that names the row, counted from 1, for positions that do not rise, or distances that turn.
    """

    rows: tuple[FocusRow, ...]
    _curve: Curve = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        far_m = [_distance(row.distance, number) for number, row in enumerate(self.rows, 1)]
        at = [row.at for row in self.rows]
        _rising(at, "at")
        _one_way([1 / one for one in far_m], [row.distance for row in self.rows], "distance")
        object.__setattr__(self, "_curve", Curve(tuple(at), tuple(1 / one for one in far_m)))

    @property
    def scale(self) -> Scale:
        """In what its rows are written: feet where any of them is."""
        return "ft" if any(scale_of(row.distance) == "ft" for row in self.rows) else "m"

    @property
    def ends(self) -> tuple[float, float]:
        """The first and the last motor position of the table."""
        return self.rows[0].at, self.rows[-1].at

    def distance_m(self, position: ArrayLike) -> Floats:
        """Return the distance at motor positions, infinite where it is; beyond the table, that of its end.

        Shape: any, kept.
        """
        with np.errstate(divide="ignore", over="ignore"):
            far: Floats = np.asarray(1 / self._curve.at(position))
        return far

    def position(self, distance_m: float) -> float:
        """Return the motor position for a distance. Error: ValueError that says what the table holds."""
        try:
            return self._curve.inverse(1 / distance_m)
        except ValueError:
            near_m, far_m = sorted(metres(row.distance) for row in (self.rows[0], self.rows[-1]))
            far, scale = distance_text(far_m, self.scale), self.scale
            what = f"{distance_text(distance_m, scale)} is not on the lens's scale"
            raise ValueError(f"{what}; it goes from {distance_text(near_m, scale)} to {far}") from None


@dataclass(frozen=True, slots=True)
class ZoomRow:
    """At motor position `at` the lens has this focal length."""

    at: float
    focal_mm: float


@dataclass(frozen=True, slots=True)
class ZoomTable:
    """From the zoom's motor position to focal length, and back. It is interpolated by the focal length's logarithm.

    Error: ValueError that names the row, counted from 1, for positions that do not rise, or focal lengths that turn.
    """

    rows: tuple[ZoomRow, ...]
    _curve: Curve = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        at, focal_mm = [row.at for row in self.rows], [row.focal_mm for row in self.rows]
        for number, one in enumerate(focal_mm, 1):
            if not (math.isfinite(one) and one > 0):
                raise ValueError(f"row {number}: focal_mm is {one}; it must be above zero")
        _rising(at, "at")
        logs = [math.log(one) for one in focal_mm]
        _one_way(logs, [f"{one:g} mm" for one in focal_mm], "focal_mm")
        object.__setattr__(self, "_curve", Curve(tuple(at), tuple(logs)))

    @property
    def ends(self) -> tuple[float, float]:
        """The first and the last motor position of the table."""
        return self.rows[0].at, self.rows[-1].at

    def focal_mm(self, position: ArrayLike) -> Floats:
        """Return the focal length at motor positions; beyond the table, that of its end. Shape: any, kept."""
        return np.exp(self._curve.at(position))

    def position(self, focal_mm: float) -> float:
        """Return the motor position for a focal length. Error: ValueError that says what the table holds."""
        for row in self.rows:
            if row.focal_mm == focal_mm:
                return row.at
        low, high = sorted((self.rows[0].focal_mm, self.rows[-1].focal_mm))
        if not low <= focal_mm <= high:
            raise ValueError(f"{focal_mm:g} mm is not on the zoom's scale; it goes from {low:g} to {high:g} mm")
        return self._curve.inverse(math.log(focal_mm))


@dataclass(frozen=True, slots=True)
class LensRow:
    """What was measured with the lens focused at `distance` and at `focal_mm`; None where that does not matter."""

    value: float
    distance: str | None = None
    focal_mm: float | None = None


@dataclass(frozen=True, slots=True)
class LensTable:
    """A value that changes with focus, with focal length, or with both; beyond its rows, that of the nearest.

    Over the distance's inverse a curve runs for each focal length, and straight lines lead from one to the next.
    Error: ValueError that names the row, counted from 1.
    """

    rows: tuple[LensRow, ...]
    _focals_mm: tuple[float, ...] = field(init=False, repr=False, compare=False)
    _curves: tuple[Curve, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        if not self.rows:
            raise ValueError("it has no rows; leave it out")
        groups: dict[float, dict[float, float]] = {}
        first = self.rows[0]
        for number, row in enumerate(self.rows, 1):
            for name in ("distance", "focal_mm"):
                if (getattr(row, name) is None) != (getattr(first, name) is None):
                    raise ValueError(f"row {number}: only some rows say {name}; every row says it, or none does")
            if not (row.focal_mm is None or (math.isfinite(row.focal_mm) and row.focal_mm > 0)):
                raise ValueError(f"row {number}: focal_mm is {row.focal_mm}; it must be above zero")
            near = 0.0 if row.distance is None else 1 / _distance(row.distance, number)
            group = groups.setdefault(row.focal_mm or 1.0, {})
            if near in group:
                raise ValueError(f"row {number}: says again what a row before it says; take one out")
            group[near] = row.value
        curves = [
            Curve(tuple(sorted(one)), tuple(one[near] for near in sorted(one))) for _, one in sorted(groups.items())
        ]
        object.__setattr__(self, "_focals_mm", tuple(sorted(groups)))
        object.__setattr__(self, "_curves", tuple(curves))

    def at(self, focal_mm: ArrayLike, distance_m: ArrayLike) -> Floats:
        """Return the values. Shape: both alike, or one of them a number. Unit: mm, metres."""
        near = 1 / np.asarray(distance_m, dtype=np.float64)
        each = [one.at(near) for one in self._curves]
        value = each[0]
        # from each focal length's value on to the next one's, as far as the way between them is gone
        for (low, high), (before, after) in zip(pairwise(self._focals_mm), pairwise(each), strict=True):
            part = np.minimum(np.maximum((np.asarray(focal_mm) - low) / (high - low), 0.0), 1.0)
            value = value + part * (after - before)
        return np.asarray(value)


def check_breathing(table: LensTable) -> None:
    """Refuse factors that no focal length has. Error: ValueError that names the row, counted from 1."""
    for number, row in enumerate(table.rows, 1):
        if not 0.5 <= row.value <= 2:
            raise ValueError(f"breathing row {number}: factor is {row.value:g}; it must be from 0.5 to 2")


def check_pupil(table: LensTable) -> None:
    """Refuse a pupil that is nowhere near. Error: ValueError that names the row, counted from 1."""
    for number, row in enumerate(table.rows, 1):
        if not abs(row.value) <= _FARTHEST_PUPIL_MM:
            most = f"{_FARTHEST_PUPIL_MM:g} either way"
            raise ValueError(f"pupil row {number}: ahead_mm is {row.value:g}; it must be within {most}")


def _distance(text: str, number: int) -> float:
    try:
        return metres(text)
    except ValueError as fault:
        raise ValueError(f"row {number}: {fault}") from None


def _rising(values: list[float], name: str) -> None:
    if len(values) < 2:
        raise ValueError("one row is too few; a table has two rows at least")
    for number, value in enumerate(values, 1):
        if not math.isfinite(value):
            raise ValueError(f"row {number}: {name} is {value}; it must be a number")
    for number, (before, value) in enumerate(pairwise(values), 2):
        if not before < value:
            raise ValueError(
                f"row {number}: {name} is {value:g}, not above {before:g} of row {number - 1}; sort the rows"
            )


def _one_way(values: list[float], words: list[str], name: str) -> None:
    """Refuse values that turn, or stay. Error: ValueError that names the row."""
    rises = values[1] > values[0]
    for number, (before, value) in enumerate(pairwise(values), 2):
        if before == value or (value > before) != rises:
            last, this = words[number - 2], words[number - 1]
            fault = "the same as" if before == value else "a turn after"
            raise ValueError(f"row {number}: {name} {this} is {fault} {last} of row {number - 1}; measure it again")
