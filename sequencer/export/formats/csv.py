"""A camera as a table in text: one line an instant, one heading line with units, no comments.

Angles keep all their turns, numbers are the shortest decimals that give the same float again, an empty cell is what
nobody knows, `inf` a distance in focus at infinity. Seconds count from the first picture frame.
Source: RFC 4180: commas, lines that end in CR LF, quotes where a cell needs them; RFC 3629, UTF-8 without a mark.
"""

import csv
import io
import math
from collections.abc import Iterator
from fractions import Fraction

import numpy as np

from sequencer.export.contract import ExportKind, Wanted
from sequencer.export.delivery import CameraPath, Delivery
from sequencer.export.flat import first_number, hole_words, known_path, lens_words

POSE = ("camera x (m)", "camera y (m)", "camera z (m)", "camera pan (deg)", "camera tilt (deg)", "camera roll (deg)")
LENS = ("focal length (mm)", "focus distance (m)", "sensor width (mm)", "sensor height (mm)", "f-number")


def make(delivery: Delivery, suffix: str, wanted: Wanted) -> bytes:
    """Return the file; without a camera the lens's cells are empty. Error: ExportError without a path."""
    path = known_path(delivery)
    text = io.StringIO(newline="")
    table = csv.writer(text)
    table.writerow(_heading(delivery, path))
    table.writerows(_rows(delivery, path, wanted))
    return text.getvalue().encode()


def remarks(delivery: Delivery, wanted: Wanted) -> tuple[str, ...]:
    """Say what the file does not hold."""
    words = hole_words(delivery, "their cells are empty")
    return words + lens_words(delivery, untold="its cells are empty", far=False)


def _heading(delivery: Delivery, path: CameraPath) -> list[str]:
    how = delivery.timebase.counting
    counted = f"{how.rate} fps{', drop-frame' if how.drop else ''}"
    heads = ["frame", f"timecode ({counted})", "seconds (s, exact)", "seconds (s)"]
    if _moves_otherwise(path):
        heads.append("timecode of the move")
    heads += [f"axis {axis.name} ({axis.unit})" for axis in delivery.rig.axes]
    return [*heads, *POSE, *LENS]


def _moves_otherwise(path: CameraPath) -> bool:
    """Whether a picture frame shows another frame of the move than the one whose timecode it carries."""
    return path.step != 1 or path.origin != path.first


def _rows(delivery: Delivery, path: CameraPath, wanted: Wanted) -> Iterator[list[str]]:
    write, begin, otherwise = delivery.timebase.writer(), first_number(path, wanted), _moves_otherwise(path)
    camera = delivery.rig.camera
    sensor = (math.nan, math.nan) if camera is None else camera.sensor_mm
    fixed = [_number(value) for value in (*sensor, delivery.f_number or math.nan)]
    measured = np.concatenate(
        [path.values, path.position_m, path.angles_deg, path.focal_mm[..., np.newaxis], path.focus_m[..., np.newaxis]],
        axis=-1,
    ).tolist()
    for frame, instants in enumerate(measured):
        for part, numbers in zip(path.parts, instants, strict=True):
            offset = frame + part
            exact = delivery.timebase.rate.seconds(offset)
            cells = [_frame(begin + offset), write(path.first + offset), str(exact), repr(float(exact))]
            if otherwise:
                cells.append(write(path.origin + offset * path.step))
            cells += [_number(value) for value in numbers]
            yield cells + fixed


def _frame(number: Fraction) -> str:
    return str(number) if number.denominator == 1 else repr(float(number))


def _number(value: float) -> str:
    return "" if math.isnan(value) else repr(value)


KIND = ExportKind(
    name="csv", title="table of the camera", suffixes=(".csv",), holds="camera", bare=True, make=make, remarks=remarks
)
