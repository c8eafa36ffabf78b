"""Whole takes in simulated time, good and bad: what the rig was sent, and what the operator was told."""

import itertools
from dataclasses import replace

import numpy as np
import pytest

from sequencer.playback.events import EngineLate, Reset, Stop
from sequencer.playback.state import Phase
from sequencer.shell.records import CloseTake, OpenTake
from sequencer.sync.address import standing
from sequencer.takes.rows import EventRow
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting
from tests.scenarios.stage import TICK_NS, Stage, stage
from tests.shell.test_control import HEADING
from tests.sync.master import Sent, run, ten_o_clock

PREROLL_S = 3.0


def sent(
    one: Stage, at_ns: int, from_s: float, seconds: float, *, counting: Counting | None = None, backward: bool = False
) -> list[Sent]:
    """Return what a master sends that begins at `at_ns` at `from_s` of the project, with 0.3 ms of jitter."""
    how = counting or one.timebase.counting
    frame = ten_o_clock(how) + round(from_s * how.rate.fraction)
    chance = np.random.default_rng(1)
    return run(how, frame, seconds, chance, at_s=at_ns * 1e-9, sigma_s=0.0003, backward=backward)


def before(arrivals: list[Sent], at_ns: float) -> list[Sent]:
    return [message for message in arrivals if message.at_ns < at_ns]


def roll(one: Stage, seconds: float = 20.0) -> float:
    """Have the master begin a preroll before the cue now; return the instant at which the cue starts, in ns."""
    one.arrivals = sent(one, one.now_ns, one.cue_s[0] - PREROLL_S, seconds)
    return one.now_ns + PREROLL_S * 1e9


def assert_within_limits(one: Stage) -> None:
    """No setpoint beyond travel, speed or acceleration, at any tick of the whole scenario."""
    position = np.array([setpoint.position for setpoint in one.output.sent])
    tick_s = TICK_NS * 1e-9
    speed = np.diff(position, axis=0) / tick_s
    change = np.diff(speed, axis=0) / tick_s
    for number, axis in enumerate(one.rig.axes):
        assert axis.travel is not None
        assert position[:, number].min() >= axis.travel[0]
        assert position[:, number].max() <= axis.travel[1]
        assert np.abs(speed[:, number]).max() <= axis.speed * (1 + 1e-6)
        assert np.abs(change[:, number]).max() <= axis.acceleration * (1 + 1e-5)


def assert_stopped(one: Stage, cause: str) -> None:
    one.run(2.0)
    assert one.engine.state.phase is Phase.STOPPED
    assert cause in one.engine.state.cause
    still = [setpoint.position for setpoint in one.output.sent[-50:]]
    assert np.ptp(still, axis=0).max() == 0
    assert_within_limits(one)


def test_a_take_follows_the_master_from_start_to_end() -> None:
    one = stage()
    one.get_ready()
    cue_ns = roll(one)
    one.run(20.0, one.in_phase(Phase.FINISHED))
    assert one.phases == [Phase.IDLE, Phase.LOCATING, Phase.READY, Phase.RUNNING, Phase.FINISHED]
    assert_within_limits(one)
    # truth: the master's own clock, and each axis ahead by its latency
    latencies = np.array([axis.latency_s for axis in one.rig.axes])
    inside = [setpoint for setpoint in one.output.sent if 0.1e9 < setpoint.due_ns - cue_ns < 7.5e9]
    assert len(inside) > 1500
    for setpoint in inside[::25]:
        at_s = one.cue_s[0] + (setpoint.due_ns - cue_ns) * 1e-9 + latencies
        truth = np.diag(one.timeline.sample(at_s))
        fastest = np.array([axis.speed for axis in one.rig.axes])
        # jitter of 0.3 ms leaves 0.03 ms once the line is long; it is not yet, three seconds after the first message
        assert np.all(np.abs(setpoint.position - truth) <= 0.0002 * fastest + 1e-9)


