"""Hands on game controllers, with the real processes: from the pad to the rig, and what a take keeps of it."""

import time
from dataclasses import replace

import numpy as np
import pytest

from sequencer.live.handling import Deed
from sequencer.playback.state import Phase
from sequencer.project.takefile import read
from sequencer.score.marks import Mark
from sequencer.shell.crew import Crew, CrewFailed
from sequencer.shell.messages import Arm, Pressed, Punch, Reset, Start, Status, TakeHands
from sequencer.shell.shoot import Watch
from sequencer.shell.tour import order_to
from tests.shell.conftest import Starter
from tests.shell.told_pads import Hand, hand

__all__ = ["hand"]
pytestmark = pytest.mark.real_time


def watched(watch: Watch, lasts_s: float) -> list[Status]:
    """Look for so long; return what was seen."""
    seen = []
    until_s = time.monotonic() + lasts_s
    while time.monotonic() < until_s:
        status = watch.look()
        seen += [] if status is None else [status]
    return seen


def newest(running: Crew) -> Status:
    status = running.status()
    assert status is not None
    return status


def test_the_stick_moves_the_rig_while_it_is_enabled_and_pushed(start: Starter, hand: Hand) -> None:
    running, watch, _ = start(controllers=hand.address)
    running.wait_opened()
    hand.say()
    watched(watch, 0.2)
    hand.say(left_x=1.0, left_trigger=1.0)
    assert {one.phase for one in watched(watch, 0.3)} == {Phase.IDLE}  # not taken in hand yet
    hand.say()
    running.tell(TakeHands(on=True))
    watched(watch, 0.2)
    hand.say(left_x=1.0)
    assert {one.phase for one in watched(watch, 0.3)} == {Phase.IDLE}  # what enables is not held
    hand.say(left_x=1.0, left_trigger=1.0)
    assert watched(watch, 0.8)[-1].phase == Phase.DRIVING
    hand.say()
    watch.until(Phase.IDLE, 5)
    pan, tilt = newest(running).asked
    assert pan > 3.0
    assert tilt == 0.0
    assert newest(running).hands


def test_a_pad_that_is_pulled_out_with_its_stick_held_brings_the_rig_to_rest(start: Starter, hand: Hand) -> None:
    running, watch, _ = start(controllers=hand.address)
    running.wait_opened()
    running.tell(TakeHands(on=True))
    hand.say()
    watched(watch, 0.2)
    hand.say(left_x=1.0, left_trigger=1.0)
    watched(watch, 0.6)
    assert newest(running).phase == Phase.DRIVING
    hand.say(left_x=1.0, left_trigger=1.0, here=False)
    watch.until(Phase.IDLE, 5)


def test_stop_on_a_pad_is_always_obeyed_and_after_a_reset_the_pads_must_be_taken_in_hand_anew(
    start: Starter, hand: Hand
) -> None:
    running, watch, _ = start(controllers=hand.address)
    running.wait_opened()
    running.tell(TakeHands(on=True))
    hand.say()
    watched(watch, 0.2)
    hand.say("start")
    watch.until(Phase.STOPPED, 5) if newest(running).phase == Phase.STOPPED else watched(watch, 0.5)
    assert newest(running).phase == Phase.STOPPED
    assert "game controller" in newest(running).cause
    hand.say()
    watched(watch, 0.3)  # until it is let go of: held, it would stop the rig again
    running.tell(Reset())
    until_s = time.monotonic() + 5
    while newest(running).phase != Phase.IDLE:
        watch.look()
        assert time.monotonic() < until_s
    assert not newest(running).hands
    hand.say(left_x=1.0, left_trigger=1.0)
    assert {one.phase for one in watched(watch, 0.3)} == {Phase.IDLE}


def test_what_is_pressed_reaches_the_operators_program(start: Starter, hand: Hand) -> None:
    running, watch, _ = start(controllers=hand.address)
    pressed: list[Pressed] = []
    watch.act = pressed.append
    running.wait_opened()
    running.tell(TakeHands(on=True))
    hand.say()
    watched(watch, 0.2)
    hand.say(left_trigger=1.0)
    watched(watch, 0.1)
    hand.say("right", left_trigger=1.0)
    watched(watch, 0.2)
    hand.say()
    watched(watch, 0.2)
    assert pressed == [Pressed(Deed.NEXT, 0)]


