"""The camera stands and looks where the axes say, with the signs of docs/conventions.md, and as scipy turns it."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from sequencer.rig.axis import Axis, AxisKind, Rig, Unit
from sequencer.rig.geometry import Geometry
from sequencer.rig.pose import pose, turned, unread

KINDS: tuple[tuple[AxisKind, Unit], ...] = (
    ("pan", "deg"),
    ("tilt", "deg"),
    ("roll", "deg"),
    ("slide", "mm"),
    ("lift", "mm"),
    ("focus", "part"),
)


def axis(name: str, kind: AxisKind, unit: Unit) -> Axis:
    return Axis(name=name, kind=kind, unit=unit, travel=None, speed=1, acceleration=1, jerk=1)


RIG = Rig(name="all", axes=tuple(axis(kind, kind, unit) for kind, unit in KINDS))


def looking(**given: float) -> np.ndarray:
    """Return where the camera looks while the named axes stand there and the others at zero."""
    found: np.ndarray = pose(RIG, [given.get(name, 0.0) for name in RIG.names]).forward
    return found


def test_at_zero_the_camera_stands_above_the_origin_and_looks_forward() -> None:
    zero = pose(RIG, np.zeros(6))
    assert zero.position.tolist() == [0, 0, 1.5]
    assert zero.matrix.tolist() == np.eye(3).tolist()


def test_pan_grows_to_the_left_tilt_up_and_roll_clockwise() -> None:
    assert looking(pan=90) == pytest.approx([-1, 0, 0])
    assert looking(tilt=90) == pytest.approx([0, 0, 1])
    rolled = pose(RIG, [0, 0, 90, 0, 0, 0]).matrix
    # rolled clockwise as seen from behind, the top of the camera points to where its right was
    assert rolled[:, 2] == pytest.approx([1, 0, 0])
    assert rolled[:, 1] == pytest.approx([0, 1, 0])


def test_a_slide_goes_to_the_right_and_a_lift_up_where_nothing_is_said() -> None:
    assert pose(RIG, [0, 0, 0, 800, 0, 0]).position == pytest.approx([0.8, 0, 1.5])
    assert pose(RIG, [0, 0, 0, 0, 250, 0]).position == pytest.approx([0, 0, 1.75])
    # the head turns upon the slide: the track does not turn with it
    assert pose(RIG, [90, 0, 0, 800, 0, 0]).position == pytest.approx([0.8, 0, 1.5])


@pytest.mark.parametrize(
    ("kind", "word", "same"),
    [("pan", "right", "left"), ("tilt", "down", "up"), ("roll", "anticlockwise", "clockwise"), ("lift", "down", "up")],
)
def test_a_rig_whose_positive_way_is_the_other_one_is_turned_round(kind: str, word: str, same: str) -> None:
    number = RIG.index(kind)
    at = np.zeros(6)
    at[number] = 30
    usual = pose(RIG, at)
    assert np.abs(usual.matrix - np.eye(3)).max() + np.abs(usual.position - [0, 0, 1.5]).max() > 0.01
    other = pose(replace(RIG, geometry=Geometry(positive=((kind, word),))), -at)
    assert other.matrix == pytest.approx(usual.matrix)
    assert other.position == pytest.approx(usual.position)
    named = pose(replace(RIG, geometry=Geometry(positive=((kind, same),))), at)
    assert named.matrix == pytest.approx(usual.matrix)


@pytest.mark.parametrize(
    ("heading_deg", "way"), [(0, [0, 1, 0]), (90, [-1, 0, 0]), (-90, [1, 0, 0]), (180, [0, -1, 0])]
)
def test_a_track_points_where_its_heading_says(heading_deg: float, way: list[float]) -> None:
    rig = replace(RIG, geometry=Geometry(height_m=0, heading_deg=(("slide", heading_deg),)))
    assert pose(rig, [0, 0, 0, 1000, 0, 0]).position == pytest.approx(way, abs=1e-12)


def test_two_slides_add_up() -> None:
    rig = Rig(
        name="gantry",
        axes=(axis("across", "slide", "mm"), axis("along", "slide", "mm")),
        geometry=Geometry(height_m=0.3, heading_deg=(("along", 0.0),)),
    )
    assert pose(rig, [120, 340]).position == pytest.approx([0.12, 0.34, 0.3])


@given(st.lists(st.tuples(*[st.floats(-1000, 1000)] * 3), min_size=1, max_size=20))
def test_turns_are_those_of_scipy(angles: list[tuple[float, float, float]]) -> None:
    theirs = Rotation.from_euler("ZXY", angles, degrees=True).as_matrix()
    assert turned(angles) == pytest.approx(theirs, abs=1e-11)


def test_many_instants_are_those_one_by_one() -> None:
    at = np.random.default_rng(1).uniform(-400, 400, (7, 3, 6))
    together = pose(RIG, at)
    assert together.position.shape == (7, 3, 3)
    assert together.matrix.shape == (7, 3, 3, 3)
    for row in np.ndindex(7, 3):
        alone = pose(RIG, at[row])
        assert together.matrix[row] == pytest.approx(alone.matrix, abs=1e-14)
        assert together.position[row] == pytest.approx(alone.position, abs=1e-14)
        assert together.angles_deg[row].tolist() == at[row][:3].tolist()  # with all their turns


def test_an_axis_that_counts_otherwise_is_told_and_stays_at_zero() -> None:
    rig = Rig(
        name="odd", axes=(axis("pan", "pan", "part"), axis("slide", "slide", "deg"), axis("zoom", "zoom", "part"))
    )
    assert unread(rig) == (("pan", "part", "deg"), ("slide", "deg", "mm"))
    assert pose(rig, [1, 2, 3]).matrix.tolist() == np.eye(3).tolist()
    assert unread(RIG) == ()


@pytest.mark.parametrize(
    ("geometry", "what"),
    [
        ({"positive": (("boom", "up"),)}, "the rig has no axis 'boom'"),
        ({"positive": (("pan", "up"),)}, "positive of pan is 'up'; it must be left or right"),
        ({"positive": (("focus", "up"),)}, "positive of focus is 'up'; an axis of the kind focus has none"),
        ({"positive": (("slide", "left"),)}, "positive of slide is 'left'; an axis of the kind slide has none"),
        ({"heading_deg": (("pan", 3.0),)}, "heading_deg of pan is given; only a slide has one"),
        ({"heading_deg": (("dolly", 3.0),)}, "the rig has no axis 'dolly'"),
        ({"heading_deg": (("slide", 400.0),)}, "heading_deg of slide is 400; it must be from -360 to 360"),
        ({"heading_deg": (("slide", float("nan")),)}, "heading_deg of slide is nan"),
        ({"height_m": float("inf")}, "height_m is inf; it must be from -100 to 100"),
    ],
)
def test_a_geometry_that_no_such_rig_has_is_refused(geometry: dict[str, object], what: str) -> None:
    with pytest.raises(ValueError, match=r"must be|has no axis|has none|only a slide|nan") as caught:
        replace(RIG, geometry=Geometry(**geometry))  # type: ignore[arg-type]  # each case names its own field
    assert what in str(caught.value)


def test_a_geometry_follows_its_axes_when_they_are_renamed_removed_or_of_another_kind() -> None:
    whole = Geometry(height_m=2, positive=(("pan", "right"), ("lift", "down")), heading_deg=(("slide", 10.0),))
    assert whole.renamed("pan", "head").positive == (("head", "right"), ("lift", "down"))
    assert whole.renamed("slide", "rail").heading_deg == (("rail", 10.0),)
    kinds = {axis.name: axis.kind for axis in RIG.axes}
    assert whole.suited(kinds) == whole
    assert whole.suited({"pan": "tilt", "slide": "lift"}) == Geometry(height_m=2)
