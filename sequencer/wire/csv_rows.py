"""Setpoints as rows of a table in text: one line a set, a heading line first, units in the heading.

Numbers are the shortest decimals that give the same float again. What is not known is an empty cell.
Source: RFC 4180: commas, lines that end in CR LF, quotes where a cell needs them.
"""

import csv
import io
import math
from collections.abc import Sequence

EVENT = "event"


def heading(axes: Sequence[str], units: Sequence[str], counting: str) -> str:
    """Return the first line. `counting` says how the labels count frames, as in `25 fps`."""
    cells = ["due (ns)", f"timecode ({counting})", "timeline (s)"]
    for axis, unit in zip(axes, units, strict=True):
        cells += [f"position {axis} ({unit})", f"speed {axis} ({unit}/s)"]
    return _line([*cells, EVENT])


def row(due_ns: int, label: str, timeline_s: float, position: Sequence[float], velocity: Sequence[float]) -> str:
    """Return the line of a setpoint set; `label` and the timeline are left empty where no clock says."""
    cells = [str(due_ns), label, _number(timeline_s)]
    for where, speed in zip(position, velocity, strict=True):
        cells += [_number(where), _number(speed)]
    return f"{','.join(cells)},\r\n"


def event(at_ns: int, axes: int, words: str) -> str:
    """Return the line of something that happened between setpoints."""
    return _line([str(at_ns), *[""] * (2 + 2 * axes), words])


def _number(value: float) -> str:
    return repr(value) if math.isfinite(value) else ""


def _line(cells: Sequence[str]) -> str:
    text = io.StringIO()
    csv.writer(text).writerow(cells)
    return text.getvalue()
