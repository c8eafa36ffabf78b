"""Timecode that starts or jumps in mid-move, joined in simulated time: what the rig was sent, and was told."""

from dataclasses import dataclass

import numpy as np
import pytest

from sequencer.motion import join
from sequencer.playback.events import Stop
from sequencer.playback.guard import limits
from sequencer.playback.state import ON_THE_CLOCK, Phase
from sequencer.rig.signals import Floats
from sequencer.sync.address import standing
from tests.scenarios.stage import TICK_NS, Stage, stage
from tests.scenarios.test_takes import assert_stopped, assert_within_limits, before
from tests.sync.master import Sent, run, ten_o_clock

LATENCIES_S = (0.05, 0.0, 0.02, 0.1, 0.006)
# a master in order, so that what is held back would be the joining's own fault
CLEAN_S = 0.0


@dataclass(frozen=True)
class Row:
    """One tick: its phase, the clock, the setpoint, and what the guard held back."""

    phase: Phase
    clock_s: float
    speed: float
    position: Floats
    held: tuple[float, ...]


def master(
    one: Stage, at_ns: float, from_s: float, *, speed: float = 1.0, sigma_s: float = CLEAN_S, seconds: float = 20.0
) -> list[Sent]:
    """Return what a master sends that is at `from_s` of the project, on a whole frame, at `at_ns`."""
    how = one.timebase.counting
    frame = ten_o_clock(how) + round(from_s * how.rate.fraction)
    chance = np.random.default_rng(1)
    return run(how, frame, seconds, chance, at_s=at_ns * 1e-9, sigma_s=sigma_s, speed=speed)


def watched(one: Stage, seconds: float, *ends: Phase) -> list[Row]:
    """Let time pass until one of these phases, and return what happened in each tick."""
    rows: list[Row] = []

    def look() -> bool:
        if one.status is not None and one.output.sent:
            engine = one.engine
            rows.append(
                Row(
                    engine.state.phase,
                    one.status.timeline_s,
                    one.status.speed,
                    one.output.sent[-1].position,
                    engine.held,
                )
            )
        return one.engine.state.phase in ends

    one.run(seconds, look)
    return rows


def ready(latencies_s: tuple[float, ...] = LATENCIES_S, freewheel_s: float = 2.0) -> Stage:
    one = stage(joins=True, latencies_s=latencies_s, freewheel_s=freewheel_s)
    one.get_ready()
    return one


def under_way(after_s: float, speed: float = 1.0) -> tuple[Stage, float]:
    """Return a stage that follows clean timecode since so long after the cue's start, and the instant, in ns."""
    one = ready()
    one.arrivals = master(one, one.now_ns, one.cue_s[0] - 3.0, speed=speed)
    at_ns = one.now_ns + (3.0 + after_s) / speed * 1e9
    return one, at_ns


def jump(one: Stage, at_ns: float, to_s: float, speed: float = 1.0) -> None:
    """Have the master be at `to_s` after the cue's start at this instant, and go on from there."""
    one.arrivals = before(one.arrivals, at_ns) + master(one, at_ns, one.cue_s[0] + to_s, speed=speed)


def assert_joined(one: Stage, rows: list[Row], least: int = 100) -> None:
    """After the last joining the setpoints are the timeline at the clock, each axis ahead by its latency."""
    assert one.engine.state.phase is Phase.FINISHED
    assert_within_limits(one)
    last = max(place for place, row in enumerate(rows) if row.phase is Phase.JOINING)
    merged = [row for row in rows[last + 1 :] if row.phase in ON_THE_CLOCK]
    assert len(merged) >= least
    latencies_s = np.array([axis.latency_s for axis in one.rig.axes])
    fastest = np.array([axis.speed for axis in one.rig.axes])
    clocks_s = np.array([row.clock_s + row.speed * latencies_s for row in merged])
    on_the_way = one.timeline.sample(np.clip(clocks_s, *one.cue_s).ravel()).reshape(len(merged), len(fastest), -1)
    expected = np.diagonal(on_the_way, axis1=1, axis2=2)  # each axis at its own instant
    assert np.all(np.abs(np.array([row.position for row in merged]) - expected) <= 1e-9 * fastest)


