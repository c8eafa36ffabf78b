"""Every pair of phase and event does what the table at the top of the state file says."""

from dataclasses import replace

import numpy as np
import pytest

from sequencer.playback.cued import cue_up
from sequencer.playback.events import (
    Action,
    Arm,
    Begin,
    Brake,
    Drive,
    EngineLate,
    Event,
    Follow,
    Go,
    GoTo,
    Hold,
    Punch,
    Reset,
    Say,
    Steer,
    Stop,
    Tick,
    ToMark,
)
from sequencer.playback.guard import Stray
from sequencer.playback.state import GRACE_S, MOVING, ON_THE_CLOCK, UNARMED, Phase, State
from sequencer.playback.step import step
from sequencer.score.marks import Mark
from sequencer.sync.reading import Clock, Lock
from tests.playback.moves import END, START, legs, there
from tests.playback.rules import RIG

CUED = cue_up(RIG, there(), 10.0, 14.0)
ARM = Arm(cued=CUED)
JOINS = Arm(cued=CUED, joins=True)
DOORWAY = Mark("doorway", (("pan", 30.0), ("slide", 500.0)))
PHASES = list(Phase)


def clock(position_s: float = 12.0, lock: Lock = Lock.LOCKED, speed: float = 1.0, jumps: int = 3) -> Clock:
    return Clock(lock, 7_000, position_s, speed, 1e-4, jumps)


QUIET = Tick(now_ns=5_000_000_000, clock=clock(lock=Lock.WAITING), arrived=False, standing=False)
ON_COURSE = replace(QUIET, clock=clock())


def state(phase: Phase, **more: object) -> State:
    cause = "a cable was pulled" if phase in (Phase.STOPPING, Phase.STOPPED) else ""
    armed = None if phase in (Phase.IDLE, Phase.DRIVING, Phase.GOING) else ARM
    # a hand that drives was heard of just before the ticks below
    since_ns = 4_900_000_000 if phase is Phase.DRIVING else 4_000_000_000
    begun = State(phase=phase, armed=armed, cause=cause, jumps=3, since_ns=since_ns, mark=DOORWAY)
    return replace(begun, **more)  # type: ignore[arg-type]  # fields by name, from the tables below


def motions(actions: tuple[Action, ...]) -> list[type[Action]]:
    """Return what is done but for words, and for taking the rig to stand where it says."""
    return [type(action) for action in actions if not isinstance(action, Say | Begin)]


def words(actions: tuple[Action, ...]) -> str:
    return " ".join(action.text for action in actions if isinstance(action, Say))


def silent(tick: Tick) -> Tick:
    return replace(tick, silent_s=0.6)


Leads = dict[Phase, tuple[Phase, list[type[Action]]]]
BRAKES: Leads = {phase: (Phase.STOPPING, [Brake]) for phase in MOVING}
TROUBLES: Leads = {**BRAKES, Phase.READY: (Phase.STOPPED, [Hold])}
LOSES_TIME: Leads = {phase: (Phase.STOPPING, [Brake]) for phase in ON_THE_CLOCK}

