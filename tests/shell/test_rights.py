"""What orders from outside may do, at most: every order in every phase, armed in every way, seen at the core.

The table that is expected is written out here once more, in other words than the code's.
Source: docs/sync.md, triggers; docs/safety.md, what stops the rig.
"""

from dataclasses import dataclass, field, replace
from types import SimpleNamespace
from typing import Any, cast

import pytest

from sequencer.playback import events
from sequencer.playback.cued import cue_up
from sequencer.playback.state import Phase, State
from sequencer.playback.step import before_arming, step
from sequencer.project.store import load
from sequencer.shell import duty, messages
from sequencer.shell.camera_orders import NOTHING
from sequencer.shell.cueing import Called
from sequencer.shell.duty import Duty
from sequencer.shell.ears import Ears
from sequencer.shell.kinds import laws
from sequencer.shell.messages import Setup
from sequencer.shell.records import OpenTake
from sequencer.shell.visiting import mark_of
from sequencer.sync.orders import Due, GoToMark, Locate, Order, StartClock, StopClock, StopRig, TakeCue
from tests.live.pad import held, row
from tests.scenarios.stage import HARBOUR, stage
from tests.scenarios.test_takes import assert_within_limits
from tests.shell.test_duty import Running, running

P = Phase
ORDERS: tuple[Order, ...] = (
    StopRig(),
    StopClock(),
    StartClock(),
    Locate(3.0),
    GoToMark("quay"),
    GoToMark("chorus"),
    TakeCue("crowd sweep"),
)
STANDS_STILL = {P.IDLE, P.READY, P.STOPPED, P.FINISHED}
FOLLOWS = {P.JOINING, P.RUNNING, P.FREEWHEELING}
LATCHED = {P.STOPPING, P.STOPPED}
HOW = ("unarmed", "armed", "armed, and triggers may choose")


@dataclass
class Core:
    """Stands in for the engine: keeps what was ordered, and where that leads by the rules of `playback`."""

    state: State
    ordered: list[events.Event] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    takes: list[OpenTake] = field(default_factory=list)
    lead_ns: int = 0
    sent: Any = None

    def order(self, event: events.Event, take: OpenTake | None = None, firing: object = None) -> None:
        self.ordered.append(event)
        if take is not None:
            self.takes.append(take)
        self.state, _ = step(self.state, event)

    def say(self, at_ns: int, code: str, text: str) -> None:
        self.said.append(text)


@dataclass
class Clock:
    """Stands in for our own clock."""

    did: list[str] = field(default_factory=list)

    def start(self, at_ns: int) -> None:
        self.did.append("start")

    def halt(self, at_ns: int | None = None) -> None:
        self.did.append("halt")

    def locate(self, position_s: float) -> None:
        self.did.append("locate")


@pytest.fixture(scope="module")
def harbour() -> Any:
    one = stage(own_clock=True)
    mark = messages.Go(name="quay", position=(("pan", 20.0),))
    project = replace(load(HARBOUR, laws()), marks=(mark_of(mark),))
    return SimpleNamespace(stage=one, project=project, cued=cue_up(one.rig, one.timeline, *one.cue_s))


def standing(harbour: Any, phase: Phase, how: str) -> State:
    armed = None if how == "unarmed" else events.Arm(cued=harbour.cued, remote=how == HOW[2])
    return State(phase=phase, armed=armed, cause="somebody called" if phase in LATCHED else "")


