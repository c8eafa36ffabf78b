"""Where each axis stands, and how near to an end."""

from dataclasses import replace

import msgspec
import pytest

from sequencer.rig.axis import Axis, Rig
from tests.ui.link.fakes import STATUS
from ui.run.nearness import near, rows, worst

PAN = Axis(name="pan", kind="pan", unit="deg", travel=(-90.0, 90.0), speed=60.0, acceleration=240.0, jerk=2400.0)
SLIDE = replace(PAN, name="slide", kind="slide", unit="mm", travel=(0.0, 1000.0), speed=600.0)
ENDLESS = replace(PAN, name="roll", kind="roll", travel=None)


def test_the_nearer_end_counts() -> None:
    one = near(PAN, 0, 80.0, 79.0)
    assert (one.end, one.to_end, one.error) == ("high", 10.0, 1.0)
    assert one.part == pytest.approx(10 / 90)
    assert near(PAN, 0, -90.0, None).part == 0.0
    beyond = near(PAN, 0, -92.0, None)
    assert (beyond.end, beyond.to_end, beyond.part) == ("low", -2.0, 0.0)


def test_what_was_not_said_is_not_known() -> None:
    assert near(PAN, 0, None, 5.0).error is None
    assert near(PAN, 0, None, 5.0).actual is None
    assert near(ENDLESS, 0, 400.0, 400.0).to_end is None
    rig = Rig(name="r", axes=(PAN, SLIDE))
    assert [one.actual for one in rows(rig, None)] == [None, None]
    # of another rig, as while another project is being loaded
    assert [one.actual for one in rows(rig, msgspec.structs.replace(STATUS, actual=(1.0,), asked=(1.0,)))] == [None] * 2


def test_the_worst_is_so_for_its_motor() -> None:
    rig = Rig(name="r", axes=(PAN, SLIDE))
    found = worst(rows(rig, msgspec.structs.replace(STATUS, actual=(1.0, 5.0), asked=(0.0, 0.0))))
    assert found is not None
    assert found.axis is PAN  # a degree of 60 a second is more than five millimetres of 600
    assert worst(rows(rig, None)) is None