def test_the_simulated_motors_end_where_the_move_ends() -> None:
    one = stage()
    one.get_ready()
    roll(one)
    one.run(20.0, one.in_phase(Phase.FINISHED))
    one.run(0.5)
    actual = np.array(one.status.actual if one.status else ())
    end = one.timeline.sample(np.array([one.cue_s[1]]))[0]
    slack = np.array([axis.backlash + 2 * axis.resolution + 6 * axis.simulated.noise for axis in one.rig.axes])
    assert np.all(np.abs(actual - end) <= slack)


def test_nothing_moves_before_arming_whatever_timecode_does() -> None:
    one = stage()
    one.arrivals = sent(one, one.now_ns, one.cue_s[0] - 1.0, 5.0)
    one.run(6.0)
    assert np.ptp([setpoint.position for setpoint in one.output.sent], axis=0).max() == 0
    assert one.phases == [Phase.IDLE]


def test_a_short_hole_in_the_timecode_is_coasted_through() -> None:
    one = stage()
    one.get_ready()
    cue_ns = roll(one)
    one.arrivals = [message for message in one.arrivals if not 2e9 <= message.at_ns - cue_ns < 3e9]
    one.run(20.0, one.in_phase(Phase.FINISHED))
    assert one.phases[-4:] == [Phase.RUNNING, Phase.FREEWHEELING, Phase.RUNNING, Phase.FINISHED]
    assert "timecode stopped coming" in one.words("freewheel")
    assert_within_limits(one)


def test_timecode_that_stays_away_ends_in_a_latched_stop() -> None:
    one = stage()
    one.get_ready()
    cue_ns = roll(one)
    one.arrivals = before(one.arrivals, cue_ns + 2e9)
    one.run(10.0, one.in_phase(Phase.STOPPED))
    assert_stopped(one, "timecode lost for longer than the freewheel time")
    # the master comes back: nothing moves
    roll(one)
    assert_stopped(one, "timecode lost")
    one.engine.order(Reset())
    one.run(0.1)
    assert one.engine.state.phase is Phase.IDLE


@pytest.mark.parametrize("to_s", [-4.0, 4.0])
def test_timecode_that_jumps_in_mid_move_stops_the_rig(to_s: float) -> None:
    one = stage()
    one.get_ready()
    cue_ns = round(roll(one) + 2e9)
    jumped = sent(one, cue_ns, one.cue_s[0] + 2.0 + to_s, 5.0)
    one.arrivals = before(one.arrivals, cue_ns) + jumped
    one.run(10.0, one.in_phase(Phase.STOPPED))
    assert_stopped(one, "jumped")


def test_timecode_that_turns_backward_in_mid_move_stops_the_rig() -> None:
    one = stage()
    one.get_ready()
    cue_ns = round(roll(one) + 2e9)
    one.arrivals = before(one.arrivals, cue_ns) + sent(one, cue_ns, one.cue_s[0] + 2.0, 5.0, backward=True)
    one.run(10.0, one.in_phase(Phase.STOPPED))
    assert_stopped(one, "backward")


def test_a_full_frame_in_mid_move_stops_the_rig() -> None:
    one = stage()
    one.get_ready()
    cue_ns = round(roll(one) + 2e9)
    counting = one.timebase.counting
    located = standing(counting, ten_o_clock(counting) + round((one.cue_s[0] - 3.0) * 25))
    one.arrivals = [*before(one.arrivals, cue_ns), Sent(cue_ns * 1e-9, cue_ns * 1e-9, 0, located)]
    one.run(10.0, one.in_phase(Phase.STOPPED))
    assert_stopped(one, "timecode")


def test_timecode_that_begins_past_the_start_is_refused_in_words() -> None:
    one = stage()
    one.get_ready()
    one.arrivals = sent(one, one.now_ns, one.cue_s[0] + 1.0, 4.0)
    one.run(3.0)
    assert one.phases[-1] is Phase.READY
    assert "past the start of the cue; roll back further" in one.words("waiting")
    # and rolling back then works
    one.run(4.0)
    roll(one)
    one.run(20.0, one.in_phase(Phase.FINISHED))
    assert one.phases[-2:] == [Phase.RUNNING, Phase.FINISHED]


