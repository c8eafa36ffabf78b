"""A camera from a table in text: our own, or one with the columns frame or seconds, x, y, z, pan, tilt, roll.

Every column but the frame's has its unit in brackets behind its name: `x (m)`, `pan (deg)`. Axes and signs are those of
docs/conventions.md; columns that are not known are passed over.
"""

import csv
import io
import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from sequencer.errors import ImportFault
from sequencer.export.contract import ImportKind
from sequencer.export.cuts import with_cuts
from sequencer.export.edit_list import printable
from sequencer.export.foreign import MOST_SAMPLES, bounded, on_frames, rate_near, rate_of_text, settle, start_of
from sequencer.export.found import Floats, FoundCamera
from sequencer.rig.pose import turned
from sequencer.timebase.rate import Rate

_HEAD = re.compile(r"\s*(?P<name>[^()]*?)\s*(?:\((?P<unit>[^()]*)\))?\s*")
_FPS = re.compile(r"(?P<rate>[0-9./]+) ?fps(?P<drop>, ?drop-frame)?")
_LENGTHS = {"m": 1.0, "cm": 0.01, "mm": 0.001}
_ANGLES = {"deg": 1.0, "rad": math.degrees(1)}
_POSE = ("x", "y", "z", "pan", "tilt", "roll")
_UNITS: dict[str, dict[str, float]] = {
    **dict.fromkeys(("x", "y", "z"), _LENGTHS),
    **dict.fromkeys(("pan", "tilt", "roll"), _ANGLES),
    "focal length": {name: to_m * 1000 for name, to_m in _LENGTHS.items()},
    "focus distance": _LENGTHS,
    "sensor width": {name: to_m * 1000 for name, to_m in _LENGTHS.items()},
    "sensor height": {name: to_m * 1000 for name, to_m in _LENGTHS.items()},
    "seconds": {"s": 1.0, "ms": 0.001},
}
_FARTHEST = 1e12  # what is larger is no number of a camera, and would not stay one


@dataclass(frozen=True, slots=True)
class _Column:
    """A column: its place in the row, its heading as it is written, and what its numbers are multiplied by."""

    place: int
    heading: str
    factor: float = 1.0


def cameras(data: bytes, name: str, asked: Rate | None) -> tuple[FoundCamera, ...]:
    """Return the camera of a table. Error: ImportFault that names the line and the column, and the mend."""
    bounded(data, name)
    rows = _rows(data, name)
    _, heads = next(rows, (1, []))
    columns, said, drop = _columns(heads, name)
    rate, remarks = settle(said, asked, name)
    numbers, skipped, label = _numbers(rows, columns, name)
    if not len(numbers["x"]):
        raise ImportFault(f"{name}: it has no line with a pose below its heading; export it again")
    frames = numbers["frame"] if "frame" in columns else numbers["seconds"] * float(rate.fraction)
    frames = on_frames(frames)
    if (falls := np.diff(frames) <= 0).any():
        here = frames[1:][falls][0]
        raise ImportFault(f"{name}: frame {here:g} comes after one that is not before it; sort the lines by time")
    if skipped:
        remarks += (f"{skipped} lines without a pose were passed over",)
    empty = np.full(len(frames), np.nan)
    focal, focus = numbers.get("focal length", empty), numbers.get("focus distance", empty)
    focal[~((focal > 0) & np.isfinite(focal))] = np.nan
    focus[~(focus > 0)] = np.nan
    sensor, more = _sensor(numbers)
    return (
        with_cuts(
            FoundCamera(
                name=name,
                rate=rate,
                frames=frames,
                position_m=np.column_stack([numbers[one] for one in "xyz"]),
                matrix=turned(np.column_stack([numbers[one] for one in ("pan", "tilt", "roll")])),
                focal_mm=focal,
                focus_m=focus,
                sensor_mm=sensor,
                start=start_of(label, said, drop or (label is not None and ";" in label)),
                remarks=remarks + more,
            )
        ),
    )


def _rows(data: bytes, name: str) -> Iterator[tuple[int, list[str]]]:
    """Yield the lines of a table with their numbers. Error: ImportFault."""
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        raise ImportFault(f"{name}: it is no text in UTF-8: byte {fault.start} is none; save it as UTF-8") from fault
    first = text.partition("\n")[0]
    between = max((",", ";", "\t"), key=first.count)
    table = csv.reader(io.StringIO(text, newline=""), delimiter=between, strict=True)
    try:
        for row in table:
            if row:
                yield table.line_num, row
    except csv.Error as error:
        words = str(error).replace("\t", "\\t")  # the mark between two columns stands in its words as it is
        raise ImportFault(f"{name}: line {table.line_num}: {words}; export it again") from error


