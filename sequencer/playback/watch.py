"""Whether the rig is where it was sent, as far as it says. It judges answers only: without any, a rig is never astray.

An axis is in bounds while it stands somewhere that its setpoints have been within the last moments, or on the way to
the next one, give or take the guard's tolerance: so no model of the motor is needed, and one that stalls is seen when
the setpoints have moved on. A rig answers at any time between two setpoints, and may lie that much ahead of the older
one, which at few ticks a second is more than the tolerance.
"""

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.trajectory import Floats
from sequencer.playback.guard import Limits, Sent, Stray, strays
from sequencer.rig.axis import FARTHEST, Rig
from sequencer.rig.signals import Feedback

Flags = NDArray[np.bool_]
Stamps = NDArray[np.int64]

WINDOW_S = 0.2  # how far an axis may lag beyond its latency
ASTRAY_S = 0.1  # how long it must be out of bounds: one wrong answer stops nothing
_SPACING_S = 0.01  # setpoints kept: between two of these an axis travels half of the guard's tolerance at most


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Watch:
    """What is known of the rig's answers.

    Shape: `been` (N, A) the setpoints that are kept, the newest last, `due_ns` N when they were due; `low`, `high` (A,)
    between which they lie, with the one to come; `position` (A,) what each axis said last, NaN where it never spoke;
    `gap` A, from there to these bounds, 0 within, empty where all are. An axis that falls silent while others speak is
    judged no longer than the window lasts: then it is missed for its silence, which is the true reason.
    `answering` (A,) says which axes answer at all, `spoke_ns` (A,) when each said something last, `longest_ns` when the
    one did that has been silent longest, None where none answers; `left` (A,) without which the run goes on: whatever
    they say, or not, is no fault.
    Unit: `window_s` how long a setpoint is kept; monotonic nanoseconds; `strayed_ns` when the present unbroken run of
    answers out of bounds began.
    """

    answering: Flags
    left: Flags
    spoke_ns: Stamps
    longest_ns: int | None
    window_s: float
    due_ns: tuple[int, ...]
    been: Floats
    low: Floats
    high: Floats
    heard_ns: int | None = None
    strayed_ns: int | None = None
    gap: tuple[float, ...] = ()
    position: Floats | None = None

    @property
    def answers(self) -> bool:
        """Whether any axis answers without which nothing goes on."""
        return self.longest_ns is not None

    @property
    def told(self) -> bool:
        """Whether every axis that answers has said where it stands."""
        return self.position is not None and not np.isnan(self.position[self.answering]).any()


def begin(rig: Rig, answers: bool | Sequence[bool], first: Sent) -> Watch:
    """Return the watch over a rig that stands where `first` says; `answers`: whether it answers, or which axes do."""
    longest_s = max(axis.latency_s for axis in rig.axes)
    position = np.array(first.position)
    answering = np.broadcast_to(np.array(answers, dtype=np.bool_), len(rig.axes))
    return Watch(
        answering=answering,
        left=np.zeros(len(rig.axes), dtype=np.bool_),
        spoke_ns=np.full(len(rig.axes), first.due_ns, dtype=np.int64),
        longest_ns=first.due_ns if answering.any() else None,
        window_s=WINDOW_S + longest_s,
        due_ns=(first.due_ns,),
        been=position[np.newaxis],
        low=position,
        high=position,
    )


def remember(watch: Watch, sent: Sent) -> Watch:
    """Return the watch that knows of one more setpoint."""
    if sent.due_ns - watch.due_ns[-1] < _SPACING_S * 1e9:
        return watch
    # one older than the window stays, so that the window is always covered
    first = max(bisect_right(watch.due_ns, sent.due_ns - watch.window_s * 1e9) - 1, 0)
    been = np.concatenate((watch.been[first:], [sent.position]))
    due_ns = (*watch.due_ns[first:], sent.due_ns)
    next_one = np.array(sent.position) + np.array(sent.speed) * sent.span_s  # at an unchanged pace
    low, high = np.minimum(been.min(axis=0), next_one), np.maximum(been.max(axis=0), next_one)
    return replace(watch, due_ns=due_ns, been=been, low=low, high=high)


def hear(watch: Watch, limits: Limits, feedback: Feedback) -> Watch:
    """Return the watch after one answer of the rig. What is no place that an axis can have counts as nothing said."""
    position = feedback.position
    silent, unjudged = ~(np.abs(position) < FARTHEST), watch.left
    if not silent.any():
        spoke_ns = np.full(len(position), feedback.heard_ns)
        longest_ns = None if watch.longest_ns is None else feedback.heard_ns
    else:
        spoke_ns = np.where(silent, watch.spoke_ns, feedback.heard_ns)
        longest_ns = _longest_ns(watch, spoke_ns, watch.left)
        unjudged = unjudged | (feedback.heard_ns - spoke_ns > WINDOW_S * 1e9)
        position = np.where(silent, math.nan if watch.position is None else watch.position, position)
    out = (position - np.minimum(np.maximum(position, watch.low), watch.high)) * ~unjudged
    gap = tuple(np.nan_to_num(out).tolist()) if out.any() else ()
    began_ns = feedback.heard_ns if watch.strayed_ns is None else watch.strayed_ns
    return replace(
        watch,
        heard_ns=feedback.heard_ns,
        spoke_ns=spoke_ns,
        longest_ns=longest_ns,
        strayed_ns=began_ns if strays(limits, gap) else None,
        gap=gap,
        position=position,
    )


def leave(watch: Watch, places: Sequence[int]) -> Watch:
    """Return the watch over a rig of which these axes are left behind, and no others."""
    left = np.zeros_like(watch.left)
    left[list(places)] = True
    return replace(watch, left=left, longest_ns=_longest_ns(watch, watch.spoke_ns, left), strayed_ns=None, gap=())


def _longest_ns(watch: Watch, spoke_ns: Stamps, left: Flags) -> int | None:
    counting = spoke_ns[watch.answering & ~left]
    return int(counting.min()) if len(counting) else None


def forget(watch: Watch) -> Watch:
    """Return the watch over a rig that dropped: where it was says nothing of where it is."""
    return replace(leave(watch, ()), position=None)


def anew(watch: Watch, rig: Rig, first: Sent) -> Watch:
    """Return the watch begun anew, over a rig that was heard before and now stands where `first` says."""
    begun = begin(rig, watch.answering.tolist(), first)
    heard = replace(begun, heard_ns=watch.heard_ns, spoke_ns=watch.spoke_ns, position=watch.position)
    return leave(heard, ())


def silent_s(watch: Watch, now_ns: int) -> float:
    """Return for how long an axis has not answered: 0 where none ever does, infinite where none has yet."""
    if watch.longest_ns is None:
        return 0.0
    return math.inf if watch.heard_ns is None else (now_ns - watch.longest_ns) * 1e-9


def astray(watch: Watch, limits: Limits) -> Stray | None:
    """Return the axis that has been out of bounds for too long, or None."""
    if watch.strayed_ns is None or watch.heard_ns is None or watch.heard_ns - watch.strayed_ns < ASTRAY_S * 1e9:
        return None
    return strays(limits, watch.gap)


def near(watch: Watch, limits: Limits, sent: Sent) -> bool:
    """Whether the rig is at its last setpoint, within the guard's tolerance, as far as it says."""
    if watch.position is None:
        return not watch.answers
    off = np.where(watch.left, 0.0, np.nan_to_num(watch.position - np.array(sent.position)))
    return strays(limits, tuple(off.tolist())) is None
