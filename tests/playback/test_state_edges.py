"""What each step keeps and forgets, and the instants at which the clock, a hand or a way changes the phase."""

from dataclasses import replace

import pytest

from sequencer.playback.events import (
    Brake,
    ClockHalted,
    Drive,
    EngineLate,
    Event,
    Follow,
    Go,
    GoTo,
    HandOver,
    Hold,
    Join,
    Punch,
    Reset,
    Say,
    Steer,
    Stop,
    Tick,
    ToMark,
)
from sequencer.playback.guard import Stray
from sequencer.playback.state import Phase, State
from sequencer.playback.step import before_arming, step
from sequencer.sync.reading import Lock
from tests.playback.test_state import (
    ARM,
    CUED,
    DOORWAY,
    JOINS,
    ON_COURSE,
    QUIET,
    clock,
    motions,
    silent,
    state,
    words,
)

PAN = (True, False, False, False)
PERFORMS = replace(ARM, by_hand=PAN)
REMOTE = replace(ARM, remote=True)
HAND = Drive((10.0, 0.0, 0.0, 0.0), 5_000_000_000)
THERE = replace(QUIET, arrived=True, standing=True)


def ready(at_s: float, speed: float = 1.0, lock: Lock = Lock.LOCKED) -> Tick:
    return replace(QUIET, clock=clock(at_s, lock, speed))


# --- waiting for timecode


@pytest.mark.parametrize(
    ("at_s", "speed", "begins"),
    [(9.949, 1.0, False), (9.951, 1.0, True), (9.953, 0.9, False), (9.956, 0.9, True), (9.944, 1.1, False)],
)
def test_a_slower_clock_begins_later_since_it_runs_less_in_a_latency(at_s: float, speed: float, begins: bool) -> None:
    """The slowest axis of the rig lags by 50 ms."""
    after, _ = step(state(Phase.READY), ready(at_s, speed))
    assert after.phase is (Phase.RUNNING if begins else Phase.READY)


def test_a_clock_that_stands_is_told_as_slow_and_one_that_runs_backward_as_that() -> None:
    _, actions = step(state(Phase.READY), ready(10.0, 0.0))
    assert "timecode runs at 0.0% of its speed" in words(actions)
    _, actions = step(state(Phase.READY), ready(10.0, -0.001))
    assert "timecode runs backward" in words(actions)


def test_what_is_wrong_with_timecode_is_told_anew_when_it_is_something_else() -> None:
    now, told = state(Phase.READY), []
    for tick in (ready(11.0), ready(11.1), ready(11.0, 0.5), ready(11.0, 0.5), ready(11.0, -1.0), ready(12.0)):
        now, actions = step(now, tick)
        told.append(words(actions).split(" ")[2] if actions else "")
    assert told == ["already", "", "at", "", "backward;", "already"]


def test_what_was_told_before_is_no_longer_known_when_it_is_ready_anew() -> None:
    told, _ = step(state(Phase.READY), ready(11.0))
    assert told.told == "past"
    for event in (replace(THERE, clock=clock(11.0)),):
        anew, _ = step(state(Phase.LOCATING, told="past"), event)
        assert anew.told == ""
        assert "already" in words(step(anew, ready(11.0))[1])
    located, _ = step(state(Phase.FINISHED, told="past"), ARM)
    assert (located.told, located.since_ns) == ("", None)


def test_a_move_begins_with_the_clocks_count_and_knows_of_no_halt_and_no_hand() -> None:
    before = state(Phase.READY, jumps=0, halted="stopped by MMC stop", hand_ns=5)
    begun, actions = step(before, replace(QUIET, clock=clock(10.0, jumps=7)))
    assert (begun.phase, begun.jumps, begun.halted, begun.hand_ns) == (Phase.RUNNING, 7, "", None)
    (follow, _) = actions
    assert isinstance(follow, Follow)
    assert follow.cued is CUED


def test_where_hands_have_axes_from_the_start_they_do_and_else_they_do_not() -> None:
    within, actions = step(state(Phase.READY, armed=PERFORMS, punched=True), ready(10.0))
    assert actions[-2:] == (HandOver(PAN), Say("punch", "in"))
    assert within.punched
    without, actions = step(state(Phase.READY, armed=PERFORMS), ready(10.0))
    assert motions(actions) == [Follow]
    assert not without.punched


# --- joining