def told(harbour: Any, phase: Phase, how: str, clock: Clock | None, monkeypatch: pytest.MonkeyPatch) -> Any:
    """Return a duty whose rig stands so, with stand-ins for what an order can reach."""
    state = standing(harbour, phase, how)
    core = Core(state, sent=harbour.stage.engine.sent)
    child = SimpleNamespace(rig=harbour.stage.rig, setup=Setup(project="", run=None, output="", sync="internal"))
    child.control = SimpleNamespace(say=lambda report: pytest.fail(f"nobody asked, but was told {report}"))
    one = Duty(
        child=cast(Any, child),
        project=harbour.project,
        timeline=harbour.stage.timeline,
        engine=cast(Any, core),
        output=cast(Any, None),  # whatever reaches for it fails
        ears=Ears(follower=harbour.stage.follower),
        desk=clock,
        page=cast(Any, SimpleNamespace(set_word=lambda *_: None)),
        armed=None if state.armed is None else messages.Arm(remote=state.armed.remote),
    )
    called = Called(cued=harbour.cued, start_s=1.0, end_s=2.0, firing=NOTHING, refused="", rough="")
    monkeypatch.setattr(duty, "call_up", lambda *_: called)
    return SimpleNamespace(duty=one, core=core, was=state)


def may_choose(phase: Phase, how: str) -> bool:
    return how == HOW[2] and phase in (P.READY, P.FINISHED)