def held(rows: list[Row]) -> list[Row]:
    """Return the ticks from the first of joining on at which the guard held something back."""
    first = next(place for place, row in enumerate(rows) if row.phase is Phase.JOINING)
    return [row for row in rows[first:] if row.held]


@pytest.mark.parametrize("speed", [0.9, 1.0, 1.1])
@pytest.mark.parametrize("into_s", [0.2, 1.0, 3.0, 4.0])
def test_timecode_that_starts_in_mid_move_is_joined(into_s: float, speed: float) -> None:
    one = ready()
    one.arrivals = master(one, one.now_ns, one.cue_s[0] + into_s, speed=speed)
    rows = watched(one, 20.0, Phase.FINISHED)
    assert one.phases[2:] == [Phase.READY, Phase.JOINING, Phase.RUNNING, Phase.FINISHED]
    assert_joined(one, rows)
    assert not held(rows)
    assert "past the start of the cue; joining the move there" in one.words("joining")
    assert "on the timeline after" in one.words("joined")


def test_joining_makes_no_step_in_acceleration() -> None:
    one, at_ns = under_way(2.4)
    jump(one, at_ns, 5.2)
    rows = watched(one, 20.0, Phase.FINISHED)
    first = next(place for place, row in enumerate(rows) if row.phase is Phase.JOINING)
    last = max(place for place, row in enumerate(rows) if row.phase is Phase.JOINING)
    ways = np.array([row.position for row in rows[first + 3 : last + 10]])
    jerk = np.diff(ways, 3, axis=0) / (TICK_NS * 1e-9) ** 3
    most = np.array([axis.jerk for axis in one.rig.axes])
    assert np.all(np.abs(jerk).max(axis=0) <= most * 1.001)
    assert np.any(np.abs(jerk).max(axis=0) > most * 0.8)


