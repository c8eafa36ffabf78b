"""The engine process: opens what it was set up with, then ticks on absolute deadlines until it is told to quit.

One thread. Between ticks it waits for messages; it evaluates the timeline at the deadline, not when it woke; when it is
late it leaves ticks out and never sends a burst.
"""

import math
import os
import select
import sys
import time
from contextlib import AbstractContextManager, ExitStack, nullcontext
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np

from sequencer.adapters.contract import Output, Source
from sequencer.errors import LinkError, ProjectError, SequencerError
from sequencer.motion.compile import compile_move
from sequencer.motion.peaks import over
from sequencer.motion.trajectory import Trajectory
from sequencer.playback import state
from sequencer.playback.cued import cue_up
from sequencer.playback.state import MOVING, ON_THE_CLOCK, UNARMED, Phase
from sequencer.project.document import Project
from sequencer.project.store import load
from sequencer.rig.signals import Floats
from sequencer.shell.child import Child, join
from sequencer.shell.io_process import RingSource, reads_here
from sequencer.shell.kinds import laws, open_output, open_source
from sequencer.shell.loop import Engine, Wires
from sequencer.shell.memory import Page, Ring
from sequencer.shell.messages import Arm, Command, Ended, Failed, Opened, Quit, Refused, Reset, Said, Setup, Start
from sequencer.shell.realtime import be_punctual
from sequencer.shell.records import OpenTake, Record, pack
from sequencer.shell.tally import Tally
from sequencer.shell.watchdog import RESTING, UNWATCHED
from sequencer.sync.followed import Followed
from sequencer.sync.internal import InternalFollower
from sequencer.sync.mtc import mtc_follower
from sequencer.sync.reading import Follow

FIRST_ANSWER_S = 1.5
OPERATOR_SILENT_S = 1.0
LAST_NS = 200_000  # before a tick is due: messages have been heard, and what is left is slept, or spun, away
_ANSWERS_HZ = 250


def main(folder: Path) -> None:
    child = join(folder, "engine")
    page = Page(folder / "page")
    page.set_word(Page.ENGINE_PID, os.getpid())
    try:
        with ExitStack() as stack:
            _run(_open(child, folder, page, stack))
    except ProjectError as fault:
        child.control.say(Failed(str(fault), 2))
    except SequencerError as fault:
        child.control.say(Failed(str(fault), 3))
    finally:
        page.set_word(Page.ENGINE_BEAT, RESTING)
        child.control.close()