@pytest.mark.parametrize("ours", [True, False], ids=["our clock", "a master's clock"])
@pytest.mark.parametrize("how", HOW)
@pytest.mark.parametrize("phase", list(Phase))
@pytest.mark.parametrize("order", ORDERS, ids=str)
def test_an_order_from_outside_does_what_it_may_and_nothing_else(
    harbour: Any, order: Order, phase: Phase, how: str, ours: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    clock = Clock()
    one = told(harbour, phase, how, clock if ours else None, monkeypatch)
    one.duty.obey(Due(harbour.stage.now_ns, order, "OSC /somebody"))
    state = one.core.state
    stopped = state.phase in LATCHED and phase not in LATCHED
    sent_off = state.phase in (P.LOCATING, P.GOING) and phase not in (P.LOCATING, P.GOING)
    match order:
        case StopRig():
            assert stopped == (phase not in LATCHED)
            assert clock.did == []
        case StopClock() if ours:
            # what follows the clock stops with it; what moves otherwise is stopped; what stands is left alone
            assert stopped == (phase not in STANDS_STILL | FOLLOWS | LATCHED)
            assert clock.did == ["halt"]
        case StopClock():
            assert stopped == (phase not in {P.IDLE, P.FINISHED} | LATCHED)
        case StartClock() | Locate():
            acts = ours and how != "unarmed" and phase not in LATCHED
            assert clock.did == ([("start" if order == StartClock() else "locate")] if acts else [])
            assert not stopped
        case GoToMark("quay"):
            assert sent_off == may_choose(phase, how)
            assert clock.did == []
        case GoToMark() | TakeCue():
            assert sent_off == may_choose(phase, how)
            assert clock.did == (["locate"] if ours and sent_off else [])
    assert stopped or sent_off or state.phase is phase, "no other way out of a phase"
    if stopped:
        assert "OSC /somebody" in state.cause, "the operator reads who asked"
        assert "stop" not in one.core.said
    assert_least(one)


def assert_least(one: Any) -> None:
    """What no order may ever do: arm, reset, drive, punch, record, let more be chosen, clear or reword a stop."""
    allowed = (events.Stop, events.ClockHalted, events.Recue, events.Go)
    assert all(isinstance(event, allowed) for event in one.core.ordered)
    assert all(event.by for event in one.core.ordered if isinstance(event, events.Go)), "else it is the operator's"
    assert one.core.takes == []
    if one.was.phase in LATCHED:
        assert (one.core.state.phase, one.core.state.cause) == (one.was.phase, one.was.cause)
    armed, before = one.core.state.armed, one.was.armed
    if before is None:
        assert armed is None
    else:
        assert rest_of(armed) == rest_of(before), "cap, joining, hands and rights stay"
    assert (one.duty.quitting, one.duty.deserted, one.duty.hands.taken) == (False, False, False)


def rest_of(armed: events.Arm) -> dict[str, object]:
    return {name: getattr(armed, name) for name in events.Arm.__slots__ if name != "cued"}


def test_a_stop_of_the_clock_right_behind_an_order_to_go_stops_the_rig(
    harbour: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Both come in one tick: where the rig is by then counts, not where it was."""
    one = told(harbour, P.READY, HOW[2], Clock(), monkeypatch)
    engine = SimpleNamespace(**{name: getattr(one.core, name) for name in ("state", "lead_ns", "sent", "say")})
    waits: list[events.Event] = []
    engine.order = lambda event, *_, **__: waits.append(event)
    one.duty.engine = engine
    for order in (GoToMark("quay"), StopClock()):
        one.duty.obey(Due(harbour.stage.now_ns, order, "OSC /somebody"))
    state = one.was
    for event in waits:
        state, _ = step(state, event)
    assert state.phase is P.STOPPING
    assert "OSC /somebody" in state.cause


def with_our_clock(*, remote: bool = False) -> Running:
    one = running(remote=remote)
    one.duty.desk = cast(Any, one.stage.follower)
    one.run(0.5)
    return one


def stop_the_clock(one: Running) -> None:
    one.duty.obey(Due(one.stage.now_ns, StopClock(), "MMC stop"))


@pytest.mark.parametrize("phase", [P.LOCATING, P.GOING, P.DRIVING])
def test_a_stop_of_the_clock_stops_a_rig_on_its_way_latched_and_within_its_limits(phase: Phase) -> None:
    one = with_our_clock()
    if phase is P.LOCATING:
        one.tell(messages.Go(name="far", position=(("pan", 60.0),)))
        one.run(0.1)
        one.run(10.0, P.IDLE)
        one.stage.arm()
    elif phase is P.GOING:
        one.tell(messages.Go(name="far", position=(("pan", 60.0),)))
    else:
        one.pads.take(True)
        one.run(0.1)
        one.says = held(left_x=1.0)
    one.run(0.6)
    assert one.is_in(phase)
    assert any(one.stage.engine.sent.speed)
    stop_the_clock(one)
    one.run(0.1)
    assert one.is_in(P.STOPPING)
    one.run(5.0, P.STOPPED)
    assert one.stage.engine.state.cause == "MMC stop asked for it; find out who sent it, and why"
    assert_within_limits(one.stage)
    rests = one.stage.output.sent[-1].position.tolist()
    one.says = row()
    one.run(1.0)
    assert one.is_in(P.STOPPED)
    assert one.stage.output.sent[-1].position.tolist() == rests


def test_stopping_the_music_before_and_after_a_take_latches_nothing() -> None:
    one = with_our_clock()
    one.stage.get_ready()
    stop_the_clock(one)
    one.run(0.2)
    assert one.is_in(P.READY)
    one.play()
    one.run(60.0, P.FINISHED)
    stop_the_clock(one)
    one.run(0.2)
    assert one.is_in(P.FINISHED)


@pytest.mark.parametrize("phase", sorted(FOLLOWS))
def test_a_move_on_our_clock_ends_with_it_in_the_words_of_a_clock(
    harbour: Any, phase: Phase, monkeypatch: pytest.MonkeyPatch
) -> None:
    one = told(harbour, phase, "armed", Clock(), monkeypatch)
    one.duty.obey(Due(harbour.stage.now_ns, StopClock(), "MMC stop"))
    assert one.core.state.halted == "stopped by MMC stop"


def test_a_start_while_the_clock_runs_is_told_and_the_clock_goes_on(
    harbour: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    clock = Clock()
    one = told(harbour, P.READY, "armed", clock, monkeypatch)
    one.duty.clock_runs = True
    one.duty.obey(Due(harbour.stage.now_ns, StartClock(), "OSC /run/start"))
    assert one.core.said == ["OSC /run/start has no effect: the clock runs already"]
    assert clock.did == []
    assert one.duty.clock_runs


def test_arming_while_the_rig_moves_is_refused_with_what_comes_first() -> None:
    one = with_our_clock()
    one.tell(messages.Go(name="far", position=(("pan", 60.0),)))
    one.run(0.6)
    assert one.is_in(P.GOING)
    one.tell(messages.Arm())
    assert one.heard == [messages.Refused(f"not armed: it is going. {before_arming(P.GOING)}", 1)]
    one.run(0.1)
    assert one.is_in(P.GOING)
