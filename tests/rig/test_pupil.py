"""An entrance pupil beside the point where pan, tilt and roll meet: the camera is where scipy's rotations carry it.

Where the lens's table moves it with zoom and focus, scipy's interpolators read that table.
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from sequencer.rig.axis import Rig
from sequencer.rig.geometry import Geometry
from sequencer.rig.lens_table import LensRow, LensTable
from sequencer.rig.pose import pose, pupil_m, stood
from sequencer.rig.reading import reading
from tests.motion.aim_oracles import KINDS, ZOOMS, axis, pupil_mm, random_place, random_rig, zooming

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


def test_a_table_moves_the_pupil_with_zoom_and_focus_ahead_of_the_sensor_plane() -> None:
    random = np.random.default_rng(9)
    for _ in range(100):
        rig = zooming(random_rig(random), random)
        at, _ = random_place(rig, random)
        pivot, angles_deg = stood(rig, at)
        turned = Rotation.from_euler("ZXY", angles_deg, degrees=True)
        # a hundredth of a millimetre is what a camera path is to be right to
        assert pose(rig, at).position == pytest.approx(pivot + turned.apply(pupil_mm(rig, at) / 1000), abs=1e-9)
        both = pose(rig, np.stack((at, at * 0.5)))
        assert both.position[0] == pytest.approx(pose(rig, at).position, abs=1e-14)


def test_without_a_word_the_sensor_plane_is_where_the_axes_meet() -> None:
    camera = replace(ZOOMS, pupil=LensTable((LensRow(84.5, None, 24.0), LensRow(128.0, None, 70.0))))
    rig = Rig(name="zoom", axes=(axis("zoom", "zoom", "part", (0.0, 1.0)),), camera=camera)
    assert pupil_m(rig, [[0.0], [1.0]]) == pytest.approx(np.array([[0, 0.0845, 0], [0, 0.128, 0]]))
    assert pose(rig, [1.0]).position == pytest.approx([0, 0.128, 1.5])


def test_a_focus_in_mm_counts_from_the_pupil_that_it_moves_itself() -> None:
    """The distance ahead of the pupil, and the pupil ahead of the sensor plane, come to the table's own distance."""
    pupil = LensTable((LensRow(60.0, "0.4 m"), LensRow(150.0, "4 m")))
    camera = replace(ZOOMS, focus_table=None, zoom_table=None, pupil=pupil)
    rig = Rig(name="macro", axes=(axis("focus", "focus", "mm"),), camera=camera)
    for ahead_mm in (150.0, 340.0, 1000.0, 3850.0):
        what = reading(camera, rig, [ahead_mm])
        assert float(what.distance_m) * 1000 == pytest.approx(ahead_mm + float(what.pupil_mm), abs=1e-3)
        assert what.pupil_mm == pytest.approx(pupil.at(35.0, what.distance_m), abs=1e-9)
        assert what.ahead_m == pytest.approx(ahead_mm / 1000, abs=1e-6)


@pytest.mark.parametrize("wrong", [(float("nan"), 0.0, 0.0), (0.0, 2500.0, 0.0), (0.0, 0.0, float("-inf"))])
@pytest.mark.parametrize("field", ["pupil_mm", "sensor_plane_mm"])
def test_a_place_where_no_lens_is_is_refused(field: str, wrong: tuple[float, float, float]) -> None:
    with pytest.raises(ValueError, match=rf"{field} has .*must be from -2000 to 2000"):
        Geometry(**{field: wrong})  # type: ignore[arg-type]  # either field, by its name


def test_two_places_of_one_lens_are_refused() -> None:
    with pytest.raises(ValueError, match=r"pupil_mm and sensor_plane_mm are both given.*keep one"):
        Geometry(pupil_mm=PUPIL_MM, sensor_plane_mm=PUPIL_MM)


def test_a_fixed_pupil_beside_a_table_is_refused_with_the_place_of_the_sensor_plane() -> None:
    axes = (axis("zoom", "zoom", "part", (0.0, 1.0)),)
    with pytest.raises(ValueError, match=r"the camera has a table pupil.*sensor_plane_mm \[12, .*, -20\]") as caught:
        Rig(name="both", axes=axes, camera=ZOOMS, geometry=Geometry(pupil_mm=PUPIL_MM))
    offered = float(str(caught.value).split("[12, ")[1].split(",")[0])
    # the zoom stands where the lens has the camera's own focal length
    place = Geometry(sensor_plane_mm=(12.0, offered, -20.0))
    mended = Rig(name="both", axes=axes, camera=ZOOMS, geometry=place)
    assert ZOOMS.zoom_table is not None
    assert pupil_m(mended, [ZOOMS.zoom_table.position(ZOOMS.focal_mm)]) * 1000 == pytest.approx(PUPIL_MM, abs=0.01)


def test_a_sensor_plane_without_a_table_of_the_pupil_is_refused() -> None:
    for camera in (None, replace(ZOOMS, pupil=None)):
        with pytest.raises(ValueError, match=r"give the camera a table pupil.*or write pupil_mm"):
            replace(RIG, camera=camera, geometry=Geometry(sensor_plane_mm=PUPIL_MM))


def test_it_stays_when_axes_are_renamed_or_taken_out() -> None:
    assert RIG.geometry.renamed("pan", "head").pupil_mm == PUPIL_MM
    assert RIG.geometry.suited({"tilt": "tilt"}).pupil_mm == PUPIL_MM
