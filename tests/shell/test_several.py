"""Several outputs as one: who gets what and when, who is heard, and what a loss of one is to the others."""

from dataclasses import dataclass, field, replace

import numpy as np
import pytest

from sequencer.adapters.contract import Carries, LinkState, Output
from sequencer.errors import LinkError
from sequencer.rig.outlet import OnLoss, Outlet
from sequencer.rig.signals import Feedback, Setpoint, Trigger
from sequencer.shell.outlets import Part
from sequencer.shell.several import Several
from tests.shell.test_outlets import RIG, kind

MS = 1_000_000


@dataclass
class Told:
    """An output that remembers what it was told; `fault` is raised by everything."""

    sent: list[Setpoint] = field(default_factory=list)
    replaced: list[int] = field(default_factory=list)
    stops: int = 0
    asks: int = 0
    counted: list[tuple[str, float]] = field(default_factory=list)
    fired: list[Trigger] = field(default_factory=list)
    answer: tuple[Feedback, ...] = ()
    state: LinkState = field(default_factory=LinkState)
    fault: str = ""
    number: int | None = None

    def _work(self) -> None:
        if self.fault:
            raise LinkError(self.fault)

    def fileno(self) -> int | None:
        return self.number

    def send(self, setpoint: Setpoint) -> None:
        self._work()
        self.sent.append(setpoint)

    def replace(self, from_ns: int) -> None:
        self._work()
        self.replaced.append(from_ns)

    def fire(self, trigger: Trigger) -> bool:
        self._work()
        self.fired.append(trigger)
        return True

    def read(self, heard_ns: int) -> tuple[Feedback, ...]:
        self._work()
        return self.answer

    def ask(self) -> None:
        self._work()
        self.asks += 1

    def look(self, now_ns: int) -> None:
        self._work()

    def link(self, now_ns: int) -> LinkState:
        self._work()
        return self.state

    def stop(self) -> None:
        self._work()
        self.stops += 1

    def here(self, axis: str, value: float) -> None:
        self._work()
        self.counted.append((axis, value))

    def trouble(self) -> str:
        self._work()
        return "a trouble" if self.number else ""


def part(
    places: tuple[int, ...],
    carries: Carries = Carries(),  # noqa: B008  # a frozen value
    rate_hz: float | None = None,
    on_loss: OnLoss = "stop",
    drives: bool = True,
    camera: bool = True,
) -> Part:
    own = replace(RIG, axes=tuple(RIG.axes[place] for place in places))
    return Part(
        outlet=Outlet(address=f"to:{places}", rate_hz=rate_hz),
        kind=kind("to", carries, drives=drives, camera=camera),
        rig=own,
        places=places,
        carries=carries,
        on_loss=on_loss,
    )


def setpoint(due_ns: int, *position: float) -> Setpoint:
    place = np.array(position or (1.0, 2.0, 3.0))
    return Setpoint(due_ns, place, place * 10, 0.5)


def joined(*served: tuple[Part, Told]) -> Several:
    typed: list[tuple[Part, Output]] = [(one, output) for one, output in served]
    return Several(typed, 3)


def test_each_gets_its_own_axes_at_once_where_nothing_is_ahead() -> None:
    head, roll = Told(), Told()
    several = joined((part((0, 1)), head), (part((2,)), roll))
    several.look(4 * MS)
    several.send(setpoint(4 * MS))
    assert head.sent[0].position.tolist() == [1.0, 2.0]
    assert head.sent[0].velocity.tolist() == [10.0, 20.0]
    assert roll.sent[0].position.tolist() == [3.0]
    assert (roll.sent[0].due_ns, roll.sent[0].timeline_s) == (4 * MS, 0.5)


def test_an_output_that_has_all_axes_gets_the_setpoint_itself() -> None:
    whole = Told()
    several = joined((part((0, 1, 2)), whole))
    one = setpoint(0)
    several.send(one)
    assert whole.sent == [one]


