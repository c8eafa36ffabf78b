"""What a timelapse does next, frame by frame: one function from state and what was seen to state and deeds.

    phase       leaves by                                                                  to
    setting off frame's way may begin (the exposure before is over), not held for a change  moving
    moving      the setpoints stand at the pose                                            settling
    settling    every axis has stood within its tolerance for `still_s`, and it is time     firing
    firing      the camera was ordered                                                     exposing
                no output carries the order, or nobody says whether one did                failed
    exposing    exposure and the camera's own time are over                                setting off, or done

Frames keep the wall clock: frame n is exposed at `begins_s` plus its time in the plan, not before. One that cannot be
ready then is late: it is exposed as soon as the rig stands, its lateness is logged, and those after it are exposed at
their own times again, or as soon as they can; none is left out and none is taken twice, and a frame's pose depends on
its number alone. Where a gap shall not be made up for, the schedule is moved as a whole (`moved`).

`Note` is written before the camera is ordered and after it was: what a crash leaves unknown is one frame, and is told.
For an axis that never says where it stands, the longest settle is waited out.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Literal

from sequencer.score.interval import Plan

PATIENCE_S = 120.0  # that an axis may go on shaking
SAID_S = 10.0  # that may pass until it is known whether the camera was ordered
FRESH_S = 0.5  # how old what the rig says may be when a frame is exposed
_FIRST_S, _TOLD_S = 2.0, 30.0  # of unrest before it is told, and again


class Phase(StrEnum):
    SETTING_OFF = "setting off"
    HELD = "held"
    MOVING = "moving"
    SETTLING = "settling"
    FIRING = "firing"
    EXPOSING = "exposing"
    DONE = "done"
    FAILED = "failed"


ENDED = frozenset({Phase.DONE, Phase.FAILED})


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Course:
    """What a timelapse has to do, as it was worked out before.

    Shape: `poses` N tuples of A; `tolerance` A, each axis's own unit. `times_s` N: when each frame is exposed, after
    frame 0. `begins_s`: when frame 0 is, on the clock by which `Seen` counts. `changes`: frames before which it waits
    until told to go on, for a battery or a card. `silent`: axes that never say where they stand.
    """

    axes: tuple[str, ...]
    poses: Sequence[tuple[float, ...]]
    times_s: Sequence[float]
    begins_s: float
    exposure_s: float
    camera_s: float
    settle_s: float
    still_s: float
    tolerance: tuple[float, ...]
    changes: frozenset[int] = frozenset()
    silent: frozenset[str] = frozenset()
    patience_s: float = PATIENCE_S

    def due_s(self, frame: int) -> float:
        """Return when this frame is to be exposed."""
        return self.begins_s + self.times_s[frame]

    def moved(self, by_s: float) -> "Course":
        """Return the same with the whole schedule so much later."""
        return replace(self, begins_s=self.begins_s + by_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What is known at `now_s`.

    `standing`: the setpoints stand at the pose that the rig was sent to last, `bound_for`, the number of its frame.
    `actual`: where the axes say that they stand, empty where nothing was said yet; `actual_s` when that was.
    `fired_s`: when the camera was ordered last; `not_fired` why it was not. `go_on`: the operator says so.
    """

    now_s: float
    standing: bool = False
    bound_for: int | None = None
    actual: tuple[float | None, ...] = ()
    actual_s: float = -math.inf
    fired_s: float | None = None
    not_fired: str = ""
    go_on: bool = False


