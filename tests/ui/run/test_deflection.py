"""How far a pad is pushed, and which way its axes go by it."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.rig.axis import Rig
from sequencer.rig.geometry import Geometry
from ui.desk import Desk
from ui.run.deflection import DEAD, Driven, deflection, pads, parts


@pytest.fixture
def rig(desk: Desk) -> Rig:
    return desk.project.rig


def told(rig: Rig, axis: str, across: float = 0.0, up: float = 0.0) -> float:
    """Return what one axis is told when its pad is pushed."""
    place = rig.names.index(axis)
    pad = next(one for one in pads(rig) if place in (one.across, one.up))
    return parts(rig, {pad: (across, up)})[place] / 2


@given(st.floats(-1000, 1000), st.floats(1, 200))
def test_a_push_is_a_part_of_full_speed_towards_its_side(off_px: float, reach_px: float) -> None:
    part = deflection(off_px, reach_px)
    assert -1 <= part <= 1
    assert part * off_px >= 0
    assert deflection(-off_px, reach_px) == -part
    assert abs(deflection(off_px * 1.1, reach_px)) >= abs(part)


def test_near_the_middle_nothing_is_asked_for_and_at_the_end_all() -> None:
    assert deflection(DEAD * 100, 100) == 0.0
    assert 0 < deflection(DEAD * 100 + 5, 100) < 0.01
    assert deflection(100, 100) == 1.0
    assert deflection(-500, 100) == -1.0


def test_every_axis_has_one_pad(rig: Rig) -> None:
    assert [axis.kind for axis in rig.axes] == ["pan", "tilt", "roll", "slide", "focus"]
    assert pads(rig) == (Driven(0, 1), Driven(2, None), Driven(3, None), Driven(4, None))
    only_tilt = replace(rig, axes=(rig.axes[1],), combined=())
    assert pads(only_tilt) == (Driven(None, 0),)


def test_a_push_to_the_right_turns_the_camera_right_whichever_way_the_pan_counts(rig: Rig) -> None:
    assert told(rig, "pan", across=1.0) == -0.5
    other = replace(rig, geometry=Geometry(positive=(("pan", "right"),)))
    assert told(other, "pan", across=1.0) == 0.5


def test_a_push_up_tilts_up_whichever_way_the_tilt_counts(rig: Rig) -> None:
    assert told(rig, "tilt", up=1.0) == 0.5
    other = replace(rig, geometry=Geometry(positive=(("tilt", "down"),)))
    assert told(other, "tilt", up=1.0) == -0.5


@pytest.mark.parametrize(("heading_deg", "part"), [(-90.0, 0.5), (90.0, -0.5), (30.0, -0.5), (0.0, 0.5), (180.0, 0.5)])
def test_a_push_to_the_right_slides_right_whichever_way_the_track_points(
    rig: Rig, heading_deg: float, part: float
) -> None:
    other = replace(rig, geometry=Geometry(heading_deg=(("slide", heading_deg),)))
    assert told(other, "slide", across=1.0) == part


def test_what_is_not_pushed_rests(rig: Rig) -> None:
    assert parts(rig, {}) == (0.0,) * 5
    assert parts(rig, {Driven(0, 1): (0.0, 0.25)}) == (0.0, 0.25, 0.0, 0.0, 0.0)


def test_only_the_axes_that_are_performed_are_pushed(rig: Rig) -> None:
    both = {pads(rig)[0]: (1.0, 1.0)}
    assert parts(rig, both) == (-1.0, 1.0, 0.0, 0.0, 0.0)
    assert parts(rig, both, ("tilt", "slide")) == (0.0, 1.0, 0.0, 0.0, 0.0)