def test_a_joining_begins_with_the_clock_that_is_joined() -> None:
    before = state(Phase.RUNNING, armed=JOINS, halted="stopped by MMC stop")
    tick = replace(ON_COURSE, clock=clock(11.5, jumps=9))
    after, actions = step(before, tick)
    assert (after.phase, after.jumps, after.since_ns, after.halted) == (Phase.JOINING, 9, tick.now_ns, "")
    (join, _) = actions
    assert isinstance(join, Join)
    assert (join.cued, join.clock) == (CUED, tick.clock)


def test_a_clock_that_is_waited_for_has_no_count_and_its_time_counts_from_then() -> None:
    stands = replace(ON_COURSE, clock=clock(11.0, Lock.LOCATED, 0.0))
    after, actions = step(state(Phase.FREEWHEELING, armed=JOINS), stands)
    assert (after.phase, after.jumps, after.since_ns) == (Phase.JOINING, None, stands.now_ns)
    assert motions(actions) == [Brake]
    # a master that is not yet trusted there is waited for just so
    locking = replace(ON_COURSE, clock=clock(11.0, Lock.LOCKING))
    assert step(state(Phase.RUNNING, armed=JOINS), locking)[0].jumps is None


def test_it_is_joined_from_the_first_to_the_last_instant_of_the_cue() -> None:
    for at_s, phase in (
        (9.999, Phase.STOPPING),
        (10.0, Phase.JOINING),
        (13.999, Phase.JOINING),
        (14.0, Phase.STOPPING),
    ):
        stands = replace(ON_COURSE, clock=clock(at_s, Lock.LOCATED, 0.0))
        assert step(state(Phase.RUNNING, armed=JOINS), stands)[0].phase is phase


# --- on the timeline


def test_a_freewheel_begins_now_and_its_length_is_said_when_timecode_is_back() -> None:
    coasts = replace(ON_COURSE, clock=clock(lock=Lock.FREEWHEEL))
    after, actions = step(state(Phase.RUNNING), coasts)
    assert (after.phase, after.since_ns) == (Phase.FREEWHEELING, coasts.now_ns)
    assert motions(actions) == []
    # it goes on coasting, and says nothing more
    assert step(after, coasts) == (after, ())
    # at its end it is done, coasting or not
    end = replace(coasts, clock=clock(14.0, Lock.FREEWHEEL), standing=True)
    done, actions = step(after, end)
    assert (done.phase, motions(actions)) == (Phase.FINISHED, [Hold])


def test_a_cue_is_done_at_its_end_exactly_and_only_when_all_stands() -> None:
    for at_s, standing, phase in (
        (13.9999, True, Phase.RUNNING),
        (14.0, False, Phase.RUNNING),
        (14.0, True, Phase.FINISHED),
    ):
        tick = replace(ON_COURSE, clock=clock(at_s), standing=standing)
        assert step(state(Phase.RUNNING), tick)[0].phase is phase


def test_past_the_end_hands_are_let_go_of_first() -> None:
    playing = state(Phase.RUNNING, armed=PERFORMS, punched=True, hand_ns=4_990_000_000)
    end = replace(ON_COURSE, clock=clock(14.0), standing=True)
    out, actions = step(playing, end)
    assert (out.phase, out.punched, out.hand_ns) == (Phase.RUNNING, False, None)
    assert actions == (Steer(()), Say("punch", "out"))
    assert step(out, end)[0].phase is Phase.FINISHED


@pytest.mark.parametrize(
    ("tick", "said"),
    [
        (ready(12.0, 0.0), "timecode runs backward or stands still; let the sender run forward"),
        (ready(12.0, -1.0), "timecode runs backward or stands still"),
        (ready(12.0, 0.5), "timecode runs at 50.0% of its speed, outside 85% to 115%; set the sender"),
        (replace(QUIET, clock=clock(12.0, jumps=4)), "timecode jumped; let the sender run on"),
        (ready(12.0, 1.0, Lock.LOCKING), "timecode is locking, no longer locked; let the sender run on"),
    ],
)
def test_why_timecode_cannot_be_followed_is_said_as_it_is(tick: Tick, said: str) -> None:
    after, _ = step(state(Phase.RUNNING), tick)
    assert after.cause.startswith(said)


