"""From one point to another as the camera sees them: along the great circle between their directions.

Its directions keep an even pace where the weight does, whatever the distances are, and the points stay ahead of the
camera. The straight line between two points lies on the same circle, but hurries where it is near and may pass through
the camera. Distances go by their reciprocals, as focus and sharpness do. It refuses opposite directions: any circle
would do.
Source: Shoemake, "Animating rotation with quaternion curves", 1985 (spherical linear interpolation).
"""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

OPPOSITE_DEG = 179.0
_CLOSE = 1e-6  # radians: below it the sine and the arc are alike to the last digit


def apart_deg(seen_from: Floats, one: Floats, other: Floats) -> Floats:
    """Return the angle between two points as seen from a place. Shape: (..., 3) each to (...)."""
    a, b = one - seen_from, other - seen_from
    across = np.linalg.norm(np.cross(a, b), axis=-1)
    found: Floats = np.degrees(np.arctan2(across, (a * b).sum(axis=-1)))
    return found


def between(seen_from: Floats, one: Floats, other: Floats, weight: Floats) -> Floats:
    """Return the points on the way from `one`, at weight 0, to `other`, at 1.

    Shape: `seen_from` (T, 3), `one` and `other` (3,) or (T, 3), `weight` (T,); result (T, 3). Unit: metres.
    Error: ValueError where they are more than `OPPOSITE_DEG` apart, or one of them is where it is seen from.
    """
    a, b = np.broadcast_to(one, seen_from.shape) - seen_from, np.broadcast_to(other, seen_from.shape) - seen_from
    far = np.stack((np.linalg.norm(a, axis=-1), np.linalg.norm(b, axis=-1)))
    if not far.all():
        raise ValueError("one of the points is where the camera is; no way leads round it")
    angle = np.radians(apart_deg(seen_from, a + seen_from, b + seen_from))
    if angle.max() > np.radians(OPPOSITE_DEG):
        raise ValueError(
            f"the points are up to {np.degrees(angle.max()):.1f} deg apart as the camera sees them, and beyond "
            f"{OPPOSITE_DEG:g} deg no way between them is the shorter one; go by way of a third point"
        )
    near = angle < _CLOSE
    safe = np.where(near, 1.0, angle)
    parts = np.stack((1 - weight, weight))
    shares = np.where(near, parts, np.sin(parts * safe) / np.sin(safe))
    way = shares[0][:, None] * a / far[0][:, None] + shares[1][:, None] * b / far[1][:, None]
    way /= np.linalg.norm(way, axis=-1)[:, None]
    reach = 1 / (parts / far).sum(axis=0)
    found: Floats = seen_from + reach[:, None] * way
    return found