def test_one_that_does_not_schedule_gets_its_setpoints_when_they_are_due_and_no_sooner() -> None:
    early, later, plain = Told(), Told(), Told()
    several = joined(
        (part((0,), Carries(ahead_s=0.3)), early), (part((1,), Carries(ahead_s=0.1)), later), (part((2,)), plain)
    )
    for tick in range(100):
        several.look(tick * 4 * MS)
        several.send(setpoint((tick * 4 + 300) * MS))
        assert early.sent[-1].due_ns == (tick * 4 + 300) * MS
        if later.sent:
            assert later.sent[-1].due_ns == (tick * 4 + 100) * MS
        if plain.sent:
            assert plain.sent[-1].due_ns == tick * 4 * MS
    assert (len(early.sent), len(later.sent), len(plain.sent)) == (100, 50, 25)


def test_what_is_withdrawn_reaches_nobody_who_has_not_had_it() -> None:
    early, plain = Told(), Told()
    several = joined((part((0,), Carries(ahead_s=0.3, committed_s=0.1)), early), (part((1, 2)), plain))
    several.look(0)
    for at_ms in range(0, 300, 4):
        several.send(setpoint(at_ms * MS, 1.0, 1.0, 1.0))
    several.replace(100 * MS)
    several.send(setpoint(100 * MS, 9.0, 9.0, 9.0))
    several.look(300 * MS)
    assert early.replaced == [100 * MS]
    assert plain.replaced == []
    assert [one.position[0] for one in plain.sent] == [1.0] * 25 + [9.0]


def test_each_is_sent_at_its_own_pace() -> None:
    fast, slow = Told(), Told()
    several = joined((part((0, 1)), fast), (part((2,), rate_hz=100.0), slow))
    for tick in range(250):
        several.look(tick * 4 * MS)
        several.send(setpoint(tick * 4 * MS))
    assert len(fast.sent) == 250
    assert len(slow.sent) == 100
    assert max(np.diff([one.due_ns for one in slow.sent])) <= 12 * MS


@pytest.mark.parametrize("rate_hz", [21.0, 60.0, 100.0, 150.0, 200.0, 240.0, 500.0])
def test_a_pace_is_kept_over_the_whole_of_a_take_and_begins_anew_after_a_pause(rate_hz: float) -> None:
    slow = Told()
    several = joined((part((0, 1, 2), rate_hz=rate_hz), slow))
    for tick in [*range(10_000, 12_500), *range(14_000, 16_500)]:
        several.look(tick * 4 * MS)
        several.send(setpoint(tick * 4 * MS))
    due_s = np.array([one.due_ns for one in slow.sent]) * 1e-9
    for second in (41.0, 60.0):
        count = np.count_nonzero((due_s >= second) & (due_s < second + 4.0))
        assert count == pytest.approx(4 * min(rate_hz, 250.0), abs=1)


def test_an_output_whose_axes_may_stand_anywhere_is_told_nothing() -> None:
    known, unknown = Told(), Told()
    several = joined((part((0, 1)), known), (part((2,)), unknown))
    several.send(setpoint(0, 1.0, 2.0, float("nan")))
    assert (len(known.sent), len(unknown.sent)) == (1, 0)


def test_all_are_heard_as_one_rig() -> None:
    said = Feedback(5, np.array([7.0, 8.0]), 6, (True, None))
    head, roll = Told(answer=(said,)), Told(answer=(Feedback(5, np.array([9.0]), 6),))
    first, second = joined((part((0, 2)), head), (part((1,)), roll)).read(6)
    np.testing.assert_array_equal(first.position, [7.0, np.nan, 8.0])
    assert first.switches == (True, None, None)
    np.testing.assert_array_equal(second.position, [np.nan, 9.0, np.nan])
    assert second.switches == ()


