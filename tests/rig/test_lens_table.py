"""The lens's tables: from motor to distance and focal length and back; breathing and the pupil; what is refused."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from sequencer.rig.axis import Axis, AxisKind, Camera, Rig, Unit
from sequencer.rig.distance import metres
from sequencer.rig.lens import FAR_M, lens
from sequencer.rig.lens_table import FocusRow, FocusTable, LensRow, LensTable, ZoomRow, ZoomTable
from sequencer.rig.reading import reading

SCALE = ((0.0, "0.6 m"), (0.21, "0.8 m"), (0.43, "1.2 m"), (0.61, "2 m"), (0.8, "5 m"), (0.93, "20 m"), (1.0, "inf"))
FEET = ((0.0, "inf"), (0.3, "25 ft"), (0.5, "10 ft"), (0.8, "5 ft"), (1.0, "3' 6\""))
ZOOM = ((0.0, 24.0), (0.3, 35.0), (0.7, 60.0), (1.0, 90.0))


def focus(rows: tuple[tuple[float, str], ...] = SCALE) -> FocusTable:
    return FocusTable(tuple(FocusRow(*row) for row in rows))


def zoom(rows: tuple[tuple[float, float], ...] = ZOOM) -> ZoomTable:
    return ZoomTable(tuple(ZoomRow(*row) for row in rows))


def axis(kind: AxisKind, unit: Unit) -> Axis:
    return Axis(name=kind, kind=kind, unit=unit, travel=None, speed=1, acceleration=1, jerk=1)


CAMERA = Camera(
    sensor_mm=(24.9, 14.0), pixels=(4096, 2304), focal_mm=35, subject_m=3.5, focus_table=focus(), zoom_table=zoom()
)
RIG = Rig(name="lens", axes=(axis("zoom", "part"), axis("focus", "part")), camera=CAMERA)


@pytest.mark.parametrize("rows", [SCALE, FEET])
def test_every_row_of_the_scale_is_met_exactly(rows: tuple[tuple[float, str], ...]) -> None:
    table = focus(rows)
    for at, distance in rows:
        assert table.distance_m(at) == pytest.approx(metres(distance), rel=1e-15)
        assert table.position(metres(distance)) == at
    assert table.ends == (0.0, 1.0)
    assert table.scale == ("m" if rows is SCALE else "ft")


@given(st.sampled_from([SCALE, FEET]), st.floats(1.2, 1e4))
def test_a_distance_goes_to_the_motor_and_comes_back(rows: tuple[tuple[float, str], ...], distance_m: float) -> None:
    table = focus(rows)
    assert float(table.distance_m(table.position(distance_m))) == pytest.approx(distance_m, rel=1e-11)


@given(st.sampled_from([SCALE, FEET]), st.floats(0, 1))
def test_a_motor_position_goes_to_a_distance_and_comes_back(rows: tuple[tuple[float, str], ...], at: float) -> None:
    table = focus(rows)
    assert table.position(float(table.distance_m(at))) == pytest.approx(at, abs=1e-12)


def test_the_scale_is_interpolated_by_the_inverse_of_distance() -> None:
    at = np.linspace(0, 1, 301)
    theirs = PchipInterpolator([row[0] for row in SCALE], [1 / metres(row[1]) for row in SCALE])(at)
    assert 1 / focus().distance_m(at) == pytest.approx(theirs, abs=1e-12)


def test_a_distance_that_is_not_on_the_scale_is_refused_with_what_is() -> None:
    with pytest.raises(ValueError, match=r"0\.5 m is not on the lens's scale; it goes from 0\.6 m to infinity"):
        focus().position(0.5)
    with pytest.raises(ValueError, match=r"3' 0\" is not on the lens's scale; it goes from 3' 6\" to infinity"):
        focus(FEET).position(0.9144)
    with pytest.raises(ValueError, match=r"infinity is not on the lens's scale; it goes from 0\.6 m to 20 m"):
        focus(SCALE[:-1]).position(math.inf)


@given(st.floats(24, 90), st.floats(0, 1))
def test_a_focal_length_goes_to_the_motor_and_comes_back(focal_mm: float, at: float) -> None:
    assert float(zoom().focal_mm(zoom().position(focal_mm))) == pytest.approx(focal_mm, rel=1e-12)
    assert zoom().position(float(zoom().focal_mm(at))) == pytest.approx(at, abs=1e-12)


def test_a_focal_length_that_is_not_on_the_scale_is_refused_with_what_is() -> None:
    assert [zoom().position(focal_mm) for _, focal_mm in ZOOM] == [at for at, _ in ZOOM]
    with pytest.raises(ValueError, match="20 mm is not on the zoom's scale; it goes from 24 to 90 mm"):
        zoom().position(20)


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        (((0, "1 m"), (0.5, "3 m"), (0.7, "2 m")), "row 3: distance 2 m is a turn after 3 m of row 2"),
        (((0, "1 m"), (0.5, "3 m"), (0.7, "300 cm")), "row 3: distance 300 cm is the same as 3 m of row 2"),
        (((0, "1 m"), (0.5, "3 m"), (0.5, "4 m")), "row 3: at is 0.5, not above 0.5 of row 2; sort the rows"),
        (((0, "1 m"), (0.5, "3"), (0.7, "4 m")), "row 2: '3' is no distance"),
        (((0, "1 m"), (math.inf, "3 m")), "row 2: at is inf"),
        (((0, "1 m"),), "two rows at least"),
        ((), "two rows at least"),
    ],
)
def test_a_scale_that_turns_or_is_none_is_refused_with_its_row(rows: tuple[tuple[float, str], ...], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        focus(rows)


def test_a_zoom_that_turns_or_has_no_length_is_refused_with_its_row() -> None:
    with pytest.raises(ValueError, match="row 3: focal_mm 30 mm is a turn after 35 mm of row 2"):
        zoom(((0, 24), (0.5, 35), (1, 30)))
    with pytest.raises(ValueError, match="row 2: focal_mm is 0; it must be above zero"):
        zoom(((0, 24), (0.5, 0), (1, 30)))


def test_breathing_follows_focus_for_each_focal_length() -> None:
    table = LensTable(
        (
            LensRow(1.0, "inf", 24.0),
            LensRow(1.08, "0.5 m", 24.0),
            LensRow(1.0, "inf", 90.0),
            LensRow(1.10, "1 m", 90.0),
            LensRow(1.16, "0.5 m", 90.0),
        )
    )
    near = PchipInterpolator([0, 1, 2], [1.0, 1.10, 1.16])
    assert table.at(90.0, 0.8) == pytest.approx(near(1 / 0.8))
    assert table.at(24.0, 1.0) == pytest.approx(1.04)
    # halfway from one focal length to the other, and beyond them
    assert table.at([57.0, 10.0, 200.0], 1.0) == pytest.approx([1.07, 1.04, 1.10])
    assert table.at(57.0, [math.inf, 0.1]) == pytest.approx([1.0, 1.12])


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ((), "no rows"),
        ((LensRow(1.0, "inf"), LensRow(1.1)), "row 2: only some rows say distance; every row says it, or none does"),
        (
            (LensRow(1.0, "inf"), LensRow(1.1, "1 m", 35.0)),
            "row 2: only some rows say focal_mm; every row says it, or none does",
        ),
        ((LensRow(1.0, "1 m"), LensRow(1.1, "100 cm")), "row 2: says again"),
        ((LensRow(1.0, "1 m", 0.0),), "row 1: focal_mm is 0.0"),
    ],
)
def test_rows_that_do_not_go_together_are_refused(rows: tuple[LensRow, ...], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        LensTable(rows)


def test_a_camera_refuses_what_no_lens_has() -> None:
    with pytest.raises(ValueError, match=r"breathing row 1: factor is 3; it must be from 0\.5 to 2"):
        replace(CAMERA, breathing=LensTable((LensRow(3.0),)))
    with pytest.raises(ValueError, match="pupil row 1: ahead_mm is 20000"):
        replace(CAMERA, pupil=LensTable((LensRow(20_000.0),)))
    with pytest.raises(ValueError, match="f_number is 0; it must be above zero"):
        replace(CAMERA, f_number=0.0)
    with pytest.raises(ValueError, match="a shutter is open for 360 degrees at most"):
        replace(CAMERA, shutter_deg=361.0)


def test_the_lens_reads_its_tables_and_guesses_nothing() -> None:
    found, guessed = lens(CAMERA, RIG, np.array([0.3, 0.61]))
    assert (found.focal_mm, found.focus_m) == pytest.approx((35, 2))
    assert guessed == ()
    # a table counts whatever the axis's unit
    metric = replace(RIG, axes=(axis("zoom", "mm"), axis("focus", "mm")))
    assert lens(CAMERA, metric, np.array([0.3, 0.61]))[0] == found


def test_beyond_a_table_its_end_holds_and_that_is_said() -> None:
    found, guessed = lens(CAMERA, RIG, np.array([1.2, -0.1]))
    assert (found.focal_mm, found.focus_m) == pytest.approx((90, 0.6))
    assert guessed == ("zoom", "focus")
    assert reading(CAMERA, RIG, [[0.3, 0.5], [0.3, 1.5]]).guessed == ("focus",)


def test_infinity_is_drawn_as_far_as_pictures_go() -> None:
    assert float(reading(CAMERA, RIG, [0.3, 1.0]).distance_m) == math.inf
    assert lens(CAMERA, RIG, np.array([0.3, 1.0]))[0].focus_m == FAR_M


def test_breathing_and_the_pupil_change_what_the_lens_draws() -> None:
    camera = replace(
        CAMERA,
        breathing=LensTable((LensRow(1.0, "inf"), LensRow(1.1, "0.6 m"))),
        pupil=LensTable((LensRow(90.0, "inf"), LensRow(120.0, "0.6 m"))),
    )
    near = reading(camera, RIG, [0.3, 0.0])
    assert (float(near.marked_mm), float(near.focal_mm)) == pytest.approx((35, 38.5))
    assert (float(near.distance_m), float(near.ahead_m)) == pytest.approx((0.6, 0.48))
    far = reading(camera, RIG, [0.3, 1.0])
    assert (float(far.focal_mm), float(far.pupil_mm), float(far.ahead_m)) == pytest.approx((35, 90, math.inf))


def test_without_a_focus_scale_the_subject_lies_ahead_of_the_pupil() -> None:
    camera = replace(CAMERA, focus_table=None, pupil=LensTable((LensRow(120.0),)))
    found = reading(camera, RIG, [0.3, 0.5])
    assert (float(found.ahead_m), float(found.distance_m)) == pytest.approx((3.5, 3.62))
    assert found.guessed == ("focus",)


def test_as_if_focused_elsewhere_the_focus_motor_does_not_count() -> None:
    found = reading(CAMERA, RIG, [0.3, -5.0], focused_m=1.2)
    assert (float(found.distance_m), found.guessed) == (1.2, ())


@given(st.lists(st.tuples(st.floats(-0.2, 1.2), st.floats(-0.2, 1.2)), min_size=1, max_size=6))
def test_many_instants_at_once_are_each_alone(positions: list[tuple[float, float]]) -> None:
    camera = replace(CAMERA, breathing=LensTable((LensRow(1.0, "inf"), LensRow(1.1, "0.6 m"))))
    together = reading(camera, RIG, positions)
    for number, one in enumerate(positions):
        alone = reading(camera, RIG, one)
        for name in ("marked_mm", "focal_mm", "distance_m", "ahead_m", "pupil_mm"):
            assert float(getattr(alone, name)) == getattr(together, name)[number]