def test_timecode_of_another_rate_never_moves_the_rig_and_is_named() -> None:
    one = stage()
    one.get_ready()
    one.arrivals = sent(one, one.now_ns, one.cue_s[0] - PREROLL_S, 15.0, counting=Counting(Rate(30)))
    one.run(15.0)
    assert one.engine.state.phase is Phase.READY
    assert "30" in one.words("timecode")
    assert "25" in one.words("timecode")


def test_garbled_doubled_and_lost_messages_do_not_move_the_rig_off_its_way() -> None:
    one = stage()
    one.get_ready()
    cue_ns = roll(one)
    noise = np.random.default_rng(7)
    dirty: list[Sent] = []
    for message in one.arrivals:
        luck = noise.random()
        if luck < 0.05:
            continue
        dirty += [message] * (2 if luck < 0.1 else 1)
        if luck > 0.95:
            dirty.append(replace(message, data=noise.bytes(3)))
    one.arrivals = dirty
    one.run(20.0, one.in_phase(Phase.FINISHED))
    assert one.engine.state.phase is Phase.FINISHED
    assert_within_limits(one)
    ended_s = one.cue_s[0] + (one.now_ns - cue_ns) * 1e-9
    assert ended_s == pytest.approx(one.cue_s[1], abs=0.2)


def test_a_rig_that_falls_silent_in_mid_take_is_stopped() -> None:
    one = stage(mute_from_s=9.0)
    one.get_ready()
    roll(one)
    one.run(20.0, one.in_phase(Phase.STOPPED))
    one.run(2.0)
    assert "has not answered" in one.engine.state.cause
    assert_within_limits(one)


def test_a_rig_that_never_answered_is_not_armed() -> None:
    one = stage(mute_from_s=0.0)
    one.run(1.0)
    one.arm()
    one.run(1.0)
    assert one.engine.state.phase is Phase.IDLE
    assert "has not answered" in one.words("refused")


def test_a_rig_that_answers_late_is_still_followed() -> None:
    one = stage(delay_s=0.2)
    one.get_ready()
    roll(one)
    one.run(20.0, one.in_phase(Phase.FINISHED))
    assert one.engine.state.phase is Phase.FINISHED


@pytest.mark.parametrize("phase", [Phase.LOCATING, Phase.READY, Phase.RUNNING])
def test_stop_is_obeyed_and_latched_from_any_phase(phase: Phase) -> None:
    one = stage()
    one.run(0.2)
    one.arm()
    one.run(20.0, one.in_phase(Phase.LOCATING if phase is Phase.LOCATING else Phase.READY))
    if phase is Phase.RUNNING:
        roll(one)
        one.run(20.0, one.in_phase(Phase.RUNNING))
        one.run(2.0)
    one.engine.order(Stop("the operator pressed stop"))
    one.run(2.0, one.in_phase(Phase.STOPPED))
    assert_stopped(one, "the operator pressed stop")
    one.arm()
    one.run(1.0)
    assert one.engine.state.phase is Phase.STOPPED
    assert "Reset first" in one.words("refused")


def test_a_machine_that_was_late_stops_the_rig_and_says_so() -> None:
    one = stage()
    one.get_ready()
    roll(one)
    one.run(20.0, one.in_phase(Phase.RUNNING))
    one.run(1.0)
    one.engine.order(EngineLate(0.2))
    one.run(2.0, one.in_phase(Phase.STOPPED))
    assert_stopped(one, "200 ms late")


def test_the_cue_can_be_shot_again_and_the_setpoints_are_the_same_to_the_clock() -> None:
    one = stage()
    ways = []
    for _ in range(2):
        one.run(0.2)
        one.arm()
        one.run(20.0, one.in_phase(Phase.READY))
        cue_ns = roll(one)
        one.run(20.0, one.in_phase(Phase.FINISHED))
        ways.append([s for s in one.output.sent if 0 <= s.due_ns - cue_ns < 8e9])
        one.run(20.0)
    first, second = (np.array([setpoint.position for setpoint in way]) for way in ways)
    stamps = [[setpoint.due_ns for setpoint in way] for way in ways]
    shift = {b - a for a, b in itertools.pairwise(stamps[0])}
    assert shift == {TICK_NS}
    length = min(len(first), len(second))
    fastest = np.array([axis.speed for axis in one.rig.axes])
    # the two runs meet the ticks at different phases: up to a tick apart
    assert np.all(np.abs(first[:length] - second[:length]) <= fastest * (TICK_NS * 1e-9 + 0.0005))


