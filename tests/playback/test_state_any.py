"""Whatever happens, in whatever order: nothing moves that was not armed, and a stop stays until it is reset."""

from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.playback.events import (
    Action,
    Drive,
    EngineLate,
    Event,
    Follow,
    Go,
    GoTo,
    Hold,
    Join,
    Punch,
    Reset,
    Stop,
    Tick,
)
from sequencer.playback.guard import Stray
from sequencer.playback.state import ON_THE_CLOCK, UNARMED, Phase, State
from sequencer.playback.step import step
from sequencer.sync.reading import Clock, Lock
from tests.playback.test_state import ARM, DOORWAY, JOINS, ON_COURSE, QUIET, clock, motions

PERFORMS = replace(ARM, by_hand=(True, False, False, False))
DRIVE = Drive((10.0, 0.0, 0.0, 0.0), 5_000_000_000)
GO = Go(DOORWAY)


def some_clock() -> st.SearchStrategy[Clock]:
    return st.builds(
        clock,
        st.sampled_from([5.0, 9.99, 10.0, 10.02, 12.0, 14.5]),
        st.sampled_from(list(Lock)),
        st.sampled_from([1.0, 1.0, 1.0, 0.5, -1.0]),
        st.sampled_from([0, 0, 0, 1]),
    )


def some_tick() -> st.SearchStrategy[Event]:
    return st.builds(
        Tick,
        now_ns=st.integers(1, 10**12),
        clock=some_clock(),
        arrived=st.booleans(),
        standing=st.booleans(),
        joined=st.booleans(),
        silent_s=st.sampled_from([0.0, 0.0, 0.0, 1.0]),
        held_back=st.sampled_from([None, None, None, Stray("pan", 2.0, "deg")]),
        astray=st.sampled_from([None, None, None, Stray("pan", 2.0, "deg")]),
        dropped=st.sampled_from(["", "", "", "the network is gone"]),
    )


def some_events(*others: Event) -> st.SearchStrategy[list[Event]]:
    return st.lists(st.one_of(some_tick(), some_tick(), st.sampled_from(others)), max_size=60)


def fold(begin: State, events: list[Event]) -> tuple[State, tuple[Action, ...]]:
    did: tuple[Action, ...] = ()
    for event in events:
        begin, actions = step(begin, event)
        did += actions
    return begin, did


@settings(max_examples=300, deadline=None)
@given(events=some_events(Stop("somebody called"), Reset(), EngineLate(0.2)))
def test_nothing_ever_moves_that_was_not_armed(events: list[Event]) -> None:
    after, actions = fold(State(), events)
    assert after.phase in (Phase.IDLE, Phase.STOPPED)
    assert set(motions(actions)) <= {Hold}


@settings(max_examples=300, deadline=None)
@given(
    before=some_events(ARM, JOINS, PERFORMS, GO, DRIVE, Punch(True), Punch(False), Reset()),
    events=some_events(ARM, GO, DRIVE, Punch(True), Punch(False), Stop("again"), EngineLate(0.2)),
)
def test_a_stop_from_anywhere_is_latched_with_its_cause_until_reset(before: list[Event], events: list[Event]) -> None:
    reached, _ = fold(State(), before)
    stopped, _ = step(reached, Stop("a child ran in"))
    assert stopped.phase in (Phase.STOPPING, Phase.STOPPED)
    cause = reached.cause or "a child ran in"
    after, actions = fold(stopped, [*events, replace(QUIET, standing=True)])
    assert (after.phase, after.cause) == (Phase.STOPPED, cause)
    assert set(motions(actions)) <= {Hold}
    idle, actions = step(after, Reset())
    assert (idle.phase, idle.cause, motions(actions)) == (Phase.IDLE, "", [])
    still, actions = fold(idle, [ON_COURSE, replace(ON_COURSE, clock=clock(10.0))])
    assert (still.phase, motions(actions)) == (Phase.IDLE, [])


@settings(max_examples=300, deadline=None)
@given(events=some_events(ARM, JOINS, Stop("somebody called"), Reset(), EngineLate(0.2)))
def test_following_begins_only_in_an_armed_cue_that_was_ready(events: list[Event]) -> None:
    now = State()
    for event in events:
        after, actions = step(now, event)
        if Follow in motions(actions):
            assert now.phase in (Phase.READY, Phase.JOINING)
        if Join in motions(actions):
            assert now.phase in ON_THE_CLOCK | {Phase.READY}
            assert now.cue.joins
        if GoTo in motions(actions):
            assert event in (ARM, JOINS)
            assert now.phase in UNARMED
        assert bool(after.cause) == (after.phase in (Phase.STOPPING, Phase.STOPPED))
        now = after
