"""The run itself: one crew with four outputs that follows timecode, and shoots a take, and another, until it is over.

What happens is written down and not judged. A stop is looked into, reset, and the next take is shot.
"""

import os
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field
from fractions import Fraction
from multiprocessing import get_context
from pathlib import Path

import numpy as np

from sequencer.errors import SequencerError
from sequencer.playback.state import ON_THE_CLOCK, Phase
from sequencer.project.document import Project
from sequencer.project.store import load, save
from sequencer.project.takefile import read
from sequencer.rig.axis import Axis, Rig
from sequencer.score.move import Cue, Ease, Key, Move, Track
from sequencer.shell import shoot
from sequencer.shell.companion import Companion
from sequencer.shell.crew import Crew, crew
from sequencer.shell.kinds import laws
from sequencer.shell.messages import Reset, Said, Setup, Status
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timebase, Timecode
from tests.soak.judge import Sample, Story
from tests.soak.processes import Held, files_in, folder_of, held
from tests.soak.sinks import Sinks, sinks

TICK_HZ = 250
AXES = 16
MOVE_S = 8
PREROLL_S = 1.5
KEPT = 3  # takes; older ones are removed
LOOKS = 30  # at least, in a short run
LOOK_S = 10.0
_PAUSE_S = 0.03  # by which this process too overslept, where the whole machine stood still
_REMEMBERED_S = 3.0
_RESET_S = 15.0
_MISSING = 0.01  # of a take's rows, beside ticks that were left out

Tell = Callable[[Sample, Story], None]


def project() -> Project:
    """Return a project in which sixteen axes move all the time, from rest to rest once a second."""
    names = [f"axis{number}" for number in range(AXES)]
    axes = tuple(
        Axis(name=name, kind="pan", unit="deg", travel=(-170, 170), speed=90, acceleration=400, jerk=4000)
        for name in names
    )
    tracks = tuple(
        Track(name, tuple(Key(Fraction(25 * s), 20.0 * (s % 2) + number, Ease("poly345")) for s in range(MOVE_S + 1)))
        for number, name in enumerate(names)
    )
    return Project(
        name="Soak",
        timebase=Timebase(Counting(Rate(25)), Timecode(10, 0, 0, 0)),
        rig=Rig(name="Sixteen axes", axes=axes),
        move=Move(tracks=tracks, cues=(Cue("all axes", Fraction(0), Fraction(25 * MOVE_S)),)),
    )


def outputs(rig: str, to: Sinks) -> str:
    """Return the four outputs as they are written: eight axes to the simulated rig, four and four, and all."""
    names = [f"axis{number}" for number in range(AXES)]
    slots = "&".join(f"{name}={1 + 3 * place}.24" for place, name in enumerate(names[8:12]))
    return (
        f"{','.join(names[:8])}={rig}; "
        f"{','.join(names[8:12])}=sacn://127.0.0.1:{to.port('sacn')}/1?{slots}; "
        f"{','.join(names[12:])}=osc://127.0.0.1:{to.port('osc')}?form=d; "
        f"opentrackio://127.0.0.1:{to.port('opentrackio')}"
    )


@dataclass(slots=True)
class Witness:
    """This process's own sleeps: where one was too long when the engine was late, the whole machine stood still."""

    last_s: float = field(default_factory=time.monotonic)
    overslept_s: float = 0.0
    at_s: float = 0.0

    def look(self) -> None:
        """Take note of how long it is since the last look; looks are made every 20 ms."""
        now_s = time.monotonic()
        over_s = now_s - self.last_s - 0.02
        self.last_s = now_s
        if over_s > self.overslept_s or now_s - self.at_s > _REMEMBERED_S:
            self.overslept_s, self.at_s = over_s, now_s

    @property
    def paused(self) -> bool:
        return self.overslept_s > _PAUSE_S and time.monotonic() - self.at_s < _REMEMBERED_S


