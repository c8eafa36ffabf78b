"""Where each frame of a timelapse is exposed, against plain arithmetic and ruckig's own ways."""

from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import ruckig

from sequencer.motion.lapse import demand_poses, longest_way, pace, places_s
from sequencer.project.store import load_rig
from sequencer.score.interval import Known, Plan, solve
from sequencer.score.ramp import Intervals
from sequencer.timebase.rate import Rate

RIG = load_rig(Path("projects/low-tide"))


def plan(frames: int, *points: tuple[int, int]) -> Plan:
    ramp = Intervals(tuple((frame, Fraction(interval)) for frame, interval in points))
    return solve(Known(frames=frames, ramp=ramp, rate=Rate(25), exposure_s=Fraction(1), settle_s=Fraction(1)))


def test_by_frame_the_cue_is_divided_evenly_whatever_the_intervals() -> None:
    for made in (plan(5, (0, 10)), plan(5, (0, 10), (4, 50))):
        assert places_s(made, "frame", 100.0, 108.0).tolist() == [100.0, 102.0, 104.0, 106.0, 108.0]


def test_by_time_a_cue_as_long_as_the_event_is_at_its_own_speed() -> None:
    made = plan(5, (0, 10))
    assert places_s(made, "time", 100.0, 150.0).tolist() == [100.0, 110.0, 120.0, 130.0, 140.0]
    assert pace(made, "time", 50.0) == 1.0
    # intervals of 10, 20, 30, 40, 50: frames at 0, 10, 30, 60, 100 of 150
    ramped = plan(5, (0, 10), (4, 50))
    assert places_s(ramped, "time", 0.0, 15.0) == pytest.approx([0.0, 1.0, 3.0, 6.0, 10.0])
    assert pace(ramped, "frame", 10.0) == pytest.approx(0.1)


def test_one_frame_is_at_the_start() -> None:
    assert places_s(plan(1, (0, 10)), "frame", 3.0, 9.0).tolist() == [3.0]
    assert places_s(plan(1, (0, 10)), "time", 3.0, 9.0).tolist() == [3.0]
    assert pace(plan(1, (0, 10)), "frame", 6.0) == 0.0


def test_the_longest_way_is_ruckigs() -> None:
    """Source: ruckig's own time-optimal way of one axis from rest to rest, at half of its speed."""
    chance = np.random.default_rng(2)
    low, high = np.array([axis.travel for axis in RIG.axes], np.float64).T
    frames = chance.uniform(low, high, (30, 3))
    found, which = longest_way(RIG, frames, Fraction(1, 2))
    longest = []
    for before, after in pairwise(frames):
        lasts = []
        for number, axis in enumerate(RIG.axes):
            asked = ruckig.InputParameter(1)
            asked.current_position, asked.target_position = [float(before[number])], [float(after[number])]
            asked.max_velocity, asked.max_acceleration = [axis.speed / 2], [axis.acceleration]
            asked.max_jerk = [axis.jerk]
            way = ruckig.Trajectory(1)
            ruckig.Ruckig(1).calculate(asked, way)
            lasts.append(way.duration)
        longest.append(max(lasts))
    assert which == int(np.argmax(longest)) + 1
    assert max(longest) <= float(found) < max(longest) + 0.0011


def test_a_pose_outside_the_travel_is_named_with_its_frame() -> None:
    frames = np.tile([axis.home for axis in RIG.axes], (4, 1))
    demand_poses(RIG, frames)
    frames[2, 2] = 1300.0
    with pytest.raises(ValueError, match=r"frame 2 cannot be exposed at its pose: 1300 mm is outside slide's travel"):
        demand_poses(RIG, frames)


def test_frames_at_one_pose_need_no_way() -> None:
    frames = np.tile([axis.home for axis in RIG.axes], (4, 1))
    assert longest_way(RIG, frames, Fraction(1)) == (Fraction(0), 0)
