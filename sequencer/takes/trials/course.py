"""The whole course of trials of one axis, as a fold: what is tried next, and what is known after it.

Careful moves come first, then accelerations, then speeds, each growing until the axis follows badly. At trouble it
ends. It moves nothing and reads no clock; an engine does each step as an ordinary take.
"""

from dataclasses import dataclass, replace
from functools import partial
from typing import Literal

import numpy as np

from sequencer.rig.axis import Axis
from sequencer.takes.trials import reached, steps
from sequencer.takes.trials.following import Following, following
from sequencer.takes.trials.ladder import Ladder, climbed, ladder, lowered
from sequencer.takes.trials.reached import Reached
from sequencer.takes.trials.seen import Seen
from sequencer.takes.trials.step import REST_S, Step
from sequencer.takes.trials.steps import Most
from sequencer.takes.trials.verdict import SHORT, TOLERANCE_S, off, unmoved

Stage = Literal["careful", "acceleration", "going", "speed", "done"]
_STAIR = 10.0  # times the play that moving showed
_BEHIND_S = 0.12  # of travel that an axis may fall behind in a trial: less than makes the engine stop it
_SURE = 2.0  # standard errors
_MOST_PLAY = 0.5  # of the shortest way by which delay is known
_SETTLES_S, _LAGS = 0.2, 6.0


@dataclass(frozen=True, slots=True)
class Tried:
    """One step that was done: how it went, in words; `held` whether the axis followed."""

    step: str
    asked: float
    reached: float | None
    held: bool
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """What is known of an axis. Unit: its own, and seconds.

    `ends`: how low and high it goes; `base`: from where all steps of this stage begin, so that nothing untried is
    needed to get there. `cap`: the speed up to which accelerations are tried. `pulls`, `runs`: what was reached beyond
    what it can do, for each way. `trouble`: why the course ended early, in words.
    """

    axis: Axis
    most: Most
    ends: tuple[float, float]
    base: float
    stage: Stage
    pull: Ladder
    cap: float
    run: Ladder
    nudged: bool = False
    noise: float = 0.0
    resolution: float = 0.0
    follows: tuple[Following, ...] = ()
    stair: float = 0.0
    plays: tuple[float, ...] = ()
    pulls: tuple[tuple[float, float], ...] = ()
    runs: tuple[tuple[float, float], ...] = ()
    tried: tuple[Tried, ...] = ()
    trouble: str = ""

    @property
    def room(self) -> float:
        return self.ends[1] - self.ends[0]

    @property
    def model(self) -> Following:
        """How it follows, from all trials of that."""
        means = {name: float(np.mean([getattr(one, name) for one in self.follows])) for name in Following.__slots__}
        return Following(**means)


def begin(axis: Axis, most: Most, stands: float) -> Course:
    """Return the course of an axis that stands at `stands`. Error: ValueError where it stands outside its travel."""
    stands = steps.placed(axis, stands)
    pull = ladder(most.begin * most.acceleration, most.acceleration)
    run = ladder(most.begin * most.speed, most.speed)
    ends = steps.span(axis, stands)
    course = Course(axis=axis, most=most, ends=ends, base=ends[0], stage="careful", pull=pull, cap=most.cap, run=run)
    return replace(course, base=steps.base(ends, stands, _first_from(replace(course, base=0.0))))


def next_step(course: Course) -> Step | None:
    """Return what is tried next, None where the course is done."""
    match course.stage:
        case "careful" if not course.nudged:
            return nudge(course)
        case "careful":
            return steps.follow(course.base, course.room, course.most)
        case "acceleration" if not course.plays:
            return _stairs(course)
        case "acceleration":
            return _rung(course, course.pull.next())
        case "going":
            return nudge(course)
        case "speed":
            return _rung(course, course.run.next(partial(_near, course)))
    return None


def batch(course: Course) -> tuple[Step, ...]:
    """Return all steps that may come next without more being known first; one run of the engine holds them."""
    match course.stage:
        case "careful":
            return nudge(course), steps.follow(course.base, course.room, course.most)
        case "acceleration":
            return (_stairs(course), *_rungs(course))
        case "going":
            return (nudge(course),)
        case "speed":
            return _rungs(course)
    return ()


def fold(course: Course, step: Step, seen: Seen) -> Course:
    """Return what is known after a step was done, or was broken off."""
    rest = reached.noise(seen, 0.0, REST_S) if seen.begun else 0.0
    words = unmoved(course.axis, step, seen, max(course.noise, rest))
    # of a step that was broken off, what it showed of the limits counts
    if words or (seen.stopped and not (seen.begun and step.kind in ("acceleration", "speed"))):
        return _ended(course, step, words or seen.stopped)
    match step.kind:
        case "nudge":
            stage: Stage = "speed" if course.stage == "going" else course.stage
            found = replace(_tell(course, step, None, True, "moves"), nudged=True, stage=stage)
        case "following":
            found = _followed(course, step, seen)
        case "play":
            found = _played(course, step, seen)
        case _:
            found = _climbed(course, step, seen)
    return replace(found, stage="done", trouble=seen.stopped) if seen.stopped else found


