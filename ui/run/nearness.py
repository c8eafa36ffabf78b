"""How each axis stands: where it is, where it was sent, how far behind, and how near to an end of its travel.

It draws nothing.
"""

from dataclasses import dataclass
from typing import Literal

from sequencer.rig.axis import Axis, Rig
from sequencer.shell.messages import Status


@dataclass(frozen=True, slots=True, kw_only=True)
class Near:
    """One axis at one instant. Unit: the axis's own; `part` of half the travel that is left to the nearer end."""

    axis: Axis
    place: int  # in the rig
    actual: float | None = None
    asked: float | None = None
    error: float | None = None
    to_end: float | None = None
    end: Literal["low", "high"] | None = None
    part: float | None = None


def near(axis: Axis, place: int, actual: float | None, asked: float | None) -> Near:
    """Return how one axis stands; what the rig did not say is None, never taken from what it was asked."""
    error = None if actual is None or asked is None else actual - asked
    if actual is None or axis.travel is None:
        return Near(axis=axis, place=place, actual=actual, asked=asked, error=error)
    low, high = axis.travel
    to_low, to_high = actual - low, high - actual
    to_end = min(to_low, to_high)
    return Near(
        axis=axis,
        place=place,
        actual=actual,
        asked=asked,
        error=error,
        to_end=to_end,
        end="low" if to_low <= to_high else "high",
        part=max(0.0, to_end / ((high - low) / 2)),
    )


def rows(rig: Rig, status: Status | None) -> tuple[Near, ...]:
    """Return all axes of the rig, as the engine reported them last."""
    actual = () if status is None else status.actual
    asked = () if status is None else status.asked
    whole = len(rig.axes)
    return tuple(
        near(
            axis,
            place,
            actual[place] if len(actual) == whole else None,
            asked[place] if len(asked) == whole else None,
        )
        for place, axis in enumerate(rig.axes)
    )


def worst(stands: tuple[Near, ...]) -> Near | None:
    """Return the axis furthest behind for what its motor does in a second; None where none is known."""
    known = [one for one in stands if one.error is not None]
    return max(known, key=lambda one: abs(one.error or 0.0) / one.axis.speed, default=None)
