"""How fast the camera goes: against the kinematics of rigid bodies, worked out by hand."""

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from sequencer.motion.camera_speed import camera_speed
from sequencer.motion.trajectory import Trajectory
from sequencer.rig.axis import Axis, AxisKind, Rig
from sequencer.rig.geometry import Geometry

Floats = NDArray[np.float64]
AT_S = np.linspace(0.0, 0.9, 10)


def axis(kind: AxisKind) -> Axis:
    unit = "mm" if kind in ("slide", "lift") else "deg"
    return Axis(
        name=kind,
        kind=kind,
        unit="mm" if unit == "mm" else "deg",
        travel=None,
        speed=900.0,
        acceleration=1e4,
        jerk=1e6,
    )


def steady(rig: Rig, begins: list[float], speeds: list[float]) -> Trajectory:
    """All axes at one speed each for a second."""
    pieces = [
        (np.array([0.0, 1.0]), np.array([[speed], [begin]]), begin + speed)
        for begin, speed in zip(begins, speeds, strict=True)
    ]
    return Trajectory.joined(rig.names, pieces, np.zeros(len(rig.axes)))


def test_a_lens_ahead_of_the_pivot_goes_round_as_pan_turns() -> None:
    rig = Rig(name="r", axes=(axis("pan"),), geometry=Geometry(pupil_mm=(0.0, 200.0, 0.0)))
    found = camera_speed(steady(rig, [10.0], [60.0]), rig, AT_S, 1.0, 0.5)
    # v = ω r
    assert found.pupil.value == pytest.approx(math.radians(60) * 0.2, rel=1e-6)
    assert found.turn.value == pytest.approx(60.0, rel=1e-6)
    assert found.part is not None
    assert found.part.value == pytest.approx(math.radians(60) * 0.5, rel=1e-6)


def test_slide_and_pan_add_up_where_they_go_the_same_way() -> None:
    rig = Rig(name="r", axes=(axis("pan"), axis("slide")), geometry=Geometry(pupil_mm=(0.0, 200.0, 0.0)))
    # pan to the right from straight ahead, slide to the right: at that instant both carry the lens along X
    found = camera_speed(steady(rig, [0.0, 0.0], [-60.0, 300.0]), rig, AT_S[:1], 1.0, None)
    assert found.pupil.value == pytest.approx(math.radians(60) * 0.2 + 0.3, rel=1e-6)
    assert found.part is None
    # at half the speed all goes half as fast
    half = camera_speed(steady(rig, [0.0, 0.0], [-60.0, 300.0]), rig, AT_S[:1], 0.5, None)
    assert half.pupil.value == pytest.approx(found.pupil.value / 2, rel=1e-6)


def test_turns_about_axes_at_right_angles_add_as_the_sides_of_a_right_triangle() -> None:
    rig = Rig(name="r", axes=(axis("pan"), axis("tilt")))
    found = camera_speed(steady(rig, [5.0, 20.0], [40.0, 30.0]), rig, AT_S, 1.0, None)
    assert found.turn.value == pytest.approx(50.0, rel=1e-6)
    # straight up, pan and roll turn about one axis, and the roll's way is against the pan's
    up = Rig(name="r", axes=(axis("pan"), axis("tilt"), axis("roll")))
    found = camera_speed(steady(up, [0.0, 90.0, 0.0], [40.0, 0.0, 25.0]), up, AT_S, 1.0, None)
    assert found.turn.value == pytest.approx(65.0, rel=1e-6)


def test_no_part_within_reach_is_faster_than_is_said() -> None:
    rig = Rig(name="r", axes=(axis("pan"), axis("tilt"), axis("slide")))
    way = steady(rig, [0.0, 0.0, 0.0], [70.0, -50.0, 250.0])
    found = camera_speed(way, rig, AT_S, 1.0, 0.6)
    assert found.part is not None
    generator = np.random.default_rng(2)
    arms = generator.normal(size=(400, 3))
    arms *= 0.6 / np.linalg.norm(arms, axis=1)[:, None]
    fastest = 0.0
    for at_s in AT_S:
        places = [_carried(rig, way.sample(np.array([at]))[0], arms) for at in (at_s, at_s + 1e-6)]
        fastest = max(fastest, float(np.linalg.norm(places[1] - places[0], axis=1).max() / 1e-6))
    assert fastest <= found.part.value * (1 + 1e-6)
    assert fastest >= found.part.value * 0.95


def _carried(rig: Rig, place: Floats, arms: Floats) -> Floats:
    """Where points fixed to the head are: tilted, then panned (docs/conventions.md), then carried by the slide."""
    pan, tilt = math.radians(place[0]), math.radians(place[1])
    about_x = np.array([[1, 0, 0], [0, math.cos(tilt), -math.sin(tilt)], [0, math.sin(tilt), math.cos(tilt)]])
    about_z = np.array([[math.cos(pan), -math.sin(pan), 0], [math.sin(pan), math.cos(pan), 0], [0, 0, 1]])
    return np.asarray(arms @ (about_z @ about_x).T + [place[2] / 1000, 0.0, rig.geometry.height_m])
