"""Advice on panning: the rule of seven seconds, carried over to other rates, shutters, lenses and axes.

The rule itself is common practice, from memory: seven seconds at 24 frames a second and 180 degrees.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.motion.strobe import allowed_shift, least_crossing_s, shifts, strobes
from sequencer.motion.trajectory import Trajectory
from sequencer.rig.axis import Axis, AxisKind, Camera, Rig, Unit
from sequencer.rig.geometry import Geometry
from sequencer.rig.lens import Lens, from_camera, projected
from sequencer.rig.lens_table import ZoomRow, ZoomTable
from sequencer.rig.pose import pose
from sequencer.timebase.rate import Rate

FILM = Rate(24, 1)
CAMERA = Camera(sensor_mm=(24.0, 13.5), pixels=(3840, 2160), focal_mm=35.0, subject_m=4.0)
FIELD_DEG = 2 * math.degrees(math.atan(12 / 35))
CORNER = math.hypot(24.0, 13.5) / 2 / 24  # from the middle, in widths of the picture
KINDS: tuple[tuple[AxisKind, Unit], ...] = (
    ("pan", "deg"),
    ("tilt", "deg"),
    ("roll", "deg"),
    ("slide", "mm"),
    ("lift", "mm"),
    ("zoom", "part"),
)


def axis(kind: AxisKind, unit: Unit) -> Axis:
    return Axis(name=kind, kind=kind, unit=unit, travel=None, speed=1e3, acceleration=1e3, jerk=1e4)


RIG = Rig(name="head", axes=tuple(axis(*one) for one in KINDS), camera=CAMERA)


def steady(speeds: dict[str, float], lasts_s: float = 10.0, begins_s: float = 0.0) -> Trajectory:
    """Return a trajectory at steady speeds, from rest and to rest at once."""
    breaks = np.array([begins_s, begins_s + lasts_s])
    pieces = [
        (breaks, np.array([[speeds.get(name, 0.0)], [0.0]]), speeds.get(name, 0.0) * lasts_s) for name in RIG.names
    ]
    return Trajectory.joined(RIG.names, pieces, np.zeros(len(RIG.names)))


def middle_speed(crossing_s: float, rate: Rate = FILM) -> float:
    """Return the pan, in degrees a second, that shifts the middle by one width in that time, frame by frame."""
    return math.degrees(math.atan(24 / 35 / crossing_s / float(rate.fraction))) * float(rate.fraction)


def with_shutter(shutter_deg: float) -> Rig:
    return replace(RIG, camera=replace(CAMERA, shutter_deg=shutter_deg))


def test_the_rule_is_seven_seconds_at_24_and_180_degrees() -> None:
    assert least_crossing_s(FILM) == pytest.approx(7)
    assert not strobes(RIG, steady({"pan": middle_speed(7.01)}), FILM)
    (found,) = strobes(RIG, steady({"pan": middle_speed(6.99)}), FILM)
    assert found.axis == "pan"
    assert found.crossing_s == pytest.approx(6.99)
    assert found.gentle_speed == pytest.approx(middle_speed(7), rel=1e-4)
    assert (found.from_s, found.to_s) == (0.0, 10.0)
    # about as a handbook's table of panning speeds: the field of view in seven seconds, a little less than FIELD / 7
    assert found.gentle_speed == pytest.approx(FIELD_DEG / 7, rel=0.05)


@pytest.mark.parametrize(
    ("rate", "shutter_deg", "least_s"),
    [
        (Rate(48, 1), 180, 3.5),
        (Rate(25, 1), 180, 6.72),
        (Rate(24000, 1001), 180, 7.007),
        (Rate(24, 1), 90, 10.5),
        (Rate(24, 1), 45, 12.25),
        (Rate(24, 1), 270, 3.5),
        (Rate(24, 1), 360, 3.5),
    ],
)
def test_more_frames_and_wider_shutters_bear_faster_pans(rate: Rate, shutter_deg: float, least_s: float) -> None:
    assert least_crossing_s(rate, shutter_deg) == pytest.approx(least_s)
    rig = with_shutter(shutter_deg)
    assert strobes(rig, steady({"pan": middle_speed(0.99 * least_s, rate)}), rate)
    assert not strobes(rig, steady({"pan": middle_speed(1.01 * least_s, rate)}), rate)


@given(st.floats(1, 269), st.floats(1, 269))
def test_the_gap_between_two_blurs_is_the_same_at_every_limit(one_deg: float, other_deg: float) -> None:
    gaps = [allowed_shift(shutter) * (1 - shutter / 360) for shutter in (one_deg, other_deg)]
    assert gaps[0] == pytest.approx(gaps[1])


def test_a_longer_lens_asks_for_a_slower_pan() -> None:
    speed = middle_speed(8)
    assert not strobes(RIG, steady({"pan": speed}), FILM)
    assert strobes(replace(RIG, camera=replace(CAMERA, focal_mm=50)), steady({"pan": speed}), FILM)
    # zoomed in during the pan, too
    zoomed = replace(CAMERA, zoom_table=ZoomTable((ZoomRow(0.0, 35.0), ZoomRow(1.0, 70.0))))
    (found,) = strobes(replace(RIG, camera=zoomed), steady({"pan": speed, "zoom": 0.1}), FILM)
    assert found.axis == "pan"
    assert found.at_s == pytest.approx(10, abs=0.1)


def test_the_lens_of_the_second_frame_says_how_far_the_picture_has_shifted() -> None:
    camera = replace(CAMERA, zoom_table=ZoomTable((ZoomRow(0.0, 35.0), ZoomRow(1.0, 70.0))))
    positions = np.zeros((2, len(KINDS)))
    positions[1, 0], positions[1, 5] = 1.0, 1.0
    # and what it zooms by in between moves the corner away from the middle
    assert shifts(RIG, camera, positions)[0] == pytest.approx(70 / 24 * math.tan(math.radians(1)) + CORNER)


def test_a_slide_counts_by_the_distance_to_the_subject() -> None:
    # one width in seven seconds: 24 / 35 of the distance
    for subject_m in (1.0, 4.0):
        rig = replace(RIG, camera=replace(CAMERA, subject_m=subject_m))
        speed = 24 / 35 * subject_m * 1000 / 7
        assert not strobes(rig, steady({"slide": 0.999 * speed}), FILM)
        (found,) = strobes(rig, steady({"slide": 1.001 * speed}), FILM)
        assert found.axis == "slide"
        assert found.gentle_speed == pytest.approx(speed, rel=1e-3)


def test_a_pan_that_keeps_the_subject_in_the_middle_does_not_strobe() -> None:
    speed = 1.5 * 24 / 35 * 4000 / 7
    # half a second about the nearest point: the pan turns left as the slide goes right
    turn = math.degrees(speed / 4000)
    assert strobes(RIG, steady({"slide": speed}, 0.5), FILM)
    assert not strobes(RIG, steady({"slide": speed, "pan": turn}, 0.5), FILM)


def test_a_roll_counts_at_the_corner() -> None:
    speed = math.degrees(1 / 7 / CORNER)
    assert not strobes(RIG, steady({"roll": 0.999 * speed}), FILM)
    (found,) = strobes(RIG, steady({"roll": -1.001 * speed}), FILM)
    assert found.axis == "roll"
    assert found.speed == pytest.approx(1.001 * speed)


def test_a_push_in_counts_at_the_corner_by_how_near_the_subject_is() -> None:
    """A thing at the distance d seen off the axis by x is at f x / d: going in by a hundredth, x grows by 1 / 0.99."""
    rig = replace(RIG, geometry=Geometry(heading_deg=(("slide", 0.0),)))
    positions = np.zeros((2, len(KINDS)))
    positions[1, 3] = 40.0
    corner = np.array([4.0 * 12 / 35, 4.0, 4.0 * 6.75 / 35 + 1.5])
    seen = [projected(Lens((24.0, 13.5), 35.0, 4.0), from_camera(pose(rig, one), corner)) for one in positions]
    went = np.hypot((seen[1][0] - seen[0][0]) / 2, (seen[1][1] - seen[0][1]) / 2 * 13.5 / 24)
    assert shifts(rig, CAMERA, positions)[0] == pytest.approx(went)
    assert went == pytest.approx(CORNER * (1 / 0.99 - 1))
    # at 4 m, a slide into the picture may be as fast as this, from rest at 4 m
    gentle = 4000 / 7 / CORNER
    assert not strobes(rig, steady({"slide": 0.98 * gentle}, 1 / 24), FILM)
    (found,) = strobes(rig, steady({"slide": 1.01 * gentle}, 1 / 24), FILM)
    assert found.axis == "slide"
    assert found.gentle_speed == pytest.approx(gentle, rel=0.02)


def test_a_zoom_counts_at_the_corner_and_one_that_keeps_the_subjects_size_does_not() -> None:
    camera = replace(CAMERA, zoom_table=ZoomTable((ZoomRow(0.0, 35.0), ZoomRow(1.0, 70.0))))
    rig = replace(RIG, camera=camera, geometry=Geometry(heading_deg=(("slide", 180.0),)))
    # by its logarithm: in each frame by the same factor
    gentle = math.log2(1 + 1 / 7 / 24 / CORNER) * 24
    assert not strobes(rig, steady({"zoom": 0.999 * gentle}, 1 / gentle), FILM)
    (found,) = strobes(rig, steady({"zoom": 1.001 * gentle}, 1 / gentle), FILM)
    assert found.axis == "zoom"
    assert found.gentle_speed == pytest.approx(gentle, rel=1e-3)
    # away from the subject as the lens grows longer: it stays as large as it is, and only what is elsewhere changes
    positions = np.zeros((2, len(KINDS)))
    positions[1, 3], positions[1, 5] = 4000 * (2**0.1 - 1), 0.1
    assert shifts(rig, camera, positions)[0] == pytest.approx(0, abs=1e-12)
    positions[1, 3] = 0.0
    assert shifts(rig, camera, positions)[0] == pytest.approx(CORNER * (2**0.1 - 1))


def test_a_subject_that_the_camera_runs_into_is_out_of_sight() -> None:
    rig = replace(RIG, geometry=Geometry(heading_deg=(("slide", 0.0),)))
    positions = np.zeros((2, len(KINDS)))
    for into_mm in (4000.0, 5000.0):
        positions[1, 3] = into_mm
        assert shifts(rig, CAMERA, positions)[0] == np.inf


@given(st.lists(st.floats(-2, 2), min_size=5, max_size=5), st.lists(st.floats(-50, 50), min_size=5, max_size=5))
def test_the_shift_is_that_of_a_still_point_seen_through_the_lens(moved: list[float], start: list[float]) -> None:
    positions = np.array([[*start, 0.0], [*np.add(start, moved), 0.0]])
    positions[:, 2] = start[2]  # a camera that rolls moves its corners as well
    before, after = (pose(RIG, one) for one in positions)
    flat = projected(Lens((24.0, 13.5), 35.0, 4.0), from_camera(after, before.position + 4.0 * before.forward))
    # a pan of a tilted head also turns the picture about its middle; that is counted at the corner
    turned = before.matrix.T @ after.matrix
    angle = math.atan2(turned[0, 2] - turned[2, 0], turned[0, 0] + turned[2, 2])
    # so is what slide and lift bring nearer
    grown = 4.0 / np.linalg.norm(before.position + 4.0 * before.forward - after.position)
    corner = abs(complex(grown * math.cos(angle) - 1, grown * math.sin(angle))) * CORNER
    middle = math.hypot(flat[0] / 2, flat[1] / 2 * 13.5 / 24)
    assert shifts(RIG, CAMERA, positions)[0] == pytest.approx(middle + corner, abs=1e-12)


def test_at_half_speed_a_move_shifts_half_as_far_from_frame_to_frame() -> None:
    trajectory = steady({"pan": middle_speed(4)})
    assert strobes(RIG, trajectory, FILM)
    assert not strobes(RIG, trajectory, FILM, speed=0.5)
    (found,) = strobes(RIG, trajectory, FILM, speed=2.0)
    # in the seconds of the run, at the instants of the move as it is written
    assert found.speed == pytest.approx(2 * middle_speed(4), rel=1e-6)
    assert (found.from_s, found.to_s) == pytest.approx((0, 10), abs=0.1)


def test_what_counts_is_how_many_frames_are_taken_and_how_fast_they_are_shown() -> None:
    trajectory = steady({"pan": middle_speed(4)})
    # slow motion at 48 frames a second: on the screen it takes eight seconds
    assert not strobes(RIG, trajectory, FILM, camera_hz=48.0)
    # a timelapse, a frame every two seconds: on the screen a pan of a fifth of a degree a second is a fast one
    (found,) = strobes(RIG, steady({"pan": 0.2}, 600.0), FILM, camera_hz=0.5)
    assert found.crossing_s == pytest.approx(24 / 35 / math.tan(math.radians(0.4)) / 24, rel=1e-6)
    assert found.speed == pytest.approx(0.2)
    assert not strobes(RIG, steady({"pan": 0.2}, 600.0), FILM)


def test_stretches_near_each_other_are_one_and_others_are_told_apart() -> None:
    fast = middle_speed(3)
    breaks = np.array([0.0, 2.0, 2.3, 4.0, 8.0, 9.0])
    pan = np.array([[fast, 0.0, fast, 0.0, fast], [0.0, 2 * fast, 2 * fast, 3.7 * fast, 3.7 * fast]])
    still = np.zeros((2, 5))
    pieces = [(breaks, pan if name == "pan" else still, 4.7 * fast if name == "pan" else 0.0) for name in RIG.names]
    found = strobes(RIG, Trajectory.joined(RIG.names, pieces, np.zeros(len(RIG.names))), FILM)
    assert [end for one in found for end in (one.from_s, one.to_s)] == pytest.approx([0, 4, 8, 9], abs=0.05)


def test_a_whip_pan_is_told_from_one_that_strobes() -> None:
    (found,) = strobes(RIG, steady({"pan": middle_speed(0.4)}, 1.0), FILM)
    assert found.whip
    (found,) = strobes(RIG, steady({"pan": middle_speed(0.6)}, 1.0), FILM)
    assert not found.whip
    # so fast that nothing of the picture is left in the next frame
    (found,) = strobes(RIG, steady({"pan": 170 * 24}, 1.0), FILM)
    assert (found.whip, found.crossing_s, found.gentle_speed) == (True, 0.0, 0.0)


def test_a_rig_at_rest_or_without_a_camera_has_no_advice() -> None:
    assert strobes(RIG, steady({}), FILM) == ()
    assert strobes(RIG, Trajectory.still(RIG.names, np.zeros(len(RIG.names))), FILM) == ()
    assert strobes(replace(RIG, camera=None), steady({"pan": 300.0}), FILM) == ()


def test_a_long_move_is_worked_through_in_blocks_without_a_seam() -> None:
    # 30,000 frames: a fast stretch lies across the end of the first block
    fast, slow = middle_speed(6), middle_speed(8)
    begin, end = 16_000 / 24, 17_000 / 24
    breaks = np.array([0.0, begin, end, 1250.0])
    values = np.cumsum([0.0, slow * begin, fast * (end - begin)])
    pieces = [
        (breaks, np.array([[slow, fast, slow], values]) if name == "pan" else np.zeros((2, 3)), 0.0)
        for name in RIG.names
    ]
    (found,) = strobes(RIG, Trajectory.joined(RIG.names, pieces, np.zeros(len(RIG.names))), FILM)[:1]
    assert (found.from_s, found.to_s) == pytest.approx((begin, end), abs=0.05)
