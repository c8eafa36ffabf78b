"""What the output of tracking data says of the lens: by its tables, by motors in mm, or only as encoders."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from sequencer.rig.axis import Rig
from sequencer.rig.lens import from_camera, lens, projected
from sequencer.rig.pose import pose, stood
from tests.adapters.test_opentrackio import AT, AXES, CAMERA, axis, drawn, sent, setpoint
from tests.motion.aim_oracles import ZOOMS, pupil_mm, random_place, random_rig, zooming


def test_a_lens_with_tables_is_told_by_them_and_its_pupil_moves_the_place() -> None:
    """scipy reads the tables and turns the pupil; the receiver draws by what it was told."""
    random = np.random.default_rng(11)
    for _ in range(20):
        rig = zooming(random_rig(random), random)
        at, point = random_place(rig, random)
        (sample,) = sent(setpoint(tuple(at)), rig=rig)
        (transform,) = sample["transforms"]
        place = np.array(list(transform["translation"].values()))
        pivot, angles_deg = stood(rig, at)
        turn = Rotation.from_euler("ZXY", angles_deg, degrees=True)
        assert place == pytest.approx(pivot + turn.apply(pupil_mm(rig, at) / 1000), abs=1e-9)
        camera = rig.camera
        assert camera is not None
        here, (what, guessed) = pose(rig, at), lens(camera, rig, at)
        assert not guessed
        assert sample["lens"]["focusDistance"] == pytest.approx(what.focus_m)
        assert set(sample["lens"]["encoders"]) == {"zoom", "focus"}
        ours = projected(what, from_camera(here, point))
        drawn_at = drawn(sample, camera.sensor_mm, point[np.newaxis])[0]
        assert np.isnan(ours).all() or np.abs(drawn_at - ours).max() < 1e-9 * (1 + np.abs(ours).max())


def test_focused_at_infinity_it_is_told_as_ten_kilometres() -> None:
    rig = Rig(name="quay", axes=(axis("focus", "focus", "part"),), camera=ZOOMS)
    (sample,) = sent(setpoint((0.0,)), rig=rig)
    assert sample["lens"]["focusDistance"] == 10_000


def test_a_focus_alone_that_has_a_table_is_told_and_a_zoom_that_has_none_is_not() -> None:
    rig = Rig(
        name="quay",
        axes=(axis("zoom", "zoom", "part"), axis("focus", "focus", "part")),
        camera=replace(ZOOMS, zoom_table=None, pupil=None),
    )
    (sample,) = sent(setpoint((0.5, 0.7)), rig=rig)
    assert sample["lens"]["focusDistance"] == pytest.approx(1.2)
    assert "pinholeFocalLength" not in sample["lens"]


def test_a_lens_that_does_not_zoom_has_its_focal_length_and_no_made_up_distance() -> None:
    rig = Rig(name="quay", axes=AXES[:4], camera=CAMERA)
    (sample,) = sent(setpoint(AT[:4]), rig=rig)
    assert sample["lens"] == {"entrancePupilOffset": 0.0, "pinholeFocalLength": 35.0}
    assert sample["static"]["lens"] == {"nominalFocalLength": 35.0}


def test_a_lens_that_counts_parts_is_told_as_encoders_only() -> None:
    rig = Rig(name="quay", axes=(axis("zoom", "zoom", "part"), axis("focus", "focus", "part")), camera=CAMERA)
    (sample,) = sent(setpoint((0.25, 1.5)), rig=rig)
    assert sample["lens"] == {"entrancePupilOffset": 0.0, "encoders": {"zoom": 0.25, "focus": 1.0}}
