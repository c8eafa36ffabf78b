"""The numbers that documents and words promise, as numbers: who changes one changes the promise, and must say so."""

from dataclasses import replace

import numpy as np
import pytest

from sequencer.playback import contact, watch
from sequencer.playback.contact import Contact
from sequencer.playback.events import Action, Arm, Brake, Drive, EngineLate, GoTo, Hold, Recue, Say, Steer, Stop
from sequencer.playback.guard import LONGEST_STEP_S, Sent, Stray, at_rest, guard, limits, strays
from sequencer.playback.state import Phase, State
from sequencer.playback.step import step
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.signals import Feedback, Setpoint
from sequencer.sync.reading import Clock, Lock
from tests.playback.rules import RIG
from tests.playback.test_state import ARM, CUED, JOINS, ON_COURSE, QUIET, clock, motions, state, words

MS = 1_000_000
SECOND_NS = 1_000_000_000
WORN = Axis(
    name="pan",
    kind="pan",
    unit="deg",
    travel=(-170, 170),
    speed=60,
    acceleration=120,
    jerk=600,
    backlash=0.3,
    resolution=0.05,
)
WORN_RIG = Rig(name="worn", axes=(WORN,))


def test_an_axis_may_be_off_by_twenty_milliseconds_of_its_speed_its_play_and_its_resolution() -> None:
    judged = limits(WORN_RIG)
    assert judged.tolerance == pytest.approx((60 * 0.02 + 0.3 + 0.05,))
    assert strays(judged, (1.549,)) is None
    assert strays(judged, judged.tolerance) is None
    assert strays(judged, (-1.551,)) == Stray("pan", -1.551, "deg")


@pytest.mark.parametrize(("late_s", "stops"), [(0.05, False), (0.0501, True)])
def test_this_machine_may_be_fifty_milliseconds_late(late_s: float, stops: bool) -> None:
    after, actions = step(state(Phase.RUNNING), EngineLate(late_s))
    assert after.phase is (Phase.STOPPING if stops else Phase.RUNNING)
    assert motions(actions) == ([Brake] if stops else [])
    # where nothing is armed nobody waits for a setpoint
    assert step(state(Phase.FINISHED), EngineLate(9.0)) == (state(Phase.FINISHED), ())


@pytest.mark.parametrize(("silent_s", "stops"), [(0.5, False), (0.501, True)])
def test_a_rig_may_be_silent_for_half_a_second(silent_s: float, stops: bool) -> None:
    after, _ = step(state(Phase.RUNNING), replace(ON_COURSE, silent_s=silent_s))
    assert after.phase is (Phase.STOPPING if stops else Phase.RUNNING)
    begun = watch.begin(RIG, True, at_rest(0, np.zeros(4)))
    heard = watch.hear(begun, limits(RIG), Feedback(SECOND_NS, np.zeros(4), SECOND_NS))
    assert contact.attend(Contact(), heard, "", SECOND_NS + round(silent_s * 1e9)).withheld == stops


@pytest.mark.parametrize(("silent_s", "away"), [(1.199, False), (1.201, True)])
def test_a_rig_that_is_back_may_be_silent_for_six_calls_of_it(silent_s: float, away: bool) -> None:
    """To one that is sent nothing nobody speaks but to call it, five times a second."""
    begun = watch.begin(RIG, True, at_rest(0, np.zeros(4)))
    heard = watch.hear(begun, limits(RIG), Feedback(SECOND_NS, np.zeros(4), SECOND_NS))
    now_ns = SECOND_NS + round(silent_s * 1e9)
    assert bool(contact.attend(Contact(dropped_ns=1), heard, "", now_ns).why) == away
    # and one that is away is back by an answer that is no older
    assert bool(contact.attend(Contact(dropped_ns=1, why="gone"), heard, "", now_ns).why) == away


@pytest.mark.parametrize(("silent_ms", "lets_go"), [(150, False), (151, True)])
def test_a_hand_that_says_nothing_for_150_ms_lets_go(silent_ms: int, lets_go: bool) -> None:
    driving, _ = step(state(Phase.IDLE), Drive((1.0, 0.0, 0.0, 0.0), 5_000_000_000))
    _, actions = step(driving, replace(QUIET, now_ns=5_000_000_000 + silent_ms * MS))
    assert actions == ((Steer(()),) if lets_go else ())