@pytest.mark.parametrize("tick_ns", [1_000_000, 4_000_000])
def test_no_hand_over_makes_a_step_in_acceleration(tick_ns: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """From the timeline to braking, to joining, to the timeline, and from joining to braking for a stop."""
    monkeypatch.setattr("tests.scenarios.stage.TICK_NS", tick_ns)
    for stops in (False, True):
        one, at_ns = under_way(2.4)
        jump(one, at_ns, 5.2)
        one.run(20.0, one.in_phase(Phase.JOINING))
        before_ns = one.now_ns - 20 * tick_ns
        if stops:
            one.run(0.7)
            one.engine.order(Stop("the operator pressed stop"))
        watched(one, 20.0, Phase.FINISHED, Phase.STOPPED)
        ways = np.array([setpoint.position for setpoint in one.output.sent if setpoint.due_ns >= before_ns])
        jerk = np.diff(ways, 3, axis=0) / (tick_ns * 1e-9) ** 3
        most = np.array([axis.jerk for axis in one.rig.axes])
        assert np.abs(jerk / most).max() <= 1.001
        assert one.engine.state.phase is (Phase.STOPPED if stops else Phase.FINISHED)
        assert one.engine.state.cause == ("the operator pressed stop" if stops else "")


@pytest.mark.parametrize("speed", [0.9, 1.0])
@pytest.mark.parametrize(("after_s", "to_s"), [(1.6, 4.8), (2.4, 0.8), (4.0, 0.0), (6.4, 2.4), (3.2, 3.6)])
def test_timecode_that_jumps_in_mid_move_is_joined_where_it_went(after_s: float, to_s: float, speed: float) -> None:
    one, at_ns = under_way(after_s, speed)
    jump(one, at_ns, to_s, speed)
    rows = watched(one, 30.0, Phase.FINISHED, Phase.STOPPED)
    assert "joining" in one.codes, one.said
    assert one.phases[-3:] == [Phase.JOINING, Phase.RUNNING, Phase.FINISHED]
    assert_joined(one, rows)
    assert not held(rows)


def test_what_an_earlier_clock_was_held_back_for_is_not_held_against_joining() -> None:
    """The master runs faster than this rig can follow for a while, and then jumps."""
    one = stage(joins=True, latencies_s=LATENCIES_S, fastest=40.0)
    one.get_ready()
    one.arrivals = master(one, one.now_ns, one.cue_s[0] - 3.0, speed=1.1)
    at_ns = one.now_ns + (3.0 + 0.95) / 1.1 * 1e9
    jump(one, at_ns, 0.8)
    rows = watched(one, 30.0, Phase.FINISHED, Phase.STOPPED)
    assert [row for row in rows if row.held and row.phase is Phase.RUNNING]
    assert not held(rows)


def test_a_jump_while_joining_is_joined_anew() -> None:
    one, at_ns = under_way(1.6)
    jump(one, at_ns, 4.8)
    # a jump is told by sixteen quarter frames, and joining takes longer than a second
    jump(one, at_ns + 0.64e9, 0.8)
    rows = watched(one, 30.0, Phase.FINISHED)
    assert one.codes.count("joining") == 2
    assert one.codes.count("joined") == 1
    assert one.phases[-3:] == [Phase.JOINING, Phase.RUNNING, Phase.FINISHED]
    assert_joined(one, rows)
    assert not held(rows)


def test_timecode_that_starts_just_before_the_end_is_joined_at_the_rest() -> None:
    one = ready()
    length_s = one.cue_s[1] - one.cue_s[0]
    one.arrivals = master(one, one.now_ns, one.cue_s[0] + length_s - 0.4)
    rows = watched(one, 20.0, Phase.FINISHED)
    assert_joined(one, rows, least=1)
    assert not held(rows)
    end = one.timeline.sample(np.array([one.cue_s[1]]))[0]
    assert rows[-1].position == pytest.approx(end, abs=1e-9)


def test_the_simulated_motors_end_where_a_joined_move_ends() -> None:
    one = ready(tuple(axis.latency_s for axis in stage().rig.axes))
    one.arrivals = master(one, one.now_ns, one.cue_s[0] + 2.0)
    one.run(20.0, one.in_phase(Phase.FINISHED))
    one.run(0.5)
    actual = np.array(one.status.actual if one.status else ())
    end = one.timeline.sample(np.array([one.cue_s[1]]))[0]
    slack = np.array([axis.backlash + 2 * axis.resolution + 6 * axis.simulated.noise for axis in one.rig.axes])
    assert np.all(np.abs(actual - end) <= slack)


@pytest.mark.parametrize("into_s", [1.0, 3.0])
def test_jitter_of_the_timecode_is_all_that_the_guard_has_to_take_off(into_s: float) -> None:
    one = ready(())
    one.arrivals = master(one, one.now_ns, one.cue_s[0] + into_s, sigma_s=0.0003)
    rows = watched(one, 20.0, Phase.FINISHED)
    assert one.engine.state.phase is Phase.FINISHED
    assert_within_limits(one)
    most = np.array(limits(one.rig).tolerance)
    gaps = np.array([row.held for row in held(rows)]).reshape(-1, len(most))
    # the clock trembles by some hundredths of a millisecond, of the 20 ms that an axis may be held back by
    assert np.all(np.abs(gaps) <= most * 0.005)


@pytest.mark.parametrize("stands_s", [0.1, 2.0])
def test_a_master_that_is_set_to_another_place_and_runs_on_from_there_is_joined(stands_s: float) -> None:
    one, at_ns = under_way(2.4)
    counting = one.timebase.counting
    there = standing(counting, ten_o_clock(counting) + round((one.cue_s[0] + 1.6) * 25))
    runs = master(one, at_ns + stands_s * 1e9, one.cue_s[0] + 1.6)
    one.arrivals = [*before(one.arrivals, at_ns), Sent(at_ns * 1e-9, at_ns * 1e-9, 0, there), *runs]
    rows = watched(one, 30.0, Phase.FINISHED, Phase.STOPPED)
    assert one.phases[2:] == [Phase.READY, Phase.RUNNING, Phase.JOINING, Phase.RUNNING, Phase.FINISHED]
    assert one.codes.count("joining") == 2
    assert_joined(one, rows)
    assert not held(rows)


def test_a_master_that_spools_is_braked_for_once_and_told_once() -> None:
    """It tells a place with a full frame now and again, each of them another one."""
    one, at_ns = under_way(2.4)
    counting = one.timebase.counting
    begin = ten_o_clock(counting) + round((one.cue_s[0] + 0.52) * 25)
    spooled = [(at_ns * 1e-9 + 0.04 * number, standing(counting, begin + 3 * number)) for number in range(30)]
    runs = master(one, at_ns + 2e9, one.cue_s[0] + 1.6)
    one.arrivals = [*before(one.arrivals, at_ns), *(Sent(at_s, at_s, 0, data) for at_s, data in spooled), *runs]
    rows = watched(one, 30.0, Phase.FINISHED, Phase.STOPPED)
    assert one.codes.count("joining") == 2
    assert_joined(one, rows)
    assert not held(rows)


def test_a_way_that_is_not_found_ends_in_a_latched_stop(monkeypatch: pytest.MonkeyPatch) -> None:
    """It was not seen to happen; should it, the rig brakes within its limits and the engine lives."""
    one, at_ns = under_way(2.4)
    jump(one, at_ns, 5.2)

    def lost(planner: join.Planner) -> join.Planner:
        raise ArithmeticError("no way of pan")

    monkeypatch.setattr(join, "advance", lost)
    one.run(10.0, one.in_phase(Phase.STOPPED))
    assert one.phases[-3:] == [Phase.JOINING, Phase.STOPPING, Phase.STOPPED]
    assert_stopped(one, "no way to the timeline was found (no way of pan)")


@pytest.mark.parametrize("to_s", [-2.0, 8.8])
def test_a_jump_out_of_the_cue_stops_the_rig(to_s: float) -> None:
    one, at_ns = under_way(2.4)
    jump(one, at_ns, to_s)
    one.run(10.0, one.in_phase(Phase.STOPPED))
    assert_stopped(one, "jumped out of the cue")


def test_timecode_that_is_lost_while_joining_stops_the_rig() -> None:
    one = ready(freewheel_s=0.2)  # it ends before the rig is on the timeline
    begin_ns = one.now_ns
    one.arrivals = before(master(one, begin_ns, one.cue_s[0] + 3.0), begin_ns + 0.5e9)
    one.run(10.0, one.in_phase(Phase.STOPPED))
    assert one.phases[-3:] == [Phase.JOINING, Phase.STOPPING, Phase.STOPPED]
    assert_stopped(one, "timecode lost")


def test_timecode_that_turns_backward_while_joining_stops_the_rig() -> None:
    one = ready()
    begin_ns = one.now_ns
    how = one.timebase.counting
    frame = ten_o_clock(how) + round((one.cue_s[0] + 3.6) * 25)
    turned = run(how, frame, 5.0, np.random.default_rng(1), at_s=begin_ns * 1e-9 + 0.6, sigma_s=0.0, backward=True)
    one.arrivals = before(master(one, begin_ns, one.cue_s[0] + 3.0), begin_ns + 0.6e9) + turned
    one.run(10.0, one.in_phase(Phase.STOPPED))
    assert Phase.RUNNING not in one.phases
    assert_stopped(one, "backward")


def test_a_stop_while_joining_is_obeyed() -> None:
    one = ready()
    one.arrivals = master(one, one.now_ns, one.cue_s[0] + 3.0)
    one.run(5.0, one.in_phase(Phase.JOINING))
    one.run(0.6)
    assert one.engine.state.phase is Phase.JOINING
    one.engine.order(Stop("the operator pressed stop"))
    one.run(2.0, one.in_phase(Phase.STOPPED))
    assert_stopped(one, "the operator pressed stop")
