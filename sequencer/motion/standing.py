"""Where all axes stand at given instants, read from the shapes of their tracks; an axis without a track is at home.

It refuses nothing: before the first key and after the last an axis holds.
"""

from collections.abc import Mapping

import numpy as np

from sequencer.motion.shape import Floats, Shape
from sequencer.rig.axis import Rig


def standing(rig: Rig, shapes: Mapping[str, Shape], at_s: Floats) -> Floats:
    """Return the position of each axis of the rig at each instant.

    Shape: `at_s` (T,), to (T, A). Unit: seconds from the project's start as the move is written; each axis's own.
    """
    positions = np.empty((len(at_s), len(rig.axes)))
    for number, axis in enumerate(rig.axes):
        one = shapes.get(axis.name)
        positions[:, number] = axis.home if one is None else sampled(one, at_s)
    return positions


def standing_at(rig: Rig, shapes: Mapping[str, Shape], at_s: float) -> Floats:
    """Return the position of each axis of the rig at one instant, as `standing` does for many. Shape: (A,)."""
    return np.array([_at(shapes[axis.name], at_s) if axis.name in shapes else axis.home for axis in rig.axes])


def _at(shape: Shape, at_s: float) -> float:
    if at_s >= shape.at_s[-1]:
        return float(shape.value[-1])
    if at_s < shape.at_s[0]:
        return float(shape.value[0])
    piece = max(int(shape.from_s.searchsorted(at_s, "right")) - 1, 0)
    since_s, value = at_s - float(shape.from_s[piece]), 0.0
    for part in shape.coeffs[:, piece].tolist():
        value = value * since_s + part
    return value


def sampled(shape: Shape, at_s: Floats) -> Floats:
    """Return where the axis stands at each instant. Shape: (T,) both. Unit: seconds; the axis's own."""
    if not len(shape.from_s):  # one key alone has no leg
        return np.full(len(at_s), shape.value[-1])
    first, last = shape.at_s[0], shape.at_s[-1]
    held = np.minimum(np.maximum(at_s, first), last)
    piece = np.maximum(shape.from_s.searchsorted(held, "right") - 1, 0)
    since_s = held - shape.from_s[piece]
    coeffs = shape.coeffs[:, piece]
    value: Floats = coeffs[0]
    for row in coeffs[1:]:
        value *= since_s
        value += row
    # from the last key on it holds, whatever the piece that would follow
    value[at_s >= last] = shape.value[-1]
    value[at_s < first] = shape.value[0]
    return value
