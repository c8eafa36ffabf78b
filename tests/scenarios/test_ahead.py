"""Takes in simulated time on a rig with a buffer: setpoints go out ahead, and a stop does not wait for the buffer."""

import itertools
from dataclasses import replace

import numpy as np
import pytest

from sequencer.motion import join
from sequencer.playback.ahead import Timing
from sequencer.playback.cued import cue_up
from sequencer.playback.events import Arm, Drive, Reset, Stop
from sequencer.playback.state import Phase
from sequencer.rig.signals import Setpoint
from sequencer.shell.records import OpenTake
from sequencer.takes.rows import SetpointRow
from tests.scenarios.stage import TICK_NS, Cable, Stage, stage
from tests.scenarios.test_joining import master
from tests.scenarios.test_takes import before, roll
from tests.shell.test_control import HEADING

MS = 1_000_000
SECOND_NS = 1_000 * MS
TIMING = Timing(period_ns=TICK_NS, ahead_ns=300 * MS, committed_ns=100 * MS)


def assert_played_within_limits(one: Stage) -> None:
    """What came due on the rig, in order, a period apart, beyond no limit."""
    played = one.output.played
    due = np.array([setpoint.due_ns for setpoint in played])
    assert set(np.diff(due)) == {TICK_NS}
    position = np.array([setpoint.position for setpoint in played])
    tick_s = TICK_NS * 1e-9
    speed = np.diff(position, axis=0) / tick_s
    change = np.diff(speed, axis=0) / tick_s
    for number, axis in enumerate(one.rig.axes):
        assert axis.travel is not None
        assert position[:, number].min() >= axis.travel[0]
        assert position[:, number].max() <= axis.travel[1]
        assert np.abs(speed[:, number]).max() <= axis.speed * (1 + 1e-6)
        assert np.abs(change[:, number]).max() <= axis.acceleration * (1 + 1e-5)


def truth(one: Stage, cue_ns: float, setpoint: Setpoint) -> float:
    """How far a setpoint is from where the master's own clock says, in parts of each axis's speed."""
    latencies = np.array([axis.latency_s for axis in one.rig.axes])
    at_s = one.cue_s[0] + (setpoint.due_ns - cue_ns) * 1e-9 + latencies
    fastest = np.array([axis.speed for axis in one.rig.axes])
    return float(np.max(np.abs(setpoint.position - np.diag(one.timeline.sample(at_s))) / fastest))


def test_a_take_is_sent_ahead_and_is_the_same_take() -> None:
    one = stage(timing=TIMING)
    one.get_ready()
    cue_ns = roll(one)
    leads = []
    for _ in range(5000):
        if one.engine.state.phase is Phase.FINISHED:
            break
        sent = len(one.output.sent)
        one.run(TICK_NS * 1e-9)
        if one.engine.state.phase is Phase.RUNNING:
            leads += [setpoint.due_ns - one.now_ns for setpoint in one.output.sent[sent:]]
    assert one.phases == [Phase.IDLE, Phase.LOCATING, Phase.READY, Phase.RUNNING, Phase.FINISHED]
    assert set(leads) == {TIMING.ahead_ns}
    one.run(0.5)
    assert_played_within_limits(one)
    assert one.output.replaced == []
    inside = [setpoint for setpoint in one.output.played if 0.1e9 < setpoint.due_ns - cue_ns < 7.5e9]
    assert len(inside) > 1500
    # as without a buffer, but for what the follower learns of the master's speed within 0.3 s
    assert max(truth(one, cue_ns, setpoint) for setpoint in inside[::25]) <= 0.0004


def test_a_stop_brakes_as_soon_as_what_is_committed_is_played_not_when_the_buffer_is() -> None:
    one = stage(timing=TIMING)
    one.get_ready()
    cue_ns = roll(one)
    one.run(6.0)
    assert one.phases[-1] is Phase.RUNNING
    stop_ns = one.now_ns + TICK_NS
    planned = {setpoint.due_ns: setpoint for setpoint in one.output.sent}
    one.engine.order(Stop("the operator pressed stop"))
    one.run(3.0)
    assert one.engine.state.phase is Phase.STOPPED
    ((at_ns, from_ns),) = one.output.replaced
    assert at_ns == stop_ns
    assert stop_ns + TIMING.committed_ns < from_ns <= stop_ns + TIMING.committed_ns + TICK_NS
    assert_played_within_limits(one)
    # as planned to there, and then not
    for setpoint in one.output.played:
        if stop_ns <= setpoint.due_ns < from_ns:
            assert np.array_equal(setpoint.position, planned[setpoint.due_ns].position)
    after = [setpoint for setpoint in one.output.played if setpoint.due_ns >= from_ns + TICK_NS]
    assert all(truth(one, cue_ns, setpoint) > 0 for setpoint in after)
    rests = next(s for s in after if np.array_equal(s.position, after[-1].position))
    slowest_s = max(axis.speed / axis.acceleration + axis.acceleration / axis.jerk for axis in one.rig.axes)
    assert rests.due_ns - from_ns <= slowest_s * 1e9


