"""One axis, one step by hand: as far as its wish leads without passing what it must come to rest before.

A step is flown towards a speed until some instant, and braked from there on: so the wish and rest are the two ends of
all that a step may be, and the latest instant from which braking still suffices is the best of them.
"""

import math
from typing import NamedTuple

from sequencer.live.wish import Towards, Wish
from sequencer.motion.profile import Phase, State, braking
from sequencer.rig.axis import Axis

_SHORT = 1e-9  # of the travel: so far from its ends braking is to come to rest, since numbers round
# what an axis travels in the third power of this under its jerk cannot be measured: it is there
_NO_TIME_S = 1e-4
_TRIES = 2  # of a step to find its instant; the next one goes on from what is left


class Step(NamedTuple):
    """A step towards `speed` until `until_s`, then braking, and the state after it."""

    after: State
    speed: float
    until_s: float


def step(axis: Axis, state: State, wish: Wish, lasts_s: float) -> Step:
    """Return the step that does as much of the wish as leaves room for braking.

    Braking itself is taken to be inside; a number that is none asks for rest. An axis that stands outside its travel
    goes no further out. Only where braking ends is looked at: an axis that turns before that does so while its
    acceleration goes straight to zero, which it does alike in braking and on the way to any speed on that side.
    """
    speed, limit = _aim(axis, state, wish)
    if not speed:
        return _braked(axis, state, wish, limit, lasts_s)
    phases = braking(axis, state[1] - speed, state[2])
    after = flown(state, phases, lasts_s, speed)
    up = math.copysign(1.0, speed)
    ends = up * (_rest(axis, after) - limit) if math.isfinite(limit) else -math.inf
    if ends <= 0:
        return Step(after, speed, lasts_s)
    nothing = _NO_TIME_S**3 * axis.jerk
    begins = up * (_rest(axis, state) - limit)
    if begins > -nothing:
        return _braked(axis, state, wish, limit, lasts_s)
    # regula falsi: the longer it is flown, the more each instant more adds, so that a chord falls short and is safe
    best, low_s, high_s = state, 0.0, lasts_s
    for _ in range(_TRIES):
        at_s = (low_s * ends - high_s * begins) / (ends - begins)
        there = flown(state, phases, at_s, speed)
        beyond = up * (_rest(axis, there) - limit)
        if beyond <= 0:
            best, low_s, begins = there, at_s, beyond
        else:
            high_s, ends = at_s, beyond
    return Step(brake(axis, best, lasts_s - low_s), speed, low_s)


def _braked(axis: Axis, state: State, wish: Wish, limit: float, lasts_s: float) -> Step:
    """Return the step that brakes only; at the place that was wished for it ends just there."""
    after = brake(axis, state, lasts_s)
    # what is left of the way is nothing that can be measured
    nothing = 2 * _NO_TIME_S**3 * axis.jerk
    there = isinstance(wish, Towards) and after[1:] == (0.0, 0.0) and abs(after[0] - limit) <= nothing
    return Step((limit, 0.0, 0.0) if there else after, 0.0, 0.0)


def bounds(axis: Axis, position: float) -> tuple[float, float]:
    """Return how low and how high an axis at `position` may come to rest: in its travel, or no further out."""
    if axis.travel is None:
        return -math.inf, math.inf
    low, high = axis.travel
    short = _SHORT * (high - low)
    return min(low + short, position), max(high - short, position)


def brake(axis: Axis, state: State, lasts_s: float) -> State:
    """Return the state after a time of braking."""
    return flown(state, braking(axis, state[1], state[2]), lasts_s, 0.0)


def way(axis: Axis, state: State, speed: float, until_s: float) -> tuple[Phase, ...]:
    """Return the phases from `state` towards `speed` until an instant, and of braking from there to rest."""
    phases: list[Phase] = []
    left_s = until_s
    for jerk, phase_s in braking(axis, state[1] - speed, state[2]):
        if left_s <= 0:
            break
        phases.append((jerk, min(phase_s, left_s)))
        left_s -= phase_s
    if left_s > 0:
        phases.append((0.0, left_s))
    _, velocity, acceleration = _ended(state, tuple(phases))
    return (*phases, *braking(axis, velocity, acceleration))


def flown(state: State, phases: tuple[Phase, ...], lasts_s: float, speed: float) -> State:
    """Return the state after `lasts_s` of these phases, and of even `speed` when they are over."""
    p, v, a = state
    left_s = lasts_s
    for jerk, phase_s in phases:
        t = phase_s if phase_s < left_s else left_s
        p += t * (v + t * (a / 2 + t * jerk / 6))
        v += t * (a + t * jerk / 2)
        a += t * jerk
        left_s -= t
        if left_s <= 0:
            return p, v, a
    return p + left_s * speed, speed, 0.0


def _aim(axis: Axis, state: State, wish: Wish) -> tuple[float, float]:
    """Return the speed to go at, 0 for rest, and the place that must not be passed."""
    low, high = bounds(axis, state[0])
    if not isinstance(wish, Towards):
        speed = min(max(wish, -axis.speed), axis.speed) if math.isfinite(wish) else 0.0
        return speed, high if speed > 0 else low
    if not (math.isfinite(wish.position) and wish.speed > 0):
        return 0.0, wish.position
    target = min(max(wish.position, low), high)
    to_go = target - _rest(axis, state)
    return math.copysign(min(wish.speed, axis.speed), to_go) if to_go else 0.0, target


def _rest(axis: Axis, state: State) -> float:
    """Return where braking ends."""
    return _ended(state, braking(axis, state[1], state[2]))[0]


def _ended(state: State, phases: tuple[Phase, ...]) -> State:
    """Return the state at the end of these phases."""
    p, v, a = state
    for jerk, t in phases:
        p += t * (v + t * (a / 2 + t * jerk / 6))
        v += t * (a + t * jerk / 2)
        a += t * jerk
    return p, v, a
