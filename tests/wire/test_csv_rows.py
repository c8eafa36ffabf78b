"""Rows of setpoints in text, read by Python's own CSV reader."""

import csv
import io
import math

from hypothesis import given
from hypothesis import strategies as st

from sequencer.wire import csv_rows

NUMBER = st.floats(allow_nan=True, allow_infinity=True)


def read(text: str) -> list[list[str]]:
    return list(csv.reader(io.StringIO(text, newline="")))


@given(st.integers(0, 2**63), NUMBER, st.lists(st.tuples(NUMBER, NUMBER), min_size=1, max_size=4))
def test_every_number_comes_back_as_it_was_or_is_empty(
    due_ns: int, timeline_s: float, axes: list[tuple[float, float]]
) -> None:
    text = csv_rows.row(due_ns, "10:00:00:00", timeline_s, [one[0] for one in axes], [one[1] for one in axes])
    (cells,) = read(text)
    assert (int(cells[0]), cells[1], cells[-1]) == (due_ns, "10:00:00:00", "")
    numbers = [timeline_s, *(value for pair in axes for value in pair)]
    for cell, value in zip(cells[2:-1], numbers, strict=True):
        assert float(cell) == value if math.isfinite(value) else cell == ""


def test_units_stand_in_the_heading_and_every_line_has_its_columns() -> None:
    # RFC 4180, section 2: CR LF ends a line, and each has the same number of fields
    names, units = ["pan", 'lift"2,a'], ["deg", "mm"]
    text = csv_rows.heading(names, units, "25 fps")
    text += csv_rows.row(5, "", math.nan, [1.0, 2.0], [0.5, -0.0])
    text += csv_rows.event(6, 2, 'stop, "now"')
    assert text.count("\r\n") == text.count("\n") == 3
    head, row, event = read(text)
    assert head == [
        *("due (ns)", "timecode (25 fps)", "timeline (s)", "position pan (deg)", "speed pan (deg/s)"),
        *('position lift"2,a (mm)', 'speed lift"2,a (mm/s)', "event"),
    ]
    assert row == ["5", "", "", "1.0", "0.5", "2.0", "-0.0", ""]
    assert event == ["6", *[""] * 6, 'stop, "now"']