@dataclass(slots=True, kw_only=True)
class Duty:
    """All that the running engine process holds."""

    child: Child
    project: Project
    timeline: Trajectory
    engine: Engine
    output: Output
    source: Source | None
    follower: Followed | InternalFollower
    page: Page
    start_s: float = 0.0
    stops: int = 0
    quitting: bool = False
    deserted: bool = False

    @property
    def done(self) -> bool:
        """Whether the process may end: told to, and nothing moves any more."""
        return self.quitting and self.engine.state.phase not in (*MOVING, Phase.STOPPING)

    def ends(self) -> list[int]:
        """Return what to wait on. A source's descriptor may change, and a dead link is always readable."""
        ends = (self.output.fileno(), self.source.fileno() if self.source else None)
        link = [] if self.child.control.gone else [self.child.control.fileno()]
        return [*link, *(number for number in ends if number is not None)]

    def handle(self, command: Command) -> None:
        """Pass on what the operator's program wants."""
        match command:
            case Arm():
                self._arm(command)
            case Start(preroll_s):
                if isinstance(self.follower, InternalFollower):
                    self.follower.start(time.monotonic_ns(), self.start_s - preroll_s)
            case Reset():
                self.engine.order(state.Reset())
            case Quit():
                self.quitting = True
                if self.engine.state.phase in MOVING:
                    self.engine.order(state.Stop("the operator's program quits"))

    def _arm(self, order: Arm) -> None:
        """Have the engine arm; what is armed is worked out here first, which takes longer than a tick may."""
        if self.engine.state.phase not in UNARMED:
            self.child.control.say(Refused(f"not armed: it is {self.engine.state.phase}. Stop and reset first", 1))
            return
        self.page.set_word(Page.ENGINE_BEAT, UNWATCHED)
        setup, project = self.child.setup, self.project
        rate = project.timebase.rate
        try:
            speed = project.run(setup.run).speed * Fraction(order.speed)
            if order.cue is None:
                about_s, end_s = self.timeline.start_s, self.timeline.end_s
                cues = [float(rate.seconds(cue.start)) for cue in project.move.cues]
                about_s = min([about_s, *cues])
            else:
                cue = project.cue(order.cue)
                about_s, end_s = float(rate.seconds(cue.start)), float(rate.seconds(cue.end))
            timeline = self.timeline.stretched(speed, about_s)
            end_s = order.until_s if order.until_s is not None else about_s + (end_s - about_s) / float(speed)
            cued = cue_up(self.child.rig, timeline, about_s, end_s, float(speed))
        except (ValueError, ZeroDivisionError, ProjectError) as fault:
            self.child.control.say(Refused(str(fault), 2))
            return
        worst = over(cued.timeline, self.child.rig)
        rough = "; ".join(one.words(project.timebase) for one in worst if one.of == "jerk")
        words = "; ".join(one.words(project.timebase) for one in worst if one.of != "jerk")
        if words:
            self.child.control.say(Refused(f"not armed: {words}", 1))
            return
        if rough:
            self.child.control.say(Said(time.monotonic_ns(), "rough", f"rougher than the motors like: {rough}"))
        joins = order.late == "join"
        if joins and self.child.rig.combined:
            names = ", ".join(one.name for one in self.child.rig.combined)
            words = (
                f"while joining, limits that tie axes together are not kept ({names}); stand clear of what they guard"
            )
            self.child.control.say(Said(time.monotonic_ns(), "combined", words))
        self.start_s = about_s
        take = None
        if order.take is not None and order.heading is not None:
            rows_per_s = setup.tick_hz + _ANSWERS_HZ + 4 * float(rate.fraction)
            take = OpenTake(order.take, order.heading, rows_per_s, end_s - about_s + 60)
        arm = state.Arm(cued=cued, freewheel_s=setup.freewheel_s, joins=joins)
        self.engine.order(arm, take)


def _open(child: Child, folder: Path, page: Page, stack: ExitStack) -> Duty:
    """Open everything, find out where the rig stands, and report ready."""
    setup = child.setup
    table = laws()
    project = load(Path(setup.project), table)
    timeline = compile_move(child.rig, project.move, project.timebase.rate, table)
    output = stack.enter_context(open_output(setup.output, child.rig))
    source = stack.enter_context(_source(setup, folder))
    follower = _follower(setup, project)
    answer = _first_answer(output, len(child.rig.axes))
    if answer is None and setup.answers_needed:
        raise LinkError(f"the rig at {setup.output} does not answer; check its power, its cable and the address")
    home = np.array([axis.home for axis in child.rig.axes])
    records = Ring(folder / "records")
    control = child.control

    def keep(record: Record) -> bool:
        return records.put(pack(record))

    def say(at_ns: int, code: str, text: str) -> None:
        control.say(Said(at_ns, code, text))

    wires = Wires(output=output, source=source, follower=follower, keep=keep, say=say, show=page.publish)
    position = home if answer is None else answer
    engine = Engine(child.rig, wires, position, time.monotonic_ns(), answers=answer is not None)
    if answer is None:
        standing = ", ".join(f"{axis.name} {axis.home:g}" for axis in child.rig.axes)
        say(time.monotonic_ns(), "home", f"the rig does not answer; it is taken to stand at home ({standing})")
    timing = be_punctual(setup.realtime)
    control.say(Opened("engine", source.address if source is not None else "", timing))
    return Duty(
        child=child,
        project=project,
        timeline=timeline,
        engine=engine,
        output=output,
        source=source,
        follower=follower,
        page=page,
    )


