"""Does the trials of an axis on the rig itself: each step is an ordinary take of a project made for it, in a folder of
its own. So the guard, the stops and the log are those of every take.

What is tried, and what it means, is decided in `takes.trials`. Nothing moves here that an operator has not armed.
"""

import contextlib
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol

import numpy as np

from sequencer.errors import LinkError, ProjectError, TakeError
from sequencer.playback.state import Phase
from sequencer.project import takefile
from sequencer.project.document import Project
from sequencer.project.files import RIG
from sequencer.project.store import save
from sequencer.rig.axis import Axis
from sequencer.shell import shoot
from sequencer.shell.crew import Crew, CrewFailed, crew
from sequencer.shell.kinds import laws
from sequencer.shell.messages import Arm, Said, Setup, Start, Status
from sequencer.shell.outlets import without_files
from sequencer.takes.trials import written
from sequencer.takes.trials.course import Course, Tried, batch, begin, fold, next_step
from sequencer.takes.trials.seen import Seen, seen
from sequencer.takes.trials.step import Step
from sequencer.takes.trials.steps import Most, placed
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timebase, parse

_COUNTING = Counting(Rate(25), drop=False)
TIMEBASE = Timebase(_COUNTING, parse("00:00:00:00", _COUNTING))
_PREROLL_S = 0.3
_SPARE_S = 20.0  # over what a way or a step itself lasts
_STANDS_S = 2.0
_WORTH_SAYING = frozenset({"stopping", "link", "refused", "take"})  # not "stopped": here nothing is to be reset


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """Where trials are done: a rig at `output`, its description, a folder that is ours, and one for the takes."""

    project: Project
    output: str
    folder: Path
    takes: Path
    tick_hz: int = 250


class Teller(Protocol):
    """Who watches: is told each step that was done, and what the engine says beside it."""

    def tried(self, one: Tried) -> None: ...

    def said(self, words: str) -> None: ...


def stands(ground: Ground) -> dict[str, float]:
    """Return where each axis says it stands; nothing is armed. Error: LinkError where one does not say."""
    save(ground.folder, replace(ground.project, rig=without_files(ground.project.rig)), laws())
    output = ground.output
    with crew(Setup(project=str(ground.folder), run=None, output=output, sync="internal")) as running:
        running.wait_opened()
        deadline = time.monotonic() + _STANDS_S
        while time.monotonic() < deadline:
            running.hear(0.02)
            status = running.status()
            if status is not None and status.actual and None not in status.actual:
                places = [float(place) for place in status.actual if place is not None]
                return dict(zip(ground.project.rig.names, places, strict=True))
    raise LinkError(f"the rig at {output} does not say where every axis stands; let it send each /rig/AXIS/actual")


def run_course(ground: Ground, axis: str, most: Most, places: Mapping[str, float], teller: Teller) -> Course:
    """Try `axis` from careful steps to what it can do, until it is known or there is trouble. The others stand.

    Error: ValueError for an axis that stands outside its travel; LinkError, CrewFailed where the rig cannot be reached.
    """
    rig = ground.project.rig
    course = begin(rig.axes[rig.index(axis)], most, places[axis])
    while steps := batch(course):
        with _doing(ground, axis, steps, places, teller) as doing:
            while (step := next_step(course)) is not None and step in steps:
                course = fold(course, step, doing.do(step))
                teller.tried(course.tried[-1])
    return course


def run_step(ground: Ground, axis: str, step: Step, places: Mapping[str, float], teller: Teller) -> Seen:
    """Do one step alone; return what was seen of it. Error: as `run_course`."""
    with _doing(ground, axis, (step,), places, teller) as doing:
        return doing.do(step)


@contextlib.contextmanager
def _doing(
    ground: Ground, axis: str, steps: tuple[Step, ...], places: Mapping[str, float], teller: Teller
) -> Iterator["_Doing"]:
    """Start a crew on a project that holds these steps; Ctrl-C stops the rig before anything else."""
    rig = without_files(written.limited(ground.project.rig, axis, steps))
    inside = {one.name: _placed(one, number, places[one.name]) for number, one in enumerate(rig.axes)}
    project = Project(
        name=f"Trials of {axis}",
        timebase=TIMEBASE,
        rig=rig,
        move=written.move(axis, steps, inside, TIMEBASE.rate),
    )
    save(ground.folder, project, laws())
    setup = Setup(project=str(ground.folder), run=None, output=ground.output, sync="internal", tick_hz=ground.tick_hz)
    with crew(setup) as running:
        running.wait_opened()
        doing = _Doing(running, project, ground.takes, axis, steps, teller)
        try:
            yield doing
        except KeyboardInterrupt:
            doing.watch.stop()
            raise


def _placed(axis: Axis, number: int, place: float) -> float:
    try:
        return placed(axis, place)
    except ValueError as fault:
        raise ProjectError(f"axes[{number}].travel", str(fault), file=RIG) from fault


class _Doing:
    """A running crew that does steps, one at a time."""

    def __init__(
        self, running: Crew, project: Project, folder: Path, axis: str, steps: tuple[Step, ...], teller: Teller
    ) -> None:
        self.watch = shoot.Watch(running, self._tell)
        self._crew = running
        self._project = project
        self._folder = folder
        self._axis = axis
        self._starts_s = written.starts_s(steps)
        self._teller = teller
        self._located_s: float | None = None

    def do(self, step: Step) -> Seen:
        """Record the step as a take; return what is in it. A stop is in it too."""
        run = self._project.run(None)
        plan = shoot.Plan(project=self._project, cue=self._project.cue(step.name), run=run, folder=self._folder)
        path, stopped = plan.next_path(), ""
        try:
            self.watch.arm(Arm(cue=step.name, take=str(path), heading=plan.heading(path.stem), preroll_s=_PREROLL_S))
            self.watch.until(Phase.READY, _SPARE_S)
            self._crew.tell(Start())
            self.watch.until(Phase.FINISHED, step.lasts_s + _SPARE_S)
            self.watch.until_kept()
        except CrewFailed as fault:
            stopped = str(fault)
        return self._seen(path, step, stopped)

    def _seen(self, path: Path, step: Step, stopped: str) -> Seen:
        try:
            take = takefile.read(path)
        except TakeError:
            if not stopped:
                raise
            none = np.empty(0)
            return Seen(asked_s=none, asked=none, actual_s=none, actual=none, begun=False, stopped=stopped)
        return seen(take, self._axis, self._starts_s[step.name], step.lasts_s, stopped)

    def _tell(self, status: Status | None, said: list[Said]) -> None:
        for one in said:
            if one.code in _WORTH_SAYING:
                self._teller.said(one.text)
        if status is None or status.phase != Phase.LOCATING:
            self._located_s = None
            return
        now_s = time.monotonic()
        self._located_s = self._located_s or now_s
        if now_s - self._located_s > self._way_s() + _SPARE_S:
            raise CrewFailed(
                f"{self._axis} did not come to where the trial begins; is its play larger than rig.json says, or does "
                "something hold it?"
            )

    def _way_s(self) -> float:
        """Return how long the longest way to a start may take: at half of its speed, as every way to a start."""
        axis = self._project.rig.axes[self._project.rig.index(self._axis)]
        values = [key.value for track in self._project.move.tracks if track.axis == self._axis for key in track.keys]
        low, high = axis.travel or (min(values) - 360.0, max(values) + 360.0)
        return (high - low) / (axis.speed / 2) + axis.speed / axis.acceleration + 2 * axis.acceleration / axis.jerk