def test_a_stop_shortly_before_the_end_of_the_cue_brakes_too() -> None:
    """What makes setpoints is past the end by then, and the rig is not: it is to brake, not to go there."""
    one = stage(timing=TIMING)
    one.get_ready()
    roll(one)
    one.run(20.0, lambda: one.phases[-1] is Phase.RUNNING and one.engine.sent.stands and not one.engine.rests)
    assert not one.engine.rests
    end = one.engine.sent.position
    one.engine.order(Stop("the operator pressed stop"))
    one.run(TICK_NS * 1e-9)
    assert one.output.replaced
    one.run(3.0)
    assert one.phases[-2:] == [Phase.STOPPING, Phase.STOPPED]
    assert one.engine.sent.position != end
    assert_played_within_limits(one)


def test_it_is_finished_and_stopped_once_what_is_due_stands() -> None:
    one = stage(timing=TIMING)
    one.get_ready()
    roll(one)
    one.run(20.0, one.in_phase(Phase.FINISHED))
    assert one.engine.rests
    one.run(0.5)
    one.engine.order(Drive((one.rig.axes[0].speed / 4, *(0.0 for _ in one.rig.axes[1:])), one.now_ns))
    one.run(0.1)
    one.engine.order(Stop("the operator pressed stop"))
    one.run(3.0, one.in_phase(Phase.STOPPED))
    assert one.engine.rests


def test_a_tick_that_is_late_takes_nothing_back_that_the_rig_played_meanwhile() -> None:
    """Its own instant is long past: what was to come from there on is behind the rig by now."""
    one = stage(timing=TIMING)
    one.get_ready()
    roll(one)
    one.run(6.0)
    assert one.phases[-1] is Phase.RUNNING
    late_ns = 140 * MS
    # the engine's own loop ticks for when it was due, and says how late it is
    due_ns = one.now_ns + TICK_NS
    one.now_ns = one.output.now_ns = due_ns + late_ns
    one.engine.hear(one.now_ns)
    one.engine.late_ns = late_ns
    one.engine.tick(due_ns)
    one.engine.late_ns = 0
    assert "late" in one.engine.state.cause
    ((_, from_ns),) = one.output.replaced
    assert from_ns > one.now_ns + TIMING.committed_ns
    one.run(3.0)
    assert one.engine.state.phase is Phase.STOPPED
    assert_played_within_limits(one)


def test_the_take_holds_what_the_rig_was_to_play_and_nothing_that_was_withdrawn() -> None:
    one = stage(timing=TIMING)
    one.arm(OpenTake("there", HEADING, 500.0, 60.0))
    one.run(20.0, one.in_phase(Phase.READY))
    roll(one)
    one.run(6.0)
    one.engine.order(Stop("the operator pressed stop"))
    one.run(3.0)
    rows = [row for row in one.kept if isinstance(row, SetpointRow)]
    due = [row.due_ns for row in rows]
    assert due == sorted(set(due))
    played = {setpoint.due_ns: setpoint for setpoint in one.output.played}
    for row in rows[::10]:
        assert row.position == tuple(played[row.due_ns].position.tolist())


def test_what_is_in_the_buffer_when_it_begins_elsewhere_is_in_the_take() -> None:
    """An axis that was moved by hand while it was stopped: reset begins there, behind what the rig still has."""
    one = stage(timing=TIMING)
    one.arm(OpenTake("there", HEADING, 500.0, 60.0))
    one.run(20.0, one.in_phase(Phase.READY))
    one.engine.order(Stop("the operator pressed stop"))
    one.run(0.05)
    first = one.output.motors.motors[0]
    moved = replace(first, position=first.position + 5, load=first.load + 5)
    one.output.motors = replace(one.output.motors, motors=(moved, *one.output.motors.motors[1:]))
    one.run(TICK_NS * 1e-9)
    one.engine.order(Reset())
    one.run(0.6)
    assert "it begins from where the rig stands" in " ".join(text for _, text in one.said)
    rows = {row.due_ns for row in one.kept if isinstance(row, SetpointRow)}
    first_ns, last_ns = min(rows), max(rows)
    assert rows >= {setpoint.due_ns for setpoint in one.output.played if first_ns <= setpoint.due_ns <= last_ns}


