"""What is said before arming, of a mark, of a slow disk, of clocks that are set, and while the travel is found."""

from dataclasses import replace
from fractions import Fraction
from types import SimpleNamespace
from typing import Any, cast

import pytest

from sequencer.playback import events
from sequencer.playback.firing import planned
from sequencer.playback.state import Phase, State
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.outlet import Outlet
from sequencer.shell import duty, outlets, timelapse
from sequencer.shell.camera_orders import CameraOrders
from sequencer.shell.crew import CrewFailed
from sequencer.shell.cueing import Called, Stretch, call_up
from sequencer.shell.messages import Arm, Kept, Pressed, Refused, TakeHands
from sequencer.shell.outlets import parts, told
from sequencer.shell.records import OpenTake
from sequencer.shell.shoot import Watch
from sequencer.shell.travel import _Finder
from sequencer.sync.orders import Due, TakeCue
from sequencer.sync.reading import Clock, Lock
from tests.live.pad import row
from tests.scenarios.stage import stage
from tests.scenarios.test_camera import CUES
from tests.shell.test_control import HEADING
from tests.shell.test_duty import AT_ONCE, running
from tests.shell.test_outlets import KINDS, RIG

TAKE = OpenTake("one.mcap", HEADING, rows_per_s=500.0, expected_s=60.0)


def said(code: str, one: Any) -> list[str]:
    return [text for each, text in one.said if each == code]


def test_a_move_that_is_rough_is_armed_and_said_to_be_so(monkeypatch: pytest.MonkeyPatch) -> None:
    def rough(*given: Any) -> Called:
        return replace(call_up(*given), rough="pan at 10:00:03:07: jerk 12 % over")

    monkeypatch.setattr(duty, "call_up", rough)
    one = running()
    one.tell(Arm())
    one.run(0.1)
    assert said("rough", one.stage) == ["rougher than the motors like: pan at 10:00:03:07: jerk 12 % over"]
    assert one.is_in(Phase.LOCATING)


def test_who_joins_is_told_which_limits_are_not_kept_meanwhile(monkeypatch: pytest.MonkeyPatch) -> None:
    one = running()
    rig = one.stage.rig
    monkeypatch.setattr(duty, "call_up", lambda tied, *rest: call_up(rig, *rest))
    walls = (SimpleNamespace(name="wall"), SimpleNamespace(name="raised"))
    one.duty.child = cast(Any, SimpleNamespace(**vars(one.duty.child)))
    cast(Any, one.duty.child).rig = SimpleNamespace(axes=rig.axes, names=rig.names, combined=walls)
    one.tell(Arm(late="join"))
    assert said("combined", one.stage) == [
        "while joining, limits that tie axes together are not kept (wall, raised); stand clear of what they guard"
    ]


def test_a_mark_to_which_there_is_no_way_any_more_is_a_stop_with_the_mend() -> None:
    one = stage()
    one.run(0.2)
    one.engine.order(events.Go(AT_ONCE))
    one.run(1.0)
    assert one.engine.state.phase is Phase.STOPPED
    assert one.engine.state.cause.endswith("; reset, and send it from where it stands")


def test_a_take_for_which_the_disk_is_not_ready_is_said_to_be_missing() -> None:
    one = stage()
    one.full = True
    one.arm(TAKE)
    one.run(0.1)
    assert said("take", one) == ["the take is not recorded: an earlier one still waits for a slow disk"]
    assert one.engine.state.phase is Phase.LOCATING, "it goes on"


def test_a_latency_of_an_output_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(outlets, "output_kind", lambda address: KINDS[address.partition(":")[0]])
    own: Rig = replace(RIG, outlets=(Outlet(address="wide:a", axes=RIG.names, latency_s=0.03),))
    assert "wide:a is led by 30 ms beside its axes' own" in told(parts("", own), 250)


@pytest.mark.parametrize(
    ("by_s", "says"), [(2.5, ["the system's clock was set by +2.50 s, or this machine slept"]), (0.1, [])]
)
def test_a_clock_that_is_set_during_a_timelapse_is_told_and_followed(
    monkeypatch: pytest.MonkeyPatch, by_s: float, says: list[str]
) -> None:
    words: list[str] = []
    moved: list[float] = []

    def shift(seconds: float) -> str:
        moved.append(seconds)
        return "moved"

    driver = timelapse._Driver(
        cast(Any, None),
        cast(Any, None),
        cast(Any, SimpleNamespace(moved=shift)),
        cast(Any, None),
        cast(Any, SimpleNamespace(said=words.append)),
    )
    for offset_s in (100.0, 100.0 + by_s):
        monkeypatch.setattr(timelapse, "wall_s", lambda at=offset_s: at)
        driver._keep_time()
    assert words == says
    assert moved == [-100.0, -100.0 - by_s]


