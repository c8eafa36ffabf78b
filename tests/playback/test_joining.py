"""Late timecode: when it is joined, and how the way to the timeline is planned from tick to tick."""

from dataclasses import replace

import numpy as np
import pytest

from sequencer.motion import join
from sequencer.playback.cued import cue_up
from sequencer.playback.events import Brake, Follow, Join
from sequencer.playback.guard import Sent, at_rest, guard, limits
from sequencer.playback.pilot import Joining, Pilot, Still, joined, obey, plan, settled, want
from sequencer.playback.state import GRACE_S, ON_THE_CLOCK, Phase
from sequencer.playback.step import step
from sequencer.rig.axis import Rig
from sequencer.sync.reading import Clock, Lock
from tests.playback.moves import START, legs, there
from tests.playback.rules import RIG
from tests.playback.test_state import ARM, CUED, JOINS, ON_COURSE, QUIET, clock, motions, state, words

TICK_NS = 4_000_000
LIMITS = limits(RIG)


@pytest.mark.parametrize(
    ("there_s", "phase"),
    [
        (10.0 - CUED.lead_s + 0.001, Phase.RUNNING),
        (10.0 + GRACE_S - 0.001, Phase.RUNNING),
        (10.0 + GRACE_S + 0.001, Phase.JOINING),
        (13.999, Phase.JOINING),
        (14.0, Phase.READY),
    ],
)
def test_late_timecode_is_joined_inside_the_cue_where_the_operator_lets_it(there_s: float, phase: Phase) -> None:
    tick = replace(QUIET, clock=clock(there_s, jumps=5))
    after, actions = step(state(Phase.READY, armed=JOINS), tick)
    assert after.phase is phase
    if phase is Phase.JOINING:
        assert motions(actions) == [Join]
        assert f"{there_s - 10:.2f} s past the start of the cue; joining the move there" in words(actions)
        assert (after.jumps, after.since_ns) == (5, tick.now_ns)


@pytest.mark.parametrize("phase", sorted(ON_THE_CLOCK))
@pytest.mark.parametrize(
    ("there_s", "joins", "said"),
    [
        (11.0, True, "timecode jumped; joining the move there"),
        (10.0, True, "timecode jumped; joining the move there"),
        (9.99, True, "jumped out of the cue"),
        (14.0, True, "jumped out of the cue"),
        (11.0, False, "timecode jumped; let the sender"),
    ],
)
def test_timecode_that_jumps_is_joined_anew_inside_the_cue(
    phase: Phase, there_s: float, joins: bool, said: str
) -> None:
    before = state(phase, armed=JOINS if joins else ARM)
    after, actions = step(before, replace(ON_COURSE, clock=clock(there_s, jumps=4)))
    assert said in words(actions)
    within = "joining" in said
    assert after.phase is (Phase.JOINING if within else Phase.STOPPING)
    assert motions(actions) == [Join if within else Brake]
    if within:
        # once told, the same count of jumps is no jump
        assert step(after, replace(ON_COURSE, clock=clock(there_s, jumps=4)))[1] == ()


def test_joining_ends_on_the_timeline_and_says_after_how_long() -> None:
    joining = state(Phase.JOINING, armed=JOINS)
    assert step(joining, ON_COURSE) == (joining, ())
    coasting = replace(ON_COURSE, clock=clock(lock=Lock.FREEWHEEL))
    assert step(joining, coasting) == (joining, ())
    after, actions = step(joining, replace(ON_COURSE, joined=True))
    assert after.phase is Phase.RUNNING
    assert motions(actions) == [Follow]
    assert "on the timeline after 1.00 s" in words(actions)


