"""A camera before the rig: its lens on the motors, its sensor on ours, pupils that move; and what is left as it was."""

from dataclasses import replace
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator
from scipy.spatial.transform import Rotation

from sequencer.live.filmed import Film, Placing, Way, part, way
from sequencer.rig.axis import Axis, Camera, Rig
from sequencer.rig.distance import metres
from sequencer.rig.lens_table import FocusRow, FocusTable, LensRow, LensTable, ZoomRow, ZoomTable
from sequencer.timebase.rate import Rate
from tests.live.rigs import PAN, RIG, ROLL, TILT
from tests.motion.aim_oracles import ZOOM_ROWS, random_rig, zooming
from tests.motion.seen_oracle import seen

COUNT = 60
U = np.linspace(0, 1, COUNT)
ZOOM = Axis(name="zoom", kind="zoom", unit="part", travel=(0, 1), speed=1, acceleration=4, jerk=30)
FOCUS = replace(ZOOM, name="focus", kind="focus")
LENS = Camera(
    sensor_mm=(24.0, 13.5),
    pixels=(3840, 2160),
    focal_mm=35.0,
    subject_m=2.0,
    zoom_table=ZoomTable((ZoomRow(0.0, 24.0), ZoomRow(0.4, 35.0), ZoomRow(1.0, 70.0))),
    focus_table=FocusTable((FocusRow(0.0, "inf"), FocusRow(0.3, "4 m"), FocusRow(0.6, "2 m"), FocusRow(1.0, "1 m"))),
)
HEAD = Rig(name="head", axes=(PAN, TILT, ROLL, ZOOM, FOCUS), camera=LENS)


def film(**how: Any) -> Film:
    """Return a camera that stands still and says what is given."""
    still = {
        "name": "still",
        "rate": Rate(25),
        "frames": np.arange(COUNT) + 100.0,
        "position_m": np.tile([0.0, 0.0, 1.5], (COUNT, 1)),
        "matrix": np.tile(np.eye(3), (COUNT, 1, 1)),
        "focal_mm": np.full(COUNT, np.nan),
        "focus_m": np.full(COUNT, np.nan),
    }
    return Film(**{**still, **how})


def run(rig: Rig, found: Film, placing: Placing | None = None) -> Way:
    others = np.tile([axis.home for axis in rig.axes], (len(found.frames), 1))
    return way(rig, found, np.arange(len(found.frames)) / 25, others, placing or Placing(), 0.0)


def of(rig: Rig, one: Way, name: str) -> np.ndarray:
    values: np.ndarray = one.positions[:, rig.index(name)]
    return values


def test_zoom_and_focus_go_by_the_lenses_tables() -> None:
    """Source: scipy's PchipInterpolator, over logarithms of focal lengths and inverse distances."""
    at = 0.05 + 0.9 * U
    focal_mm = np.exp(PchipInterpolator([0.0, 0.4, 1.0], np.log([24.0, 35.0, 70.0]))(at))
    near = PchipInterpolator([0.0, 0.3, 0.6, 1.0], [0.0, 1 / 4, 1 / 2, 1.0])(at)
    one = run(HEAD, film(focal_mm=focal_mm, focus_m=1 / near, sensor_mm=(24.0, 13.5)))
    np.testing.assert_allclose(of(HEAD, one, "zoom"), at, atol=1e-6)
    np.testing.assert_allclose(of(HEAD, one, "focus"), at, atol=1e-6)
    assert dict(one.driven)["zoom"] is not None
    assert not one.remarks


@pytest.mark.parametrize("seed", range(6))
def test_a_pupil_that_goes_with_zoom_and_focus_is_made_up_for(seed: int) -> None:
    random = np.random.default_rng(seed)
    rig = zooming(random_rig(random), random)
    was = np.array([random.uniform(-20, 20) + 30 * U * random.uniform(-1, 1) for _ in rig.axes]).T
    for kind in ("zoom", "focus"):
        was[:, rig.index(kind)] = random.uniform(0.2, 0.8) + 0.15 * U
    position_m, matrix = seen(rig, was)
    assert rig.camera is not None
    # by hand: the true focal length and the distance from the pupil, as a file has them
    zoom, focus = (was[:, rig.index(kind)] for kind in ("zoom", "focus"))
    focal_mm = np.exp(PchipInterpolator([row[0] for row in ZOOM_ROWS], [np.log(row[1]) for row in ZOOM_ROWS])(zoom))
    rows = rig.camera.focus_table.rows if rig.camera.focus_table else ()
    sensor_m = 1 / PchipInterpolator([row.at for row in rows], [1 / metres(row.distance) for row in rows])(focus)
    breathes = PchipInterpolator([0.0, 2.0], [1.0, 1.06])(1 / sensor_m)
    assert rig.camera.pupil is not None
    ahead_m = sensor_m - rig.camera.pupil.at(focal_mm, sensor_m) / 1000
    found = film(position_m=position_m, matrix=matrix, focal_mm=focal_mm * breathes, focus_m=ahead_m)
    others = np.tile(was[0], (COUNT, 1))
    there = way(rig, replace(found, sensor_mm=rig.camera.sensor_mm), U, others, Placing(), 0.0)
    np.testing.assert_allclose(there.positions, was, atol=2e-4)  # millimetres, degrees, parts
    assert np.abs(there.off_m).max() < 1e-9