def test_the_link_is_as_good_as_the_worst_and_a_file_says_nothing_of_it() -> None:
    several = joined(
        (part((0,)), Told(state=LinkState(0.01, 0.2))),
        (part((1,)), Told(state=LinkState(0.03, 0.0))),
        (part((0, 1, 2), drives=False), Told(state=LinkState(9.0, 1.0))),
    )
    assert several.link(0) == LinkState(0.03, 0.2)
    assert joined((part((0, 1, 2)), Told())).link(0) == LinkState()


def test_a_count_goes_to_the_axiss_own_rig() -> None:
    head, roll, book = Told(), Told(), Told()
    several = joined((part((0, 1)), head), (part((2,)), roll), (part((0, 1, 2), drives=False), book))
    several.here("roll", 4.5)
    assert (head.counted, roll.counted, book.counted) == ([], [("roll", 4.5)], [])


def test_the_loss_of_one_is_raised_once_the_others_have_had_theirs() -> None:
    lost, there = Told(fault="unplugged"), Told()
    several = joined((part((0, 1)), lost), (part((2,)), there))
    with pytest.raises(LinkError, match="unplugged"):
        several.send(setpoint(0))
    with pytest.raises(LinkError, match="unplugged"):
        several.stop()
    assert (len(there.sent), there.stops) == (1, 1)


def test_one_that_the_run_outlives_is_told_as_a_trouble_and_forgotten_once_it_is_back() -> None:
    lost, there = Told(fault="the disk is full"), Told()
    several = joined((part((0, 1, 2), on_loss="go on", drives=False), lost), (part((0, 1, 2)), there))
    several.send(setpoint(0))
    several.look(0)
    assert len(there.sent) == 1
    assert several.trouble() == "to:(0, 1, 2) is lost, and the others go on: the disk is full"
    lost.fault = ""
    several.look(4 * MS)
    assert several.trouble() == ""


def test_a_stop_forgets_what_waits() -> None:
    early, plain = Told(), Told()
    several = joined((part((0,), Carries(ahead_s=0.3)), early), (part((1, 2)), plain))
    several.look(0)
    several.send(setpoint(200 * MS))
    several.stop()
    several.look(400 * MS)
    assert (early.stops, plain.stops, plain.sent) == (1, 1, [])


def test_a_stop_forgets_what_the_camera_was_to_do() -> None:
    plain = Told()
    several = joined((part((0, 1, 2), Carries(triggers=("shutter",))), plain))
    several.look(0)
    several.fire(Trigger(200 * MS, "shutter"))
    several.stop()
    several.look(400 * MS)
    assert plain.fired == []


def test_an_order_to_the_camera_does_not_wait_behind_a_later_one() -> None:
    plain = Told()
    several = joined((part((0, 1, 2), Carries(triggers=("shutter", "cut"))), plain))
    several.look(0)
    several.fire(Trigger(300 * MS, "shutter"))
    several.fire(Trigger(100 * MS, "cut"))
    assert several.fire(Trigger(0, "shutter"))
    several.look(100 * MS)
    assert [one.name for one in plain.fired] == ["shutter", "cut"]


def test_an_order_that_an_output_could_not_send_has_not_gone_out(monkeypatch: pytest.MonkeyPatch) -> None:
    plain = Told()
    monkeypatch.setattr(plain, "fire", lambda _: False)
    assert not joined((part((0, 1, 2), Carries(triggers=("cut",))), plain)).fire(Trigger(0, "cut"))


def test_what_was_to_be_done_while_a_link_was_gone_is_not_made_up_for() -> None:
    able = Carries(triggers=("shutter",))
    plain, early = Told(), Told()
    several = joined((part((0, 1), able), plain), (part((2,), Carries(ahead_s=0.3)), early))
    several.look(0)
    several.fire(Trigger(200 * MS, "shutter"))
    several.send(setpoint(200 * MS))
    plain.fault = "unplugged"
    with pytest.raises(LinkError):
        several.look(4 * MS)
    plain.fault = ""
    several.look(400 * MS)
    assert (plain.fired, plain.sent) == ([], [])


