"""Walks through one axis of a rig: its travel, its origin, its direction, and what it can really do.

What was given on the command line is not asked for. Nothing moves that the operator has not armed, axis by axis.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TypeVar

import typer
from rich.console import Console

from sequencer.cli import rig_options as how
from sequencer.cli.rig_shown import Screen, Walked, offered, quantity, show_found, way_now
from sequencer.cli.rig_travel import DRIVE, Spot, driven, question, written
from sequencer.errors import ProjectError
from sequencer.project import amend
from sequencer.project.document import Project
from sequencer.project.files import RIG
from sequencer.rig.axis import Axis
from sequencer.shell import trials
from sequencer.takes.trials.course import Course, begin, shown
from sequencer.takes.trials.found import Offer, measured, offers, taken_over
from sequencer.takes.trials.reached import noise
from sequencer.takes.trials.step import REST_S, Step
from sequencer.takes.trials.steps import Most, placed
from sequencer.takes.trials.verdict import unmoved

T = TypeVar("T")


@dataclass(frozen=True, slots=True, kw_only=True)
class Walk:
    """What is the same for all axes. `on` is the day; `said` where words go."""

    given: how.Given
    on: str
    begin: str
    measure: bool
    asks: bool
    armed: bool
    said: Console


def walked(walk: Walk, ground: trials.Ground, axis: Axis, stands: float) -> tuple[Project, Walked]:
    """Return the project with what the operator said and took over of one axis, and what came of it.

    Error: ProjectError, BadParameter; LinkError, CrewFailed where the rig cannot be reached.
    """
    came = Walked(before=axis, axis=axis, stands=stands)
    walk.said.print(f"\n{axis.name}", style="bold", highlight=False)
    spot = Spot(axis=axis.name, stands=stands, ground=ground)
    project = _described(walk, ground.project, axis, spot)
    stands = came.stands = spot.stands
    number = project.rig.index(axis.name)
    came.axis = project.rig.axes[number]
    came.way = way_now(project.rig, came.axis)
    ground = replace(ground, project=project)
    wants_way = bool(how.ways_of(axis)) and axis.name not in walk.given.positive and walk.asks
    if not (walk.measure or wants_way):
        return project, came
    most = _most(walk, came.axis)
    course = _course(came.axis, most, stands)
    small = shown(course, stands)
    if not _armed(walk, course, small, stands):
        walk.said.print("  not armed; nothing moves", highlight=False)
        return project, came
    if wants_way:
        project, came.trouble = _directed(walk, ground, came.axis, small)
        came.way = way_now(project.rig, came.axis)
        ground = replace(ground, project=project)
    if came.trouble:
        _say_trouble(walk, came.trouble)
    elif walk.measure:
        project = _measured(walk, ground, came, most)
    return project, came


def _say_trouble(walk: Walk, words: str) -> None:
    walk.said.print(f"  {words}", style="bold", highlight=False, markup=False)


def foreseen(walk: Walk, project: Project, axes: tuple[Axis, ...], stands: dict[str, float]) -> None:
    """Look at all that was given, before anything is asked or moves. Error: ProjectError, BadParameter."""
    unasked = replace(walk, asks=False)
    for axis in axes:
        project = _described(unasked, project, axis, Spot(axis=axis.name, stands=stands[axis.name]))
        most = _most(unasked, axis)
        if walk.measure and not walk.asks:
            _course(project.rig.axes[project.rig.index(axis.name)], most, stands[axis.name])


def _described(walk: Walk, project: Project, axis: Axis, spot: Spot) -> Project:
    """Return the project with travel, origin and way as they were given or typed; what cannot be is asked for again."""
    number = project.rig.index(axis.name)
    described = _until_it_can_be(walk, lambda: _with_places(walk, project, axis, spot))
    way = walk.given.positive.get(axis.name)
    return described if way is None else _with_way(described, number, how.way_of(way, axis))


def _until_it_can_be(walk: Walk, ask: Callable[[], T]) -> T:
    """Return what the operator answers; where it cannot be, say why and ask again. Where nobody is asked, that ends it.

    Error: ProjectError, BadParameter.
    """
    while True:
        try:
            return ask()
        except (ProjectError, typer.BadParameter) as fault:
            if not walk.asks:
                raise
            walk.said.print(f"  {fault}", highlight=False, markup=False)


def _with_places(walk: Walk, project: Project, axis: Axis, spot: Spot) -> Project:
    """Return the project with travel and origin. Error: ProjectError, BadParameter."""
    number = project.rig.index(axis.name)
    ends = spot.driven or axis.travel
    text = walk.given.travel.get(axis.name) or _asked(walk, question(axis), written(ends))
    if text == DRIVE and spot.ground is not None and walk.asks:
        travel = driven(spot, spot.ground, axis, walk.begin, walk.armed, lambda words: _say(walk, words))
    else:
        travel = ends if text == written(ends) else how.travel_of(text, spot.look)
    stands, now = spot.stands, f"{axis.home:g}"
    text = walk.given.home.get(axis.name) or _asked(walk, f"Origin (home), a place or {how.HERE} ({stands:.4g})", now)
    home = axis.home if text == now else how.home_of(text, stands)
    try:
        changed = replace(axis, travel=travel, home=home)
        if walk.asks:
            _placed(changed, stands)
        return amend.with_axis(project, number, changed)
    except ValueError as fault:
        raise ProjectError(f"axes[{number}]", str(fault), file=RIG) from fault


def _say(walk: Walk, words: str) -> None:
    walk.said.print(f"  {words}", highlight=False, markup=False)


def _with_way(project: Project, number: int, way: str) -> Project:
    if project.rig.axes[number].kind == "slide":
        return amend.with_heading(project, number, how.HEADINGS_DEG[way])
    return amend.with_way(project, number, way)


def _asked(walk: Walk, question: str, now: str) -> str:
    return typer.prompt(f"  {question}", default=now).strip() if walk.asks else now


def _most(walk: Walk, axis: Axis) -> Most:
    text = walk.given.most.get(axis.name)
    if text is not None:
        return how.most_of(text, walk.begin)
    return _until_it_can_be(walk, lambda: _most_typed(walk, axis))


def _most_typed(walk: Walk, axis: Axis) -> Most:
    now = f"{axis.speed:g},{axis.acceleration:g}"
    text = _asked(walk, f"The most speed and acceleration that may be tried, in {axis.unit}", now)
    return how.most_by(axis.speed, axis.acceleration, walk.begin) if text == now else how.most_of(text, walk.begin)


def _armed(walk: Walk, course: Course, small: Step, stands: float) -> bool:
    """Say how far the axis will go, and have the operator arm it."""
    axis, most = course.axis, course.most
    low, high = course.ends if walk.measure else small.reach
    low, high = min(low, stands), max(high, stands)
    slow = most.careful[0]
    fast = quantity(most.speed, axis, "speed")
    at = f"from {slow:.3g} up to {fast}" if walk.measure else f"at {quantity(small.speed, axis, 'speed')}"
    words = f"  {axis.name} will move between {low:.4g} and {high:.4g}, {at}. The others stand."
    walk.said.print(words, highlight=False, markup=False)
    return walk.armed or typer.confirm(f"  Arm {axis.name}?")


def _directed(walk: Walk, ground: trials.Ground, axis: Axis, step: Step) -> tuple[Project, str]:
    """Move the axis a little, and have the operator say which way it went; return the project and any trouble."""
    by = quantity(abs(step.legs[0].end - step.legs[0].start), axis, "position")
    words = f"  Watch {axis.name}: after a second it goes {by} one way, waits, and comes back."
    walk.said.print(words, highlight=False, markup=False)
    seen = trials.run_step(ground, axis.name, step, trials.stands(ground), Screen(walk.said, axis))
    rest = noise(seen, 0.0, REST_S) if seen.begun else 0.0
    trouble = unmoved(axis, step, seen, rest) or seen.stopped
    if trouble:
        return ground.project, trouble
    ways, down = how.ways_of(axis), step.legs[0].way < 0
    question = f"  Which way did it go first: {', '.join(ways)}, or none?"
    now = way_now(ground.project.rig, axis) or None
    answer = typer.prompt(question, default=how.opposite(now, axis) if down and now else now).strip()
    while answer not in (*ways, "none"):
        answer = typer.prompt(question).strip()
    if answer == "none":
        return ground.project, (
            f"{axis.name} says that it moved, and nobody saw it: is that its own encoder, and does its motor drive it?"
        )
    positive = how.opposite(answer, axis) if down else answer
    return _with_way(ground.project, ground.project.rig.index(axis.name), positive), ""


def _course(axis: Axis, most: Most, stands: float) -> Course:
    _placed(axis, stands)
    return begin(axis, most, stands)


def _placed(axis: Axis, stands: float) -> None:
    """Error: ProjectError for an axis that stands outside its travel."""
    try:
        placed(axis, stands)
    except ValueError as fault:
        raise ProjectError("axes", str(fault), file=RIG) from fault


def _measured(walk: Walk, ground: trials.Ground, came: Walked, most: Most) -> Project:
    """Measure the axis, and have the operator choose what is taken over.

    After trouble nothing is taken over that an operator has not said: it may be the trouble that was measured.
    """
    axis = came.axis
    came.course = course = trials.run_course(ground, axis.name, most, trials.stands(ground), Screen(walk.said, axis))
    came.trouble = course.trouble
    if came.trouble and came.trouble != course.tried[-1].words:
        _say_trouble(walk, came.trouble)
    found = measured(course, walk.on)
    if not found.figures:
        return ground.project
    came.found = found
    show_found(walk.said, axis, found)
    taken: list[Offer] = []
    kept: list[Offer] = []
    for offer in offers(axis, found):
        question = f"  {offered(axis, offer)}"
        if walk.asks:
            takes = typer.confirm(f"{question} Take it over?", default=not came.trouble)
        else:
            takes = not came.trouble
            said = "Taken over." if takes else "Not taken over, since there was trouble."
            walk.said.print(f"{question} {said}", highlight=False, markup=False)
        (taken if takes else kept).append(offer)
    came.taken, came.kept = tuple(taken), tuple(kept)
    came.axis = taken_over(axis, found, taken)
    return amend.with_axis(ground.project, ground.project.rig.index(axis.name), came.axis)