# event -> phase -> (phase after, motions); a phase that is not named stays as it is and moves nothing
TABLE: list[tuple[str, Event, Leads]] = [
    (
        "arm",
        ARM,
        {Phase.IDLE: (Phase.LOCATING, [GoTo]), Phase.FINISHED: (Phase.LOCATING, [GoTo])},
    ),
    (
        "stop",
        Stop("the operator pressed stop"),
        {
            **BRAKES,
            **{phase: (Phase.STOPPED, [Hold]) for phase in (Phase.IDLE, Phase.READY, Phase.FINISHED)},
        },
    ),
    (
        "stop within phases",
        Stop("somebody stopped the clock", frozenset({Phase.GOING, Phase.READY})),
        {Phase.GOING: (Phase.STOPPING, [Brake]), Phase.READY: (Phase.STOPPED, [Hold])},
    ),
    (
        "drive",
        Drive((10.0, -20.0), 5_000_000_000),
        {phase: (Phase.DRIVING, [Steer]) for phase in (Phase.IDLE, Phase.DRIVING, Phase.GOING, Phase.FINISHED)},
    ),
    (
        "a hand that lies on the stick",
        Drive((0.0, 0.0), 5_000_000_000),
        {Phase.DRIVING: (Phase.DRIVING, [Steer])},
    ),
    (
        "go",
        Go(DOORWAY),
        {phase: (Phase.GOING, [ToMark]) for phase in (Phase.IDLE, Phase.DRIVING, Phase.GOING, Phase.FINISHED)},
    ),
    ("go by a trigger that may not choose", Go(DOORWAY, "OSC /mark/go"), {}),
    ("punch in where nothing is performed", Punch(True), {}),
    ("reset", Reset(), {Phase.STOPPED: (Phase.IDLE, [])}),
    ("late", EngineLate(0.063), TROUBLES),
    ("a little late", EngineLate(0.049), {}),
    (
        "a tick that knows nothing of timecode",
        QUIET,
        LOSES_TIME,
    ),
    ("a tick on course", ON_COURSE, {Phase.FREEWHEELING: (Phase.RUNNING, [])}),
    (
        "a tick at the end of a way",
        replace(QUIET, arrived=True, standing=True, clock=clock(11.0)),
        {
            Phase.LOCATING: (Phase.READY, [Hold]),
            Phase.GOING: (Phase.IDLE, [Hold]),
            Phase.STOPPING: (Phase.STOPPED, [Hold]),
            Phase.FREEWHEELING: (Phase.RUNNING, []),
        },
    ),
    (
        "a tick at the start of the cue",
        replace(QUIET, clock=clock(10.0)),
        {Phase.READY: (Phase.RUNNING, [Follow]), Phase.FREEWHEELING: (Phase.RUNNING, [])},
    ),
    (
        "a tick past the end, at rest",
        replace(QUIET, standing=True, clock=clock(14.001)),
        {
            Phase.RUNNING: (Phase.FINISHED, [Hold]),
            Phase.FREEWHEELING: (Phase.FINISHED, [Hold]),
            Phase.STOPPING: (Phase.STOPPED, [Hold]),
        },
    ),
    (
        "a tick past the end, still moving",
        replace(ON_COURSE, clock=clock(14.001)),
        {Phase.FREEWHEELING: (Phase.RUNNING, [])},
    ),
    (
        "a tick in freewheel",
        replace(QUIET, clock=clock(lock=Lock.FREEWHEEL)),
        {Phase.RUNNING: (Phase.FREEWHEELING, [])},
    ),
    *(
        (
            f"a tick with {name}",
            faulty,
            TROUBLES,
        )
        for name, faulty in (
            ("a silent rig", silent(ON_COURSE)),
            ("an axis held back", replace(ON_COURSE, held_back=Stray("pan", 2.5, "deg"))),
        )
    ),
    (
        "a tick with an axis astray",
        replace(ON_COURSE, astray=Stray("slide", -31.0, "mm")),
        {**TROUBLES, Phase.IDLE: (Phase.STOPPED, [Hold]), Phase.FINISHED: (Phase.STOPPED, [Hold])},
    ),
    (
        "a tick of a rig that dropped",
        replace(ON_COURSE, dropped="the network is gone; plug it in"),
        {**TROUBLES, Phase.IDLE: (Phase.STOPPED, [Hold]), Phase.FINISHED: (Phase.STOPPED, [Hold])},
    ),
    *(
        (
            f"a tick with {name}",
            replace(QUIET, clock=odd),
            LOSES_TIME,
        )
        for name, odd in (
            ("timecode lost", clock(lock=Lock.LOST)),
            ("timecode located", clock(lock=Lock.LOCATED)),
            ("timecode locking", clock(lock=Lock.LOCKING)),
            ("timecode jumped", clock(jumps=4)),
            ("timecode backward", clock(speed=-1.0)),
            ("timecode standing", clock(speed=0.0)),
            ("timecode slow", clock(speed=0.84)),
            ("timecode fast", clock(speed=1.16)),
            ("a speed that is no number", clock(speed=float("nan"))),
        )
    ),
]


@pytest.mark.parametrize("phase", PHASES)
@pytest.mark.parametrize(("event", "leads"), [row[1:] for row in TABLE], ids=[row[0] for row in TABLE])
def test_the_table(phase: Phase, event: Event, leads: Leads) -> None:
    before = state(phase)
    after, actions = step(before, event)
    assert (after.phase, motions(actions)) == leads.get(phase, (phase, []))
    if after.phase is not phase:
        assert words(actions)
    if after.phase in (Phase.STOPPING, Phase.STOPPED):
        assert after.cause
        if before.cause:
            assert after.cause == before.cause
    else:
        assert not after.cause


