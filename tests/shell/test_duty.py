"""What the engine process does with orders and hands, in simulated time: who may send the rig where, and what ends."""

from dataclasses import dataclass, field, replace
from fractions import Fraction
from types import SimpleNamespace
from typing import Any, cast

import pytest

from sequencer.live.handling import default_handlings
from sequencer.playback import events
from sequencer.playback.cued import cue_up
from sequencer.playback.events import Drive, Stop
from sequencer.playback.state import Phase
from sequencer.project.store import load
from sequencer.score.marks import Lasting, Mark
from sequencer.shell import duty, messages
from sequencer.shell.duty import Duty
from sequencer.shell.ears import Ears
from sequencer.shell.hands import HandsOn
from sequencer.shell.kinds import laws
from sequencer.shell.messages import Arm, Command, Go, Report, Setup
from sequencer.shell.records import CloseTake, OpenTake
from sequencer.sync.orders import Due, GoToMark
from sequencer.wire.pad import PadRow, packed
from tests.live.pad import ROW_NS, held, row
from tests.scenarios.stage import HARBOUR, TICK_NS, Stage, stage

QUAY = Mark("quay", (("pan", 20.0),))
BEYOND = Mark("beyond", (("tilt", 5000.0),))
GONE = Mark("gone", (("crane", 1.0),))
AT_ONCE = Mark("at once", (("pan", 40.0),), Lasting(Fraction(1, 1000)))


SAY_NS = 30_000_000


@dataclass
class Running:
    """The engine process without its process: what the operator's program says goes in, and what it hears comes out."""

    stage: Stage
    duty: Duty
    pads: HandsOn
    heard: list[Report]
    says: PadRow = field(default_factory=row)
    screen: messages.Drive | None = None  # what it says, all the time

    def tell(self, command: Command) -> None:
        self.duty.handle(command)

    def trigger(self, name: str) -> None:
        self.duty.obey(Due(self.stage.now_ns, GoToMark(name), "OSC /mark/go"))

    def run(self, seconds: float, until: Phase | None = None) -> None:
        def look() -> bool:
            now_ns = self.stage.now_ns
            if now_ns // ROW_NS != (now_ns - TICK_NS) // ROW_NS:
                self.pads.feed(now_ns, packed(self.says))
            if self.screen is not None and now_ns // SAY_NS != (now_ns - TICK_NS) // SAY_NS:
                self.tell(self.screen)
            self.duty.feel(now_ns)
            return until is not None and self.is_in(until)

        self.stage.run(seconds, look)

    def is_in(self, phase: Phase) -> bool:
        return self.stage.engine.state.phase is phase

    def push(self, pan: float, range_deg: float | None = None) -> None:
        """Have the screen say this from now on."""
        others = (0.0,) * (len(self.stage.rig.axes) - 1)
        self.screen = messages.Drive((pan, *others), range_deg=range_deg)

    def play(self) -> None:
        """Start the clock a little before the cue."""
        follower = cast(Any, self.stage.follower)
        follower.locate(self.stage.cue_s[0] - 0.5)
        follower.start(self.stage.now_ns)

    @property
    def pan(self) -> float:
        return self.stage.engine.sent.position[0]

    @property
    def refused(self) -> list[str]:
        return [text for code, text in self.stage.said if code == "refused"]


def running(*, remote: bool = False, pads_opened: bool = True) -> Running:
    one = stage(own_clock=True, remote=remote)
    project = replace(load(HARBOUR, laws()), marks=(QUAY, BEYOND, GONE, AT_ONCE))
    pads = HandsOn(one.rig, default_handlings(one.rig))
    heard: list[Report] = []
    child = SimpleNamespace(rig=one.rig, setup=Setup(project="", run=None, output="", sync="internal"))
    child.control = SimpleNamespace(say=heard.append)
    duty = Duty(
        child=cast(Any, child),
        project=project,
        timeline=one.timeline,
        engine=one.engine,
        output=cast(Any, one.output),
        ears=Ears(follower=one.follower, pads=pads if pads_opened else None),
        desk=None,
        page=cast(Any, SimpleNamespace(set_word=lambda *_: None)),
    )
    return Running(one, duty, pads, heard)


@pytest.mark.parametrize("name", ["beyond", "gone", "at once"])
def test_a_trigger_for_a_mark_to_which_there_is_no_way_is_refused_and_stops_nothing(name: str) -> None:
    one = running(remote=True)
    one.stage.get_ready()
    rests = one.stage.output.sent[-1].position.tolist()
    one.duty.armed = Arm(remote=True)
    one.trigger(name)
    one.run(0.5)
    assert one.is_in(Phase.READY)
    assert one.refused == [], "that is for what the operator asked"
    assert any(text.startswith(f"not sent to {name}: ") for code, text in one.stage.said if code == "trigger")
    assert one.stage.output.sent[-1].position.tolist() == rests
    one.trigger("quay")
    one.run(0.1)
    assert one.is_in(Phase.GOING)


