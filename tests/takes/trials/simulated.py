"""Trials in simulated time: the real engine and the motors' model do each step, and the course reads the rows of it."""

from collections.abc import Callable
from dataclasses import dataclass, field
from fractions import Fraction

import numpy as np

from sequencer.adapters.contract import LinkState
from sequencer.motion.compile import compile_move
from sequencer.playback.cued import cue_up
from sequencer.playback.events import Arm
from sequencer.playback.state import Phase
from sequencer.rig import servo
from sequencer.rig.axis import Rig
from sequencer.rig.signals import Feedback, Floats, Setpoint, Trigger
from sequencer.shell.ears import Ears
from sequencer.shell.kinds import laws
from sequencer.shell.loop import TAIL_S, Engine, Wires
from sequencer.shell.records import OpenTake, Record
from sequencer.sync.internal import InternalFollower
from sequencer.takes.rows import ActualRow, Heading, SetpointRow
from sequencer.takes.take import Take
from sequencer.takes.trials import written
from sequencer.takes.trials.course import Course, batch, begin, fold, next_step
from sequencer.takes.trials.seen import Seen, seen
from sequencer.takes.trials.step import Step
from sequencer.takes.trials.steps import Most
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timebase, parse

RATE = Rate(25)
COUNTING = Counting(RATE, False)
TIMEBASE = Timebase(COUNTING, parse("00:00:00:00", COUNTING))
TICK_NS = 4_000_000
PREROLL_S = 0.3
Spoil = Callable[[Floats], Floats]


@dataclass(slots=True, kw_only=True)
class Bench:
    """A rig as it truly is, with its clock; `spoil` is what becomes of its answers on the way."""

    truth: Rig
    seed: int
    spoil: Spoil | None = None
    single: bool = True
    now_ns: int = 1_000_000_000
    sent: list[Setpoint] = field(default_factory=list)
    motors: servo.Motors = field(init=False)
    noise: np.random.Generator = field(init=False)

    def __post_init__(self) -> None:
        self.motors = servo.at_home(self.truth, self.now_ns)
        self.noise = np.random.default_rng(self.seed)

    def fileno(self) -> int | None:
        return None

    def send(self, setpoint: Setpoint) -> None:
        if self.single:
            # as the wire carries them
            position, velocity = (
                one.astype(np.float32).astype(float) for one in (setpoint.position, setpoint.velocity)
            )
            setpoint = Setpoint(setpoint.due_ns, position, velocity)
        self.sent.append(setpoint)
        self.motors = servo.command(self.motors, setpoint)

    def replace(self, from_ns: int) -> None:
        raise AssertionError("a rig that schedules nothing was told to replace something")

    def fire(self, trigger: Trigger) -> bool:
        return False

    def read(self, heard_ns: int) -> tuple[Feedback, ...]:
        self.motors = servo.advance(self.motors, heard_ns)
        position = servo.measure(self.motors, self.noise).astype(np.float32).astype(float)
        if self.spoil is not None:
            position = self.spoil(position)
        return (Feedback(self.motors.at_ns, position, heard_ns),)

    def ask(self) -> None:
        self.motors = servo.resume(self.motors)

    def look(self, now_ns: int) -> None:
        pass

    def link(self, now_ns: int) -> LinkState:
        return LinkState()

    def stop(self) -> None:
        self.motors = servo.stop(self.motors)

    def here(self, axis: str, value: float) -> None:
        raise AssertionError("the engine set a count")

    def trouble(self) -> str:
        return ""


@dataclass(slots=True, kw_only=True)
class Run:
    """One run of the engine over a batch of steps."""

    bench: Bench
    engine: Engine
    follower: InternalFollower
    kept: list[Record]

    def until(self, phases: tuple[Phase, ...], most_s: float) -> None:
        last_ns = self.bench.now_ns + round(most_s * 1e9)
        while self.engine.state.phase not in phases and self.bench.now_ns < last_ns:
            self.pass_time(TICK_NS * 1e-9)

    def pass_time(self, lasts_s: float) -> None:
        for _ in range(round(lasts_s * 1e9 / TICK_NS)):
            self.bench.now_ns += TICK_NS
            self.engine.hear(self.bench.now_ns)
            self.engine.tick(self.bench.now_ns)