def _columns(heads: list[str], name: str) -> tuple[dict[str, _Column], Rate | None, bool]:
    """Return the columns that a camera needs, by what they are, and the rate that the heading says."""
    found: dict[str, _Column] = {}
    said, drop = None, False
    # where both are there, `camera pan` is the camera's and `pan` may be anybody's
    ours = any(head.strip().lower().startswith("camera ") for head in heads)
    for place, head in enumerate(heads):
        match = _HEAD.fullmatch(head.lower())
        if match is None:
            continue
        what, unit = match["name"], match["unit"]
        if what == "timecode":
            found.setdefault(what, _Column(place, head))
            if (counted := _FPS.fullmatch(unit or "")) is not None:
                said, drop = _rate(counted["rate"]), bool(counted["drop"])
            continue
        what = (
            what.removeprefix("camera ")
            if ours and what.startswith("camera ")
            else what
            if not ours or what not in _POSE
            else ""
        )
        if what == "frame":
            found.setdefault(what, _Column(place, head))
        elif what in _UNITS and unit != "s, exact":
            if unit not in _UNITS[what]:
                units = ", ".join(f"{what} ({one})" for one in _UNITS[what])
                raise ImportFault(f"{name}: the column {head.strip()!r} has no unit that is known; write {units}")
            found.setdefault(what, _Column(place, head, _UNITS[what][unit]))
    missing = [one for one in _POSE if one not in found]
    if missing:
        units = ", ".join(f"{one} ({next(iter(_UNITS[one]))})" for one in missing)
        raise ImportFault(f"{name}: its heading, line 1, lacks {', '.join(missing)}; write {units}")
    if "frame" not in found and "seconds" not in found:
        raise ImportFault(f"{name}: its heading, line 1, has neither frame nor seconds (s); add one of them")
    return found, said, drop


def _rate(text: str) -> Rate | None:
    try:
        return rate_of_text(text) or rate_near(float(Fraction(text)))
    except (ValueError, ZeroDivisionError):
        return None


def _numbers(
    rows: Iterator[tuple[int, list[str]]], columns: dict[str, _Column], name: str
) -> tuple[dict[str, Floats], int, str | None]:
    """Return the numbers of each column, how many lines have no pose, and the first timecode that has one."""
    label = None
    clock = columns.get("timecode")
    wanted = {what: column for what, column in columns.items() if what != "timecode"}
    kept: dict[str, list[float]] = {what: [] for what in wanted}
    skipped = 0
    last = max(column.place for column in wanted.values())
    needed = (*_POSE, "frame" if "frame" in wanted else "seconds")
    for line, row in rows:
        if len(row) <= last:
            raise ImportFault(f"{name}: line {line} has {len(row)} cells, and its heading more; export it again")
        if not any(row[wanted[one].place].strip() for one in _POSE):
            skipped += 1
            continue
        if len(kept["x"]) == MOST_SAMPLES:
            raise ImportFault(f"{name}: it has more than {MOST_SAMPLES} lines; export the shot's frames only")
        if label is None and clock is not None and clock.place < len(row):
            label = row[clock.place].strip()
        for what, column in wanted.items():
            kept[what].append(_number(row[column.place], column, what in needed, line, name))
    return {what: np.array(values, dtype=np.float64) for what, values in kept.items()}, skipped, label


def _number(cell: str, column: _Column, needed: bool, line: int, name: str) -> float:
    try:
        value = float(cell) if cell.strip() or needed else math.nan
    except ValueError:
        value = math.nan
        needed = True
    if needed and not abs(value) <= _FARTHEST:
        raise ImportFault(
            f"{name}: line {line}, {printable(column.heading)}: {cell.strip()[:40]!r} is no number; correct it, or "
            "take the line out"
        )
    return value * column.factor


def _sensor(numbers: dict[str, Floats]) -> tuple[tuple[float, float] | None, tuple[str, ...]]:
    width, height = numbers.get("sensor width"), numbers.get("sensor height")
    if width is None or height is None:
        return None, ("the table does not say its sensor (sensor width (mm), sensor height (mm))",)
    if not (width[0] > 0 and height[0] > 0 and (width == width[0]).all() and (height == height[0]).all()):
        return None, ("its sensor changes its size, or has none: it is left out",)
    return (float(width[0]), float(height[0])), ()


KIND = ImportKind(name="csv", title="table of a camera", suffixes=(".csv", ".tsv", ".txt"), camera=cameras)
