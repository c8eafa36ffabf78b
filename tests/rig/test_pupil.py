"""An entrance pupil beside the point where pan, tilt and roll meet: the camera is where scipy's rotations carry it."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from sequencer.rig.axis import Rig
from sequencer.rig.geometry import Geometry
from sequencer.rig.pose import pose, stood
from tests.motion.aim_oracles import KINDS, axis

PUPIL_MM = (12.0, 95.0, -20.0)
RIG = Rig(
    name="all",
    axes=tuple(axis(kind, kind, unit) for kind, unit in KINDS),
    geometry=Geometry(height_m=1.2, pupil_mm=PUPIL_MM),
)


def test_at_zero_the_pupil_is_to_the_right_ahead_and_above_by_what_is_said() -> None:
    assert pose(RIG, np.zeros(5)).position == pytest.approx([0.012, 0.095, 1.18])


def test_the_head_carries_the_pupil_round_the_point_in_which_its_axes_meet() -> None:
    at = np.random.default_rng(6).uniform([-400, -90, -60, -2000, -500], [400, 90, 60, 2000, 500], (50, 5))
    pivot, angles_deg = stood(RIG, at)
    turned = Rotation.from_euler("ZXY", angles_deg, degrees=True)
    assert pose(RIG, at).position == pytest.approx(pivot + turned.apply(np.array(PUPIL_MM) / 1000), abs=1e-12)
    assert pose(RIG, at).matrix == pytest.approx(turned.as_matrix(), abs=1e-12)
    # the point itself goes with slide and lift only
    assert pivot == pytest.approx(np.stack((at[:, 3] / 1000, np.zeros(50), 1.2 + at[:, 4] / 1000), axis=1))


def test_panned_by_half_a_turn_the_pupil_is_on_the_other_side() -> None:
    assert pose(RIG, [180.0, 0, 0, 0, 0]).position == pytest.approx([-0.012, -0.095, 1.18])


def test_many_instants_are_those_one_by_one() -> None:
    at = np.random.default_rng(1).uniform(-90, 90, (4, 3, 5))
    together = pose(RIG, at).position
    for row in np.ndindex(4, 3):
        assert together[row] == pytest.approx(pose(RIG, at[row]).position, abs=1e-14)


@pytest.mark.parametrize("wrong", [(float("nan"), 0.0, 0.0), (0.0, 2500.0, 0.0), (0.0, 0.0, float("-inf"))])
def test_a_pupil_that_no_lens_has_is_refused(wrong: tuple[float, float, float]) -> None:
    with pytest.raises(ValueError, match=r"pupil_mm has .*must be from -2000 to 2000"):
        replace(RIG.geometry, pupil_mm=wrong)


def test_it_stays_when_axes_are_renamed_or_taken_out() -> None:
    assert RIG.geometry.renamed("pan", "head").pupil_mm == PUPIL_MM
    assert RIG.geometry.suited({"tilt": "tilt"}).pupil_mm == PUPIL_MM