def heading() -> Heading:
    return Heading(
        name="trial", project="trials", cue="", run="", cue_s=(0.0, 1.0), rate="25", drop=False, start="00:00:00:00",
        axes=(), kinds=(), units=(), sensor_mm=None, pixels=None, focal_mm=None, subject_m=None, started="",
    )  # fmt: skip


def take_of(rig: Rig, kept: list[Record], cue_s: tuple[float, float]) -> Take:
    """Return the rows as the take that a file of them would be read as."""
    asked = [row for row in kept if isinstance(row, SetpointRow)]
    actual = [row for row in kept if isinstance(row, ActualRow)]
    return Take(
        name="trial",
        project="trials",
        cue="",
        run="",
        cue_s=cue_s,
        timebase=TIMEBASE,
        axes=rig.names,
        kinds=tuple(axis.kind for axis in rig.axes),
        units=tuple(axis.unit for axis in rig.axes),
        camera=None,
        started="",
        due_ns=np.array([row.due_ns for row in asked], dtype=np.int64),
        timeline_s=np.array([row.timeline_s for row in asked]),
        asked=np.array([row.position for row in asked]).reshape(-1, len(rig.axes)),
        actual_ns=np.array([row.at_ns for row in actual], dtype=np.int64),
        actual=np.array([row.position for row in actual], dtype=float).reshape(-1, len(rig.axes)),
        sighted_ns=np.empty(0, dtype=np.int64),
        sighted_s=np.empty(0),
        happenings=(),
        complete=True,
        speed=Fraction(1),
    )


def start(bench: Bench, rig: Rig) -> Run:
    """Return the engine on the bench, the rig standing where it says."""
    kept: list[Record] = []

    def keep(record: Record) -> bool:
        kept.append(record)
        return True

    follower = InternalFollower()
    wires = Wires(output=bench, ears=Ears(follower=follower), keep=keep, say=lambda *_: None, show=lambda *_: None)
    (answer,) = bench.read(bench.now_ns)
    engine = Engine(rig, wires, answer.position, bench.now_ns, answers=True)
    return Run(bench=bench, engine=engine, follower=follower, kept=kept)


def done(run: Run, rig: Rig, axis: str, stands: dict[str, float], steps: tuple[Step, ...], step: Step) -> Seen:
    """Do one step; return what was seen of it."""
    timeline = compile_move(rig, written.move(axis, steps, stands, RATE), RATE, laws())
    start_s = written.starts_s(steps)[step.name]
    run.kept.clear()
    run.follower.locate(start_s - PREROLL_S)
    arm = Arm(cued=cue_up(rig, timeline, start_s, start_s + step.lasts_s))
    run.engine.order(arm, OpenTake("trial", heading(), 600.0, step.lasts_s + 60))
    run.pass_time(TICK_NS * 1e-9)
    run.until((Phase.READY, Phase.STOPPED), 300.0)
    run.follower.start(run.bench.now_ns)
    run.until((Phase.FINISHED, Phase.STOPPED), PREROLL_S + step.lasts_s + 30)
    run.pass_time(TAIL_S + 0.1)
    stopped = run.engine.state.cause if run.engine.state.phase is Phase.STOPPED else ""
    return seen(take_of(rig, run.kept, (start_s, start_s + step.lasts_s)), axis, start_s, step.lasts_s, stopped)


def course_of(bench: Bench, guess: Rig, axis: str, most: Most) -> Course:
    """Try an axis of the rig on the bench, of which `guess` is what its file says; return what came of it."""
    stands = dict(zip(guess.names, servo.measure(bench.motors, bench.noise).tolist(), strict=True))
    course = begin(guess.axes[guess.index(axis)], most, stands[axis])
    while steps := batch(course):
        rig = written.limited(guess, axis, steps)
        run = start(bench, rig)
        while (step := next_step(course)) is not None and step in steps:
            course = fold(course, step, done(run, rig, axis, stands, steps, step))
        # between two runs of the engine a real rig waits for a while too
        bench.now_ns += 1_000_000_000
    return course
