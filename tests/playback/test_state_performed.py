"""Axes are performed by hand while the others play: between punch in and punch out, and to the end at most."""

from dataclasses import replace

import pytest

from sequencer.playback.events import Arm, Drive, Event, Follow, HandOver, Hold, Punch, Reset, Say, Steer, Stop
from sequencer.playback.state import Phase, State
from sequencer.playback.step import step
from sequencer.sync.reading import Lock
from tests.playback.test_state import ARM, CUED, ON_COURSE, QUIET, clock, motions, state, words

PAN = (True, False, False, False)
PERFORMS = replace(ARM, by_hand=PAN)
LATER = replace(PERFORMS, punched=False)
HAND = Drive((10.0, 0.0, 0.0, 0.0), 5_000_000_000)
AT_START = replace(QUIET, clock=clock(10.0))
AT_END = replace(QUIET, clock=clock(14.001))


def fed(begin: State, *events: Event) -> tuple[State, list[object]]:
    did: list[object] = []
    for event in events:
        begin, actions = step(begin, event)
        did += actions
    return begin, [one for one in did if not isinstance(one, Say)]


def playing(armed: Arm) -> State:
    located, _ = step(state(Phase.IDLE), armed)
    ready, _ = fed(located, QUIET, replace(QUIET, arrived=True, standing=True))
    running, _ = fed(ready, AT_START)
    assert running.phase is Phase.RUNNING
    return running


def test_hands_have_their_axes_from_the_start() -> None:
    located, _ = step(state(Phase.IDLE), PERFORMS)
    ready, _ = fed(located, QUIET, replace(QUIET, arrived=True, standing=True))
    running, actions = step(ready, AT_START)
    assert motions(actions) == [Follow, HandOver]
    assert HandOver(PAN) in actions
    steered, did = fed(running, HAND)
    assert (steered.phase, did) == (Phase.RUNNING, [Steer(HAND.wanted)])


def test_a_hand_does_nothing_before_the_punch_in() -> None:
    running = playing(LATER)
    assert fed(running, HAND) == (running, [])
    _, did = fed(running, Punch(True), HAND)
    assert did == [HandOver(PAN), Steer(HAND.wanted)]


def test_a_punch_before_the_start_counts_from_the_start() -> None:
    located, _ = step(state(Phase.IDLE), LATER)
    _, said = step(located, Punch(True))
    assert words(said) == "from the start on hands have their axes"
    ready, _ = fed(located, Punch(True), QUIET, replace(QUIET, arrived=True, standing=True))
    _, actions = step(ready, AT_START)
    assert HandOver(PAN) in actions


def test_after_the_punch_out_the_axes_come_to_rest_and_the_others_play_on() -> None:
    running = playing(PERFORMS)
    out, did = fed(running, HAND, Punch(False), HAND)
    assert did == [Steer(HAND.wanted), Steer(())]
    assert out.phase is Phase.RUNNING


def test_the_take_says_when_it_was_punched() -> None:
    running = playing(LATER)
    within, first = step(running, Punch(True))
    _, last = step(within, Punch(False))
    said = [(one.code, one.text) for one in (*first, *last) if isinstance(one, Say)]
    assert said == [("punch", "in"), ("punch", "out")]


def test_a_hand_that_falls_silent_lets_its_axes_rest_and_stops_nothing() -> None:
    running, _ = fed(playing(PERFORMS), HAND)
    silent = replace(ON_COURSE, now_ns=HAND.at_ns + 200_000_000)
    assert fed(running, replace(silent, now_ns=HAND.at_ns + 100_000_000))[1] == []
    resting, did = fed(running, silent)
    assert (resting.phase, did) == (Phase.RUNNING, [Steer(())])
    assert fed(resting, replace(silent, now_ns=silent.now_ns + 4_000_000))[1] == []


def test_past_the_end_the_hand_is_let_go_of_and_the_cue_is_done_when_all_rest() -> None:
    running, did = fed(playing(PERFORMS), HAND, AT_END)
    assert did[-1] == Steer(())
    still, did = fed(running, HAND, AT_END, replace(AT_END, standing=True))
    assert (still.phase, did) == (Phase.FINISHED, [Hold()])


def test_it_goes_on_by_hand_while_timecode_is_missing() -> None:
    freewheeling, _ = fed(playing(PERFORMS), replace(QUIET, clock=clock(lock=Lock.FREEWHEEL)))
    assert freewheeling.phase is Phase.FREEWHEELING
    assert fed(freewheeling, HAND)[1] == [Steer(HAND.wanted)]


@pytest.mark.parametrize("phase", list(Phase))
def test_a_punch_where_no_axis_is_performed_is_refused_in_words(phase: Phase) -> None:
    before = state(phase)
    after, actions = step(before, Punch(True))
    assert after == before
    assert "no axis was armed to be performed" in words(actions)


def test_a_punch_after_the_end_is_refused_in_words() -> None:
    after, actions = step(state(Phase.FINISHED, armed=PERFORMS), Punch(True))
    assert not after.punched
    assert "nothing is performed: it is finished" in words(actions)


def test_performing_and_joining_exclude_each_other() -> None:
    with pytest.raises(ValueError, match="choose one of them"):
        Arm(cued=CUED, joins=True, by_hand=PAN)


def test_a_stop_ends_what_hands_perform() -> None:
    stopped, _ = fed(playing(PERFORMS), HAND, Stop("somebody walked in"))
    assert not stopped.punched
    idle, _ = fed(stopped, replace(QUIET, standing=True), Reset())
    assert (idle.phase, idle.punched) == (Phase.IDLE, False)