@pytest.mark.parametrize(
    ("speed", "follows"), [(0.849, False), (0.85, True), (1.0, True), (1.15, True), (1.151, False)]
)
def test_timecode_from_85_to_115_per_cent_of_its_speed_is_followed(speed: float, follows: bool) -> None:
    tick = replace(QUIET, clock=clock(10.0, speed=speed))
    assert step(state(Phase.READY), tick)[0].phase is (Phase.RUNNING if follows else Phase.READY)
    tick = replace(ON_COURSE, clock=clock(12.0, speed=speed))
    assert step(state(Phase.RUNNING), tick)[0].phase is (Phase.RUNNING if follows else Phase.STOPPING)


@pytest.mark.parametrize(
    ("past_s", "phase", "joining"),
    [(0.0399, Phase.RUNNING, Phase.RUNNING), (0.0401, Phase.READY, Phase.JOINING)],
)
def test_a_move_may_begin_40_ms_late(past_s: float, phase: Phase, joining: Phase) -> None:
    tick = replace(QUIET, clock=clock(10.0 + past_s))
    assert step(state(Phase.READY), tick)[0].phase is phase
    assert step(state(Phase.READY, armed=JOINS), tick)[0].phase is joining


def test_who_says_nothing_else_goes_at_half_speed_coasts_two_seconds_and_lets_nobody_else_choose() -> None:
    plain = Arm(cued=CUED)
    kept = (plain.cap, plain.freewheel_s, plain.joins, plain.remote, plain.by_hand)
    assert kept == (0.5, 2.0, False, False, ())
    _, actions = step(State(), plain)
    assert isinstance(actions[0], GoTo)
    assert actions[0].cap == 0.5
    assert "at up to 50% of full speed" in words(actions)
    assert step(State(), replace(plain, cap=1.0))[0].phase is Phase.LOCATING


def test_nothing_was_ever_said_or_armed_at_the_beginning() -> None:
    begun = State()
    assert begun.phase is Phase.IDLE
    assert (begun.cause, begun.hindrance, begun.barred, begun.dropped, begun.told, begun.halted) == ("",) * 6
    assert (begun.armed, begun.since_ns, begun.mark, begun.hand_ns, begun.punched) == (None, None, None, None, False)
    with pytest.raises(ValueError, match="nothing is armed in idle"):
        _ = begun.cue
    quiet = step(begun, QUIET)
    assert quiet == (begun, ())


def test_a_tick_knows_of_no_trouble_unless_it_is_told() -> None:
    assert (QUIET.joined, QUIET.silent_s, QUIET.dropped) == (False, 0.0, "")
    assert QUIET.held_back is QUIET.astray is QUIET.outside is None


@pytest.mark.parametrize("span_ms", [50, 51, 3000])
def test_a_silence_counts_as_fifty_milliseconds_at_most(span_ms: int) -> None:
    """An axis that was to go on at full speed is let go as far as it goes in that time, and no farther."""
    last = Sent(0, (0.0,), (60.0,), (60.0,), (60.0,), 0.05, 0.05)
    far = Setpoint(span_ms * MS, np.array([100.0]), np.array([60.0]))
    guarded = guard(limits(WORN_RIG), last, far)
    assert guarded.sent.span_s == pytest.approx(0.05)
    assert guarded.sent.position[0] == pytest.approx(60 * 0.05, rel=1e-5)
    assert LONGEST_STEP_S == 0.05


def said_codes(actions: tuple[Action, ...]) -> list[str]:
    return [one.code for one in actions if isinstance(one, Say)]


def test_a_stop_that_was_asked_for_while_nothing_moves_holds_and_latches() -> None:
    after, actions = step(State(), Stop("somebody fell"))
    assert (after.phase, after.cause) == (Phase.STOPPED, "somebody fell")
    assert motions(actions) == [Hold]
    again, more = step(after, Recue(CUED, "OSC /cue/a"))
    assert (again, motions(more)) == (after, [])
    assert said_codes(more) == ["refused"]


def test_a_clock_that_is_only_located_or_locking_steers_nothing() -> None:
    for lock in (Lock.LOCATED, Lock.LOCKING, Lock.LOST, Lock.WAITING):
        seen = Clock(lock, 7_000, 12.0, 1.0, 1e-4, 3)
        assert step(state(Phase.RUNNING, armed=ARM), replace(ON_COURSE, clock=seen))[0].phase is Phase.STOPPING