def _ended(course: Course, step: Step, words: str) -> Course:
    return replace(_tell(course, step, None, False, words), stage="done", trouble=words)


def _tell(course: Course, step: Step, got: float | None, held: bool, words: str) -> Course:
    return replace(course, tried=(*course.tried, Tried(step.name, step.asked, got, held, words)))


def _first_from(course: Course) -> tuple[Step, ...]:
    """Return the steps from the first to the last acceleration."""
    widest = _stairs(replace(course, stair=course.room))
    careful = steps.follow(course.base, course.room, course.most)
    return (widest, careful, *_rungs(replace(course, stage="acceleration")))


def nudge(course: Course) -> Step:
    """Return a small move; the way to where it begins is gone within what the move itself asks for."""
    speed, acceleration = course.most.careful
    if course.stage == "going":
        speed = max((step.speed for step in _held(course)), default=speed)
        acceleration = steps.spare(_pulled(course))
    return steps.nudge(course.base, course.room, speed, acceleration)


def shown(course: Course, stands: float) -> Step:
    """Return a small move from where the axis stands, so that nothing else moves before it; down where up ends."""
    place = steps.placed(course.axis, stands)
    step = steps.nudge(place, course.room, *course.most.careful)
    if course.axis.travel is None or step.reach[1] <= course.axis.travel[1]:
        return step
    return steps.nudge(place, course.room, *course.most.careful, way=-1.0)


def _held(course: Course) -> list[Step]:
    """Return the steps for acceleration that the axis held, as they would be done now."""
    held = (_rung(replace(course, stage="acceleration"), place) for place in course.pull.good)
    return [step for step in held if step is not None]


def _stairs(course: Course) -> Step:
    settles_s = _settles_s(course) if course.follows else _SETTLES_S
    return steps.stairs(course.base, course.room, course.most, course.stair, course.resolution, settles_s)


def _settles_s(course: Course) -> float:
    return max(_SETTLES_S, course.model.delay_s + _LAGS * course.model.lag_s)


def _rung(course: Course, place: int | None) -> Step | None:
    if place is None:
        return None
    base, room = course.base, course.room
    if course.stage == "acceleration":
        return steps.pull(base, room, course.most, course.pull.rungs[place], course.cap, place)
    return steps.run(base, room, course.run.rungs[place], steps.spare(_pulled(course)), place, _play(course))


def _near(course: Course, held: int, place: int) -> bool:
    """Whether an axis that can do no more than it held would stay near enough in a step for a higher speed."""
    step, known = _rung(course, place), course.run.rungs[held]
    if step is None:
        return False
    leg, over = step.legs[0], step.asked - known
    run_s = leg.lasts_s - leg.ramp_s - leg.stop_s
    behind = over * (run_s + over / step.asked * (leg.ramp_s + leg.stop_s) / 2)
    # a leg that brakes sooner leaves less time for catching up
    return behind <= _BEHIND_S * min(leg.stop_s / leg.ramp_s / 2, 1.0) * known


def _rungs(course: Course) -> tuple[Step, ...]:
    rungs = course.pull if course.stage == "acceleration" else course.run
    there = (_rung(course, place) for place in range(rungs.most + 1))
    return tuple(step for step in there if step is not None)


def _pulled(course: Course) -> float:
    """Return the acceleration that the axis has shown."""
    if course.pulls:
        return min(abs(value) for _, value in course.pulls)
    return course.pull.at_least or course.pull.rungs[0]


def _followed(course: Course, step: Step, seen: Seen) -> Course:
    noise, resolution = reached.noise(seen, 0.0, REST_S), reached.resolution(seen.actual)
    repeats = [following(seen, step.legs[first : first + 4]) for first in range(0, len(step.legs), 4)]
    follows = tuple(one for one in repeats if one is not None)
    if len(follows) < len(repeats):
        return _ended(course, step, f"{course.axis.name} did not answer often enough; check the link to the rig")
    course = replace(course, noise=noise, resolution=resolution, follows=follows)
    worst = max(one.peak for one in follows)
    if worst > _allowed(course, step.speed):
        words = (
            f"{course.axis.name} follows badly even at {step.speed:.3g} a second: {worst:.3g} off. Look for a drive "
            "that slips, a gear with much play or a motor that is too weak, or begin with less"
        )
        return _ended(replace(course, follows=()), step, words)
    words = f"{course.model.delay_s * 1e3:.1f} ms behind"
    stair = _STAIR * 2 * abs(course.model.offset)
    return replace(_tell(course, step, course.model.delay_s, True, words), stage="acceleration", stair=stair)


