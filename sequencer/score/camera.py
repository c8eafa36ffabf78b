"""What the camera does along the move: start and stop recording, expose a frame; before, at or after a point of it."""

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal, get_args

Doing = Literal["shutter", "record", "cut"]
Point = Literal["cue start", "cue end"]
DOINGS: tuple[Doing, ...] = get_args(Doing)
POINTS: tuple[Point, ...] = get_args(Point)
_FURTHEST_S = 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CameraCue:
    """The camera shall `do` something `after_s` after a point, before it where that is below zero.

    `at` is a frame after the project's start, or an end of whichever cue is played. `lead_s` is how long the camera
    takes from the order to the deed: it is ordered so much earlier. Unit: seconds of the clock, in every pass.
    Error: ValueError naming the field.
    """

    do: Doing
    at: Fraction | Point
    after_s: float = 0.0
    lead_s: float = 0.0

    def __post_init__(self) -> None:
        if self.do not in DOINGS:
            raise ValueError(f"do is {self.do!r}; it must be one of {', '.join(DOINGS)}")
        if isinstance(self.at, str) and self.at not in POINTS:
            raise ValueError(f"at is {self.at!r}; it must be a timecode or one of {', '.join(POINTS)}")
        if not (math.isfinite(self.after_s) and abs(self.after_s) <= _FURTHEST_S):
            raise ValueError(f"after_s is {self.after_s}; it must be from {-_FURTHEST_S:g} to {_FURTHEST_S:g}")
        if not (math.isfinite(self.lead_s) and 0 <= self.lead_s <= 60):
            raise ValueError(f"lead_s is {self.lead_s}; it must be from 0 to 60")
