"""Brings about stops in a real run, one after another, each in a random phase of a move; returns what each took.

All causes but a dead engine take turns in one run: engine, io and watchdog, with the rig of `tests.bench.stop_rig`.
"""

import os
import random
import signal
import socket
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

from sequencer.adapters.midi_ports.outs import open_out
from sequencer.motion.trajectory import Trajectory
from sequencer.playback.state import Phase
from sequencer.project.store import load, save
from sequencer.project.takefile import read
from sequencer.shell import shoot
from sequencer.shell.crew import Crew, CrewFailed, crew
from sequencer.shell.kinds import laws
from sequencer.shell.messages import Arm, Reset, Setup, Start, Status
from sequencer.wire import mmc
from sequencer.wire.osc import command
from tests.bench.stick import HAS_SDL, found
from tests.bench.stop_pad import PRESSED
from tests.bench.stop_rig import StopRig, stop_rig
from tests.bench.stopped import TICK_HZ, NotCounted, Stopped, agrees, compiled, project, reckon, reckon_silent

WORD, PAD, OSC, MIDI = "stop word in shared memory", "button of a pad", "OSC /stop by UDP", "MMC stop by a byte pipe"
MUTE, CUT, KILLED = "the rig's answers are lost", "the link is lost both ways", "the engine is killed"
SILENT = (MUTE, CUT)
SOONEST_S, LATEST_S = 0.2, 2.2  # after the move has begun; it repeats every two seconds
PATIENCE_S = 20.0
_REST_S = 0.4
_TRIES = 3  # of one stop that could not be counted

Cause = Callable[[], int]


@dataclass(slots=True)
class Counted:
    """The stops by their cause; those that were not counted, with the reason; and how many takes say the same."""

    stops: dict[str, list[Stopped]] = field(default_factory=lambda: defaultdict(list))
    left_out: list[str] = field(default_factory=list)
    takes: int = 0
    agreeing: int = 0


@dataclass(frozen=True, slots=True)
class Stage:
    """A run that is open."""

    running: Crew
    watch: shoot.Watch
    plan: shoot.Plan
    rig: StopRig
    move: Trajectory
    luck: random.Random


@contextmanager
def stage(rig: StopRig, folder: Path, luck: random.Random, **how: object) -> Iterator[Stage]:
    """Start a run with the project in `folder`; `how` is added to its setup."""
    opened = load(folder, laws())
    setup = Setup(
        project=str(folder),
        run=None,
        output=f"osc://127.0.0.1:{rig.port}?form=d",
        sync="internal",
        tick_hz=TICK_HZ,
        **how,  # type: ignore[arg-type]  # fields of many types
    )
    with crew(setup) as running:
        running.wait_opened()
        watch = shoot.Watch(running, lambda status, said: None)
        plan = shoot.plan(opened, None, None, folder / "takes", of=folder)
        yield Stage(running, watch, plan, rig, compiled(opened), luck)


@contextmanager
def saved() -> Iterator[Path]:
    """Have the project on the disk."""
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made) / "stops"
        save(folder, project(), laws())
        yield folder


def taken(count: int, seed: int = 1, only: Sequence[str] = ()) -> Counted:
    """Return `count` stops of each cause that this machine can bring about in one run, or of those that are named."""
    counted = Counted()
    with ExitStack() as stack:
        rig = stack.enter_context(stop_rig(project().rig))
        folder = stack.enter_context(saved())
        presses = _free_port()
        how = {"triggers": ("osc:0", "pipe:0")}
        if HAS_SDL:
            outside = stack.enter_context(tempfile.TemporaryDirectory())
            stack.enter_context(found(Path(outside), "pressing = tests.bench.stop_pad:KIND"))
            how["controllers"] = f"pressing:{presses}"  # type: ignore[assignment]  # a dict of many types
        on = stack.enter_context(stage(rig, folder, random.Random(seed), **how))
        every = _causes(on, presses, stack)
        causes = {name: cause for name, cause in every.items() if not only or name in only}
        for _ in range(count):
            for name in on.luck.sample(sorted(causes), len(causes)):
                _one(on, counted, name, causes[name])
    return counted


def killed(count: int, seed: int = 2) -> Counted:
    """Return `count` stops by an engine that is killed, each with a run of its own."""
    counted, luck = Counted(), random.Random(seed)
    with saved() as folder, stop_rig(project().rig) as rig:
        for _ in range(count):
            with stage(rig, folder, luck) as on:
                begin(on, record=False)
                cause_ns = time.monotonic_ns()
                os.kill(on.running.engine_pid, signal.SIGKILL)
                until_s = time.monotonic() + 1.0
                with suppress(CrewFailed):
                    while time.monotonic() < until_s:
                        on.running.hear(0.01)
                _wait(lambda: rig.record.rests_ns is not None and bool(rig.record.stops_ns), "the rig stood")
                time.sleep(_REST_S)
                _count(counted, KILLED, partial(reckon_silent, rig.record, cause_ns))
    return counted