def test_where_it_could_have_been_joined_out_of_the_cue_is_why_it_was_not() -> None:
    out = replace(ON_COURSE, clock=clock(99.0, jumps=4))
    assert step(state(Phase.RUNNING, armed=JOINS), out)[0].cause.startswith("timecode jumped out of the cue; let")
    assert step(state(Phase.RUNNING), out)[0].cause.startswith("timecode jumped; let")
    # a clock that is halted and goes on where it was, unheard of, is no fault
    same = step(state(Phase.RUNNING, halted="stopped by a pad"), ON_COURSE)
    assert same == (state(Phase.RUNNING, halted="stopped by a pad"), ())
    freewheels = replace(ON_COURSE, clock=clock(lock=Lock.FREEWHEEL))
    assert step(state(Phase.RUNNING, halted="stopped by a pad"), freewheels)[0].phase is Phase.FREEWHEELING


# --- hands


def test_a_hand_is_heard_of_at_its_own_instant() -> None:
    driving, _ = step(state(Phase.IDLE, told="x"), HAND)
    assert (driving.since_ns, driving.armed, driving.told) == (HAND.at_ns, None, "")
    again, actions = step(driving, replace(HAND, at_ns=5_010_000_000))
    assert (again.since_ns, actions) == (5_010_000_000, (Steer(HAND.wanted),))
    assert step(state(Phase.FINISHED), HAND)[0].armed is None
    taken, actions = step(state(Phase.GOING), HAND)
    assert (taken.since_ns, actions[0]) == (HAND.at_ns, Steer(HAND.wanted))
    playing = state(Phase.RUNNING, armed=PERFORMS, punched=True)
    steered, actions = step(playing, HAND)
    assert (steered.hand_ns, actions) == (HAND.at_ns, (Steer(HAND.wanted),))


@pytest.mark.parametrize("after_ms", [149, 151])
def test_a_hand_that_performs_is_let_go_of_like_one_that_drives(after_ms: int) -> None:
    playing = state(Phase.RUNNING, armed=PERFORMS, punched=True, hand_ns=HAND.at_ns)
    after, actions = step(playing, replace(ON_COURSE, now_ns=HAND.at_ns + after_ms * 1_000_000))
    assert (after.hand_ns, actions) == ((HAND.at_ns, ()) if after_ms < 150 else (None, (Steer(()),)))
    nobody = replace(playing, hand_ns=None)
    assert step(nobody, replace(ON_COURSE, now_ns=10**12)) == (nobody, ())


def test_after_a_punch_out_a_hand_that_held_on_is_not_let_go_of_twice() -> None:
    playing = state(Phase.RUNNING, armed=PERFORMS, punched=True, hand_ns=HAND.at_ns)
    out, _ = step(playing, Punch(False))
    assert step(out, replace(ON_COURSE, now_ns=HAND.at_ns + 10**9)) == (out, ())


@pytest.mark.parametrize("phase", [Phase.LOCATING, Phase.READY])
def test_before_the_start_a_punch_only_says_what_will_be(phase: Phase) -> None:
    before = state(phase, armed=PERFORMS)
    within, actions = step(before, Punch(True))
    assert (within.phase, within.punched, motions(actions)) == (phase, True, [])
    assert step(within, Punch(True)) == (within, ())
    out, actions = step(within, Punch(False))
    assert (out.punched, motions(actions)) == (False, [])


def test_another_who_wants_to_drive_is_told_once_why_not_and_again_for_another_reason() -> None:
    hindered, _ = step(state(Phase.IDLE), silent(QUIET))
    told, first = step(hindered, HAND)
    assert "not driven: the rig has not answered" in words(first)
    assert step(told, HAND) == (told, ())
    other, _ = step(told, replace(QUIET, held_back=Stray("pan", 9.0, "deg")))
    _, second = step(other, HAND)
    assert "not driven: the rig cannot do what is asked" in words(second)


# --- marks


def test_the_rig_is_sent_to_a_mark_as_of_now() -> None:
    going, actions = step(state(Phase.IDLE, told="x"), Go(DOORWAY))
    assert (going.mark, going.told, going.since_ns, going.armed) == (DOORWAY, "", None, None)
    assert actions[0] == ToMark(DOORWAY)
    first, did = step(going, THERE)
    assert (first.since_ns, did) == (THERE.now_ns, ())


@pytest.mark.parametrize(("arrived", "standing"), [(True, False), (False, True), (False, False)])
def test_it_is_there_when_the_way_is_done_and_nothing_moves(arrived: bool, standing: bool) -> None:
    tick = replace(QUIET, arrived=arrived, standing=standing)
    for phase in (Phase.GOING, Phase.LOCATING):
        assert step(state(phase), tick) == (state(phase), ())


