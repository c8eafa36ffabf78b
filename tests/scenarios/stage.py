"""A whole shoot in simulated time: a master that sends timecode, the real engine, and motors that follow."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path

import msgspec
import numpy as np

from sequencer.adapters.contract import LinkState
from sequencer.errors import LinkError
from sequencer.motion.compile import compile_move
from sequencer.motion.trajectory import Trajectory
from sequencer.playback.ahead import Timing
from sequencer.playback.cued import cue_up
from sequencer.playback.events import Arm
from sequencer.playback.firing import Firing
from sequencer.playback.state import Phase
from sequencer.project.store import load
from sequencer.rig import servo
from sequencer.rig.axis import Rig
from sequencer.rig.signals import Feedback, Floats, Setpoint, Trigger
from sequencer.shell.ears import Ears
from sequencer.shell.kinds import laws
from sequencer.shell.loop import Engine, Wires
from sequencer.shell.messages import Status
from sequencer.shell.records import OpenTake, Record
from sequencer.shell.relink import Relink
from sequencer.sync.followed import Followed
from sequencer.sync.internal import InternalFollower
from sequencer.sync.mtc import mtc_follower
from sequencer.sync.reading import Follow
from sequencer.timebase.timecode import Timebase
from sequencer.wire import echo
from tests.sync.master import Sent

HARBOUR = Path(__file__).parents[2] / "projects" / "harbour-lanterns"
TICK_NS = 4_000_000
AS_DUE = Timing()
NO_CAMERA = Firing()
BEGIN_NS = 1_000_000_000


@dataclass(slots=True, kw_only=True)
class Cable:
    """What is wrong with the cable, and when: `away` is a while in which nothing gets through, both ways.

    `gone_in`: the method that then also raises, as where the network itself is gone. `echoes`: whether the rig does.
    `deaf_to_ns`: until then the rig hears nothing, while it still answers for two seconds.
    """

    away_ns: tuple[int, int] | None = None
    deaf_to_ns: int = 0
    gone_in: str = ""
    echoes: bool = True

    def cut(self, now_ns: int) -> bool:
        return self.away_ns is not None and self.away_ns[0] <= now_ns < self.away_ns[1]


class SimulatedRig:
    """An output whose other end is the motors' model; `mute_from_ns` is when it falls silent.

    What is not due yet it keeps until it is, in `plan`; `played` is what came due. It speaks for two seconds after a
    setpoint or a question, and once to a call, as the simulated rig's process does.
    """

    def __init__(self, rig: Rig, seed: int = 1, mute_from_ns: int | None = None, delay_ns: int = 0) -> None:
        self.motors = servo.at_home(rig, 0)
        self.sent: list[Setpoint] = []
        self.stops = 0
        self.asks = 0
        self.calls = 0
        self.opened = 0
        self.cable = Cable()
        self.plan: list[Setpoint] = []
        self.played: list[Setpoint] = []
        self.fired: list[Trigger] = []
        self.fired_ns: list[int] = []
        self.replaced: list[tuple[int, int]] = []  # when, and from when on
        self._noise = np.random.default_rng(seed)
        self._mute_from_ns = mute_from_ns
        self._delay_ns = delay_ns
        self._waiting: list[Feedback] = []
        self._pongs: list[tuple[int, int]] = []
        self._echo = echo.Echo()
        self.now_ns = self._asked_ns = BEGIN_NS
        self._called = False

    @contextmanager
    def open(self) -> Iterator["SimulatedRig"]:
        """Open the link to this rig, where its cable is there."""
        if self.cable.gone_in and self.cable.cut(self.now_ns):
            raise LinkError("no network")
        self.opened += 1
        yield self

    def _through(self, method: str) -> bool:
        cut = self.cable.cut(self.now_ns)
        if cut and method == self.cable.gone_in:
            raise LinkError("the network is gone; plug it in again")
        return not cut and (method == "read" or self.now_ns >= self.cable.deaf_to_ns)

    def fileno(self) -> int | None:
        return None

    def send(self, setpoint: Setpoint) -> None:
        self.sent.append(setpoint)
        if self._through("send"):
            self._asked_ns = self.now_ns
            self.plan.append(setpoint)
            self._play(self.now_ns)

    def replace(self, from_ns: int) -> None:
        self.replaced.append((self.now_ns, from_ns))
        self.plan = [one for one in self.plan if one.due_ns < from_ns]

    def _play(self, until_ns: int) -> None:
        while self.plan and self.plan[0].due_ns <= until_ns:
            due = self.plan.pop(0)
            self.played.append(due)
            self.motors = servo.command(self.motors, due)

    def fire(self, trigger: Trigger) -> bool:
        self.fired.append(trigger)
        self.fired_ns.append(self.now_ns)
        return True

    def read(self, heard_ns: int) -> tuple[Feedback, ...]:
        self._play(heard_ns)
        self.motors = servo.advance(self.motors, heard_ns)
        through = self._through("read")
        asked = heard_ns - self._asked_ns <= 2_000_000_000 or self._called
        if through and asked and (self._mute_from_ns is None or heard_ns < self._mute_from_ns):
            position = servo.measure(self.motors, self._noise)
            self._waiting.append(Feedback(self.motors.at_ns, position, heard_ns + self._delay_ns))
        self._called = False
        due = tuple(one for one in self._waiting if one.heard_ns <= heard_ns)
        self._waiting = [one for one in self._waiting if one.heard_ns > heard_ns]
        while through and self._pongs and self._pongs[0][0] <= heard_ns:
            self._echo = echo.hear(self._echo, self._pongs.pop(0)[1], heard_ns)
        return due

    def ask(self) -> None:
        self.asks += 1
        if self._through("ask"):
            self._asked_ns = self.now_ns
            self.motors = servo.resume(self.motors)

    def stop(self) -> None:
        self.stops += 1
        if self._through("stop"):
            self.plan.clear()
            self.motors = servo.stop(self.motors)

    def look(self, now_ns: int) -> None:
        if not echo.due(self._echo, now_ns):
            return
        self._echo = echo.call(self._echo, now_ns)
        self.calls += 1
        muted = self._mute_from_ns is not None and now_ns >= self._mute_from_ns
        if self._through("look") and self.cable.echoes and not muted:
            self._called = True
            self._pongs.append((now_ns + self._delay_ns, self._echo.number))

    def link(self, now_ns: int) -> LinkState:
        return LinkState(echo.round_trip_s(self._echo, now_ns), echo.lost(self._echo, now_ns))

    def here(self, axis: str, value: float) -> None:
        raise AssertionError("the engine set a count")

    def trouble(self) -> str:
        return ""


@dataclass(slots=True, kw_only=True)
class Stage:
    """What a scenario sees. Unit: seconds of simulated time; `arrivals` what the master sends, in order."""

    rig: Rig
    timeline: Trajectory
    cue_s: tuple[float, float]
    output: SimulatedRig
    timebase: Timebase
    engine: Engine
    follower: Followed | InternalFollower
    now_ns: int = BEGIN_NS
    said: list[tuple[str, str]] = field(default_factory=list)
    kept: list[Record] = field(default_factory=list)
    full: bool = False  # no room for a record
    phases: list[Phase] = field(default_factory=list)
    held: list[tuple[float, ...]] = field(default_factory=list)  # by the guard, tick by tick where it did
    joins: bool = False
    remote: bool = False
    status: Status | None = None
    arrivals: list[Sent] = field(default_factory=list)

    @property
    def codes(self) -> list[str]:
        return [code for code, _ in self.said]

    def words(self, code: str) -> str:
        return next(text for one, text in self.said if one == code)

    def run(self, seconds: float, until: Callable[[], bool] = lambda: False) -> None:
        """Let simulated time pass, tick by tick, the arrivals fed at their own instants."""
        end_ns = self.now_ns + round(seconds * 1e9)
        while self.now_ns < end_ns and not until():
            self.now_ns += TICK_NS
            while self.arrivals and self.arrivals[0].at_ns <= self.now_ns:
                message = self.arrivals.pop(0)
                self.follower.feed(message.at_ns, message.data)
            self.output.now_ns = self.now_ns
            self.engine.hear(self.now_ns)
            self.engine.tick(self.now_ns)
            if self.engine.held:
                self.held.append(self.engine.held)
            if not self.phases or self.phases[-1] is not self.engine.state.phase:
                self.phases.append(self.engine.state.phase)

    def in_phase(self, phase: Phase) -> Callable[[], bool]:
        return lambda: self.engine.state.phase is phase

    def arm(self, take: OpenTake | None = None, firing: Firing = NO_CAMERA) -> None:
        cued = cue_up(self.rig, self.timeline, *self.cue_s)
        self.engine.order(Arm(cued=cued, joins=self.joins, remote=self.remote), take, firing)

    def get_ready(self) -> None:
        """Arm, and go to the start of the cue."""
        self.run(0.5)
        self.arm()
        self.run(20.0, self.in_phase(Phase.READY))
        assert self.engine.state.phase is Phase.READY


def _rig(rig: Rig, latencies_s: tuple[float, ...], fastest: float | None) -> Rig:
    if latencies_s:
        slow = zip(rig.axes, latencies_s, strict=True)
        rig = replace(rig, axes=tuple(replace(axis, latency_s=latency_s) for axis, latency_s in slow))
    if fastest is not None:
        rig = replace(rig, axes=tuple(replace(axis, speed=fastest) for axis in rig.axes))
    return rig


def _home(rig: Rig) -> Floats:
    return np.array([axis.home for axis in rig.axes])


def stage(
    *,
    mute_from_s: float | None = None,
    delay_s: float = 0.0,
    cue: str | None = None,
    answers: bool = True,
    joins: bool = False,
    latencies_s: tuple[float, ...] = (),
    fastest: float | None = None,
    freewheel_s: float = 2.0,
    own_clock: bool = False,
    remote: bool = False,
    cable: Cable | None = None,
    timing: Timing = AS_DUE,
) -> Stage:
    """Return the demo rig with its first cue, standing at home, its engine ticking at 250 Hz.

    With `latencies_s`, its axes have these in place of their own, and with `fastest` all have this as their limit of
    speed; with `own_clock`, it follows no master. With a `cable`, the link is opened anew where it is gone.
    """
    table = laws()
    project = load(HARBOUR, table)
    rig, rate = _rig(project.rig, latencies_s, fastest), project.timebase.rate
    one = project.cue(cue)
    mute_ns = None if mute_from_s is None else BEGIN_NS + round(mute_from_s * 1e9)
    output = SimulatedRig(rig, mute_from_ns=mute_ns, delay_ns=round(delay_s * 1e9))
    output.cable = cable or Cable()
    relink = Relink(output.open)
    relink.__enter__()
    how = Follow(freewheel_s=freewheel_s)
    follower = InternalFollower() if own_clock else mtc_follower(project.timebase, how)
    made: list[Stage] = []

    def say(at_ns: int, code: str, text: str) -> None:
        made[0].said.append((code, text))

    def keep(record: Record) -> bool:
        if made[0].full:
            return False
        made[0].kept.append(record)
        return True

    def show(row: bytes) -> None:
        made[0].status = msgspec.msgpack.decode(row, type=Status)

    wires = Wires(output=relink, ears=Ears(follower=follower), keep=keep, say=say, show=show)
    made.append(
        Stage(
            rig=rig,
            timeline=compile_move(rig, project.move, rate, table),
            cue_s=(float(rate.seconds(one.start)), float(rate.seconds(one.end))),
            output=output,
            timebase=project.timebase,
            follower=follower,
            joins=joins,
            remote=remote,
            engine=Engine(rig, wires, _home(rig), BEGIN_NS, answers, timing),
        )
    )
    return made[0]