class Found:
    """The search for an axis's ends, of which a test says how the rig stands."""

    def __init__(self) -> None:
        self.words: list[str] = []
        self.phase, self.at = "idle", 0.0
        axis: Axis = RIG.axes[1]
        self.finder = _Finder(cast(Any, self), Rig(name="quay", axes=(axis,)), 0, self.words.append)

    def status(self) -> Any:
        return SimpleNamespace(phase=self.phase, actual=(self.at,), hands=True)

    def press(self, at: float, phase: str = "idle") -> str:
        self.at, self.phase = at, phase
        self.finder._press(Pressed("store mark", 0))
        return self.words[-1]


def test_each_end_that_is_stored_is_said_with_what_comes_next() -> None:
    one = Found()
    assert one.press(-3.0, "driving") == "let go of the stick first; tilt must stand where its end is"
    assert one.press(-20.0) == "one end at -20 deg; drive tilt to the other one"
    assert one.press(-20.0) == "that is the end that is known, -20 deg; drive tilt to the other one"
    assert one.press(35.0) == "the other end at 35 deg; bring tilt back between them, and let go"
    told_so_far = len(one.words)
    one.press(50.0)
    assert len(one.words) == told_so_far, "both are known"


def test_that_the_pad_is_in_hand_is_said_once() -> None:
    one = Found()
    looks = iter(
        [one.status(), one.status(), SimpleNamespace(phase="stopped", actual=(0.0,), hands=True, cause="enough")]
    )
    one.finder.watch = cast(Any, SimpleNamespace(look=lambda: next(looks)))
    one.tell = lambda command: None  # type: ignore[attr-defined]  # nothing hears the order
    with pytest.raises(CrewFailed, match="stopped: enough"):
        one.finder.find()
    assert one.words == ["in hand; drive it to one end"]


def test_what_only_pads_can_do_is_refused_where_none_were_opened() -> None:
    one = running(pads_opened=False)
    one.tell(TakeHands(on=True))
    assert one.heard == [Refused("no game controllers were opened; start again and name them: pads:", 1)]


def test_the_stop_button_of_a_pad_is_a_stop_with_its_cause() -> None:
    one = running()
    one.run(0.2)
    one.says = row("start")
    one.run(0.2)
    assert one.is_in(Phase.STOPPED)
    assert one.stage.engine.state.cause == "stop was pressed on a game controller"


def test_a_trigger_for_what_is_not_there_is_refused_and_nothing_stops() -> None:
    one = running(remote=True)
    one.stage.get_ready()
    one.duty.armed = Arm(remote=True)
    one.duty.obey(Due(one.stage.now_ns, TakeCue("finale"), "OSC /run/cue"))
    (words,) = said("trigger", one.stage)
    assert words.startswith("OSC /run/cue is refused: ")
    assert "finale" in words
    assert one.is_in(Phase.READY)


def test_a_part_that_begins_in_mid_motion_is_refused_with_the_mend() -> None:
    one = running()
    middle_s = sum(one.stage.cue_s) / 2
    part = Stretch(middle_s, one.stage.cue_s[1])
    called = call_up(one.stage.rig, one.duty.project, one.stage.timeline, part, Fraction(1), None)
    at = one.duty.project.timebase.label_at(middle_s)
    assert called.refused.startswith(f"at {at} the move is already under way (")
    assert called.refused.endswith("); start where it rests")


def test_how_a_take_ended_that_was_broken_off_is_told() -> None:
    words: list[str] = []
    watch = Watch(cast(Any, None), lambda status, told: words.extend(one.text for one in told))
    watch.kept.append(Kept("takes/one.mcap", "one.mcap: the disk is full"))
    watch._wait_closed()
    assert words == ["take one.mcap is not whole: one.mcap: the disk is full"]


def test_an_order_to_the_camera_that_is_missed_is_told_with_the_mend() -> None:
    words: list[tuple[str, str]] = []
    orders = CameraOrders(
        lambda trigger: True, lambda fault: None, lambda at_ns, code, text: words.append((code, text))
    )
    early = planned(CUES, (10.0, 20.0), 10.0, Fraction(1), Fraction(25))
    orders.arm(early)
    clock = Clock(Lock.LOCKED, 0, 15.0, 1.0)
    orders.follow(State(phase=Phase.RUNNING), clock, 0)
    assert ("not fired", "record was not fired: the clock was past it; roll back further") in words
