"""The engine process: opens what it was set up with, then ticks on absolute deadlines until it is told to quit.

One thread. Between ticks it waits for messages; it evaluates the timeline at the deadline, not when it woke; when it is
late it leaves ticks out and never sends a burst.
"""

import math
import os
import select
import sys
import time
from contextlib import ExitStack, suppress
from dataclasses import replace
from pathlib import Path

import numpy as np

from sequencer.adapters.contract import Output, Source
from sequencer.errors import LinkError, ProjectError, SequencerError
from sequencer.live.handling import default_handlings
from sequencer.motion.compile import compile_move
from sequencer.playback import events
from sequencer.playback.ahead import Timing
from sequencer.playback.state import MOVING, ON_THE_CLOCK, STOPS
from sequencer.playback.watch import Flags
from sequencer.project.document import Project
from sequencer.project.passed import in_pass
from sequencer.project.store import load
from sequencer.rig.axis import FARTHEST
from sequencer.rig.signals import Floats
from sequencer.shell.child import Child, join
from sequencer.shell.duty import Duty
from sequencer.shell.ears import Ears
from sequencer.shell.hands import HandsOn
from sequencer.shell.inlets import AtPort, RingSource, in_io
from sequencer.shell.kinds import carried, laws, open_source
from sequencer.shell.loop import Engine, Wires
from sequencer.shell.masters import master
from sequencer.shell.memory import Page, Ring
from sequencer.shell.messages import Ended, Failed, Opened, Said, Setup
from sequencer.shell.outlets import answering, as_served, demand, parts, timing, told
from sequencer.shell.realtime import be_punctual
from sequencer.shell.records import Record, pack
from sequencer.shell.several import opened
from sequencer.shell.tally import Tally
from sequencer.shell.watchdog import RESTING
from sequencer.sync.midi_orders import MidiOrders
from sequencer.sync.orders import Reader
from sequencer.sync.osc_orders import OscOrders
from sequencer.sync.reading import Follower

FIRST_ANSWER_S = 1.5
OPERATOR_SILENT_S = 1.0
MUSIC_AHEAD_NS = 200_000_000  # more than a sound card has in hand
SEEN_LATE_NS = 20_000_000  # an order, by a machine that is busy
LAST_NS = 200_000  # before a tick is due: messages have been heard, and what is left is slept, or spun, away


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


def _open(child: Child, folder: Path, page: Page, stack: ExitStack) -> Duty:
    """Open everything, find out where the rig stands, and report ready."""
    setup = child.setup
    table = laws()
    project, _ = in_pass(load(Path(setup.project), table), setup.run, table)
    served = parts(setup.output, child.rig, Path(setup.project))
    demand(served, setup.tick_hz)
    child = replace(child, rig=as_served(child.rig, served))
    timeline = compile_move(child.rig, project.move, project.timebase.rate, table)
    output = stack.enter_context(opened(served, len(child.rig.axes), project.timebase))
    follower, desk = master(setup, project, Ring(folder / "wishes"))
    pace = timing(served, setup.tick_hz)
    ears = _ears(setup, project, follower, folder, stack, pace)
    answer = _first_answer(output, np.array(answering(served, child.rig)))
    answers = ~np.isnan(answer)
    if setup.answers_needed and not answers.all():
        where = ", ".join(part.outlet.address for part in served if part.kind.drives)
        raise LinkError(f"the rig at {where} does not answer; check its power, its cable and the address")
    home = np.array([axis.home for axis in child.rig.axes])
    records = Ring(folder / "records")
    control = child.control

    def keep(record: Record) -> bool:
        return records.put(pack(record))

    def say(at_ns: int, code: str, text: str) -> None:
        control.say(Said(at_ns, code, text))

    wires = Wires(output=output, ears=ears, keep=keep, say=say, show=page.publish)
    position = np.where(answers, answer, home)
    engine = Engine(child.rig, wires, position, time.monotonic_ns(), answers.tolist(), pace)
    for words in told(served, setup.tick_hz):
        say(time.monotonic_ns(), "output", words)
    if not answers.all():
        silent = [axis for axis, spoke in zip(child.rig.axes, answers, strict=True) if not spoke]
        standing = ", ".join(f"{axis.name} {axis.home:g}" for axis in silent)
        who = "it is" if len(silent) == len(answers) else "these axes are"
        say(time.monotonic_ns(), "home", f"the rig does not answer; {who} taken to stand at home ({standing})")
    punctual = be_punctual(setup.realtime)
    here = {source.port: source.address for source in ears.sources if isinstance(source, AtPort)}
    control.say(Opened("engine", here, punctual))
    return Duty(
        child=child,
        project=project,
        timeline=timeline,
        engine=engine,
        output=output,
        ears=ears,
        desk=desk,
        page=page,
    )


