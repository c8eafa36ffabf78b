"""What a hand wants of one axis: a speed, or a place to come to."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Towards:
    """Come to rest at `position`, at up to `speed`. Unit: the axis's own; that a second, at least 0."""

    position: float
    speed: float


# a speed in the axis's unit a second, or a place
Wish = float | Towards
