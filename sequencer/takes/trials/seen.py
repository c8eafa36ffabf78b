"""What one axis was asked and where it stood during a step, from the rows of the take. It judges nothing.

Unit: seconds from the step's start; the axis's own unit.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sequencer.takes.take import Take

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Seen:
    """Shape: `asked_s`, `asked` (N,); `actual_s`, `actual` (M,), in order of time. `stopped`: why the rig was stopped.

    `begun` is False where the step's own time never came; seconds then count from the first setpoint.
    """

    asked_s: Floats
    asked: Floats
    actual_s: Floats
    actual: Floats
    begun: bool
    stopped: str = ""

    def between(self, from_s: float, to_s: float) -> tuple[Floats, Floats]:
        """Return the answers in a stretch of time. Shape: (K,) each."""
        there = (self.actual_s >= from_s) & (self.actual_s < to_s)
        return self.actual_s[there], self.actual[there]


def seen(take: Take, axis: str, start_s: float, lasts_s: float, stopped: str = "") -> Seen:
    """Return what the take holds of `axis`; the step began at `start_s` on the timeline."""
    column = take.axes.index(axis)
    at_s: Floats = take.actual_ns / 1e9
    due_s: Floats = take.due_ns / 1e9
    actual = take.actual[:, column]
    said = ~np.isnan(actual)
    within = (take.timeline_s > start_s) & (take.timeline_s < start_s + lasts_s)
    # the clock ran at its own speed: one offset holds throughout
    offset_s = float(np.median(due_s[within] - take.timeline_s[within])) + start_s if within.any() else 0.0
    if not within.any() and len(due_s):
        offset_s = float(due_s[0])
    return Seen(
        asked_s=due_s - offset_s,
        asked=take.asked[:, column],
        actual_s=at_s[said] - offset_s,
        actual=actual[said],
        begun=bool(within.any()),
        stopped=stopped,
    )
