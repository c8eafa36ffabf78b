"""Whole takes, folded tick by tick with a made-up clock; every setpoint is checked for the rules."""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import pytest
from numpy.typing import NDArray

from sequencer.playback import watch
from sequencer.playback.cued import cue_up
from sequencer.playback.events import Arm, Event, Reset, Say, Stop, Tick
from sequencer.playback.guard import at_rest, guard, limits, strays
from sequencer.playback.pilot import Pilot, Still, obey, settled, want
from sequencer.playback.state import Phase, State
from sequencer.playback.step import step
from sequencer.rig.signals import Feedback
from sequencer.sync.reading import Clock, Lock
from tests.playback.moves import END, START, there
from tests.playback.rules import HIGH, LOW, RIG, SPEED, broken

Floats = NDArray[np.float64]
LIMITS = limits(RIG)
TICK_NS = 4_000_000
HOME = np.array([30.0, -10.0, 900.0, 0.5])
CUED = cue_up(RIG, there(), 10.0, 14.0)
Master = Callable[[float, Phase], Clock]


@dataclass
class Shoot:
    """A tick loop in simulated time, with a rig that follows 20 ms late until it is switched off."""

    state: State = field(default_factory=State)
    due_ns: list[int] = field(default_factory=lambda: [0])
    sent: list[Floats] = field(default_factory=lambda: [HOME])
    phases: list[Phase] = field(default_factory=list)
    clocks: list[Clock] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    rig_on: bool = True

    def __post_init__(self) -> None:
        self.last = at_rest(0, HOME)
        self.pilot = Pilot(RIG, Still(HOME))
        self.watch = watch.begin(RIG, True, self.last)
        self.gap: tuple[float, ...] = ()

    def tick(self, clock: Clock, *events: Event, ticks: int = 1) -> None:
        due_ns = self.last.due_ns + ticks * TICK_NS
        if self.rig_on:
            late = self.sent[max(len(self.sent) - 6, 0)]
            self.watch = watch.hear(self.watch, LIMITS, Feedback(due_ns, late, due_ns))
        now = Tick(
            now_ns=due_ns,
            clock=clock,
            arrived=settled(self.pilot, due_ns) and watch.near(self.watch, LIMITS, self.last),
            standing=self.last.stands,
            silent_s=watch.silent_s(self.watch, due_ns),
            held_back=strays(LIMITS, self.gap),
            astray=watch.astray(self.watch, LIMITS),
        )
        for event in (*events, now):
            self.state, actions = step(self.state, event)
            for action in actions:
                self.pilot = obey(self.pilot, action, self.last, due_ns)
                if isinstance(action, Say):
                    self.said.append(action.code)
        guarded = guard(LIMITS, self.last, want(self.pilot, due_ns, clock))
        self.last, self.gap = guarded.sent, guarded.gap
        self.watch = watch.remember(self.watch, guarded.sent)
        self.due_ns.append(due_ns)
        self.sent.append(guarded.setpoint.position)
        self.phases.append(self.state.phase)
        self.clocks.append(clock)

    def until(self, phase: Phase, master: Master, *events: Event, within_s: float = 30.0) -> None:
        for _ in range(round(within_s * 1e9) // TICK_NS):
            self.tick(master((self.last.due_ns + TICK_NS) * 1e-9, self.state.phase), *events)
            events = ()
            if self.state.phase is phase:
                return
        pytest.fail(f"not {phase} but {self.state.phase} after {within_s} s: {self.said}")

    def rules_broken(self) -> str:
        return broken(np.array(self.due_ns), np.array(self.sent))


def nothing(t_s: float, phase: Phase) -> Clock:
    return Clock(Lock.WAITING, round(t_s * 1e9))


def run_from(begin_s: float, position_s: float, odd: Callable[[Clock], Clock] = lambda clock: clock) -> Master:
    """Timecode that stands at `position_s` at the instant `begin_s` and runs; `odd` says what goes wrong with it."""

    def at(t_s: float, phase: Phase) -> Clock:
        return odd(Clock(Lock.LOCKED, round(t_s * 1e9), position_s + t_s - begin_s, 1.0, 1e-4, 1))

    return at


def ready() -> tuple[Shoot, float]:
    shoot = Shoot()
    for _ in range(10):
        shoot.tick(nothing(0.0, Phase.IDLE))
    shoot.until(Phase.READY, nothing, Arm(cued=CUED, freewheel_s=2.0))
    assert shoot.last.position == pytest.approx(START, abs=1e-9)
    return shoot, shoot.last.due_ns * 1e-9


def coasting(between: tuple[float, float]) -> Callable[[Clock], Clock]:
    def odd(clock: Clock) -> Clock:
        away = between[0] <= clock.position_s < between[1]
        return Clock(Lock.FREEWHEEL if away else Lock.LOCKED, clock.at_ns, clock.position_s, 1.0, 1e-4, 1)

    return odd


def test_a_take_with_a_dropout_runs_to_its_end_on_its_instants() -> None:
    shoot, now_s = ready()
    shoot.until(Phase.FINISHED, run_from(now_s, 8.0, coasting((11.5, 12.3))), within_s=8)
    for _ in range(50):
        shoot.tick(run_from(now_s, 8.0)(shoot.last.due_ns * 1e-9, shoot.state.phase))
    assert shoot.said == ["locating", "ready", "running", "freewheel", "locked", "finished"]
    assert not shoot.rules_broken()
    assert shoot.last.position == pytest.approx(END, abs=1e-9)
    for clock, phase, sent in zip(shoot.clocks, shoot.phases, shoot.sent[1:], strict=True):
        if phase in (Phase.RUNNING, Phase.FREEWHEELING):
            for axis, one in enumerate(RIG.axes):
                expected = there().at(clock.position_s + one.latency_s)[0][axis]
                assert abs(sent[axis] - expected) < 1e-9 * SPEED[axis]
        elif phase is Phase.READY:
            np.testing.assert_allclose(sent, START, atol=1e-9)


def test_the_next_take_is_armed_from_the_end_of_the_last() -> None:
    shoot, now_s = ready()
    shoot.until(Phase.FINISHED, run_from(now_s, 9.0), within_s=8)
    shoot.until(Phase.READY, run_from(now_s, 9.0), Arm(cued=CUED))
    shoot.until(Phase.FINISHED, run_from(shoot.last.due_ns * 1e-9, 9.0), within_s=8)
    assert not shoot.rules_broken()


def stopped_by(shoot: Shoot, master: Master) -> str:
    """Run until it has stopped; check that it stays so whatever the timecode does, and that a reset moves nothing."""
    shoot.until(Phase.STOPPED, master, within_s=10)
    rest, cause = shoot.last.position, shoot.state.cause
    for late_s in (9.0, 12.0):
        again = run_from(shoot.last.due_ns * 1e-9, late_s)
        for _ in range(300):
            shoot.tick(again(shoot.last.due_ns * 1e-9, shoot.state.phase))
    assert (shoot.state.phase, shoot.state.cause) == (Phase.STOPPED, cause)
    shoot.tick(nothing(0.0, Phase.STOPPED), Reset())
    again = run_from(shoot.last.due_ns * 1e-9, 9.0)
    for _ in range(400):
        shoot.tick(again(shoot.last.due_ns * 1e-9, shoot.state.phase))
    assert shoot.state.phase is Phase.IDLE
    assert shoot.last.position == rest
    assert not shoot.rules_broken()
    return cause


def test_lost_timecode_brakes_and_nothing_resumes() -> None:
    shoot, now_s = ready()

    def odd(clock: Clock) -> Clock:
        lock = Lock.LOCKED if clock.position_s < 11 else Lock.FREEWHEEL if clock.position_s < 12 else Lock.LOST
        return Clock(lock, clock.at_ns, clock.position_s, 1.0, 1e-4, 1)

    cause = stopped_by(shoot, run_from(now_s, 9.0, odd))
    assert "lost for longer than the freewheel time of 2 s" in cause
    assert Phase.FREEWHEELING in shoot.phases
    assert "stopping" in shoot.said


@pytest.mark.parametrize("counted", [True, False])
def test_timecode_that_jumps_brakes_without_a_step(counted: bool) -> None:
    """A jump that the follower does not own up to is caught by the guard, one tick later."""
    shoot, now_s = ready()

    def odd(clock: Clock) -> Clock:
        jumped = clock.position_s >= 12
        ahead_s = 1.5 if jumped else 0.0
        return Clock(Lock.LOCKED, clock.at_ns, clock.position_s + ahead_s, 1.0, 1e-4, 2 if jumped and counted else 1)

    cause = stopped_by(shoot, run_from(now_s, 9.0, odd))
    assert ("timecode jumped" if counted else "the rig cannot do what is asked") in cause


def test_an_operators_stop_while_locating_brakes() -> None:
    shoot = Shoot()
    shoot.tick(nothing(0.0, Phase.IDLE))
    shoot.tick(nothing(0.0, Phase.IDLE), Arm(cued=CUED))
    for _ in range(100):
        shoot.tick(nothing(0.0, Phase.LOCATING))
    assert not shoot.last.stands
    shoot.tick(nothing(0.0, Phase.LOCATING), Stop("the operator pressed stop"))
    assert shoot.state.phase is Phase.STOPPING
    assert stopped_by(shoot, nothing) == "the operator pressed stop"


def test_a_rig_that_vanishes_stops_the_take() -> None:
    shoot, now_s = ready()
    master = run_from(now_s, 9.0)
    while shoot.clocks[-1].position_s < 12 or not shoot.clocks[-1].steers:
        shoot.tick(master((shoot.last.due_ns + TICK_NS) * 1e-9, shoot.state.phase))
    shoot.rig_on = False
    gone_ns = shoot.last.due_ns
    shoot.until(Phase.STOPPING, master, within_s=2)
    assert 0.5 < (shoot.last.due_ns - gone_ns) * 1e-9 < 0.51
    assert "has not answered for 0.5 s" in stopped_by(shoot, master)


def test_skipped_ticks_and_a_clock_that_trembles_are_taken_in_stride() -> None:
    shoot, now_s = ready()
    rng = np.random.default_rng(11)
    drift = 0.0
    while shoot.state.phase is not Phase.FINISHED:
        ticks = int(rng.choice([1, 1, 1, 2, 5, 12]))
        t_s = (shoot.last.due_ns + ticks * TICK_NS) * 1e-9
        drift = 0.98 * drift + rng.normal(0, 2e-5)
        clock = Clock(Lock.LOCKED, round(t_s * 1e9), 9.0 + t_s - now_s + drift, 1 + rng.normal(0, 2e-4), 1e-4, 1)
        shoot.tick(clock, ticks=ticks)
        assert shoot.state.phase in (Phase.READY, Phase.RUNNING, Phase.FINISHED), shoot.state.cause
    assert not shoot.rules_broken()
    assert shoot.last.position == pytest.approx(END, abs=1e-6)


def test_the_trial_move_is_within_the_limits() -> None:
    """Else the takes above would test the guard's patience and not a take."""
    peaks = np.abs(there().sample(np.linspace(10, 14, 4001), 1)).max(axis=0)
    assert (peaks < SPEED).all()
    assert ((START >= LOW) & (START <= HIGH) & (END >= LOW) & (END <= HIGH)).all()
