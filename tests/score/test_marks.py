"""What a mark may be, and why a rig cannot go to one: said in words, and nothing of it is lost."""

from dataclasses import replace
from fractions import Fraction

import pytest

from sequencer.rig.axis import Axis, Rig
from sequencer.rig.limits import SumLimit, WhileLimit
from sequencer.score.marks import AtSpeed, Lasting, Mark, fault, faults

PAN = Axis(name="pan", kind="pan", unit="deg", travel=(-170.0, 170.0), speed=60.0, acceleration=120.0, jerk=600.0)
TILT = replace(PAN, name="tilt", kind="tilt", travel=None)
FOCUS = replace(PAN, name="focus", kind="focus", unit="part", travel=(0.0, 1.0))
RIG = Rig(name="quay", axes=(PAN, TILT, FOCUS))


@pytest.mark.parametrize(
    ("name", "position", "words"),
    [
        (" ", (("pan", 1.0),), "that is no name of a mark; write one or more printable characters"),
        ("a\tb", (("pan", 1.0),), "that is no name of a mark; write one or more printable characters"),
        ("door", (), "this one names none"),
        ("door", (("pan", 1.0), ("pan", 2.0)), "the mark names pan twice"),
        ("door", (("pan", float("nan")),), "pan cannot stand at nan; give a number in its unit"),
        ("door", (("pan", float("inf")),), "pan cannot stand at inf; give a number in its unit"),
        ("door", (("pan", -1e7),), "stand at -10000000.0; give a number in its unit, below ten million either way"),
    ],
)
def test_what_is_no_mark_is_refused_in_words(name: str, position: tuple[tuple[str, float], ...], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        Mark(name, position)


@pytest.mark.parametrize("part", [Fraction(0), Fraction(-1, 2), Fraction(11, 10)])
def test_a_speed_is_a_part_of_the_limit(part: Fraction) -> None:
    with pytest.raises(ValueError, match="above 0 and at most 1"):
        AtSpeed(part)
    assert AtSpeed(Fraction(1)).part == 1


def test_a_leg_lasts_some_time() -> None:
    with pytest.raises(ValueError, match="a leg takes more than no time"):
        Lasting(Fraction(0))


def test_a_mark_of_the_rig_has_no_fault() -> None:
    # an axis without end stands anywhere, and at the end of a travel an axis may stand
    assert faults([Mark("door", (("pan", 170.0), ("tilt", 7000.0), ("focus", 0.0)))], RIG) == {}


def test_an_axis_that_is_gone_and_one_outside_are_told_with_the_mend() -> None:
    gone = Mark("door", (("lift", 3.0), ("pan", 171.0)))
    found = faults([Mark("quay", (("pan", 0.0),)), gone, Mark("focused", (("focus", 1.5),))], RIG)
    assert found == {
        "door": "the rig has no axis 'lift' (it has pan, tilt, focus); store the mark anew, or add the axis; also "
        "171 deg is outside pan's travel [-170, 170]; store the mark anew, or widen the travel",
        "focused": "1.5 is outside focus's travel [0, 1]; store the mark anew, or widen the travel",
    }


WALL = SumLimit(name="wall", sum=(("pan", 1.0), ("tilt", 2.0)), travel=(-90.0, 90.0))
RAISED = WhileLimit(name="raised", axis="pan", other="tilt", between=(45.0, 90.0), travel=(-30.0, 30.0))


def test_limits_of_several_axes_count_where_all_of_them_are_known() -> None:
    tied = replace(RIG, combined=(WALL, RAISED))
    assert fault({"pan": 60.0, "tilt": 20.0}, tied) == (
        "wall (pan + 2 tilt) would be 100, outside [-90, 90]; store the mark anew, or widen that limit"
    )
    assert "raised (while tilt is between 45 and 90) would be 31, outside [-30, 30]" in fault(
        {"pan": 31.0, "tilt": 45.0}, tied
    )
    assert fault({"pan": 31.0, "tilt": -50.0}, tied) == ""  # tilt is not in the range
    assert fault({"pan": 60.0}, tied) == ""  # where tilt stands is not known
    assert fault({"pan": 60.0}, tied, {"tilt": 20.0}).startswith("wall")
    assert fault({"focus": 0.5}, tied, {"pan": 60.0, "tilt": 20.0}) == ""  # it is not this mark that breaks it