def _follower(setup: Setup, project: Project) -> Followed | InternalFollower:
    if setup.sync == "internal":
        return InternalFollower()
    try:
        return mtc_follower(project.timebase, Follow(freewheel_s=setup.freewheel_s))
    except ValueError as fault:
        raise ProjectError("timebase.rate", str(fault)) from fault


def _source(setup: Setup, folder: Path) -> AbstractContextManager[Source | None]:
    if not setup.source:
        return nullcontext()
    return nullcontext(RingSource(folder / "chunks")) if reads_here(setup.source) else open_source(setup.source)


def _first_answer(output: Output, axes: int) -> Floats | None:
    """Ask the rig where it stands; return the place of every axis, or None where it does not say. Shape: (A,)."""
    place = np.full(axes, math.nan)
    deadline = time.monotonic() + FIRST_ANSWER_S
    while time.monotonic() < deadline:
        output.ask()
        time.sleep(0.02)
        for answer in output.read(time.monotonic_ns()):
            place = np.where(np.isnan(answer.position), place, answer.position)
        if not np.isnan(place).any():
            return place
    return None


def _run(duty: Duty) -> None:
    """Tick until told to quit. A tick that fails by a fault of ours tells the rig to stop, and ends the process."""
    period_ns = round(1e9 / duty.child.setup.tick_hz)
    lateness, work = Tally(), Tally()
    due_ns = time.monotonic_ns() + 2 * period_ns
    try:
        while not duty.done:
            _listen(duty, due_ns - LAST_NS)
            _look_after(duty, due_ns)
            _wait(due_ns, duty.child.setup.precise)
            now_ns = time.monotonic_ns()
            duty.engine.late_ns = now_ns - due_ns
            duty.engine.tick(due_ns)
            done_ns = time.monotonic_ns()
            if duty.engine.state.phase in ON_THE_CLOCK:
                lateness.add(now_ns - due_ns)
                work.add(done_ns - now_ns)
            missed = max(0, (done_ns - due_ns) // period_ns)
            duty.engine.skipped += missed
            due_ns += (missed + 1) * period_ns
    except BaseException:
        duty.output.stop()
        raise
    parts = (0.5, 0.99, 0.999)
    ended = Ended(duty.engine.ticks, duty.engine.skipped, lateness.percentiles(*parts), work.percentiles(*parts))
    duty.child.control.say(ended)


def _listen(duty: Duty, until_ns: int) -> None:
    """Take in messages as they come; at the end also what cannot be waited for."""
    while (left_ns := until_ns - time.monotonic_ns()) > 0:
        if not select.select(duty.ends(), [], [], left_ns * 1e-9)[0]:
            break
        duty.engine.hear(time.monotonic_ns())
        for command in duty.child.control.read():
            duty.handle(command)
    duty.engine.hear(time.monotonic_ns())


def _wait(due_ns: int, precise: bool) -> None:
    """Let the last moment before a tick pass, with nothing left to do when it is due."""
    left_ns = due_ns - time.monotonic_ns()
    if left_ns > 0 and not precise:
        time.sleep(left_ns * 1e-9)
    while time.monotonic_ns() < due_ns:
        pass


def _look_after(duty: Duty, due_ns: int) -> None:
    """Tell the engine what the other processes did meanwhile, and these that it is alive.

    Silence is counted to when the tick is due: after a pause of the whole machine the operator's program is not blamed.
    """
    page, engine = duty.page, duty.engine
    page.set_word(Page.ENGINE_BEAT, due_ns)
    duty.child.control.push()
    stops = page.word(Page.STOP)
    if stops != duty.stops:
        duty.stops = stops
        engine.order(state.Stop("the operator pressed stop"))
    if duty.deserted:
        return
    beat_ns = page.word(Page.OPERATOR_BEAT)
    if duty.child.control.gone:
        duty.deserted = duty.quitting = True
        engine.order(state.Stop("the operator's program has ended; nobody is watching. Start it again"))
    elif engine.state.phase in MOVING and due_ns - beat_ns > OPERATOR_SILENT_S * 1e9:
        engine.order(state.Stop(f"the operator's program has not answered for {OPERATOR_SILENT_S:g} s"))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