@dataclass(slots=True, kw_only=True)
class Soak:
    """What a run holds while it goes on."""

    running: Crew
    plan: shoot.Plan
    sender: Companion
    pids: dict[str, int]
    to: Sinks
    reader: ProcessPoolExecutor  # takes are read there: what that holds is no part of the run
    seconds: float
    tell: Tell
    story: Story = field(default_factory=Story)
    begun_s: float = field(default_factory=time.monotonic)
    late_ns: list[int] = field(default_factory=list)
    work_ns: list[int] = field(default_factory=list)
    witness: Witness = field(default_factory=Witness)
    looked_s: float = 0.0
    shared: Path | None = None
    watch: shoot.Watch = field(init=False)

    def __post_init__(self) -> None:
        self.watch = shoot.Watch(self.running, self.hear)
        self.shared = folder_of(self.running.engine_pid)
        self.to.window()

    @property
    def at_s(self) -> float:
        return time.monotonic() - self.begun_s

    @property
    def every_s(self) -> float:
        return min(LOOK_S, self.seconds / LOOKS)

    def hear(self, status: Status | None, said: Sequence[Said]) -> None:
        """Take in what is seen every 20 ms, and look at the processes when that is due."""
        self.witness.look()
        if status is None:
            return
        if status.phase in ON_THE_CLOCK:
            self.late_ns.append(status.late_ns)
            self.work_ns.append(status.work_ns)
        if self.at_s - self.looked_s >= self.every_s:
            self.look(status)

    def look(self, status: Status) -> None:
        self.looked_s = self.at_s
        packets, sent_ns = self.to.window()
        late_ns, self.late_ns = self.late_ns, []
        work_ns, self.work_ns = self.work_ns, []
        seen: dict[str, Held | None] = {name: held(pid) for name, pid in self.pids.items()}
        sample = Sample(
            at_s=self.looked_s,
            held={name: one for name, one in seen.items() if one is not None},
            late_us=_p99_us(late_ns),
            work_us=_p99_us(work_ns),
            sent_us=_p99_us(sent_ns),
            ticks=status.ticks,
            skipped=status.skipped,
            packets=packets,
            shared_files=files_in(self.shared),
            take_files=files_in(self.plan.folder),
        )
        self.story.samples.append(sample)
        self.tell(sample, self.story)

    def go_on(self) -> None:
        """Shoot takes until the time is over, or the run cannot go on."""
        while self.at_s < self.seconds:
            try:
                self._shoot()
            except SequencerError as fault:
                status = self.running.status()
                cause = "" if status is None else status.cause
                words = f"after {self.at_s:.0f} s: {fault}"
                paused = "ms late" in cause and self.witness.paused
                (self.story.pauses if paused else self.story.faults).append(words)
                if not self._recover():
                    return

    def _shoot(self) -> None:
        before = self.running.status()
        path = shoot.take(self.watch, self.plan, self.sender, PREROLL_S)
        after = self.running.status()
        self.story.takes += 1
        assert before is not None
        assert after is not None
        found = self.reader.submit(missing, path, self.plan, after.skipped - before.skipped)
        while not found.done():
            self.watch.look()
        why = found.result()
        if why:
            self.story.lost.append(f"{path.name}: {why}")
        else:
            for old in sorted(self.plan.folder.glob("*.mcap"))[:-KEPT]:
                old.unlink()

    def _recover(self) -> bool:
        """Clear the stop; return whether the run can go on."""
        try:
            self.sender.say({"stop": True})
            until_s = time.monotonic() + _RESET_S
            told_s = 0.0
            while time.monotonic() < until_s:
                status = self.watch.look()
                if status is not None and status.phase in (Phase.IDLE, Phase.FINISHED):
                    self.watch.kept.clear()
                    return True
                if status is not None and status.phase == Phase.STOPPED and time.monotonic() - told_s > 1.0:
                    told_s = time.monotonic()
                    self.running.tell(Reset())
        except SequencerError as fault:
            self.story.faults.append(f"after {self.at_s:.0f} s it could not go on: {fault}")
            return False
        self.story.faults.append(f"after {self.at_s:.0f} s the stop could not be cleared")
        return False


def missing(path: Path, plan: shoot.Plan, skipped: int) -> str:
    """Return what a take lacks, or nothing."""
    try:
        take = read(path)
    except (SequencerError, OSError) as fault:
        return str(fault)
    if not take.complete:
        return take.fault
    start_s, end_s = plan.span_s
    wanted = (end_s - start_s) * TICK_HZ
    rows = sum(phase in ON_THE_CLOCK for phase in take.phases)
    return "" if rows + skipped >= (1 - _MISSING) * wanted else f"{rows} setpoints on the timeline, of {wanted:.0f}"


def _p99_us(values_ns: Sequence[int]) -> float | None:
    return float(np.percentile(values_ns, 99)) / 1e3 if values_ns else None


@contextmanager
def opened(folder: Path, seconds: float, tell: Tell) -> Iterator[Soak]:
    """Start all that a run needs."""
    save(folder / "soak", project(), laws())
    whole = load(folder / "soak", laws())
    axes = [f"axis{number}" for number in range(12, AXES)]
    with ExitStack() as stack:
        to = stack.enter_context(sinks("osc", axes, "sacn", "opentrackio"))
        rig, address = stack.enter_context(shoot.simulated_rig(folder / "soak" / "rig.json", 1))
        setup = Setup(
            project=str(folder / "soak"),
            run=None,
            output=outputs(address, to),
            sync="mtc",
            sources=("pipe:0",),
            tick_hz=TICK_HZ,
            answers_needed=False,
        )
        reader = stack.enter_context(ProcessPoolExecutor(1, mp_context=get_context("spawn")))
        reader.submit(os.getpid).result()  # it is there from now on, with its threads here
        running = stack.enter_context(crew(setup))
        sender = stack.enter_context(shoot.timecode_sender(running.wait_opened(), whole))
        plan = shoot.plan(whole, None, None, folder / "soak" / "takes", of=folder / "soak")
        pids = {**running.pids, "simulated rig": rig.pid, "timecode sender": sender.pid, "this command": os.getpid()}
        yield Soak(
            running=running, plan=plan, sender=sender, pids=pids, to=to, reader=reader, seconds=seconds, tell=tell
        )


def soak(folder: Path, seconds: float, tell: Tell) -> Story:
    """Run for so long, with the project and the takes in `folder`; return what happened. Error: SequencerError."""
    with opened(folder, seconds, tell) as one:
        one.go_on()
        story, shared = one.story, one.shared
    with suppress(OSError):
        if shared is not None and shared.exists():
            story.left_behind += [path.name for path in shared.iterdir()] or [shared.name]
    return story
