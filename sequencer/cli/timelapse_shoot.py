"""How `twintake timelapse --shoot` arms, resumes, asks and tells."""

import math
import time
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Literal

import numpy as np
import typer

from sequencer.cli.camera import demand_camera
from sequencer.cli.exits import console
from sequencer.cli.play import CAUTION
from sequencer.errors import ProjectError, TakeError
from sequencer.motion.lapse import name_of
from sequencer.motion.to_mark import to_mark
from sequencer.playback.timelapse import Course, begin
from sequencer.project.shot_log import Begun, Doubt, Log, Moved, Shot, demand_none
from sequencer.score.marks import AtSpeed, Mark
from sequencer.shell import shoot
from sequencer.shell.crew import Crew, crew
from sequencer.shell.messages import Said, Setup, Status
from sequencer.shell.outlets import answering, parts
from sequencer.shell.spread import Spread
from sequencer.shell.timelapse import Teller, ground, shoot_frames, shoot_moving

UNATTENDED = (
    "It goes on by itself for as long as the event lasts, and moves again whenever a frame is due. Fence the rig off, "
    "and have somebody near who watches it."
)
_TOLD_S = 60.0
_SPARE_S = 1.0
_FAR_S = 10.0  # to the first pose, where the rig does not say where it stands


def say(words: str) -> None:
    """Print one line."""
    console.print(words, markup=False, highlight=False, soft_wrap=True)


def told(_: Status | None, said: list[Said]) -> None:
    """Print what the engine says."""
    for one in said:
        say(one.text)


