"""When the camera is told to do something along what is armed. It sends nothing, and only says what goes out when.

An order goes out when the clock, running forward, passes its place; the camera's own lead is taken off before. One
whose place the clock has jumped over is not made up for, but goes out where the clock is rolled back and passes there
after all; none goes out twice. One that lies up to `LATE_S` before where the clock was first seen running goes out at
once, so that a camera that shall record from before the start records from the start at least.
"""

from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass, replace
from fractions import Fraction

from sequencer.playback.state import GRACE_S, ON_THE_CLOCK, STOPS, Phase, State
from sequencer.rig.signals import Trigger
from sequencer.score.camera import CameraCue, Doing
from sequencer.sync.reading import Clock

LATE_S = 2.0
_JUMP_S = 0.5  # between two ticks no clock runs as far


@dataclass(frozen=True, slots=True)
class Order:
    """Order `do` when the clock is at `at_s`. Unit: seconds from the project's start, as the clock counts."""

    at_s: float
    do: Doing


@dataclass(frozen=True, slots=True)
class Firing:
    """What is still to be ordered, and what the clock was past, by time; where it was seen last, None before it ran."""

    orders: tuple[Order, ...] = ()
    missed: tuple[Order, ...] = ()
    seen_s: float | None = None
    jumps: int | None = None


def planned(
    cues: Iterable[CameraCue], span_s: tuple[float, float], start_s: float, speed: Fraction, rate: Fraction
) -> Firing:
    """Return the orders of one arming.

    `span_s` is the armed part as the clock counts, `start_s` where it begins as it is written; a place on the timeline
    is reached `speed` times as fast. `rate` in frames a second. Only what lies in the part, or hangs on its ends,
    counts.
    """
    orders = []
    for cue in cues:
        if cue.at == "cue start":
            at_s = span_s[0]
        elif cue.at == "cue end":
            at_s = span_s[1]
        else:
            assert isinstance(cue.at, Fraction)
            at_s = span_s[0] + (float(cue.at / rate) - start_s) / float(speed)
            if not span_s[0] <= at_s <= span_s[1]:
                continue
        orders.append(Order(at_s + cue.after_s - cue.lead_s, cue.do))
    return Firing(tuple(sorted(orders, key=_at_s)))


def before_s(firing: Firing, start_s: float) -> float:
    """Return how long before `start_s` the clock must run for the first order to go out in time."""
    return max([start_s - order.at_s for order in firing.orders], default=0.0)


def behind_s(firing: Firing, end_s: float) -> float:
    """Return how long behind `end_s` the clock must run for the last order to go out; 0 where none is behind it."""
    return max([0.0, *(order.at_s - end_s for order in firing.orders)])


def counts(state: State, clock: Clock) -> bool:
    """Whether the camera goes along with `clock`: on the way to the start, on the move, and behind its end.

    It does not while the rig waits for a clock that is past the start, nor where that was set anew behind the end.
    """
    if state.phase in (Phase.LOCATING, Phase.READY):
        return clock.position_s <= state.cue.cued.start_s + GRACE_S
    return state.phase in ON_THE_CLOCK or (state.phase not in STOPS and clock.jumps == state.jumps)


def fired(firing: Firing, clock: Clock) -> tuple[Firing, tuple[Trigger, ...], tuple[Order, ...]]:
    """Return what is left at `clock`, what is to be ordered with the instant of each, and what was jumped over."""
    if not clock.steers or clock.speed <= 0:
        return firing, (), ()
    now_s, seen_s = clock.position_s, firing.seen_s
    anew = seen_s is None or clock.jumps != firing.jumps or not 0 <= now_s - seen_s <= _JUMP_S
    if anew and firing.missed:
        again = tuple(order for order in firing.missed if order.at_s > now_s - LATE_S)
        orders = tuple(sorted((*firing.orders, *again), key=_at_s))
        firing = replace(firing, orders=orders, missed=firing.missed[: len(firing.missed) - len(again)])
    from_s = now_s - LATE_S if seen_s is None or anew else seen_s
    passed = firing.orders[: bisect_right(firing.orders, now_s, key=_at_s)]
    due = [order for order in passed if order.at_s >= from_s]
    triggers = tuple(Trigger(_instant(order, clock, late=anew), order.do) for order in due)
    missed = tuple(order for order in passed if order.at_s < from_s)
    left = Firing(
        orders=firing.orders[len(passed) :],
        missed=tuple(sorted((*firing.missed, *missed), key=_at_s)) if missed else firing.missed,
        seen_s=now_s,
        jumps=clock.jumps,
    )
    return left, triggers, missed


def _at_s(order: Order) -> float:
    return order.at_s


def _instant(order: Order, clock: Clock, *, late: bool) -> int:
    """Return when the clock passed the order's place, or now where it was not seen to."""
    return clock.at_ns if late else clock.at_ns + round((order.at_s - clock.position_s) / clock.speed * 1e9)
