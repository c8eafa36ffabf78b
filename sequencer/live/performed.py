"""A performance as it was recorded: where each axis stood against the clock, and where that clock had gaps.

It refuses to bridge a gap: what was performed over one is on no timeline. Only where timecode stopped coming and went
on as if it had not may it be told to take the clock as it was carried on.
Instants are the move's own, in seconds from the project's start, whatever the speed of the pass was.
"""

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from sequencer.errors import TakeError
from sequencer.timebase.instants import instant
from sequencer.timebase.rate import Rate

Floats = NDArray[np.float64]
Stamps = NDArray[np.int64]
Bools = NDArray[np.bool_]

# between two setpoints; above it some are missing
LONGEST_STEP_S = 0.05
# of the speed of a clock that runs: outside it stands, jumps, or runs off
SLOWEST, FASTEST = 0.5, 2.0
# a clock that is set right by less than this has not jumped
JUMP_S = 0.005
_LEAST_S = 0.2  # shorter stretches are no performance


class Why(StrEnum):
    """How the clock was not to be followed."""

    BACK = "jumps back"
    FORWARD = "jumps forward"
    STANDING = "stands"
    COASTING = "is not heard"
    OFF = "is not followed"
    MISSING = "has no setpoints"


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Clocked:
    """How the clock ran while N setpoints were sent.

    Shape: `due_ns` (N,), rising; `timeline_s` (N,), where in the move the clock was at each; `followed` (N,), whether
    the rig was on the clock; `coasting` (N,), whether timecode was missing and the clock carried on without it.
    `pace` is the speed of the pass: how much of the move goes by in a second.
    """

    due_ns: Stamps
    timeline_s: Floats
    followed: Bools
    coasting: Bools
    pace: float = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class Path:
    """Where one axis stood. Shape: `at_s` (N,), rising, `position` (N,). Unit: seconds in the move; the axis's own."""

    at_s: Floats
    position: Floats


@dataclass(frozen=True, slots=True)
class Gap:
    """Where the clock, at `at_s` in the move, could not be followed, and for how long, or how far it jumped."""

    at_s: float
    lasts_s: float
    why: Why

    def words(self, rate: Rate) -> str:
        """Say it, with the instant as `timebase.instants` has it."""
        at = _at(self.at_s, rate)
        by = "by" if self.why in (Why.BACK, Why.FORWARD) else "for"
        return f"the clock {self.why} at {at} {by} {self.lasts_s:.3g} s"


@dataclass(frozen=True, slots=True)
class Stretch:
    """Setpoints `first` up to `last`, it included, between which the clock ran without a gap."""

    first: int
    last: int


def stretches(clocked: Clocked, coasts: bool = False) -> tuple[tuple[Stretch, ...], tuple[Gap, ...]]:
    """Return the stretches in which the clock ran, and the gaps between them.

    `coasts`: a clock that is carried on without timecode counts as one that runs.
    Where the rig was not on the clock before and after, that is no gap.
    """
    steps = _steps(clocked, coasts)
    good = np.array([why is None for why in steps], np.bool_)
    edges = np.flatnonzero(np.diff(good, prepend=False, append=False)).reshape(-1, 2)
    found = tuple(Stretch(first, last) for first, last in edges.tolist())
    inner = [(one.last, other.first) for one, other in pairwise(found)]
    return found, tuple(_gap(clocked, steps, first, last) for first, last in inner)


def _steps(clocked: Clocked, coasts: bool) -> list[Why | None]:
    """Return what is wrong from each setpoint to the next one, None where nothing is."""
    lasts_s = np.diff(clocked.due_ns) / 1e9
    runs_s = np.diff(clocked.timeline_s) / clocked.pace
    wrong = np.full(len(lasts_s), None, object)
    wrong[runs_s < SLOWEST * lasts_s] = Why.STANDING
    wrong[runs_s > FASTEST * lasts_s + JUMP_S] = Why.FORWARD
    wrong[runs_s < -JUMP_S] = Why.BACK
    wrong[lasts_s > LONGEST_STEP_S] = Why.MISSING
    if not coasts:
        wrong[clocked.coasting[1:] | clocked.coasting[:-1]] = Why.COASTING
    wrong[~(clocked.followed[1:] & clocked.followed[:-1])] = Why.OFF
    return list(wrong)