def ask(armed: bool, question: str, *cautions: str) -> None:
    """Show the cautions, and have the operator arm, unless that was said already."""
    for words in cautions:
        console.print(words, style="bold", soft_wrap=True)
    if not armed and not typer.confirm(question):
        raise typer.Exit(0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What the command line says of a shoot. `taken`: whether a frame in doubt is on the card; None: not said."""

    output: str
    tick_hz: int
    changes: frozenset[int]
    gap: Literal["catch-up", "shift"]
    taken: bool | None
    armed: bool


class Shoot:
    """One shoot, begun or resumed."""

    def __init__(self, found: Spread, wanted: Wanted, log: Path) -> None:
        self._found, self._wanted, self._log = found, wanted, log
        self._told_s = -math.inf
        self._late = 0

    def shoot(self, starts: datetime, before: Shot | None) -> None:
        """Expose every frame that is left. Error: ProjectError, CrewFailed, LinkError, TakeError."""
        rig, wanted = self._found.project.rig, self._wanted
        demand_camera(wanted.output, self._found.project, "shutter")
        can = answering(parts(wanted.output, rig), rig)
        silent = frozenset(name for name, says in zip(rig.names, can, strict=True) if not says)
        try:
            course = self._found.course(starts.timestamp(), wanted.changes, silent)
        except ValueError as fault:
            raise ProjectError("--change-at", str(fault), file="command line") from fault
        if before is None:
            demand_none(self._log)
        elif self._over(before):
            return
        with ground(self._found) as folder:
            setup = Setup(
                project=str(folder),
                run=None,
                output=wanted.output,
                sync="internal",
                tick_hz=wanted.tick_hz,
                answers_needed=not silent,
            )
            with crew(setup) as running:
                running.wait_opened()
                self._announce(running, starts, before)
                if before is None and not self._found.timelapse.start.at:
                    course = replace(course, begins_s=time.time() + self._lead_s(running))
                log, before = self._opened(course, before)
                with log:
                    self._expose(running, course, log, before)
        say(f"all {self._found.plan.frames} frames are exposed; the log is {self._log}")

    def _over(self, before: Shot) -> bool:
        """Whether nothing is left, which is said. Error: ProjectError for a log of another timelapse."""
        if before.begun.sha256 != self._found.sha256:
            what = "the move, the rig's axes or the plan was changed since this timelapse began"
            mend = f"put it back as it was, or move {self._log.name} away and begin anew"
            raise ProjectError("--resume", what, mend, file="command line")
        if before.done:
            say(f"all {before.begun.frames} frames are exposed already; the log is {self._log}")
        return before.done

    def _opened(self, course: Course, before: Shot | None) -> tuple[Log, Shot | None]:
        """Hold the log, and return what it says by now. Error: TakeError, also where somebody went on with it."""
        found = self._found
        if before is None:
            begun = Begun(of=found.cue.name, frames=found.plan.frames, begins=course.begins_s, sha256=found.sha256)
            return Log.begin(self._log, begun), None
        log, there = Log.resume(self._log)
        if there != before:
            log.close()
            raise TakeError(f"{self._log}: somebody went on with it while you were asked; resume once more")
        return log, there

    def _expose(self, running: Crew, course: Course, log: Log, before: Shot | None) -> None:
        found, first, free = self._found, 0, -math.inf
        if before is not None:
            before = self._no_doubt(log, before)
            first, free = before.next, before.free_at + float(found.plan.exposure_s + found.plan.camera_s)
        if first >= found.plan.frames:
            return
        teller = Teller(said=say, exposed=self._exposed, ask=self._wait)
        if found.timelapse.manner == "continuous":
            shoot_moving(running, found, course.begins_s, first, log, teller)
            return
        course = self._moved(log, course, first, before)
        shoot_frames(running, found, course, begin(course, first, free), log, teller)

    def _lead_s(self, running: Crew) -> float:
        """Return how long the rig needs until it stands at the first pose."""
        rig, first, lasts_s = self._found.project.rig, self._found.poses[0], _FAR_S
        status = running.status()
        if status is not None and status.actual and None not in status.actual:
            there, still = np.array(status.actual, np.float64), np.zeros(len(first))
            position = tuple(zip(rig.names, first.tolist(), strict=True))
            mark = Mark(name_of(0), position, AtSpeed(self._found.timelapse.speed))
            lasts_s = to_mark(rig, there, still, still, mark).end_s
        return lasts_s + float(self._found.plan.settle_s) + self._found.timelapse.still_s + _SPARE_S

    def _announce(self, running: Crew, starts: datetime, before: Shot | None) -> None:
        first = 0 if before is None else before.next
        shoot.Watch(running, told).look()
        if before is not None:
            say(f"frames 0 to {first - 1} are exposed" if first else "no frame is exposed yet")
            say("An axis whose power was off counts wrongly until it is homed: twintake rig --homing.")
        question = f"Arm, go to frame {first}'s pose, and shoot from {starts:%H:%M:%S} on?"
        ask(self._wanted.armed, question, CAUTION, UNATTENDED)

    def _no_doubt(self, log: Log, before: Shot) -> Shot:
        """Settle whether the frame that was being exposed when it ended is on the card. Unasked, it is taken again."""
        if not before.doubtful:
            return before
        frame, taken = before.next, self._wanted.taken
        asked = taken is not None or not self._wanted.armed
        if taken is None:
            words = f"It ended just as frame {frame} was ordered. Are {frame + 1} frames of this shoot on the card?"
            taken = typer.confirm(words) if not self._wanted.armed else False
        log.add(Doubt(frame=frame, taken=taken, asked=asked))
        if not asked:
            say(f"frame {frame} may be on the card twice; the log says so")
        return replace(before, next=frame + 1, doubtful=False) if taken else replace(before, doubtful=False)

    def _moved(self, log: Log, course: Course, first: int, before: Shot | None) -> Course:
        """Return the schedule, as much later as frame `first` is overdue where the gap is not to be made up for."""
        by_s = time.time() - course.due_s(first)
        if before is None or by_s <= 0:
            return course
        if self._wanted.gap == "catch-up":
            say(f"frame {first} is {by_s:.0f} s overdue; what is overdue is exposed as soon as the rig stands")
            return course
        log.add(Moved(frame=first, by_s=by_s))
        return course.moved(by_s)

    def _wait(self, words: str) -> None:
        try:
            goes_on = typer.confirm(words)
        except typer.Abort as fault:
            raise KeyboardInterrupt from fault
        if not goes_on:
            raise KeyboardInterrupt

    def _exposed(self, frame: int, late_s: float) -> None:
        self._late += late_s > 1.0
        now_s = time.monotonic()
        if now_s - self._told_s < _TOLD_S and frame + 1 < self._found.plan.frames:
            return
        self._told_s = now_s
        late = f", {self._late} late by more than a second" if self._late else ""
        say(f"frame {frame} of {self._found.plan.frames - 1} exposed{late}")
