"""Limits that tie axes together: a weighted sum of some, or another limit for one while another is in some range.

A limit refuses to be written without saying what it limits.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class SumLimit:
    """What several axes may do together: the sum of their positions, each times its weight, has limits of its own.

    `sum` is pairs of an axis's name and its weight: a pan on a slide that swings past a wall, or two motors on one
    supply. Unit: what the weights make of the axes' units; that a second, a second squared, a second cubed.
    Error: ValueError naming the field.
    """

    name: str
    sum: tuple[tuple[str, float], ...]
    travel: tuple[float, float] | None = None
    speed: float | None = None
    acceleration: float | None = None
    jerk: float | None = None

    def __post_init__(self) -> None:
        if len(self.sum) < 2:
            raise ValueError("sum needs two axes or more; one axis alone has its own limits")
        names = [name for name, _ in self.sum]
        for name, weight in self.sum:
            if names.count(name) > 1:
                raise ValueError(f"sum has the axis {name!r} twice; add its weights")
            if not (math.isfinite(weight) and weight != 0):
                raise ValueError(f"the weight of {name} is {weight}; give it a number other than zero, or leave it out")
        _check_limits(self)

    @property
    def axes(self) -> tuple[str, ...]:
        """The axes that it speaks of."""
        return tuple(name for name, _ in self.sum)

    @property
    def words(self) -> str:
        """What it ties together, as in `pan + 0.05 slide`."""
        terms = [
            f"{'-' if weight < 0 else '+'} {'' if abs(weight) == 1 else f'{abs(weight):g} '}{name}"
            for name, weight in self.sum
        ]
        return " ".join(terms).removeprefix("+ ")


@dataclass(frozen=True, slots=True, kw_only=True)
class WhileLimit:
    """What the axis `axis` may do while the axis `other` stands in the range `between`, its ends included.

    Its own limits count as well. Unit: those of `axis`; `between` is in that of `other`.
    Error: ValueError naming the field.
    """

    name: str
    axis: str
    other: str
    between: tuple[float, float]
    travel: tuple[float, float] | None = None
    speed: float | None = None
    acceleration: float | None = None
    jerk: float | None = None

    def __post_init__(self) -> None:
        low, high = self.between
        if not (math.isfinite(low) and math.isfinite(high) and low < high):
            raise ValueError(f"between is [{low}, {high}], an empty range; the low end must be below the high end")
        _check_limits(self)

    @property
    def axes(self) -> tuple[str, ...]:
        """The axes that it speaks of."""
        return (self.axis, self.other)

    @property
    def words(self) -> str:
        """When it holds, as in `while tilt is between 45 and 90`."""
        low, high = self.between
        return f"while {self.other} is between {low:g} and {high:g}"


Combined = SumLimit | WhileLimit


def check_axes(limit: Combined, travels: Mapping[str, tuple[float, float] | None]) -> None:
    """Refuse a limit that does not suit a rig whose axes travel so. Error: ValueError in plain words."""
    for name in limit.axes:
        if name not in travels:
            raise ValueError(f"the rig has no axis {name!r}; its axes are {', '.join(travels)}")
    if isinstance(limit, WhileLimit) and (ends := travels[limit.other]) is not None:
        low, high = limit.between
        if low > ends[1] or high < ends[0]:
            raise ValueError(f"between is [{low}, {high}]; {limit.other} never gets there, its travel is {list(ends)}")


def _check_limits(limit: Combined) -> None:
    if not limit.name.strip():
        raise ValueError("name is empty; give the limit a name that its messages can use")
    if limit.travel is None and limit.speed is None and limit.acceleration is None and limit.jerk is None:
        raise ValueError("nothing is limited; give it travel, speed, acceleration or jerk")
    for name in ("speed", "acceleration", "jerk"):
        value = getattr(limit, name)
        if value is not None and not (math.isfinite(value) and value > 0):
            raise ValueError(f"{name} is {value}; it must be above zero")
    if limit.travel is not None:
        low, high = limit.travel
        if not (math.isfinite(low) and math.isfinite(high) and low < high):
            raise ValueError(f"travel is [{low}, {high}]; the low end must be below the high end")