def test_another_sensor_takes_another_focal_length_to_show_as_much() -> None:
    one = run(HEAD, film(focal_mm=np.full(COUNT, 52.5), sensor_mm=(36.0, 24.0)))
    np.testing.assert_allclose(of(HEAD, one, "zoom"), 0.4, atol=1e-6)  # 35 mm on 24 mm of width
    assert "its sensor is 36 mm wide and the one here 24 mm" in one.remarks[0]


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({}, "it says no focal length; zoom is left as it was"),
        ({}, "it says no focus; focus is left as it was"),
        ({"focus_m": np.zeros(COUNT)}, "it says no focus; focus is left as it was"),
        ({"focal_mm": np.where(U < 0.5, np.nan, 35.0)}, "it says no focal length in 30 of its 60 samples"),
        ({"focal_mm": np.full(COUNT, 85.0)}, "85 to 85 mm, and the zoom's scale goes from 24 to 70 mm"),
        ({"focus_m": np.full(COUNT, 0.5)}, "the lens's scale goes from 1 m to infinity; focus is left as it was"),
    ],
)
def test_what_it_does_not_say_and_what_the_lens_cannot_do_is_left(how: dict[str, Any], words: str) -> None:
    one = run(HEAD, film(**how))
    assert any(words in remark for remark in one.remarks)
    assert set(dict(one.driven)) < {"pan", "tilt", "roll", "zoom", "focus"}
    for name, _ in one.driven:
        assert np.isfinite(of(HEAD, one, name)).all()


def test_infinity_is_the_end_of_a_table_and_nothing_that_millimetres_hold() -> None:
    far = film(focus_m=np.full(COUNT, np.inf))
    one = run(HEAD, far)
    np.testing.assert_allclose(of(HEAD, one, "focus"), 0.0, atol=1e-9)
    assert (dict(one.driven)["focus"] or 0) > 0
    millimetres = replace(FOCUS, unit="mm", travel=None)
    one = run(Rig(name="head", axes=(PAN, TILT, millimetres)), far)
    assert "focused at infinity" in one.remarks[-1]
    assert "focus" not in dict(one.driven)


def test_a_lens_that_cannot_zoom_shows_more_or_less_and_says_so() -> None:
    fixed = replace(HEAD, axes=(PAN, TILT, ROLL))
    assert "the camera here has 35 mm and no zoom" in run(fixed, film(focal_mm=np.full(COUNT, 50.0))).remarks[0]
    assert not run(fixed, film(focal_mm=np.full(COUNT, 35.0))).remarks


def test_a_scale_is_of_focus_too_and_not_of_the_lens() -> None:
    found = film(focal_mm=np.full(COUNT, 35.0), focus_m=np.full(COUNT, 12.0))
    one = run(HEAD, found, Placing(scale=1 / 6))
    np.testing.assert_allclose(of(HEAD, one, "focus"), 0.6, atol=1e-6)
    np.testing.assert_allclose(of(HEAD, one, "zoom"), 0.4, atol=1e-6)


def test_axes_that_nobody_can_read_and_those_that_do_the_same_are_named() -> None:
    odd = Rig(name="odd", axes=(PAN, replace(PAN, name="table"), replace(TILT, unit="part", travel=(0, 1))))
    remarks = run(odd, film()).remarks
    assert any("table stays as it is: another axis does the same" in one for one in remarks)
    assert any("tilt counts part; to be read as a camera's it needs deg" in one for one in remarks)


def test_a_breathing_lens_is_marked_with_less_than_it_draws() -> None:
    breathing = replace(LENS, breathing=LensTable((LensRow(1.0, "inf"), LensRow(1.1, "1 m"))))
    rig = replace(HEAD, camera=breathing)
    one = run(rig, film(focal_mm=np.full(COUNT, 35.0 * 1.1), focus_m=np.full(COUNT, 1.0)))
    np.testing.assert_allclose(of(rig, one, "zoom"), 0.4, atol=1e-6)


def test_a_part_begins_at_its_own_timecode() -> None:
    cut = part(film(start=Fraction(10)), 110.0, 119.5)
    assert (cut.frames[0], cut.frames[-1], cut.start) == (110.0, 119.0, 10 + Fraction(10, 25))
    assert len(part(film(), 900.0, 950.0).frames) == 0


@pytest.mark.parametrize(
    "wrong", [{"scale": 0.0}, {"scale": -1.0}, {"scale": float("nan")}, {"turn_deg": float("inf")}]
)
def test_a_placing_that_makes_no_sense_is_refused(wrong: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match="must be"):
        Placing(**wrong)


def test_what_the_rig_does_not_have_is_named_where_it_matters() -> None:
    leaning = np.tile(Rotation.from_euler("y", 5, degrees=True).as_matrix(), (COUNT, 1, 1))
    level = Rig(name="level", axes=(PAN, TILT))
    one = run(level, film(matrix=leaning))
    assert any("the rig has no roll in deg" in words for words in one.remarks)
    np.testing.assert_allclose(one.off_deg, 5.0, atol=1e-9)
    assert not any("no roll" in words for words in run(level, film()).remarks)


def test_the_quays_rig_takes_what_it_has() -> None:
    assert [name for name, _ in run(RIG, film()).driven] == ["pan", "tilt", "roll", "slide"]