def test_the_play_of_the_gears_is_taken_up_alike_before_each_take() -> None:
    one = stage()
    starts = []
    for _ in range(2):
        one.run(0.5)
        one.arm()
        one.run(20.0, one.in_phase(Phase.READY))
        starts.append([motor.load for motor in one.output.motors.motors])
        roll(one)
        one.run(20.0, one.in_phase(Phase.FINISHED))
    # the first time the rig came from home, the second from the end of the cue; the loads themselves, without encoders
    slack = [0.05 * axis.backlash for axis in one.rig.axes]
    assert all(abs(a - b) <= most for a, b, most in zip(*starts, slack, strict=True))


def take() -> OpenTake:
    return OpenTake("one.mcap", HEADING, rows_per_s=500.0, expected_s=60.0)


def test_a_take_is_recorded_from_arming_to_the_words_of_its_end() -> None:
    one = stage()
    one.run(0.5)
    one.arm(take())
    one.run(20.0, one.in_phase(Phase.READY))
    roll(one)
    one.run(20.0, one.in_phase(Phase.FINISHED))
    one.run(1.0)
    assert one.kept[0] == take()
    assert one.kept[-1] == CloseTake(missing=0)
    codes = [row.code for row in one.kept if isinstance(row, EventRow)]
    assert codes[0] == "locating"
    assert codes[-2:] == ["finished", "heard"]


def test_arming_that_is_refused_begins_no_take() -> None:
    one = stage(mute_from_s=0.0)
    one.run(1.0)
    one.arm(take())
    one.run(1.0)
    assert one.engine.state.phase is Phase.IDLE
    assert one.kept == []


def test_rows_that_find_no_room_are_told_once_and_counted() -> None:
    one = stage()
    one.run(0.5)
    one.arm(take())
    one.run(20.0, one.in_phase(Phase.READY))
    one.full = True
    one.run(0.1)
    one.engine.order(Stop("enough"))
    one.run(1.0)
    one.full = False
    one.run(0.1)
    assert [text for code, text in one.said if code == "take"] == [
        "rows of the take are missing, since the disk is too slow. The move goes on"
    ]
    # a setpoint and an answer at each of 250 ticks a second, and a word, until there is room again
    (closed,) = (record for record in one.kept if isinstance(record, CloseTake))
    assert 2 * 250 * 1.1 <= closed.missing <= 2 * 250 * 1.1 + 4
    assert one.kept[-1] is closed


def test_a_take_that_cannot_begin_is_told() -> None:
    one = stage()
    one.run(0.5)
    one.full = True
    one.arm(take())
    one.run(1.0)
    assert one.engine.state.phase in (Phase.LOCATING, Phase.READY)
    assert "not recorded" in one.words("take")


def test_a_tick_that_comes_late_because_arming_took_long_arms() -> None:
    one = stage()
    one.run(0.5)
    one.engine.late_ns = 400_000_000
    one.arm()
    one.run(0.004)
    one.engine.late_ns = 0
    one.run(20.0, one.in_phase(Phase.READY))
    assert one.phases == [Phase.IDLE, Phase.LOCATING, Phase.READY]


def test_a_late_tick_stops_a_rig_that_moves() -> None:
    one = stage()
    one.get_ready()
    one.engine.late_ns = 60_000_000
    one.run(0.004)
    assert_stopped(one, "60 ms late")


def test_a_rig_that_never_answers_is_sent_nothing_before_it_is_armed() -> None:
    one = stage(answers=False)
    one.run(2.0)
    assert one.output.sent == []
    one.arm()
    one.run(0.1)
    assert one.engine.state.phase is Phase.LOCATING
    assert len(one.output.sent) == 25