def test_what_came_due_before_the_tick_that_stops_is_in_the_take() -> None:
    """A tick that is late finds the link gone: what the rig played until then went out all the same."""
    one = stage(timing=TIMING, cable=Cable())
    one.arm(OpenTake("there", HEADING, 500.0, 60.0))
    one.run(20.0, one.in_phase(Phase.READY))
    roll(one)
    one.run(5.0)
    assert one.phases[-1] is Phase.RUNNING
    due_ns = one.now_ns + TICK_NS
    one.now_ns = one.output.now_ns = due_ns + 10 * TICK_NS
    one.output.cable = Cable(away_ns=(one.now_ns, one.now_ns + SECOND_NS), gone_in="read")
    one.engine.hear(one.now_ns)
    one.engine.late_ns = 10 * TICK_NS
    one.engine.tick(due_ns)
    assert one.engine.state.phase is Phase.STOPPING
    rows = {row.due_ns for row in one.kept if isinstance(row, SetpointRow)}
    assert rows >= {due_ns + number * TICK_NS for number in range(10)}


def test_timecode_that_goes_away_freewheels_and_stops_within_limits() -> None:
    one = stage(timing=TIMING, freewheel_s=0.5)
    one.get_ready()
    cue_ns = roll(one)
    one.arrivals = before(one.arrivals, cue_ns + 2e9)
    one.run(12.0, one.in_phase(Phase.STOPPED))
    assert "timecode lost" in one.engine.state.cause
    one.run(1.0)
    assert_played_within_limits(one)


