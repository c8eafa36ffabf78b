"""A hand that drives, as the table at the top of the state file says: heard of, it moves; silent, it lets go."""

from dataclasses import replace

from hypothesis import given, settings

from sequencer.playback.events import Begin, Brake, Drive, EngineLate, Event, Hold, Reset, Say, Steer, Stop
from sequencer.playback.state import DRIVEN_S, Phase, State
from sequencer.playback.step import step
from tests.playback.test_state import ARM, QUIET, motions, silent, state, words
from tests.playback.test_state_any import fold, some_events

DRIVE = Drive((10.0, -20.0, 5.0, 0.0), 5_000_000_000)


def test_a_hand_that_says_nothing_more_lets_go() -> None:
    driving, _ = step(state(Phase.IDLE), Drive((10.0, -20.0), 5_000_000_000))
    silent_ns = 5_000_000_000 + round(DRIVEN_S * 1e9)
    held, actions = step(driving, replace(QUIET, now_ns=silent_ns, standing=True))
    assert (held.phase, actions) == (Phase.DRIVING, ())
    braking, actions = step(driving, replace(QUIET, now_ns=silent_ns + 1))
    assert (braking.phase, actions) == (Phase.DRIVING, (Steer(()),))
    rests, actions = step(braking, replace(QUIET, now_ns=silent_ns + 2, standing=True))
    assert rests.phase is Phase.IDLE
    assert motions(actions) == [Hold]


def test_a_hand_that_may_not_drive_is_told_why_once() -> None:
    hindered, _ = step(state(Phase.IDLE), silent(QUIET))
    refused, actions = step(hindered, Drive((10.0, 0.0), 5_000_000_000))
    assert refused.phase is Phase.IDLE
    assert "has not answered" in words(actions)
    again, actions = step(refused, Drive((10.0, 0.0), 5_010_000_000))
    assert (again.phase, actions) == (Phase.IDLE, ())


def test_a_hand_that_wants_nothing_takes_nothing_over() -> None:
    for phase in (Phase.IDLE, Phase.FINISHED):
        begun = state(phase)
        assert step(begun, Drive((0.0, 0.0), 5_000_000_000)) == (begun, ())


def test_while_a_hand_drives_it_is_not_armed_and_needs_no_stop_for_it() -> None:
    for phase in (Phase.DRIVING, Phase.GOING):
        after, actions = step(state(phase), ARM)
        assert after.phase is phase
        assert words(actions) == f"not armed: it is {phase}. Let the rig come to rest first"


def test_what_was_armed_before_is_not_after_driving() -> None:
    driving, _ = step(state(Phase.FINISHED), Drive((1.0, 0.0), 5_000_000_000))
    assert driving.armed is None


@settings(max_examples=200, deadline=None)
@given(events=some_events(DRIVE, Stop("somebody called"), Reset(), EngineLate(0.2)))
def test_without_arming_only_a_hand_moves_anything_and_only_as_it_asks(events: list[Event]) -> None:
    now = State()
    for event in events:
        after, actions = step(now, event)
        moves = [one for one in actions if not isinstance(one, Say | Hold | Brake | Begin)]
        if isinstance(event, Drive):
            assert moves in ([], [Steer(event.wanted)])
        else:
            assert moves in ([], [Steer(())])
        if now.phase in (Phase.STOPPING, Phase.STOPPED):
            assert not moves
        now = after


@settings(max_examples=200, deadline=None)
@given(before=some_events(ARM, DRIVE, Reset()), events=some_events(DRIVE, ARM, Stop("again")))
def test_a_hand_that_holds_on_after_a_stop_moves_nothing_before_reset(before: list[Event], events: list[Event]) -> None:
    reached, _ = fold(State(), before)
    stopped, _ = step(reached, Stop("a child ran in"))
    after, actions = fold(stopped, [*events, replace(QUIET, standing=True)])
    assert after.phase is Phase.STOPPED
    assert set(motions(actions)) <= {Hold}