@dataclass(frozen=True, slots=True)
class GoTo:
    """Have the rig go to the pose of this frame."""

    frame: int
    pose: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Fire:
    """Have the camera expose a frame."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """What the log is to hold before anything else is done.

    `firing`: the order goes out next. `exposed`: it went out at `at_s`, `late_s` after its time, with the axes at
    `actual`. `moved`: the schedule was moved by `late_s`.
    """

    what: Literal["firing", "exposed", "moved"]
    frame: int
    at_s: float
    late_s: float = 0.0
    actual: tuple[float | None, ...] = ()


@dataclass(frozen=True, slots=True)
class Say:
    """Tell the operator: a short code for programs, and words."""

    code: str
    text: str


Deed = GoTo | Fire | Note | Say


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """Where a timelapse is.

    `since_s`: when its phase began; `still_s`: since when all axes stand within tolerance; `restless_s`: since when
    they do not although they should, None while they do.
    """

    frame: int
    phase: Phase = Phase.SETTING_OFF
    since_s: float = -math.inf
    free_s: float = -math.inf  # when the exposure before is over
    still_s: float | None = None
    restless_s: float | None = None
    looked_s: float = -math.inf  # when what was seen last was so
    told_s: float = -math.inf
    trouble: str = ""
    actual: tuple[float | None, ...] = ()


Step = tuple[State, tuple[Deed, ...]]


def begin(course: Course, frame: int = 0, free_s: float = -math.inf) -> State:
    """Return the state from which frame `frame` comes next; `free_s` is when an exposure that still runs is over."""
    return State(frame=frame, free_s=free_s, phase=Phase.SETTING_OFF if frame < len(course.poses) else Phase.DONE)


def step(course: Course, state: State, seen: Seen) -> Step:
    """Return what comes next, and what is to be done now, in this order."""
    match state.phase:
        case Phase.SETTING_OFF:
            return _set_off(course, state, seen)
        case Phase.HELD if seen.go_on:
            return _leave(course, state, seen)
        case Phase.MOVING if seen.standing and seen.bound_for == state.frame:
            return _to(state, Phase.SETTLING, seen), ()
        case Phase.SETTLING:
            return _settle(course, state, seen)
        case Phase.FIRING:
            return _ordered(course, state, seen)
        case Phase.EXPOSING if seen.now_s >= state.free_s:
            following = replace(_to(state, Phase.SETTING_OFF, seen), frame=state.frame + 1)
            if following.frame < len(course.poses):
                return _set_off(course, following, seen)
            return replace(following, phase=Phase.DONE), ()
    return state, ()


def _to(state: State, phase: Phase, seen: Seen) -> State:
    return replace(state, phase=phase, since_s=seen.now_s, still_s=None, restless_s=None, told_s=-math.inf)


def _set_off(course: Course, state: State, seen: Seen) -> Step:
    if seen.now_s < state.free_s:
        return state, ()
    if state.frame in course.changes:
        words = f"before frame {state.frame}: change what is to be changed, then go on. The rig stands"
        return _to(state, Phase.HELD, seen), (Say("held", words),)
    return _leave(course, state, seen)


def _leave(course: Course, state: State, seen: Seen) -> Step:
    return _to(state, Phase.MOVING, seen), (GoTo(state.frame, course.poses[state.frame]),)


def _settle(course: Course, state: State, seen: Seen) -> Step:
    """Wait until the rig is still, and then until it is time."""
    waited = not course.silent or seen.now_s >= state.since_s + course.settle_s
    if course.silent.issuperset(course.axes):
        settled = waited
    else:
        state = _looked(course, state, seen)
        fresh = seen.now_s - state.looked_s <= FRESH_S
        still = state.still_s is not None and state.looked_s - state.still_s >= course.still_s
        settled = waited and fresh and still
    if not settled:
        return _restless(course, state, seen)
    if seen.now_s < course.due_s(state.frame):
        return replace(state, restless_s=None), ()
    return _to(state, Phase.FIRING, seen), (Note(what="firing", frame=state.frame, at_s=seen.now_s), Fire())


def _looked(course: Course, state: State, seen: Seen) -> State:
    """Take in what the rig says, once: what was said before says nothing of now."""
    if not seen.actual or seen.actual_s <= state.looked_s or seen.actual_s < state.since_s:
        return state
    still = not _off(course, state.frame, seen.actual)
    unseen = seen.actual_s - state.looked_s > FRESH_S  # nobody knows what it did meanwhile
    since_s = (seen.actual_s if state.still_s is None or unseen else state.still_s) if still else None
    return replace(state, looked_s=seen.actual_s, still_s=since_s, actual=seen.actual)


def _off(course: Course, frame: int, actual: tuple[float | None, ...]) -> list[str]:
    """Return which axes are not at the frame's pose, in words. An axis that does not say where it stands is not."""
    words = []
    for axis, at, wanted, within in zip(course.axes, actual, course.poses[frame], course.tolerance, strict=True):
        if axis in course.silent:
            continue
        if at is None:
            words.append(f"{axis} does not say where it stands")
        elif not abs(at - wanted) <= within:
            words.append(f"{axis} is {abs(at - wanted):.3g} off its pose ({within:.3g} are allowed)")
    return words