def test_a_master_that_is_set_to_another_place_is_waited_for_and_joined_when_it_runs() -> None:
    there = clock(11.0, lock=Lock.LOCATED, speed=0.0, jumps=4)
    waiting, actions = step(state(Phase.RUNNING, armed=JOINS), replace(ON_COURSE, clock=there))
    assert (waiting.phase, motions(actions)) == (Phase.JOINING, [Brake])
    assert "joining the move when it runs" in words(actions)
    for lock in (Lock.LOCATED, Lock.LOCKING):
        assert step(waiting, replace(ON_COURSE, clock=replace(there, lock=lock))) == (waiting, ())
    # a master that is spooled tells many places, and a count of jumps is not every follower's
    spooled = replace(there, position_s=11.5, jumps=9)
    assert step(waiting, replace(ON_COURSE, clock=spooled)) == (waiting, ())
    for jumps in (4, 5):
        runs, actions = step(waiting, replace(ON_COURSE, clock=clock(11.1, jumps=jumps)))
        assert (runs.phase, motions(actions), runs.jumps) == (Phase.JOINING, [Join], jumps)
        assert "timecode runs again; joining the move there" in words(actions)
        halted = replace(ON_COURSE, clock=replace(there, jumps=jumps))
        assert motions(step(runs, halted)[1]) == [Brake]
    assert step(waiting, replace(ON_COURSE, clock=clock(14.5, jumps=4)))[0].phase is Phase.STOPPING
    # outside the cue, or where it is not to be joined, it is a stop
    for armed, there_s in ((JOINS, 9.0), (JOINS, 14.5), (ARM, 11.0)):
        out = clock(there_s, lock=Lock.LOCATED, speed=0.0, jumps=4)
        assert step(state(Phase.RUNNING, armed=armed), replace(ON_COURSE, clock=out))[0].phase is Phase.STOPPING


def locked(due_ns: int, position_s: float, speed: float = 1.0) -> Clock:
    return Clock(Lock.LOCKED, due_ns, position_s + speed * due_ns * 1e-9, speed, 1e-4, 1)


def flown(pilot: Pilot, sent: Sent, begin_s: float, seconds: float, tick_ns: int = TICK_NS) -> tuple[Pilot, Sent]:
    """Fly on by a clock that is at `begin_s` at instant 0, until on the timeline; nothing may be held back."""
    until_ns = sent.due_ns + round(seconds * 1e9)
    while sent.due_ns < until_ns:
        due_ns = sent.due_ns + tick_ns
        now = locked(due_ns, begin_s)
        pilot = plan(pilot, sent, due_ns, now)
        guarded = guard(LIMITS, sent, want(pilot, due_ns, now))
        assert not guarded.gap
        assert not settled(pilot, due_ns)
        sent = guarded.sent
        if joined(pilot, due_ns, now):
            return pilot, sent
    pytest.fail(f"not on the timeline after {seconds} s")


@pytest.mark.parametrize("tick_ns", [2_000_000, 4_000_000, 20_000_000])
def test_joining_from_rest_ends_on_the_timeline_at_any_rate_of_ticks(tick_ns: int) -> None:
    sent = at_rest(0, START)
    pilot = obey(Pilot(RIG, Still(START)), Join(CUED, locked(tick_ns, 11.0)), sent, tick_ns)
    pilot, sent = flown(pilot, sent, 11.0, 3.0, tick_ns)
    on = CUED.ahead(11.0 + sent.due_ns * 1e-9, 1.0)[0]
    np.testing.assert_allclose(sent.position, on, atol=1e-9)


def test_what_is_not_planned_in_time_is_planned_anew() -> None:
    """The machine leaves ticks out while it plans: braking goes on, and the plan begins where it then is."""
    sent = at_rest(0, START)
    pilot = obey(Pilot(RIG, Still(START)), Join(CUED, locked(TICK_NS, 11.0)), sent, TICK_NS)
    assert isinstance(pilot.flight, Joining)
    late_ns = round((pilot.flight.leave_s - 11.0) * 1e9) + TICK_NS
    # nobody had time to plan until now
    anew = plan(pilot, sent, late_ns, locked(late_ns, 11.0))
    assert isinstance(anew.flight, Joining)
    assert anew.flight.lead_s == 2 * pilot.flight.lead_s
    assert anew.flight.leave_s > 11.0 + late_ns * 1e-9
    assert anew.flight.planner.joined == ()
    pilot, sent = flown(anew, replace(sent, due_ns=late_ns), 11.0, 3.0)
    np.testing.assert_allclose(sent.position, CUED.ahead(11.0 + sent.due_ns * 1e-9, 1.0)[0], atol=1e-9)


