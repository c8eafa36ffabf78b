"""What triggers may have the rig do: another cue where an operator let them choose, and a halted clock, never more."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings

from sequencer.playback.cued import Cued, cue_up
from sequencer.playback.events import (
    Arm,
    Brake,
    ClockHalted,
    EngineLate,
    Event,
    Follow,
    GoTo,
    Hold,
    Join,
    Recue,
    Reset,
    Say,
    Stop,
)
from sequencer.playback.guard import Stray
from sequencer.playback.state import ON_THE_CLOCK, Phase, State
from sequencer.playback.step import step
from sequencer.sync.reading import Lock
from tests.playback.moves import END, START, legs, there
from tests.playback.rules import RIG
from tests.playback.test_state import (
    ARM,
    CUED,
    JOINS,
    ON_COURSE,
    PHASES,
    QUIET,
    clock,
    motions,
    silent,
    state,
    words,
)
from tests.playback.test_state_any import fold, some_events

OTHER = cue_up(RIG, legs([20.0, 23.0], [END, START]), 20.0, 23.0)
REMOTE = Arm(cued=CUED, cap=0.3, freewheel_s=1.0, joins=True, remote=True)
RECUE = Recue(OTHER, "OSC /cue/take")


@pytest.mark.parametrize("phase", PHASES)
def test_the_rig_goes_to_another_cue_only_where_it_waits(phase: Phase) -> None:
    armed = None if phase is Phase.IDLE else REMOTE
    before = state(phase, armed=armed)
    after, actions = step(before, RECUE)
    if phase in (Phase.READY, Phase.FINISHED):
        assert after.phase is Phase.LOCATING
        assert after.cue.cued is OTHER
        kept = (after.cue.cap, after.cue.freewheel_s, after.cue.joins, after.cue.remote)
        assert kept == (0.3, 1.0, True, True)
        (go, said) = actions
        assert isinstance(go, GoTo)
        assert (go.cued, go.cap) == (OTHER, 0.3)
        assert isinstance(said, Say)
        assert said.code == "locating"
        assert "chosen by OSC /cue/take; moving to the start of the cue at up to 30%" in said.text
    else:
        assert after == before
        assert motions(actions) == []
        assert "OSC /cue/take is not obeyed: " in words(actions)


@pytest.mark.parametrize(
    ("phase", "mend"),
    [
        (Phase.IDLE, "Arm at this machine"),
        (Phase.LOCATING, "Send it again when the rig waits"),
        (Phase.RUNNING, "Send it again when the rig waits"),
        (Phase.STOPPING, "because a cable was pulled. Reset and arm"),
        (Phase.STOPPED, "because a cable was pulled. Reset and arm"),
    ],
)
def test_a_refusal_says_why_and_how_to_mend_it(phase: Phase, mend: str) -> None:
    armed = None if phase is Phase.IDLE else REMOTE
    assert mend in words(step(state(phase, armed=armed), RECUE)[1])


@pytest.mark.parametrize("phase", PHASES)
@pytest.mark.parametrize("armed", [ARM, JOINS])
def test_what_was_armed_for_one_cue_stays_with_it(phase: Phase, armed: Arm) -> None:
    before = state(phase) if phase is Phase.IDLE else state(phase, armed=armed)
    after, actions = step(before, RECUE)
    assert (after, motions(actions)) == (before, [])


def test_where_it_was_not_armed_so_the_mend_is_to_arm_it_so() -> None:
    assert "Arm it so at this machine" in words(step(state(Phase.READY), RECUE)[1])


@pytest.mark.parametrize(
    ("cued", "said"),
    [
        (cue_up(RIG, there(), 11.0, 14.0), "already under way (pan, tilt, slide, focus)"),
        (
            cue_up(RIG, legs([10.0, 14.0], [START - np.array([0.0, 31.0, 0.0, 0.0]), END]), 10.0, 14.0),
            "outside the travel of tilt",
        ),
    ],
)
@pytest.mark.parametrize("phase", [Phase.READY, Phase.FINISHED])
def test_a_place_that_cannot_be_started_from_is_refused_as_in_arming(phase: Phase, cued: Cued, said: str) -> None:
    before = state(phase, armed=REMOTE)
    after, actions = step(before, Recue(cued, "note 60 on channel 1"))
    assert (after, motions(actions)) == (before, [])
    assert said in words(actions)


def test_trouble_with_the_rig_speaks_against_another_cue_when_one_is_done() -> None:
    done = state(Phase.FINISHED, armed=REMOTE)
    for faulty, said in (
        (silent(QUIET), "has not answered"),
        (replace(QUIET, held_back=Stray("pan", 9, "deg")), "pan by"),
    ):
        seen, _ = step(done, faulty)
        after, actions = step(seen, RECUE)
        assert (after.phase, motions(actions)) == (Phase.FINISHED, [])
        assert said in words(actions)
        mended, _ = step(after, QUIET)
        assert step(mended, RECUE)[0].phase is Phase.LOCATING


def test_a_cue_that_was_chosen_is_played_and_another_after_it() -> None:
    now = state(Phase.FINISHED, armed=REMOTE)
    for cued in (OTHER, CUED, OTHER):
        events: list[Event] = [
            Recue(cued, "OSC /cue/take"),
            QUIET,
            replace(QUIET, arrived=True, standing=True),
            replace(QUIET, clock=clock(cued.start_s)),
            replace(QUIET, standing=True, clock=clock(cued.rest_s)),
        ]
        now, did = fold(now, events)
        assert motions(did) == [GoTo, Hold, Follow, Hold]
        follow = next(one for one in did if isinstance(one, Follow))
        assert follow.cued is cued
        assert now.phase is Phase.FINISHED


def test_after_a_stop_and_a_reset_a_trigger_moves_nothing() -> None:
    for phase in PHASES:
        if phase is Phase.IDLE:
            continue
        events: list[Event] = [Stop("a child ran in"), replace(QUIET, standing=True), Reset(), RECUE, ON_COURSE]
        after, did = fold(state(phase, armed=REMOTE), events)
        assert (after.phase, after.armed) == (Phase.IDLE, None)
        assert set(motions(did)) <= {Brake, Hold}


HALTED = ClockHalted("stopped by OSC /run/stop")


@pytest.mark.parametrize("phase", sorted(ON_THE_CLOCK))
def test_a_clock_that_is_halted_in_mid_move_stops_the_rig_and_says_who_did_it(phase: Phase) -> None:
    stands = replace(QUIET, clock=clock(12.0, Lock.LOCATED, 0.0))
    after, did = fold(state(phase), [HALTED, stands])
    assert (after.phase, motions(did)) == (Phase.STOPPING, [Brake])
    assert after.cause == "the clock was stopped by OSC /run/stop; let it run on during a move"
    # halted and started again between two ticks
    after, did = fold(state(phase), [HALTED, replace(ON_COURSE, clock=clock(12.0, jumps=4))])
    assert (after.phase, motions(did)) == (Phase.STOPPING, [Brake])
    assert "the clock was stopped by OSC /run/stop;" in after.cause


@pytest.mark.parametrize("phase", sorted(ON_THE_CLOCK))
def test_where_the_move_may_be_joined_it_brakes_and_waits_for_the_clock(phase: Phase) -> None:
    stands = replace(QUIET, clock=clock(12.0, Lock.LOCATED, 0.0))
    waiting, did = fold(state(phase, armed=JOINS), [HALTED, stands, stands])
    assert (waiting.phase, motions(did)) == (Phase.JOINING, [Brake])
    assert "the clock was stopped by OSC /run/stop; braking, and joining the move when it runs" in words(did)
    runs, did = fold(waiting, [replace(ON_COURSE, clock=clock(12.1, jumps=4))])
    assert (runs.phase, motions(did), runs.halted) == (Phase.JOINING, [Join], "")
    # set to a place outside the cue there is nothing to wait for
    out = replace(QUIET, clock=clock(3.0, Lock.LOCATED, 0.0, jumps=4))
    after, _ = fold(state(phase, armed=JOINS), [ClockHalted("set to another place by MMC locate"), out])
    assert after.phase is Phase.STOPPING
    assert "the clock was set to another place by MMC locate, out of the cue" in after.cause


@pytest.mark.parametrize("armed", [ARM, JOINS])
def test_ready_waits_for_a_clock_that_stands_anywhere_and_forgets_who_halted_it(armed: Arm) -> None:
    ready, did = fold(
        state(Phase.READY, armed=armed),
        [HALTED, *(replace(QUIET, clock=clock(at_s, Lock.LOCATED, 0.0)) for at_s in (2.0, 10.0, 12.0, 99.0))],
    )
    assert (ready.phase, did) == (Phase.READY, ())
    runs, did = fold(ready, [replace(QUIET, clock=clock(10.0))])
    assert (runs.phase, runs.halted) == (Phase.RUNNING, "")
    lost, _ = step(runs, replace(QUIET, clock=clock(3.0, Lock.LOCATED)))
    assert "timecode is located" in lost.cause


@settings(max_examples=150, deadline=None)
@given(events=some_events(RECUE, HALTED, Stop("somebody called"), Reset(), EngineLate(0.2)))
def test_triggers_alone_never_move_anything(events: list[Event]) -> None:
    after, actions = fold(State(), events)
    assert after.phase in (Phase.IDLE, Phase.STOPPED)
    assert set(motions(actions)) <= {Hold}


@settings(max_examples=150, deadline=None)
@given(events=some_events(ARM, REMOTE, RECUE, HALTED, Stop("somebody called"), Reset()))
def test_a_trigger_sends_the_rig_off_only_from_rest_and_only_where_it_was_let(events: list[Event]) -> None:
    now = State()
    for event in events:
        after, actions = step(now, event)
        if isinstance(event, Recue) and motions(actions):
            assert motions(actions) == [GoTo]
            assert now.phase in (Phase.READY, Phase.FINISHED)
            assert now.cue.remote
            assert (after.phase, after.cue.cued) == (Phase.LOCATING, OTHER)
        if isinstance(event, ClockHalted):
            assert actions == ()
        now = after