@pytest.mark.parametrize("phase", PHASES)
def test_what_is_refused_says_why_and_how_to_mend_it(phase: Phase) -> None:
    if phase not in UNARMED:
        _, actions = step(state(phase), ARM)
        assert "not armed" in words(actions)
        comes_to_rest = phase in (Phase.DRIVING, Phase.GOING)
        assert ("come to rest first" if comes_to_rest else "eset first") in words(actions)
    if phase is not Phase.STOPPED:
        _, actions = step(state(phase), Reset())
        assert "reset" in words(actions)


GONE = replace(QUIET, standing=True, silent_s=0.6, dropped="the network is gone; plug it in")


@pytest.mark.parametrize("phase", PHASES)
def test_a_rig_that_dropped_is_not_reset_before_it_is_back(phase: Phase) -> None:
    now, first = step(state(phase), GONE)
    assert "the network is gone" in words(first)
    now, _ = step(now, GONE)
    assert now.phase is Phase.STOPPED
    refused, actions = step(now, Reset())
    assert (refused.phase, motions(actions)) == (Phase.STOPPED, [])
    assert "not reset: the network is gone; plug it in" in words(actions)
    # what keeps it away has changed: that is no second drop
    now, actions = step(refused, replace(GONE, dropped="the rig has not answered"))
    assert actions == ()
    back, _ = step(now, QUIET)
    begun, actions = step(back, Reset())
    assert begun.phase is Phase.IDLE
    assert [type(one) for one in actions] == [Begin, Say]


def test_a_rig_that_drops_again_before_the_reset_is_told_again() -> None:
    now, _ = step(state(Phase.STOPPED), GONE)
    now, _ = step(now, QUIET)
    now, actions = step(now, GONE)
    assert "already stopped: a cable was pulled. Now also: the network is gone" in words(actions)


def test_an_axis_that_is_back_outside_its_travel_is_not_reset_into_moving_by_itself() -> None:
    now, _ = step(state(Phase.STOPPED), replace(QUIET, outside=Stray("slide", 31.0, "mm")))
    refused, actions = step(now, Reset())
    assert refused.phase is Phase.STOPPED
    assert "slide stands outside its travel (slide by 31 mm)" in words(actions)
    assert "by hand with its motor off" in words(actions)


MENDS = ("check", "let the sender", "set the sender", "look for", "close other programs")


@pytest.mark.parametrize(
    ("event", "said"),
    [
        (silent(ON_COURSE), "has not answered for 0.5 s"),
        (replace(ON_COURSE, held_back=Stray("pan", 2.5, "deg")), "pan by 2.5 deg"),
        (replace(ON_COURSE, astray=Stray("slide", -31.0, "mm")), "slide by 31 mm"),
        (replace(QUIET, clock=clock(lock=Lock.LOST)), "timecode lost for longer than the freewheel time of 2 s"),
        (replace(QUIET, clock=clock(lock=Lock.LOCATED)), "timecode is located"),
        (replace(QUIET, clock=clock(jumps=4)), "timecode jumped"),
        (replace(QUIET, clock=clock(speed=-1.0)), "timecode runs backward"),
        (replace(QUIET, clock=clock(speed=1.3)), "timecode runs at 130.0% of its speed, outside 85% to 115%"),
        (EngineLate(0.063), "63 ms late"),
    ],
)
def test_every_cause_is_in_words_with_a_mend(event: Event, said: str) -> None:
    after, actions = step(state(Phase.RUNNING), event)
    assert said in after.cause
    assert any(mend in after.cause for mend in MENDS)
    assert after.cause in words(actions)


def test_a_stop_without_words_still_stops_and_gets_some() -> None:
    after, _ = step(state(Phase.RUNNING), Stop(""))
    assert after.phase is Phase.STOPPING
    assert "ask" in after.cause


@pytest.mark.parametrize(
    ("hindered", "said"),
    [
        (silent(QUIET), "has not answered"),
        (replace(QUIET, held_back=Stray("pan", 12.0, "deg")), "pan by 12 deg"),
    ],
)
@pytest.mark.parametrize("phase", sorted(UNARMED))
def test_arming_is_refused_while_something_is_wrong_with_the_rig(phase: Phase, hindered: Tick, said: str) -> None:
    seen, actions = step(state(phase), hindered)
    assert (seen.phase, actions) == (phase, ())
    refused, actions = step(seen, ARM)
    assert (refused.phase, motions(actions)) == (phase, [])
    assert said in words(actions)
    mended, _ = step(refused, QUIET)
    assert step(mended, ARM)[0].phase is Phase.LOCATING