def _ears(setup: Setup, project: Project, follower: Follower, folder: Path, stack: ExitStack, pace: Timing) -> Ears:
    """Open the sources that are read here, and give each port to whom it concerns."""
    inlets = setup.inlets
    elsewhere: list[Source] = [RingSource(folder / "chunks")]
    here = [
        AtPort(port, stack.enter_context(open_source(address)))
        for port, address in enumerate(inlets)
        if not in_io(address)
    ]
    time_port = len(inlets) if setup.sync == "audio" else 0 if setup.sources else None
    return Ears(
        sources=(*elsewhere, *here),
        follower=follower,
        time_port=time_port,
        readers={inlets.index(address): _reader(address, project) for address in setup.triggers},
        addresses=inlets,
        starts_ahead_ns=starts_ahead_ns(pace, music=setup.sync == "audio"),
        pads=HandsOn(project.rig, project.hands or default_handlings(project.rig)) if setup.controllers else None,
        pads_port=setup.pads_port,
    )


def starts_ahead_ns(pace: Timing, *, music: bool) -> int:
    """Return how long before its time a start of our own clock must be known for it to count from just then.

    It is seen once a tick, and ticks may be late: by then the horizon must not be past it.
    """
    horizon_ns = pace.ahead_ns + 2 * pace.period_ns + SEEN_LATE_NS if pace.ahead_ns else 0
    return max(horizon_ns, MUSIC_AHEAD_NS if music else 0)


def _reader(address: str, project: Project) -> Reader:
    """Return who reads orders at `address`."""
    if carried(address) == "osc":
        return OscOrders(project.timebase)
    return MidiOrders(project.triggers.mapped, project.triggers.mmc_device, project.timebase)


def _first_answer(output: Output, can: Flags) -> Floats:
    """Ask the rig where it stands; return the place of every axis, NaN where it does not say. Shape: (A,) both.

    `can`: which axes can answer at all; the others are not waited for.
    """
    place = np.full(len(can), math.nan)
    if not can.any():
        output.ask()  # nobody answers, but a rig that was stopped listens again from then on
        return place
    deadline = time.monotonic() + FIRST_ANSWER_S
    while time.monotonic() < deadline:
        output.ask()
        time.sleep(0.02)
        for answer in output.read(time.monotonic_ns()):
            place = np.where(np.abs(answer.position) < FARTHEST, answer.position, place)
        if not np.isnan(place[can]).any():
            break
    return place


def _run(duty: Duty) -> None:
    """Tick until told to quit. A tick that fails by a fault of ours tells the rig to stop, and ends the process."""
    period_ns = round(1e9 / duty.child.setup.tick_hz)
    lateness, work = Tally(), Tally()
    due_ns = time.monotonic_ns() + 2 * period_ns
    try:
        while not duty.done:
            _listen(duty, due_ns - LAST_NS)
            if duty.pondered:
                # working out what is to be armed takes longer than a tick; nothing moved meanwhile, but the rig spoke
                duty.engine.hear(time.monotonic_ns())
                duty.pondered, due_ns = False, time.monotonic_ns() + period_ns
            _look_after(duty, due_ns)
            duty.feel(due_ns)
            _wait(due_ns, duty.child.setup.precise)
            now_ns = time.monotonic_ns()
            duty.engine.late_ns = now_ns - due_ns
            duty.engine.tick(due_ns)
            done_ns = time.monotonic_ns()
            duty.engine.work_ns = done_ns - now_ns
            if duty.engine.state.phase in ON_THE_CLOCK:
                lateness.add(now_ns - due_ns)
                work.add(done_ns - now_ns)
            missed = max(0, (done_ns - due_ns) // period_ns)
            duty.engine.skipped += missed
            due_ns += (missed + 1) * period_ns
    except BaseException:
        with suppress(LinkError):
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
    now_ns = time.monotonic_ns()
    duty.engine.hear(now_ns)
    for due in duty.ears.due(now_ns):
        duty.obey(due)


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
        engine.order(events.Stop("the operator pressed stop"))
    if engine.state.phase in STOPS:
        # whatever stopped it: nothing that was to come starts what is armed after it, and no hand that still holds on
        duty.ears.agenda.clear("the rig")
        if duty.ears.pads is not None:
            duty.ears.pads.take(False)
    if duty.deserted:
        return
    beat_ns = page.word(Page.OPERATOR_BEAT)
    if duty.child.control.gone:
        duty.deserted = duty.quitting = True
        engine.order(events.Stop("the operator's program has ended; nobody is watching. Start it again"))
    elif engine.state.phase in MOVING and due_ns - beat_ns > OPERATOR_SILENT_S * 1e9:
        words = f"the operator's program has not answered for {OPERATOR_SILENT_S:g} s; see what holds it up"
        engine.order(events.Stop(words))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
