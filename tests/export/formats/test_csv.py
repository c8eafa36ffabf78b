"""The camera as a table, read back by Python's csv module and by numpy's own reader of tables."""

import csv
import io
from dataclasses import replace
from fractions import Fraction
from typing import Any

import numpy as np
import pytest

from sequencer.errors import ExportError
from sequencer.export.contract import Wanted
from sequencer.export.delivery import Delivery
from sequencer.export.formats.csv import KIND, make
from sequencer.timebase.rate import Rate
from tests.export.deliveries import OPENING, delivery, with_path
from tests.export.projecting import PIXELS, Floats, pixels_of, shown

PLAIN = Wanted()


def rows(given: Delivery, wanted: Wanted = PLAIN) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(make(given, ".csv", wanted).decode("utf-8"), newline="")))


def turned(pan: Floats, tilt: Floats, roll: Floats) -> Floats:
    """Three plain matrices, one after another: about Z, about X, about Y (docs/conventions.md)."""

    def about(axis: int, degrees: Floats) -> Floats:
        one, other = [(1, 2), (2, 0), (0, 1)][axis]
        matrix = np.repeat(np.eye(3)[np.newaxis], len(degrees), axis=0)
        cos, sin = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
        matrix[:, one, one], matrix[:, other, other] = cos, cos
        matrix[:, one, other], matrix[:, other, one] = -sin, sin
        return matrix

    return about(2, pan) @ about(0, tilt) @ about(1, roll)


@pytest.mark.parametrize("parts", [(Fraction(0),), OPENING])
def test_the_table_alone_draws_the_same_picture(parts: tuple[Fraction, ...]) -> None:
    given = delivery(97, parts=parts)
    read = rows(given)

    def column(name: str) -> Floats:
        return np.array([float(row[name]) for row in read])

    expected = shown(given)
    axes = turned(column("camera pan (deg)"), column("camera tilt (deg)"), column("camera roll (deg)"))
    position = np.column_stack([column(f"camera {axis} (m)") for axis in "xyz"])
    focal_by_width = column("focal length (mm)") / column("sensor width (mm)")
    assert np.array_equal(position, expected.position)
    assert np.abs(axes - expected.axes).max() < 1e-14
    assert np.abs(pixels_of(expected.points, position, axes, focal_by_width) - expected.pixels).max() < PIXELS / 1000


def test_any_reader_of_tables_takes_it() -> None:
    """Source: numpy.genfromtxt, a table reader that knows nothing of ours."""
    given = delivery(5, rate=Rate(25))
    assert given.path is not None
    table: Any = np.genfromtxt(io.BytesIO(make(given, ".csv", Wanted())), delimiter=",", skip_header=1)
    assert table.shape[0] == 5
    assert table[:, 0].tolist() == [250, 251, 252, 253, 254]
    assert np.array_equal(table[:, 4 : 4 + 8], given.path.values[:, 0])


def test_the_heading_has_every_unit() -> None:
    heading = make(delivery(1), ".csv", Wanted()).split(b"\r\n")[0].decode()
    cells = next(csv.reader([heading]))
    assert cells == [
        "frame",
        "timecode (24000/1001 fps)",
        "seconds (s, exact)",
        "seconds (s)",
        *(f"axis {name}" for name in ("pan (deg)", "tilt (deg)", "roll (deg)", "slide (mm)", "lift (mm)")),
        *(f"axis {name}" for name in ("focus (mm)", "zoom (mm)", "iris-ring (part)")),
        *(f"camera {name}" for name in ("x (m)", "y (m)", "z (m)", "pan (deg)", "tilt (deg)", "roll (deg)")),
        "focal length (mm)",
        "focus distance (m)",
        "sensor width (mm)",
        "sensor height (mm)",
        "f-number",
    ]


def test_time_is_exact_and_frames_are_renumbered() -> None:
    read = rows(delivery(3, rate=Rate(30000, 1001), drop=True, parts=OPENING, first=1799), Wanted(first=1001))
    assert [row["frame"] for row in read[:5]] == ["1000.75", "1001", "1001.25", "1001.75", "1002"]
    assert [row["timecode (30000/1001 fps, drop-frame)"] for row in read[1::3]] == [
        "10:00:59;29",
        "10:01:00;02",  # SMPTE ST 12-1: labels 00 and 01 are left out at the start of a minute
        "10:01:00;03",
    ]
    assert [Fraction(row["seconds (s, exact)"]) for row in read[1::3]] == [Fraction(1001 * n, 30000) for n in range(3)]
    assert [float(row["seconds (s)"]) for row in read[1::3]] == [n * 1001 / 30000 for n in range(3)]


def test_a_pass_at_another_speed_says_which_frame_of_the_move_is_seen() -> None:
    given = delivery(4)
    assert given.path is not None
    half = with_path(given, replace(given.path, origin=Fraction(240), step=Fraction(1, 2)))
    assert [row["timecode of the move"] for row in rows(half)] == [
        "10:00:10:00",
        "10:00:10:00.5",
        "10:00:10:01",
        "10:00:10:01.5",
    ]
    assert "timecode of the move" not in rows(given)[0]


def test_what_nobody_knows_is_an_empty_cell() -> None:
    given = replace(delivery(4, holes=(2,)), f_number=None)
    assert given.path is not None
    given.path.focus_m[0] = np.inf
    read = rows(given)
    assert {read[2][name] for name in read[2] if name.startswith(("axis", "camera", "focal", "focus"))} == {""}
    assert (read[2]["frame"], read[2]["timecode (24000/1001 fps)"]) == ("252", "10:00:10:12")
    assert read[0]["focus distance (m)"] == "inf"
    assert {row["f-number"] for row in read} == {""}
    assert KIND.remarks(given, Wanted()) == (
        "the rig did not say where it stood in 1 frame (10:00:10:12): their cells are empty",
    )


def test_lines_end_as_the_standard_has_it_and_cells_with_commas_are_quoted() -> None:
    """Source: RFC 4180, section 2."""
    given = delivery(2)
    axes = (replace(given.rig.axes[0], name='pan,"main"'), *given.rig.axes[1:])
    data = make(replace(given, rig=replace(given.rig, axes=axes)), ".csv", Wanted())
    assert data.count(b"\r\n") == 3
    assert data.count(b"\n") == 3
    assert b'"axis pan,""main"" (deg)"' in data


def test_without_a_path_it_says_what_to_do() -> None:
    with pytest.raises(ExportError, match="no camera to hand over"):
        make(replace(delivery(3), path=None), ".csv", Wanted())


@pytest.mark.parametrize("name", ["=1+A0", "@SUM", "+1", "-1", "\t1"])
def test_no_cell_of_text_is_taken_for_a_formula(name: str) -> None:
    given = delivery(3)
    first, *rest = given.rig.axes
    named = replace(given.rig, axes=(replace(first, name=name), *rest))
    written = make(replace(given, rig=named), ".csv", PLAIN).decode("utf-8")
    heads, *numbers = csv.reader(io.StringIO(written, newline=""))
    assert f"axis {name} ({first.unit})" in heads
    assert [head for head in heads if not head[0].isalpha()] == []
    assert [cell for row in numbers for cell in row if cell and not cell[0].isdecimal() and cell[0] != "-"] == []
