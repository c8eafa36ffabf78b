"""From one point to another along the great circle: against scipy's Slerp, and where there is none."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation, Slerp

from sequencer.motion.arc import apart_deg, between


def test_directions_are_those_of_scipys_slerp() -> None:
    random = np.random.default_rng(2)
    weight = np.linspace(0, 1, 41)
    for _ in range(50):
        seen_from, one, other = random.uniform(-5, 5, (3, 3))
        a, b = (
            (one - seen_from) / np.linalg.norm(one - seen_from),
            (other - seen_from) / np.linalg.norm(other - seen_from),
        )
        about = np.cross(a, b)
        angle = np.arctan2(np.linalg.norm(about), a @ b)
        turns = Slerp([0, 1], Rotation.from_rotvec([np.zeros(3), about / np.linalg.norm(about) * angle]))
        found = between(np.tile(seen_from, (41, 1)), one, other, weight) - seen_from
        theirs = turns(weight).apply(a)
        assert found / np.linalg.norm(found, axis=1)[:, None] == pytest.approx(theirs, abs=1e-9)


def test_it_begins_at_one_and_ends_at_the_other_while_the_camera_moves() -> None:
    seen_from = np.linspace([0, 0, 1], [1, 0.5, 1.4], 5)
    weight = np.array([0, 0.25, 0.5, 0.75, 1])
    found = between(seen_from, np.array([1.0, 4, 0]), np.array([-2.0, 3, 2]), weight)
    assert found[0] == pytest.approx([1, 4, 0])
    assert found[-1] == pytest.approx([-2, 3, 2])


def test_the_pace_is_even_in_angle_and_in_the_distances_reciprocal() -> None:
    weight = np.linspace(0, 1, 11)
    place = np.zeros((11, 3))
    found = between(place, np.array([0.0, 1, 0]), np.array([8.0, 0, 0]), weight)
    assert np.diff(apart_deg(place, found, np.array([0.0, 1, 0]))) == pytest.approx(np.full(10, 9.0))
    assert np.diff(1 / np.linalg.norm(found, axis=1)) == pytest.approx(np.full(10, (1 / 8 - 1) / 10))


def test_points_in_one_direction_differ_in_distance_only() -> None:
    found = between(np.zeros((3, 3)), np.array([0.0, 1, 0]), np.array([0.0, 4, 0]), np.array([0.0, 0.5, 1.0]))
    assert found == pytest.approx(np.array([[0, 1, 0], [0, 1.6, 0], [0, 4, 0]]))


def test_opposite_points_and_a_point_in_the_camera_are_refused() -> None:
    place = np.zeros((2, 3))
    with pytest.raises(ValueError, match=r"180\.0 deg apart.*go by way of a third point"):
        between(place, np.array([0.0, 1, 0]), np.array([0.0, -2, 0]), np.array([0.0, 1.0]))
    with pytest.raises(ValueError, match="where the camera is"):
        between(place, np.zeros(3), np.array([0.0, -2, 0]), np.array([0.0, 1.0]))