def _causes(on: Stage, presses: int, stack: ExitStack) -> dict[str, Cause]:
    """Return what brings each stop about, and says when that was."""
    opened = on.running.opened() or {}
    addresses = {place: address for one in opened.values() for place, address in one.sources.items()}
    port = stack.enter_context(socket.socket(socket.AF_INET, socket.SOCK_DGRAM))
    port.settimeout(2.0)
    midi = stack.enter_context(open_out(addresses[1]))
    stop, halt = command("/stop"), mmc.encode([mmc.Transport.STOP])
    to = ("127.0.0.1", int(addresses[0].rpartition(":")[2]))

    def at(act: Callable[[], object]) -> int:
        now_ns = time.monotonic_ns()
        act()
        return now_ns

    def pressed() -> int:
        port.sendto(b"press", ("127.0.0.1", presses))
        return int(PRESSED.unpack(port.recv(64))[0])

    def lose(what: str) -> int:
        setattr(on.rig, what, True)
        return on.rig.record.answered_ns

    causes: dict[str, Cause] = {
        WORD: lambda: at(on.running.stop_now),
        OSC: lambda: at(lambda: port.sendto(stop, to)),
        MIDI: lambda: at(lambda: midi.send(halt, 0)),
        MUTE: lambda: lose("mute"),
        CUT: lambda: lose("cut"),
    }
    return causes | ({PAD: pressed} if HAS_SDL else {})


def begin(on: Stage, *, record: bool = True) -> tuple[Path, tuple[int, float]]:
    """Arm, start, and return at a random instant of the move: the take's file, and where the timeline was when."""
    path = on.plan.next_path()
    heading = on.plan.heading(path.stem) if record else None
    on.watch.kept.clear()
    on.watch.arm(Arm(cue=on.plan.cue.name, take=str(path) if record else None, heading=heading))
    on.watch.until(Phase.READY, PATIENCE_S)
    on.rig.begin()
    on.running.tell(Start())
    on.watch.until(Phase.RUNNING, PATIENCE_S)
    status = on.running.status()
    assert status is not None
    until_s = time.monotonic() + on.luck.uniform(SOONEST_S, LATEST_S)
    while (left_s := until_s - time.monotonic()) > 0.03:
        on.watch.look()
        time.sleep(min(0.01, left_s / 2))
    time.sleep(max(0.0, until_s - time.monotonic()))
    return path, (status.at_ns, status.timeline_s)


def _one(on: Stage, counted: Counted, name: str, cause: Cause) -> None:
    """Have one cause stop one move; try again where that could not be counted."""
    for _ in range(_TRIES):
        path, clock = begin(on)
        cause_ns = cause()
        _until_stopped(on)
        record, silent = on.rig.record, name in SILENT
        braked = partial(reckon, record, cause_ns, on.move, clock)
        whole = _count(counted, name, partial(reckon_silent, record, cause_ns) if silent else braked)
        _recover(on)
        if whole and not silent:
            counted.takes += 1
            counted.agreeing += agrees(counted.stops[name][-1], read(path))
        path.unlink(missing_ok=True)
        if whole:
            return


def _count(counted: Counted, name: str, reckoned: Callable[[], Stopped]) -> bool:
    try:
        counted.stops[name].append(reckoned())
    except NotCounted as why:
        counted.left_out.append(f"{name}: {why}")
        return False
    return True


def _until_stopped(on: Stage) -> None:
    """Wait until playback has stopped, the rig stands and the take's file is closed."""

    def over() -> bool:
        status = on.watch.look()
        return _is(status, Phase.STOPPED) and bool(on.watch.kept) and on.rig.record.rests_ns is not None

    _wait(over, "playback stopped")
    rests_s = time.monotonic() + _REST_S
    while time.monotonic() < rests_s:
        on.watch.look()


def _recover(on: Stage) -> None:
    """Bring the link back, and clear the stop."""
    on.rig.mute = on.rig.cut = False
    _wait(lambda: (status := on.watch.look()) is not None and status.link == "up", "the link was back")
    on.running.tell(Reset())
    _wait(lambda: _is(on.watch.look(), Phase.IDLE), "the stop was cleared")


def _is(status: Status | None, phase: Phase) -> bool:
    return status is not None and status.phase == phase


def _wait(what: Callable[[], bool], words: str) -> None:
    until_s = time.monotonic() + PATIENCE_S
    while not what():
        if time.monotonic() > until_s:
            raise AssertionError(f"it took too long until {words}")
        time.sleep(0.002)


def _free_port() -> int:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as port:
        port.bind(("127.0.0.1", 0))
        return int(port.getsockname()[1])
