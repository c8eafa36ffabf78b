"""What no rig is, each with the words that say so: axes, switches, outputs, where the camera is, and its lens."""

import math
import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from sequencer.rig.axis import Axis, Homing, Rig, Simulated
from sequencer.rig.distance import metres
from sequencer.rig.geometry import Geometry, check_geometry
from sequencer.rig.lens_table import (
    FocusRow,
    FocusTable,
    LensRow,
    LensTable,
    ZoomRow,
    ZoomTable,
    check_breathing,
    check_pupil,
)
from sequencer.rig.limits import SumLimit
from sequencer.rig.optics import from_lens_mm
from sequencer.rig.outlet import Outlet
from sequencer.rig.speed import at_speed

PAN = Axis(name="pan", kind="pan", unit="deg", travel=(-90, 90), speed=60, acceleration=120, jerk=600)
LENS = (1.0, 2.0, 3.0)
KINDS = {"pan": "pan"}


def out(**fields: Any) -> Outlet:
    return Outlet(**{"address": "osc://127.0.0.1:9000", **fields})


def focus(*rows: tuple[float, str]) -> FocusTable:
    return FocusTable(tuple(FocusRow(*row) for row in rows))


def zoom(*rows: tuple[float, float]) -> ZoomTable:
    return ZoomTable(tuple(ZoomRow(*row) for row in rows))


REFUSED: dict[str, Callable[[], object]] = {
    "switch_at is nan; it must be a number": lambda: Simulated(switch_at=math.nan),
    "at is inf; it must be a number": lambda: Homing(towards="low", speed=1.0, at=math.inf),
    "backlash is -1; it must be zero or more": lambda: replace(PAN, backlash=-1),
    "home is nan; it must be a number below ten million either way": lambda: replace(PAN, home=math.nan),
    "home is 1e+200; it must be a number below ten million either way": lambda: replace(PAN, home=1e200, travel=None),
    "travel is [-10.0, 10000000.0]; its ends must be below ten million either way": (
        lambda: replace(PAN, home=0.0, travel=(-10.0, 1e7))
    ),
    "travel is [nan, 1.0]; the low end must be below the high end": (
        lambda: replace(PAN, home=0.0, travel=(math.nan, 1.0))
    ),
    "speed is 1e-308, as of no motor; it must be from 1e-30 to 1e+30": lambda: replace(PAN, speed=1e-308),
    "jerk is 1e+32, as of no motor; it must be from 1e-30 to 1e+30": lambda: replace(PAN, jerk=1e32),
    "name is empty; give the limit a name": lambda: SumLimit(name=" ", sum=(("pan", 1.0), ("tilt", 1.0)), speed=1.0),
    "address is 'quay'; it must begin with a kind of output": lambda: out(address="quay"),
    "rate_hz is 0; it must be above 0 and at most 1000": lambda: out(rate_hz=0),
    "latency_s is 3; it must be from 0 to 2": lambda: out(latency_s=3),
    "on_loss is 'hope'; it must be one of ": lambda: out(on_loss="hope"),
    "at_end is 'drops'; it must be one of ": lambda: out(at_end="drops"),
    "axes has 'pan' twice; name it once": lambda: out(axes=("pan", "pan")),
    "a move cannot run at the speed 0; give one above zero": lambda: at_speed(Rig(name="head", axes=(PAN,)), 0),
    "each says where the lens is; keep one": lambda: Geometry(pupil_mm=LENS, sensor_plane_mm=LENS),
    "say where that is instead: with sensor_plane_mm [1, -98.00, 3]": lambda: check_geometry(
        Geometry(pupil_mm=LENS), KINDS, 100.0
    ),
    "give the camera a table pupil": lambda: check_geometry(Geometry(sensor_plane_mm=LENS), KINDS, None),
    "'0 m' is no distance; it must be above zero": lambda: metres("0 m"),
    "0.5 m is not on the lens's scale; it goes from 0.6 m to infinity": lambda: focus(
        (0.0, "0.6 m"), (1.0, "inf")
    ).position(0.5),
    "20 mm is not on the zoom's scale; it goes from 24 to 90 mm": lambda: zoom((0.0, 24.0), (1.0, 90.0)).position(20),
    "row 2: focal_mm is 0; it must be above zero": lambda: zoom((0.0, 24.0), (1.0, 0)),
    "row 1: at is nan; it must be a number": lambda: zoom((math.nan, 24.0), (1.0, 90.0)),
    "one row is too few; a table has two rows at least": lambda: zoom((0.0, 24.0)),
    "row 3: focal_mm 30 mm is a turn after 35 mm of row 2; measure it again": lambda: zoom(
        (0.0, 24.0), (0.5, 35.0), (1.0, 30.0)
    ),
    "row 3: focal_mm 35 mm is the same as 35 mm of row 2; measure it again": lambda: zoom(
        (0.0, 24.0), (0.5, 35.0), (1.0, 35.0)
    ),
    "row 2: only some rows say distance; every row says it, or none does": lambda: LensTable(
        (LensRow(1.0, "1 m"), LensRow(1.1))
    ),
    "row 1: focal_mm is -1; it must be above zero": lambda: LensTable((LensRow(1.0, "1 m", -1),)),
    "breathing row 1: factor is 3; it must be from 0.5 to 2": lambda: check_breathing(LensTable((LensRow(3.0),))),
    "either way": lambda: check_pupil(LensTable((LensRow(1e6),))),
    "0.1 m from the sensor plane lies within the lens, or nearer than it focuses; give a greater distance": (
        lambda: from_lens_mm(50, 0.1, 80)
    ),
    "0.1 m is nearer than a thin lens of 50 mm can be focused; the least is 0.2 m": lambda: from_lens_mm(50, 0.1),
}


@pytest.mark.parametrize("words", REFUSED)
def test_what_no_rig_is_is_refused_in_words(words: str) -> None:
    with pytest.raises(ValueError, match=re.escape(words)):
        REFUSED[words]()
