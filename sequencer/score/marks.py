"""Marks: poses of the rig that the operator keeps, in an order, each with how the rig goes there. They move nothing.

A mark keeps what was stored, whatever becomes of the rig: one of an axis that is gone, or outside the limits, is still
a mark, and `faults` says why the rig cannot go there.
"""

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass
from fractions import Fraction

from sequencer.rig.axis import Axis, Rig, is_place
from sequencer.rig.limits import SumLimit


@dataclass(frozen=True, slots=True)
class Fastest:
    """The leg to a mark is as fast as the axes may go."""


@dataclass(frozen=True, slots=True)
class AtSpeed:
    """The leg to a mark uses no more than this part of each axis's own speed limit. Error: ValueError."""

    part: Fraction

    def __post_init__(self) -> None:
        if not 0 < self.part <= 1:
            raise ValueError(f"speed is {self.part}; it is a part of each axis's limit, above 0 and at most 1")


@dataclass(frozen=True, slots=True)
class Lasting:
    """The leg to a mark takes just so long, wherever it begins. Error: ValueError."""

    lasts_s: Fraction

    def __post_init__(self) -> None:
        if self.lasts_s <= 0:
            raise ValueError(f"lasts_s is {self.lasts_s}; a leg takes more than no time")


Pace = Fastest | AtSpeed | Lasting


@dataclass(frozen=True, slots=True)
class Mark:
    """Where some axes of the rig stand, and how the rig goes there; axes that are not named stay where they are.

    `position` is pairs of an axis's name and its position; that of an axis without end counts as it is written, turns
    and all. `leg` is the pace of the leg to this mark, from the one before it or from wherever the rig is.
    Unit: each axis's own. Error: ValueError in plain words.
    """

    name: str
    position: tuple[tuple[str, float], ...]
    leg: Pace = Fastest()

    def __post_init__(self) -> None:
        if not self.name.strip() or not self.name.isprintable():
            raise ValueError("that is no name of a mark; write one or more printable characters")
        if not self.position:
            raise ValueError("a mark says where one axis stands, or more; this one names none")
        names = [axis for axis, _ in self.position]
        for axis, value in self.position:
            if names.count(axis) > 1:
                raise ValueError(f"the mark names {axis} twice; keep one of its positions")
            if not is_place(value):
                mend = "give a number in its unit, below ten million either way"
                raise ValueError(f"{axis} cannot stand at {value}; {mend}")

    @property
    def axes(self) -> tuple[str, ...]:
        """The axes that it names."""
        return tuple(axis for axis, _ in self.position)


Marks = tuple[Mark, ...]


def faults(marks: Sequence[Mark], rig: Rig) -> dict[str, str]:
    """Return why the rig cannot go to some of the marks, by their names, in words with the mend."""
    found = {mark.name: fault(dict(mark.position), rig) for mark in marks}
    return {name: words for name, words in found.items() if words}


def fault(position: Mapping[str, float], rig: Rig, standing: Mapping[str, float] | None = None) -> str:
    """Return why these axes of the rig cannot stand so, in words with the mend; empty where they can.

    `standing` is where the others stand, for limits that tie axes together; such a limit is left out where it speaks
    of an axis of which nothing is known.
    """
    words = []
    for name, value in position.items():
        if name not in rig.names:
            there = ", ".join(rig.names)
            words.append(f"the rig has no axis {name!r} (it has {there}); store the mark anew, or add the axis")
            continue
        axis = rig.axes[rig.index(name)]
        if axis.travel is not None and not axis.travel[0] <= value <= axis.travel[1]:
            where = f"{_value(value, axis)} is outside {name}'s travel {_range(axis.travel)}"
            words.append(f"{where}; store the mark anew, or widen the travel")
    words += _together({**(standing or {}), **position}, position.keys(), rig)
    return "; also ".join(words)


def _together(position: Mapping[str, float], named: Set[str], rig: Rig) -> list[str]:
    """Return what breaks a limit that ties one of the axes `named` to others."""
    words = []
    for limit in rig.combined:
        if limit.travel is None or named.isdisjoint(limit.axes) or not position.keys() >= set(limit.axes):
            continue
        if isinstance(limit, SumLimit):
            value = sum(weight * position[name] for name, weight in limit.sum)
        else:
            low, high = limit.between
            if not low <= position[limit.other] <= high:
                continue
            value = position[limit.axis]
        low, high = limit.travel
        if not low <= value <= high:
            where = f"{limit.name} ({limit.words}) would be {value:.9g}, outside {_range(limit.travel)}"
            words.append(f"{where}; store the mark anew, or widen that limit")
    return words


def _value(value: float, axis: Axis) -> str:
    return f"{value:.9g}" if axis.unit == "part" else f"{value:.9g} {axis.unit}"


def _range(ends: tuple[float, float]) -> str:
    return f"[{ends[0]:.9g}, {ends[1]:.9g}]"