@pytest.mark.parametrize(
    ("phase", "remote", "why"),
    [
        (Phase.LOCATING, True, "it is locating"),
        (Phase.READY, False, "the operator has not let triggers choose what is armed"),
    ],
)
def test_a_trigger_that_comes_on_the_way_or_uninvited_is_told_of_and_ends_nothing(
    phase: Phase, remote: bool, why: str
) -> None:
    one = running(remote=remote)
    one.run(0.5)
    one.stage.arm()
    one.duty.armed = Arm(remote=remote)
    one.run(20.0, phase)
    one.trigger("quay")
    one.run(20.0, Phase.READY)
    assert one.is_in(Phase.READY)
    assert [text for code, text in one.stage.said if code == "trigger"] == [f"OSC /mark/go (quay) is refused: {why}"]
    assert one.refused == [], "that is for what the operator asked"


def test_an_operators_mark_that_is_refused_leaves_triggers_what_they_may() -> None:
    one = running(remote=True)
    one.stage.get_ready()
    one.duty.armed = Arm(remote=True)
    one.tell(Go(name="quay", position=QUAY.position))
    one.run(0.1)
    assert one.is_in(Phase.READY)
    assert one.duty.armed is not None


def test_a_take_is_closed_although_a_hand_drives_off_as_soon_as_the_cue_is_done() -> None:
    one = running()
    one.run(0.5)
    one.stage.arm(cast(OpenTake, SimpleNamespace()))
    one.run(20.0, Phase.READY)
    follower = cast(Any, one.stage.follower)
    follower.locate(one.stage.cue_s[0] - 0.5)
    follower.start(one.stage.now_ns)
    one.run(60.0, Phase.FINISHED)
    assert one.is_in(Phase.FINISHED)
    for _ in range(100):
        one.stage.engine.order(Drive((1.0, *(0.0,) * (len(one.stage.rig.axes) - 1)), one.stage.now_ns))
        one.run(TICK_NS * 1e-9)
    assert one.is_in(Phase.DRIVING)
    closed = [number for number, record in enumerate(one.stage.kept) if isinstance(record, CloseTake)]
    assert closed == [len(one.stage.kept) - 1]


def test_a_stick_that_is_held_as_a_performance_ends_drives_nothing_away() -> None:
    one = running()
    one.pads.take(True)
    one.run(0.1)
    one.stage.get_ready()
    one.says = held(left_x=1.0)
    follower = cast(Any, one.stage.follower)
    follower.locate(one.stage.cue_s[0] - 0.5)
    follower.start(one.stage.now_ns)
    one.run(60.0, Phase.FINISHED)
    one.run(1.0)
    assert one.is_in(Phase.FINISHED)
    one.says = row()
    one.run(0.1)
    one.says = held(left_x=1.0)
    one.run(0.2)
    assert one.is_in(Phase.DRIVING)


@pytest.fixture
def simulated(monkeypatch: pytest.MonkeyPatch) -> Running:
    """Return the process with its own clock of simulated time, and no game controllers."""
    one = running(pads_opened=False)
    monkeypatch.setattr(duty, "time", SimpleNamespace(monotonic_ns=lambda: one.stage.now_ns))
    return one


def test_the_screen_drives_where_no_game_controllers_were_opened(simulated: Running) -> None:
    one = simulated
    one.run(0.3)
    one.push(0.5)
    one.run(0.5)
    assert one.is_in(Phase.DRIVING)
    assert one.stage.engine.sent.speed[0] > 0
    one.screen = None
    one.run(3.0)
    assert one.is_in(Phase.IDLE)


def test_a_push_on_the_screen_springs_back_to_where_the_axis_was_and_the_rig_is_idle_then(simulated: Running) -> None:
    one = simulated
    one.run(0.3)
    began = one.pan
    one.push(0.0, 90.0)
    one.run(0.1)
    assert one.is_in(Phase.IDLE)
    one.push(1.0, 90.0)
    one.run(6.0)
    assert one.pan - began == pytest.approx(45.0, abs=1e-6)
    one.push(0.0, 90.0)
    one.run(6.0)
    assert one.pan == pytest.approx(began, abs=1e-6)
    assert one.is_in(Phase.IDLE)


def test_a_return_ends_where_the_operator_sends_the_rig_to_a_mark(simulated: Running) -> None:
    one = simulated
    one.run(0.3)
    one.push(0.0, 90.0)
    one.run(0.1)
    one.push(-1.0, 90.0)
    one.run(6.0)
    one.push(0.0, 90.0)
    one.run(0.2)
    one.tell(Go(name="quay", position=QUAY.position))
    one.run(0.1)
    assert one.is_in(Phase.GOING)
    one.run(8.0, Phase.IDLE)
    assert one.pan == pytest.approx(20.0)