def test_who_may_send_it_where() -> None:
    for phase in Phase:
        after, actions = step(state(phase, armed=None if phase is Phase.IDLE else REMOTE), Go(DOORWAY, "OSC /mark/go"))
        lets = phase in (Phase.READY, Phase.FINISHED)
        assert motions(actions) == ([ToMark] if lets else [])
        assert (after.armed is REMOTE) == (phase is not Phase.IDLE)
        if phase in (Phase.STOPPING, Phase.STOPPED):
            assert "because a cable was pulled. Reset first" in words(actions)


# --- stops


TROUBLE: list[tuple[Event, str]] = [
    (silent(ON_COURSE), "the rig has not answered"),
    (replace(ON_COURSE, held_back=Stray("pan", 2.5, "deg"), astray=Stray("tilt", 1.0, "deg")), "the rig cannot do"),
    (replace(silent(ON_COURSE), held_back=Stray("pan", 2.5, "deg")), "the rig has not answered"),
]


@pytest.mark.parametrize(("event", "said"), TROUBLE)
def test_of_two_troubles_the_one_is_said_that_explains_the_other(event: Event, said: str) -> None:
    assert step(state(Phase.RUNNING), event)[0].cause.startswith(said)


def test_a_stop_takes_the_rig_out_of_every_hand() -> None:
    playing = state(Phase.RUNNING, armed=PERFORMS, punched=True, hand_ns=HAND.at_ns)
    after, actions = step(playing, Stop("somebody walked in"))
    assert (after.punched, after.cause) == (False, "somebody walked in")
    assert motions(actions) == [Brake]
    # and the next take has it from its start only where it was armed so
    idle, _ = step(replace(after, phase=Phase.STOPPED), Reset())
    assert (idle.phase, idle.armed, idle.cause) == (Phase.IDLE, None, "")
    assert step(idle, replace(ARM, by_hand=PAN, punched=False))[0].punched is False
    assert step(idle, PERFORMS)[0].punched is True
    assert step(idle, ARM)[0].punched is False


def test_how_late_the_machine_was_is_said_in_milliseconds() -> None:
    after, _ = step(state(Phase.RUNNING), EngineLate(0.25))
    assert after.cause.startswith("this machine was 250 ms late with a setpoint; close other programs")


def test_who_halted_the_clock_is_remembered_and_moves_nothing() -> None:
    after, actions = step(state(Phase.RUNNING), ClockHalted("stopped by MMC stop"))
    assert (after, actions) == (state(Phase.RUNNING, halted="stopped by MMC stop"), ())


def test_a_drop_is_told_once_and_what_speaks_against_a_reset_is_kept_up_to_date() -> None:
    gone = replace(QUIET, dropped="the network is gone")
    first, actions = step(state(Phase.RUNNING), gone)
    assert (first.phase, first.dropped, first.barred) == (Phase.STOPPING, "the network is gone", "the network is gone")
    assert motions(actions) == [Brake]
    assert step(first, gone) == (first, ())
    back, actions = step(first, replace(QUIET, outside=Stray("tilt", 12.0, "deg")))
    assert (back.dropped, actions) == ("", ())
    assert back.barred.startswith("tilt stands outside its travel (tilt by 12 deg)")
    free, _ = step(back, QUIET)
    assert (free.dropped, free.barred) == ("", "")


def test_what_was_wrong_with_the_rig_is_forgotten_when_it_is_right_again() -> None:
    seen, _ = step(state(Phase.IDLE), silent(QUIET))
    assert seen.hindrance.startswith("the rig has not answered")
    assert step(seen, QUIET)[0].hindrance == ""


def test_what_is_armed_is_where_the_rig_goes() -> None:
    joins = replace(JOINS, cap=0.3)
    located, actions = step(State(), joins)
    (go, _) = actions
    assert isinstance(go, GoTo)
    assert (go.cued, go.cap) == (CUED, 0.3)
    assert located.armed is joins
    first, did = step(located, THERE)
    assert (first.since_ns, did) == (THERE.now_ns, ())


def test_what_is_to_be_done_before_arming_is_said_of_each_phase() -> None:
    rests = {phase for phase in Phase if before_arming(phase) == "Let the rig come to rest first"}
    assert rests == {Phase.DRIVING, Phase.GOING}
    assert before_arming(Phase.RUNNING) == "Stop and reset first"