def test_a_cue_that_cannot_be_started_from_rest_is_refused() -> None:
    _, actions = step(State(), Arm(cued=cue_up(RIG, there(), 11.0, 14.0)))
    assert motions(actions) == []
    assert "already under way (pan, tilt, slide, focus)" in words(actions)
    _, actions = step(
        State(), Arm(cued=cue_up(RIG, legs([10.0, 14.0], [START - np.array([0.0, 31.0, 0.0, 0.0]), END]), 10.0, 14.0))
    )
    assert motions(actions) == []
    assert "outside the travel of tilt" in words(actions)


@pytest.mark.parametrize("cap", [0.0, -1.0, 1.01, float("nan")])
def test_a_cap_is_a_part_of_full_speed(cap: float) -> None:
    with pytest.raises(ValueError, match="cap"):
        Arm(cued=CUED, cap=cap)


def test_a_tick_looked_at_before_arming_does_not_count_as_arrival() -> None:
    stale = replace(QUIET, arrived=True, standing=True)
    armed, _ = step(State(), ARM)
    first, actions = step(armed, stale)
    assert (first.phase, actions) == (Phase.LOCATING, ())
    assert step(first, replace(stale, now_ns=stale.now_ns + 1))[0].phase is Phase.READY


@pytest.mark.parametrize(
    ("there_s", "phase", "said"),
    [
        (10.0 - 5.0, Phase.READY, ""),
        (10.0 - CUED.lead_s - 0.001, Phase.READY, ""),
        (10.0 - CUED.lead_s + 0.001, Phase.RUNNING, "following timecode"),
        (10.0 + GRACE_S - 0.001, Phase.RUNNING, "following timecode"),
        (10.0 + GRACE_S + 0.001, Phase.READY, "already 0.04 s past the start of the cue; roll back further"),
        (11.28, Phase.READY, "already 1.28 s past the start of the cue; roll back further (preroll at least 1 s)"),
    ],
)
def test_a_move_begins_at_its_start_only_and_as_early_as_the_slowest_axis_needs(
    there_s: float, phase: Phase, said: str
) -> None:
    after, actions = step(state(Phase.READY), replace(QUIET, clock=clock(there_s)))
    assert after.phase is phase
    assert said in words(actions)
    assert bool(said) == bool(words(actions))


@pytest.mark.parametrize("lock", [lock for lock in Lock if lock is not Lock.LOCKED])
def test_only_locked_timecode_begins_a_move(lock: Lock) -> None:
    after, actions = step(state(Phase.READY), replace(QUIET, clock=clock(10.0, lock)))
    assert (after.phase, actions) == (Phase.READY, ())


@pytest.mark.parametrize(
    ("odd", "said"),
    [
        (clock(10.0, speed=-1.0), "backward"),
        (clock(10.0, speed=0.5), "50.0% of its speed"),
        (clock(11.0), "past the start"),
    ],
)
def test_timecode_that_cannot_begin_the_move_is_told_once_and_again_after_it_changed(odd: Clock, said: str) -> None:
    tick = replace(QUIET, clock=odd)
    ready, actions = step(state(Phase.READY), tick)
    assert said in words(actions)
    same, actions = step(ready, tick)
    assert actions == ()
    rolled_back, actions = step(same, replace(QUIET, clock=clock(8.0)))
    assert (rolled_back.phase, actions) == (Phase.READY, ())
    assert said in words(step(rolled_back, tick)[1])


def test_freewheel_says_for_how_long_timecode_was_away() -> None:
    coasting, actions = step(state(Phase.RUNNING), replace(ON_COURSE, clock=clock(lock=Lock.FREEWHEEL)))
    assert "at most 2 s" in words(actions)
    _, actions = step(coasting, replace(ON_COURSE, now_ns=ON_COURSE.now_ns + 420_000_000))
    assert "back after 0.42 s" in words(actions)


def test_playing_without_arming_is_a_fault_of_ours() -> None:
    with pytest.raises(ValueError, match="nothing is armed"):
        _ = State(phase=Phase.RUNNING).cue