def test_a_rehearsal_is_joined_as_slowly_as_it_runs() -> None:
    """At half the speed: the way that the full speed is joined by, at half of it."""
    peaks = []
    for speed in (1.0, 0.5):
        way = there().stretched(speed, 10.0)
        cued = cue_up(RIG, way, 10.0, 10.0 + 4.0 / speed, speed)
        sent = at_rest(0, START)
        pilot = obey(Pilot(RIG, Still(START)), Join(cued, locked(TICK_NS, 10.0 + 1.0 / speed)), sent, TICK_NS)
        fastest = np.zeros(len(START))
        for _ in range(1500):
            due_ns = sent.due_ns + TICK_NS
            now = locked(due_ns, 10.0 + 1.0 / speed)
            pilot = plan(pilot, sent, due_ns, now)
            sent = guard(LIMITS, sent, want(pilot, due_ns, now)).sent
            fastest = np.maximum(fastest, np.abs(sent.speed))
        np.testing.assert_allclose(sent.position, cued.timeline.at(cued.rest_s)[0], atol=1e-9)
        peaks.append(fastest)
    # the time for planning is the same in both, and so a little longer a part of the faster one
    assert np.all(peaks[1] <= peaks[0] * 0.5 * (1 + 1e-9))
    assert np.all(peaks[1] >= peaks[0] * 0.4)


def test_a_tick_plans_no_more_however_late_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    """Else planning that is slow makes ticks late, and late ticks plan more."""
    taken: list[join.Planner] = []

    def advance(planner: join.Planner) -> join.Planner:
        taken.append(planner)
        return planner

    monkeypatch.setattr(join, "advance", advance)
    counts = []
    for span_s in (0.0, 0.002, 0.004, 0.02, 0.05):
        taken.clear()
        sent = replace(at_rest(0, START), span_s=span_s)
        pilot = obey(Pilot(RIG, Still(START)), Join(CUED, locked(TICK_NS, 11.0)), sent, TICK_NS)
        plan(pilot, sent, TICK_NS, locked(TICK_NS, 11.0))
        counts.append(len(taken))
    assert counts == [1, 1, 1, 5, 5]


def test_planning_is_done_where_there_is_something_to_plan_only() -> None:
    sent = at_rest(0, START)
    standing = Pilot(RIG, Still(START))
    assert plan(standing, sent, TICK_NS, locked(TICK_NS, 11.0)) is standing
    assert not joined(standing, TICK_NS, locked(TICK_NS, 11.0))


def test_braking_while_joining_begins_where_the_setpoints_are() -> None:
    sent = at_rest(0, START)
    pilot = obey(Pilot(RIG, Still(START)), Join(CUED, locked(TICK_NS, 11.0)), sent, TICK_NS)
    for _ in range(200):
        due_ns = sent.due_ns + TICK_NS
        now = locked(due_ns, 11.0)
        pilot = plan(pilot, sent, due_ns, now)
        sent = guard(LIMITS, sent, want(pilot, due_ns, now)).sent
    assert not sent.stands
    pilot = obey(pilot, Brake(), sent, sent.due_ns + TICK_NS)
    for _ in range(300):
        guarded = guard(LIMITS, sent, want(pilot, sent.due_ns + TICK_NS, Clock(Lock.LOST, 0)))
        assert max(map(abs, guarded.gap), default=0.0) <= 1e-4
        sent = guarded.sent
    assert sent.stands


def test_sixteen_axes_are_planned_a_few_ticks_ahead() -> None:
    many = Rig(name="many", axes=tuple(replace(RIG.axes[0], name=f"pan{number}") for number in range(16)))
    start, end = np.zeros(16), np.linspace(-60, 60, 16)
    way = legs([10.0, 14.0], [start, end], many)
    cued = cue_up(many, way, 10.0, 14.0)
    sent, pilot = at_rest(0, start), Pilot(many, Still(start))
    pilot = obey(pilot, Join(cued, locked(TICK_NS, 11.5)), sent, TICK_NS)
    first_s = 0.0
    while not first_s:
        due_ns = sent.due_ns + TICK_NS
        pilot = plan(pilot, sent, due_ns, locked(due_ns, 11.5))
        sent = guard(limits(many), sent, want(pilot, due_ns, locked(due_ns, 11.5))).sent
        first_s = 0.0 if sent.stands else due_ns * 1e-9
    assert first_s <= 0.1