def test_the_rig_goes_to_a_mark_and_a_touch_of_the_stick_takes_over(start: Starter, hand: Hand) -> None:
    running, watch, _ = start(controllers=hand.address)
    running.wait_opened()
    running.tell(TakeHands(on=True))
    hand.say()
    watched(watch, 0.2)
    window = Mark("window", (("pan", 30.0),))
    running.tell(order_to(window))
    phases = [one.phase for one in watched(watch, 0.3)]
    assert phases[-1] == Phase.GOING
    hand.say(left_y=-1.0, left_trigger=1.0)
    assert watched(watch, 0.5)[-1].phase == Phase.DRIVING
    hand.say()
    watch.until(Phase.IDLE, 5)
    assert newest(running).asked[0] < 29.0
    running.tell(order_to(window))
    until_s = time.monotonic() + 5
    while newest(running).asked[0] < 30.0 and time.monotonic() < until_s:
        watch.look()
    watch.until(Phase.IDLE, 5)
    assert newest(running).asked[0] == pytest.approx(30.0)
    assert newest(running).asked[1] < -1.0  # an axis that the mark does not name stays where the hand left it


def test_hands_that_are_taken_away_bring_the_rig_to_rest_at_once(start: Starter, hand: Hand) -> None:
    running, watch, _ = start(controllers=hand.address)
    running.wait_opened()
    running.tell(TakeHands(on=True))
    hand.say()
    watched(watch, 0.2)
    hand.say(left_x=1.0, left_trigger=1.0)
    watched(watch, 0.8)
    running.tell(TakeHands(on=False))
    watch.until(Phase.IDLE, 5)
    stands = newest(running).asked
    assert not newest(running).hands
    running.tell(TakeHands(on=True))
    assert {one.phase for one in watched(watch, 0.4)} == {Phase.IDLE}  # still held, since before
    assert newest(running).asked == stands


def test_a_mark_outside_the_travel_is_refused_in_words(start: Starter) -> None:
    running, watch, _ = start()
    running.wait_opened()
    watched(watch, 0.2)
    running.tell(order_to(Mark("far", (("pan", 120.0),))))
    with pytest.raises(CrewFailed, match="outside pan's travel"):
        watched(watch, 0.5)
    assert newest(running).phase == Phase.IDLE


def test_an_axis_is_performed_while_the_other_plays_and_the_take_keeps_it(start: Starter, hand: Hand) -> None:
    running, watch, plan = start(controllers=hand.address)
    running.wait_opened()
    path = plan.next_path()
    heading = replace(plan.heading(path.stem), by_hand=("tilt",))
    watch.arm(Arm(cue="turn", take=str(path), heading=heading, by_hand=("tilt",)))
    hand.say()
    watch.until(Phase.READY, 10)
    running.tell(TakeHands(on=True))
    running.tell(Start())
    watch.until(Phase.RUNNING, 5)
    hand.say(left_y=1.0, left_trigger=1.0)
    watched(watch, 0.6)
    hand.say()
    watch.until(Phase.FINISHED, 10)
    watch.until_kept()
    take = read(path)
    pan, tilt = take.asked.T
    assert tilt[-1] > 1.0
    assert pan[-1] == pytest.approx(20.0, abs=1e-3)


def test_the_hand_has_its_axis_only_from_punch_in_to_punch_out(start: Starter, hand: Hand) -> None:
    running, watch, plan = start(controllers=hand.address)
    running.wait_opened()
    path = plan.next_path()
    watch.arm(Arm(cue="turn", take=str(path), heading=plan.heading(path.stem), by_hand=("pan",), punched=False))
    hand.say()
    watch.until(Phase.READY, 10)
    running.tell(TakeHands(on=True))
    watched(watch, 0.1)  # a pad must have been seen let go of
    hand.say(left_x=-1.0, left_trigger=1.0)
    running.tell(Start())
    watch.until(Phase.RUNNING, 5)
    watched(watch, 0.5)
    running.tell(Punch(within=True))
    watched(watch, 0.3)
    assert newest(running).punched
    running.tell(Punch(within=False))
    watch.until(Phase.FINISHED, 10)
    watch.until_kept()
    take = read(path)
    pan = take.asked[:, 0]
    within, out = (one.at_ns for one in take.happenings if one.code == "punch")
    assert np.all(np.diff(pan[(take.timeline_s > 2.05) & (take.due_ns < within)]) > 0)
    fastest = np.diff(pan[(take.due_ns > within) & (take.due_ns < out)]).min()
    assert fastest < 0  # the hand turned it back
    assert pan[-1] < 19.0
    assert np.ptp(pan[take.due_ns > out + 500_000_000]) == 0.0


def test_axes_that_play_nothing_cannot_wait_for_a_punch(start: Starter, hand: Hand) -> None:
    running, watch, _ = start(controllers=hand.address)
    running.wait_opened()
    watch.arm(Arm(cue="turn", by_hand=("tilt",), punched=False))
    with pytest.raises(CrewFailed, match="nothing to play on tilt before the punch in"):
        watched(watch, 1.0)


def test_pads_cannot_be_taken_in_hand_where_none_were_opened(start: Starter) -> None:
    running, watch, _ = start()
    running.wait_opened()
    running.tell(TakeHands(on=True))
    with pytest.raises(CrewFailed, match="no game controllers were opened"):
        watched(watch, 0.5)
