"""What an axis was found to be able to do, and when: the evidence beside its limits. Nothing is limited by it.

Unit: as the axis's own fields of the same names; `lag_s` the time constant of a first-order lag, a part of `latency_s`.
"""

import math
import re
from dataclasses import dataclass, fields

_DAY = re.compile(r"\d{4}-(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])", re.ASCII)


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One measured value: the standard deviation of its `trials`, and whether it is only known to be `at_least` that.

    Error: ValueError naming the field.
    """

    value: float
    spread: float
    trials: int
    at_least: bool = False

    def __post_init__(self) -> None:
        for name in ("value", "spread"):
            value = getattr(self, name)
            if not (math.isfinite(value) and value >= 0):
                raise ValueError(f"{name} is {value}; it must be zero or more")
        if self.trials < 1:
            raise ValueError(f"trials is {self.trials}; it must be one or more")


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """The figures of one axis, as far as they were measured. `on` is the day: 2026-11-30. Error: ValueError."""

    on: str
    speed: Figure | None = None
    acceleration: Figure | None = None
    latency_s: Figure | None = None
    lag_s: Figure | None = None
    backlash: Figure | None = None
    resolution: Figure | None = None
    noise: Figure | None = None

    def __post_init__(self) -> None:
        if not _DAY.fullmatch(self.on):
            raise ValueError(f"on is {self.on!r}; write the day like 2026-11-30")

    @property
    def figures(self) -> dict[str, Figure]:
        """The figures there are, by their names."""
        named = ((one.name, getattr(self, one.name)) for one in fields(self) if one.name != "on")
        return {name: figure for name, figure in named if figure is not None}