@pytest.mark.parametrize("silent", [False, True])
def test_axes_that_are_left_behind_are_sent_nothing_before_they_were_told_to_stop(silent: bool) -> None:
    said = Feedback(5, np.array([7.0]), 6)
    spare, there = Told(answer=(said,)), Told()
    several = joined((part((2,), on_loss="go on"), spare), (part((0, 1)), there))
    several.look(0)
    several.read(0)
    spare.fault, spare.answer = "" if silent else "unplugged", ()
    several.look(400 * MS)
    assert several.link(0).left == (2,)
    spare.fault, spare.answer = "", (said,)
    several.read(800 * MS)
    several.look(800 * MS)
    several.send(setpoint(800 * MS))
    assert (spare.sent, len(there.sent)) == ([], 1)
    assert several.trouble() == "to:(2,) is there again, and is sent nothing before Reset"
    several.stop()
    several.look(804 * MS)
    several.send(setpoint(804 * MS))
    assert len(spare.sent) == 1
    assert several.link(0).left == ()


def test_a_trigger_has_gone_out_where_anything_that_is_no_book_took_it() -> None:
    shutter, able = Trigger(0, "shutter"), Carries(triggers=("shutter",))
    book, deaf, camera = Told(), Told(), Told()
    several = joined((part((0, 1, 2), able, drives=False, camera=False), book), (part((0, 1, 2)), deaf))
    assert not several.fire(shutter)
    assert (book.fired, deaf.fired) == ([shutter], [])
    several = joined((part((0, 1)), deaf), (part((2,), able), camera))
    assert several.fire(shutter)
    assert not several.fire(Trigger(0, "record"))
    assert camera.fired == [shutter]


def test_a_camera_that_cannot_be_told_ahead_is_told_when_it_is_due() -> None:
    able = Carries(triggers=("shutter",))
    early, plain = Told(), Told()
    several = joined((part((0,), replace(able, ahead_s=0.3)), early), (part((1, 2), able), plain))
    several.look(0)
    shutter = Trigger(200 * MS, "shutter")
    assert several.fire(shutter)
    assert (early.fired, plain.fired) == ([shutter], [])
    several.look(196 * MS)
    assert plain.fired == []
    several.look(200 * MS)
    assert plain.fired == [shutter]


def test_a_camera_alone_drives_nothing_and_is_fired_all_the_same() -> None:
    able, camera, rig = Carries(triggers=("shutter",)), Told(), Told()
    several = joined((part((0, 1, 2)), rig), (part((0, 1, 2), able, drives=False, on_loss="go on"), camera))
    assert several.fire(Trigger(0, "shutter"))
    camera.fault = "unplugged"
    assert not several.fire(Trigger(0, "shutter"))
    assert "to:(0, 1, 2) is lost, and the others go on: unplugged" in several.trouble()


def test_an_order_that_waited_and_then_did_not_go_out_is_told() -> None:
    class Full(Told):
        def fire(self, trigger: Trigger) -> bool:
            super().fire(trigger)
            return len(self.fired) > 1

    able = Carries(triggers=("shutter",))
    early, full = Told(), Full()
    several = joined((part((0,), replace(able, ahead_s=0.3)), early), (part((1, 2), able), full))
    several.look(0)
    several.fire(Trigger(200 * MS, "shutter"))
    several.fire(Trigger(400 * MS, "shutter"))
    several.look(200 * MS)
    assert several.trouble() == "to:(1, 2) did not take the order shutter; look what the camera does"
    several.look(400 * MS)
    assert several.trouble() == ""


def test_all_descriptors_are_waited_on() -> None:
    several = joined((part((0,)), Told(number=5)), (part((1,)), Told()), (part((2,)), Told(number=7)))
    assert several.filenos() == (5, 7)