def test_timecode_that_jumps_is_joined_from_what_is_committed_on() -> None:
    one = stage(timing=TIMING, joins=True)
    one.get_ready()
    one.arrivals = master(one, one.now_ns, one.cue_s[0] - 1.0, seconds=3.0)
    one.run(2.9)
    assert one.phases[-1] is Phase.RUNNING
    jumped_ns = one.now_ns
    one.arrivals = master(one, jumped_ns, one.cue_s[0] + 4.0)
    one.run(3.0, one.in_phase(Phase.JOINING))
    # once where it brakes until the master is trusted there, and once where it joins
    assert one.output.replaced
    one.run(5.0, one.in_phase(Phase.RUNNING))
    assert one.phases[-1] is Phase.RUNNING
    for at_ns, from_ns in one.output.replaced:
        assert at_ns + TIMING.committed_ns - TICK_NS < from_ns <= at_ns + TIMING.committed_ns + TICK_NS
    one.run(1.0)
    assert one.output.sent[-1].due_ns == one.now_ns + TIMING.ahead_ns
    on_it = [setpoint for setpoint in one.output.played if setpoint.due_ns > one.now_ns - SECOND_NS // 4]
    cue_ns = jumped_ns - 4.0e9
    assert max(truth(one, cue_ns, setpoint) for setpoint in on_it) <= 0.001
    one.run(20.0, one.in_phase(Phase.FINISHED))
    one.run(0.5)
    assert_played_within_limits(one)


def test_a_tick_plans_no_more_of_a_joining_for_the_sets_that_it_makes_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    one = stage(timing=TIMING, joins=True)
    one.get_ready()
    steps: list[int] = []
    advance = join.advance

    def counted(planner: join.Planner) -> join.Planner:
        steps.append(one.now_ns)
        return advance(planner)

    monkeypatch.setattr(join, "advance", counted)
    one.arrivals = master(one, one.now_ns, one.cue_s[0] + 2.0)
    one.run(10.0, one.in_phase(Phase.RUNNING))
    assert one.phases[-1] is Phase.RUNNING
    assert len(steps) >= len(one.rig.axes)
    assert len(set(steps)) == len(steps)


def test_hands_that_perform_while_others_play_are_followed_as_near_as_the_buffer_lets_them() -> None:
    one = stage(timing=TIMING, own_clock=True)
    one.run(0.5)
    pan_by_hand = (True, *(False for _ in one.rig.axes[1:]))
    one.engine.order(Arm(cued=cue_up(one.rig, one.timeline, *one.cue_s), by_hand=pan_by_hand))
    one.run(20.0, one.in_phase(Phase.READY))
    one.follower.locate(one.cue_s[0])  # type: ignore[union-attr]  # own_clock has one that can be placed
    assert one.engine.lead_ns == TIMING.committed_ns
    one.follower.start(one.now_ns + one.engine.lead_ns)  # type: ignore[union-attr]  # as above
    one.run(1.0)
    assert one.engine.state.phase is Phase.RUNNING
    rest = one.output.sent[-1].position
    begun_ns = one.now_ns + TICK_NS
    for _ in range(100):
        one.engine.order(Drive((one.rig.axes[0].speed / 4, *(0.0 for _ in one.rig.axes[1:])), one.now_ns))
        one.run(TICK_NS * 1e-9)
    moved = next(s for s in one.output.played if s.due_ns > begun_ns and s.position[0] != rest[0])
    assert moved.due_ns - begun_ns <= TIMING.committed_ns + 3 * TICK_NS
    one.run(20.0, one.in_phase(Phase.FINISHED))
    one.run(0.5)
    assert_played_within_limits(one)


def test_a_hand_steers_as_near_as_the_buffer_lets_it() -> None:
    one = stage(timing=TIMING)
    one.run(1.0)
    rest = one.output.sent[-1].position
    begun_ns = one.now_ns + TICK_NS
    wanted = (one.rig.axes[0].speed / 2, *(0.0 for _ in one.rig.axes[1:]))
    for _ in range(100):
        one.engine.order(Drive(wanted, one.now_ns))
        one.run(TICK_NS * 1e-9)
    moved = next(s for s in one.output.played if s.position[0] != rest[0])
    assert moved.due_ns - begun_ns <= TIMING.committed_ns + 3 * TICK_NS
    one.run(3.0)
    assert one.engine.state.phase is Phase.IDLE
    assert_played_within_limits(one)


def test_after_the_cue_the_horizon_comes_near_again_without_a_step() -> None:
    one = stage(timing=TIMING)
    one.get_ready()
    roll(one)
    one.run(20.0, one.in_phase(Phase.FINISHED))
    one.run(1.0)
    assert one.engine.lead_ns == TIMING.committed_ns
    assert one.output.sent[-1].due_ns - one.now_ns <= TIMING.committed_ns
    assert_played_within_limits(one)


def test_a_rig_that_drops_and_is_reset_is_sent_ahead_again_from_where_it_stands() -> None:
    one = stage(timing=TIMING, cable=Cable())
    one.get_ready()
    roll(one)
    one.run(6.0)
    one.output.cable.away_ns = (one.now_ns, one.now_ns + 2_000 * MS)
    one.run(5.0)
    assert one.phases[-1] is Phase.STOPPED
    sent = len(one.output.sent)
    one.engine.order(Reset())
    one.run(0.5)
    assert one.engine.state.phase is Phase.IDLE
    anew = one.output.sent[sent:]
    assert np.ptp([setpoint.position for setpoint in anew], axis=0).max() == 0
    actual = np.array(one.status.actual if one.status else ())
    assert np.all(np.abs(anew[0].position - actual) <= 0.5)
    assert all(late.due_ns > early.due_ns for early, late in itertools.pairwise(anew))


@pytest.mark.parametrize("speed", [0.5])
def test_the_programs_own_clock_starts_the_move_at_its_start(speed: float) -> None:
    """It is started so that the first setpoint on the timeline is the cue's first."""
    one = stage(timing=TIMING, own_clock=True)
    one.get_ready()
    one.follower.locate(one.cue_s[0])  # type: ignore[union-attr]  # own_clock has one that can be placed
    one.run(0.5)
    assert one.engine.lead_ns == TIMING.ahead_ns
    started_ns = one.now_ns + one.engine.lead_ns
    one.follower.start(started_ns)  # type: ignore[union-attr]  # as above
    one.run(20.0, one.in_phase(Phase.FINISHED))
    assert one.phases == [Phase.IDLE, Phase.LOCATING, Phase.READY, Phase.RUNNING, Phase.FINISHED]
    one.run(0.5)
    inside = [s for s in one.output.played if 0 <= s.due_ns - started_ns < 7e9]
    assert max(truth(one, started_ns, s) for s in inside[::10]) <= 1e-6
