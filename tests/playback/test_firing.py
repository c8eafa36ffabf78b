"""When the camera is told to do something along what is armed."""

from fractions import Fraction

import numpy as np
import pytest

from sequencer.playback.firing import LATE_S, Firing, before_s, behind_s, fired, planned
from sequencer.score.camera import CameraCue
from sequencer.sync.reading import Clock, Lock

MS = 1_000_000
RATE = Fraction(25)
START = CameraCue(do="record", at="cue start", after_s=-1.0)
END = CameraCue(do="cut", at="cue end", after_s=0.5)
SHOT = CameraCue(do="shutter", at=Fraction(25 * 12), lead_s=0.08)


def at(
    position_s: float, *, now_ms: float = 0.0, speed: float = 1.0, jumps: int = 1, lock: Lock = Lock.LOCKED
) -> Clock:
    return Clock(lock, round(now_ms * MS), position_s, speed, 0.0, jumps)


def played(firing: Firing, from_s: float, to_s: float, speed: float = 1.0) -> list[tuple[str, float]]:
    """Run a clock at 250 Hz; return what was fired, with where the clock was at its instant."""
    went: list[tuple[str, float]] = []
    for tick in np.arange(0.0, (to_s - from_s) / speed, 0.004):
        firing, triggers, missed = fired(firing, at(from_s + tick * speed, now_ms=tick * 1e3, speed=speed))
        assert not missed
        went += [(one.name, from_s + one.due_ns * 1e-9 * speed) for one in triggers]
    return went


def test_each_goes_out_at_its_instant_less_the_cameras_own_lead() -> None:
    firing = planned((END, SHOT, START), (10.0, 20.0), 10.0, Fraction(1), RATE)
    went = played(firing, 7.0, 22.0)
    assert [name for name, _ in went] == ["record", "shutter", "cut"]
    assert [where for _, where in went] == pytest.approx([9.0, 11.92, 20.5], abs=1e-6)


def test_in_a_slower_pass_a_place_of_the_move_comes_later_and_seconds_stay_seconds() -> None:
    firing = planned((END, SHOT, START), (10.0, 30.0), 10.0, Fraction(1, 2), RATE)
    assert [order.at_s for order in firing.orders] == pytest.approx([9.0, 13.92, 30.5])


def test_a_master_at_half_speed_is_followed_by_its_own_seconds() -> None:
    firing = planned((SHOT,), (10.0, 20.0), 10.0, Fraction(1), RATE)
    ((_, where),) = played(firing, 10.0, 13.0, speed=0.9)
    assert where == pytest.approx(11.92, abs=1e-6)


def test_how_long_the_clock_must_run_before_and_behind_is_known() -> None:
    firing = planned((END, SHOT, START), (10.0, 20.0), 10.0, Fraction(1), RATE)
    assert (before_s(firing, 10.0), behind_s(firing, 20.0)) == (1.0, 0.5)
    assert behind_s(planned((SHOT,), (10.0, 20.0), 10.0, Fraction(1), RATE), 20.0) == 0.0


def test_what_lies_outside_the_armed_part_is_not_of_it() -> None:
    assert planned((SHOT,), (13.0, 20.0), 13.0, Fraction(1), RATE).orders == ()


def test_an_order_that_the_clock_began_just_after_goes_out_at_once_and_an_older_one_is_told() -> None:
    firing = planned((START,), (10.0, 20.0), 10.0, Fraction(1), RATE)
    left, triggers, missed = fired(firing, at(9.0 + LATE_S - 0.1, now_ms=50))
    assert [(one.name, one.due_ns) for one in triggers] == [("record", 50 * MS)]
    assert (left.orders, missed) == ((), ())
    _, triggers, missed = fired(firing, at(9.0 + LATE_S + 0.1, now_ms=50))
    assert triggers == ()
    assert [one.do for one in missed] == ["record"]


def test_what_the_clock_jumps_over_is_not_fired_in_one_burst() -> None:
    shots = tuple(CameraCue(do="shutter", at=Fraction(25 * second)) for second in range(11, 19))
    firing = planned(shots, (10.0, 20.0), 10.0, Fraction(1), RATE)
    firing, triggers, _ = fired(firing, at(10.0))
    assert triggers == ()
    firing, triggers, missed = fired(firing, at(15.9, jumps=2))
    assert len(triggers) == 2  # within the moment that is made up for
    assert [one.at_s for one in missed] == pytest.approx([11.0, 12.0, 13.0])
    assert [one.at_s for one in firing.orders] == pytest.approx([16.0, 17.0, 18.0])


def test_what_was_missed_goes_out_once_the_clock_is_rolled_back_and_passes_there_and_nothing_twice() -> None:
    firing = planned((START, SHOT, END), (10.0, 20.0), 10.0, Fraction(1), RATE)
    firing, triggers, missed = fired(firing, at(12.5))
    assert [one.name for one in triggers] == ["shutter"]
    assert [one.do for one in missed] == ["record"]
    firing, triggers, missed = fired(firing, at(13.0, jumps=2))
    assert (triggers, missed) == ((), ())
    firing, triggers, missed = fired(firing, at(7.0, jumps=3))
    assert (triggers, missed) == ((), ())
    went = []
    for position_s in np.arange(7.0, 22.0, 0.1):
        firing, triggers, missed = fired(firing, at(position_s, jumps=3))
        assert missed == ()
        went += [one.name for one in triggers]
    assert went == ["record", "cut"]


@pytest.mark.parametrize(
    "clock", [at(50.0, lock=Lock.WAITING), at(50.0, lock=Lock.LOCATED, speed=0.0), at(50.0, speed=-1.0)]
)
def test_a_clock_that_does_not_run_forward_fires_nothing(clock: Clock) -> None:
    firing = planned((START,), (10.0, 20.0), 10.0, Fraction(1), RATE)
    assert fired(firing, clock) == (firing, (), ())


def test_our_own_clock_is_told_how_early_it_must_begin() -> None:
    firing = planned((START, END), (10.0, 20.0), 10.0, Fraction(1), RATE)
    assert before_s(firing, 10.0) == pytest.approx(1.0)
    assert before_s(Firing(), 10.0) == 0.0


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({"do": "zoom", "at": "cue start"}, "do is 'zoom'"),
        ({"do": "cut", "at": "lunch"}, "at is 'lunch'"),
        ({"do": "cut", "at": "cue end", "lead_s": -1.0}, "lead_s is -1.0"),
        ({"do": "cut", "at": "cue end", "after_s": float("inf")}, "after_s is inf"),
    ],
)
def test_what_no_camera_does_is_refused_with_the_field(how: dict[str, object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        CameraCue(**how)  # type: ignore[arg-type]  # wrong on purpose