def _restless(course: Course, state: State, seen: Seen) -> Step:
    """Say now and then what does not come to rest, and give up at last: nothing is exposed off its pose."""
    if seen.now_s < max(state.since_s + course.settle_s, course.due_s(state.frame)):
        return state, ()
    since_s = seen.now_s if state.restless_s is None else state.restless_s
    state = replace(state, restless_s=since_s)
    off = _off(course, state.frame, state.actual) if state.actual else ["the rig does not say where it stands any more"]
    why = f"frame {state.frame} waits: {' and '.join(off) or 'the rig shakes'}"
    if seen.now_s >= since_s + course.patience_s:
        mend = "look for wind, a loose joint or a tolerance that the rig cannot hold, then resume"
        return replace(state, phase=Phase.FAILED, trouble=f"{why}, for {course.patience_s:g} s; {mend}"), ()
    if seen.now_s < max(since_s + _FIRST_S, state.told_s + _TOLD_S):
        return state, ()
    return replace(state, told_s=seen.now_s), (Say("waits", why),)


def _ordered(course: Course, state: State, seen: Seen) -> Step:
    if seen.not_fired:
        return replace(state, phase=Phase.FAILED, trouble=seen.not_fired), ()
    if seen.fired_s is None or seen.fired_s < state.since_s:
        if seen.now_s < state.since_s + SAID_S:
            return state, ()
        words = f"nobody said for {SAID_S:g} s whether the order to the camera went out; count the card, then resume"
        return replace(state, phase=Phase.FAILED, trouble=words), ()
    late_s = max(0.0, seen.fired_s - course.due_s(state.frame))
    note = Note(what="exposed", frame=state.frame, at_s=seen.fired_s, late_s=late_s, actual=state.actual)
    exposing = replace(_to(state, Phase.EXPOSING, seen), free_s=seen.fired_s + course.exposure_s + course.camera_s)
    return exposing, (note,)


def course_of(
    plan: Plan,
    axes: tuple[str, ...],
    poses: Sequence[tuple[float, ...]],
    begins_s: float,
    still_s: float,
    tolerance: tuple[float, ...],
    changes: frozenset[int] = frozenset(),
    silent: frozenset[str] = frozenset(),
) -> Course:
    """Return what this plan has to do, with a pose for each frame. Error: ValueError for changes at no frame."""
    beyond = sorted(one for one in changes if not 0 <= one < plan.frames)
    if beyond:
        raise ValueError(f"there is no frame {beyond[0]}; they are 0 to {plan.frames - 1}")
    return Course(
        axes=axes,
        poses=poses,
        times_s=[float(plan.at(frame)) for frame in range(plan.frames)],
        begins_s=begins_s,
        exposure_s=float(plan.exposure_s),
        camera_s=float(plan.camera_s),
        settle_s=float(plan.settle_s),
        still_s=still_s,
        tolerance=tolerance,
        changes=changes,
        silent=silent,
    )