def _gap(clocked: Clocked, steps: list[Why | None], first: int, last: int) -> Gap:
    """Return the gap between two stretches: what is wrong with most of its steps."""
    each = [why for why in steps[first:last] if why is not None]
    jumps = [why for why in each if why in (Why.BACK, Why.FORWARD)]
    why = jumps[0] if jumps else max(each, key=each.count)
    lasts_s = float(clocked.due_ns[last] - clocked.due_ns[first]) / 1e9
    if why in (Why.BACK, Why.FORWARD):
        lasts_s = abs(_length_s(clocked, Stretch(first, last)) / clocked.pace - lasts_s)
    return Gap(float(clocked.timeline_s[first]), lasts_s, why)


def punched(clocked: Clocked, marks: tuple[tuple[int, str], ...], among: tuple[Stretch, ...]) -> tuple[Stretch, ...]:
    """Return those parts of stretches in which the hands had the axes: from each `in` to the next `out`.

    Without a mark it is all of them. An `in` without an `out` lasts to the end; an `out` without an `in` counts from
    the begin.
    Unit: `marks` are (monotonic ns, in or out), in order.
    """
    if not marks:
        return among
    spans, since = [], None if marks[0][1] == "in" else int(clocked.due_ns[0])
    for at_ns, way in marks:
        if way == "in" and since is None:
            since = at_ns
        elif way == "out" and since is not None:
            spans.append((since, at_ns))
            since = None
    spans += [] if since is None else [(since, int(clocked.due_ns[-1]))]
    found = []
    for begin_ns, end_ns in spans:
        low, high = np.searchsorted(clocked.due_ns, [begin_ns, end_ns + 1]).tolist()
        for one in among:
            part = Stretch(max(one.first, low), min(one.last, high - 1))
            if part.last > part.first:
                found.append(part)
    return tuple(found)


def chosen(
    clocked: Clocked,
    among: tuple[Stretch, ...],
    gaps: tuple[Gap, ...],
    rate: Rate,
    wanted_s: tuple[float | None, float | None] = (None, None),
) -> Stretch:
    """Return the stretch that holds both instants that are named; without any, the longest one.

    Unit: `wanted_s` seconds on the timeline; None where the operator names none.
    Error: TakeError where no stretch is left, or none holds what is named; it says where the gaps are.
    """
    where = "".join(f"; {gap.words(rate)}" for gap in gaps[:4])
    long = [one for one in among if _length_s(clocked, one) >= _LEAST_S]
    if not long:
        mend = "record it again while the clock runs"
        raise TakeError(f"no {_LEAST_S:g} s of it in a row were performed by hand while the clock ran{where}; {mend}")
    named_s = [at_s for at_s in wanted_s if at_s is not None]
    holds = [one for one in long if all(_inside(clocked, one, at_s) for at_s in named_s)]
    if not holds:
        spans = ", ".join(
            f"{_at(clocked.timeline_s[one.first], rate)} to {_at(clocked.timeline_s[one.last], rate)}"
            for one in long[:6]
        )
        raise TakeError(f"it was not performed in one piece there{where}; name instants inside one of {spans}")
    return max(holds, key=lambda one: _length_s(clocked, one))


def path(clocked: Clocked, one: Stretch, position: Floats, latency_s: float) -> Path:
    """Return where an axis stood in a stretch: at each setpoint, as much later as it takes to get there.

    So played, with the same latency led by, the axis stands at the same place at the same instant again.
    Shape: `position` (N,), what it was sent at each of the clock's setpoints.
    """
    rows = slice(one.first, one.last + 1)
    return Path(clocked.timeline_s[rows] + latency_s * clocked.pace, position[rows])


def _at(at_s: float, rate: Rate) -> str:
    return instant(rate.frames(Fraction(float(at_s))))


def _length_s(clocked: Clocked, one: Stretch) -> float:
    return float(clocked.timeline_s[one.last] - clocked.timeline_s[one.first])


def _inside(clocked: Clocked, one: Stretch, at_s: float) -> bool:
    return bool(clocked.timeline_s[one.first] - JUMP_S <= at_s <= clocked.timeline_s[one.last] + JUMP_S)