@pytest.mark.parametrize("range_deg", [None, 90.0])
def test_a_pad_on_the_screen_that_is_held_as_a_performance_ends_drives_nothing_away(
    simulated: Running, range_deg: float | None
) -> None:
    one = simulated
    one.stage.get_ready()
    one.push(0.0, range_deg)
    one.run(0.1)
    one.push(1.0, range_deg)
    one.play()
    one.run(60.0, Phase.FINISHED)
    rests = one.pan
    one.run(1.0)
    assert one.is_in(Phase.FINISHED)
    assert one.pan == rests
    one.push(0.0, range_deg)
    one.run(0.1)
    one.push(1.0, range_deg)
    one.run(0.2)
    assert one.is_in(Phase.DRIVING)


def test_a_pad_on_the_screen_that_is_held_over_a_stop_and_a_reset_drives_nothing(simulated: Running) -> None:
    one = simulated
    one.run(0.3)
    one.push(0.5)
    one.run(0.5)
    one.stage.engine.order(Stop("somebody stepped in"))
    one.run(3.0, Phase.STOPPED)
    one.tell(messages.Reset())
    one.run(0.5)
    assert one.is_in(Phase.IDLE)


def test_a_pad_on_the_screen_that_was_pushed_while_it_was_stopped_drives_nothing_at_the_reset(
    simulated: Running,
) -> None:
    one = simulated
    one.run(0.3)
    one.stage.engine.order(Stop("somebody stepped in"))
    one.run(0.2, Phase.STOPPED)
    one.push(0.0)
    one.run(0.1)
    one.push(0.5)
    one.run(0.2)
    rests = one.pan
    one.tell(messages.Reset())
    one.run(0.5)
    assert one.is_in(Phase.IDLE)
    assert one.pan == rests
    # let go of, and pushed again, it drives
    one.push(0.0)
    one.run(0.1)
    one.push(0.5)
    one.run(0.2)
    assert one.is_in(Phase.DRIVING)


def test_the_screen_performs_its_axis_while_the_others_play(simulated: Running) -> None:
    one = simulated
    rig = one.stage.rig
    one.run(0.5)
    cued = cue_up(rig, one.stage.timeline, *one.stage.cue_s)
    one.stage.engine.order(events.Arm(cued=cued, by_hand=tuple(name == "pan" for name in rig.names)))
    one.run(20.0, Phase.READY)
    rests = one.pan
    one.push(0.0, 30.0)
    one.play()
    one.run(5.0, Phase.RUNNING)
    one.run(0.2)
    assert one.pan == rests
    one.push(1.0, 30.0)
    one.run(2.0)
    assert one.pan - rests == pytest.approx(15.0, abs=0.01)
    one.push(0.0, 30.0)
    one.run(2.0)
    assert one.pan == pytest.approx(rests, abs=0.01)
    one.run(60.0, Phase.FINISHED)
    tilt = rig.index("tilt")
    assert one.stage.engine.sent.position[tilt] == pytest.approx(float(cued.ahead(one.stage.cue_s[1], 1.0)[0][tilt]))


def test_numbers_that_cannot_be_are_refused_and_move_nothing(simulated: Running) -> None:
    one = simulated
    one.run(0.3)
    one.tell(messages.Drive((1.0, 0.0, 0.0, 0.0, 0.0), top=2.0))
    one.tell(messages.Drive((1.0,)))
    one.run(0.3)
    assert one.is_in(Phase.IDLE)
    assert [one.text for one in one.heard if isinstance(one, messages.Refused)] == [
        "not driven: top is 2; it must be above 0 and at most 1"
    ]


def test_pads_that_are_not_in_hand_leave_the_screen_to_drive() -> None:
    one = running()
    one.says = held(left_x=-1.0)
    one.run(0.3)
    parts = (0.5, *(0.0,) * (len(one.stage.rig.axes) - 1))
    for _ in range(100):
        one.tell(messages.Drive(parts))
        one.run(TICK_NS * 1e-9)
    assert one.stage.engine.sent.speed[0] > 0


def test_hands_that_are_taken_away_wish_for_rest_in_the_same_tick() -> None:
    one = running()
    one.pads.take(True)
    one.run(0.1)
    one.says = held(left_x=1.0)
    one.run(1.0)
    fast = one.stage.engine.sent.speed[0]
    assert fast > 0
    one.pads.take(False)
    one.run(0.1)  # before a hand that fell silent would be missed
    assert one.stage.engine.sent.speed[0] < fast - 1
    one.run(3.0)
    assert one.is_in(Phase.IDLE)
    assert one.stage.engine.sent.speed[0] == 0.0


def test_a_clap_of_the_slate_is_said_at_its_own_instant_and_moves_nothing(simulated: Running) -> None:
    one = simulated
    one.run(0.5)
    before, at_ns = one.pan, one.stage.now_ns - 40_000_000
    one.duty.handle(messages.Clapped(at_ns, "slate: flash at 10:00:00:12"))
    one.run(0.1)
    assert ("slate", "slate: flash at 10:00:00:12") in one.stage.said
    assert one.pan == before
    assert one.is_in(Phase.IDLE)
