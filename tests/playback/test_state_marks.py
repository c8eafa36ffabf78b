"""The rig is sent to marks: what it does there, on the way, and when a hand or a trigger comes in between."""

from dataclasses import replace

from sequencer.playback.events import Drive, Go, Hold, Steer, Tick, ToMark
from sequencer.playback.state import Phase, State
from sequencer.playback.step import step
from sequencer.score.marks import Mark
from tests.playback.test_state import ARM, DOORWAY, QUIET, motions, silent, state, words

WINDOW = Mark("window", (("tilt", 12.0),))
THERE = replace(QUIET, arrived=True, standing=True)


def sent(begin: State, mark: Mark = DOORWAY, by: str = "") -> State:
    going, actions = step(begin, Go(mark, by))
    assert actions[0] == ToMark(mark)
    return going


def ticked(begin: State, *ticks: Tick) -> tuple[State, str]:
    said = ""
    for tick in ticks:
        begin, actions = step(begin, tick)
        said += words(actions)
    return begin, said


def test_it_says_where_it_is_when_it_is_there() -> None:
    there, said = ticked(sent(state(Phase.IDLE)), QUIET, QUIET, THERE)
    assert (there.phase, said) == (Phase.IDLE, "at doorway")


def test_the_tick_that_was_looked_at_before_it_left_is_no_arrival() -> None:
    begun, said = ticked(sent(state(Phase.IDLE)), THERE)
    assert (begun.phase, said) == (Phase.GOING, "")


def test_a_touch_of_the_stick_takes_over_and_it_goes_on_when_it_is_sent_again() -> None:
    going, _ = ticked(sent(state(Phase.IDLE)), QUIET)
    touched, actions = step(going, Drive((0.0, 5.0, 0.0, 0.0), 5_000_000_000))
    assert (touched.phase, motions(actions)) == (Phase.DRIVING, [Steer])
    again = sent(touched)
    assert (again.phase, again.mark) == (Phase.GOING, DOORWAY)


def test_another_mark_on_the_way_changes_the_way() -> None:
    going, _ = ticked(sent(state(Phase.IDLE)), QUIET)
    there, said = ticked(sent(going, WINDOW), QUIET, THERE)
    assert (there.phase, said) == (Phase.IDLE, "at window")


def test_what_was_armed_is_forgotten_when_the_operator_sends_it_elsewhere() -> None:
    assert sent(state(Phase.FINISHED)).armed is None


def test_a_trigger_that_may_choose_keeps_what_is_armed() -> None:
    remote = replace(ARM, remote=True)
    for phase in (Phase.READY, Phase.FINISHED):
        there, _ = ticked(sent(state(phase, armed=remote), by="OSC /mark/go"), QUIET, THERE)
        assert (there.phase, there.armed) == (Phase.FINISHED, remote)


def test_a_trigger_is_refused_where_nothing_is_armed_or_something_plays() -> None:
    remote = replace(ARM, remote=True)
    for begin, why in (
        (state(Phase.IDLE), "not let choose"),
        (state(Phase.RUNNING, armed=remote), "running"),
        (state(Phase.STOPPED, armed=remote), "a cable was pulled"),
    ):
        after, actions = step(begin, Go(DOORWAY, "OSC /mark/go"))
        assert after.phase is begin.phase
        assert why in words(actions)


def test_a_rig_that_is_silent_is_not_sent() -> None:
    hindered, _ = step(state(Phase.IDLE), silent(QUIET))
    after, actions = step(hindered, Go(DOORWAY))
    assert after.phase is Phase.IDLE
    assert "not sent to doorway: the rig has not answered" in words(actions)


def test_a_rig_that_falls_silent_on_the_way_is_stopped() -> None:
    stopped, _ = step(sent(state(Phase.IDLE)), silent(QUIET))
    assert stopped.phase is Phase.STOPPING
    rest, actions = step(stopped, THERE)
    assert (rest.phase, motions(actions)) == (Phase.STOPPED, [Hold])