def _played(course: Course, step: Step, seen: Seen) -> Course:
    plays = reached.play(seen, step.legs, _settles_s(course))
    if not plays:
        return _ended(course, step, f"{course.axis.name} did not answer while it stood; check the link to the rig")
    play = float(np.mean(plays))
    ways = [abs(leg.end - leg.start) for leg in steps.follow(course.base, course.room, course.most).legs]
    if play > _MOST_PLAY * min(ways):
        words = (
            f"{course.axis.name} has {play:.3g} of play, too much for its speed, acceleration and latency to be "
            "measured with steps as small as these; mend the gear, or begin with more"
        )
        # what was taken for a delay was the play
        return _ended(replace(course, plays=plays, follows=()), step, words)
    return _open(_tell(replace(course, plays=plays), step, play, True, f"{play:.3g} of play"))


def _play(course: Course) -> float:
    """Return the most play that was seen, as known so far."""
    return max(abs(one) for one in course.plays) if course.plays else 0.0


def _allowed(course: Course, speed: float) -> float:
    play = _play(course) if course.plays else 2 * abs(course.model.offset)
    return play + 6 * course.noise + 2 * course.resolution + TOLERANCE_S * speed


def _climbed(course: Course, step: Step, seen: Seen) -> Course:
    """Return the course after an acceleration or a speed was tried, which it held or not."""
    rungs = course.pull if step.kind == "acceleration" else course.run
    place = rungs.rungs.index(step.asked)
    got = _got(course, step, seen)
    least = min((one.value for _, one in got), default=None)
    asked = step.legs[0].acceleration if step.kind == "acceleration" else step.legs[0].speed
    weak = any(one.value + _SURE * one.error < SHORT * asked for _, one in got)
    far = max(off(seen, leg, course.model) for leg in step.legs)
    near = far <= _allowed(course, step.speed)
    if step.kind == "acceleration" and got and not (weak or near or seen.stopped):
        # it got under way as it was asked to: what held it back then was its speed
        top = min(step.speed, *(reached.top_speed(seen, leg) for leg in step.legs))
        words = f"its speed ends at about {top:.3g}; accelerations are tried below that"
        return _open(replace(_tell(course, step, least, False, words), cap=steps.spare(top)))
    held = bool(got) and not weak and near and not seen.stopped
    words = "followed" if held else f"follows badly, {far:.3g} off at most"
    course = _tell(course, step, least, held, words)
    found = climbed(rungs, place, held)
    beyond = tuple((way, one.value) for way, one in got if not held and one.value < SHORT * asked)
    if step.kind == "acceleration":
        return _open(replace(course, pull=found, pulls=(*course.pulls, *beyond)))
    return _open(replace(course, run=found, runs=(*course.runs, *beyond)))


def _got(course: Course, step: Step, seen: Seen) -> list[tuple[float, Reached]]:
    """Return what each leg reached, with its way."""
    how = course.model
    found = [
        (leg.way, reached.acceleration(seen, leg))
        if step.kind == "acceleration"
        else (leg.way, reached.speed(seen, leg, how.delay_s, how.lag_s, _play(course)))
        for leg in step.legs
    ]
    return [(way, one) for way, one in found if one is not None]


def _open(course: Course) -> Course:
    """Return the course in the stage in which something is left to try."""
    if course.stage == "acceleration":
        course = replace(course, pull=_reachable(course, course.pull))
        if course.pull.next() is not None:
            return course
        if course.pull.at_least is None:
            words = f"{course.axis.name} follows badly even at its most careful acceleration; begin with less"
            return replace(course, stage="done", trouble=words)
        course = replace(course, stage="speed")
        course = replace(course, run=_reachable(course, course.run))
        from_zero = _rungs(replace(course, base=0.0))
        base = steps.base(course.ends, course.base, from_zero)
        course = replace(course, stage="speed" if base == course.base else "going", base=base)
    if course.run.next() is not None:
        return course
    if course.run.most < 0:
        words = f"no room in the travel to reach {course.run.rungs[0]:.3g}"
        no_room = Tried("speed", course.run.rungs[0], None, False, words)
        return replace(course, stage="done", tried=(*course.tried, no_room))
    words = "" if course.run.at_least else f"{course.axis.name} follows badly even at its most careful speed"
    return replace(course, stage="done", trouble=words)


def _reachable(course: Course, rungs: Ladder) -> Ladder:
    """Return the ladder without the rungs for which there is no room."""
    for place in range(rungs.most + 1):
        if _rung(course, place) is None:
            return lowered(rungs, place)
    return rungs
