"""Repeatability of a path over several runs, as ISO 9283 defines it. It does not align the runs; that is `align`."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def path_repeatability(paths: Floats) -> tuple[float, int]:
    """Return the path repeatability RT_p and the index of the point where it is reached.

    At each point i, l_ij is the distance of run j from the mean of the n runs; RT_p is the largest over i of
    mean(l_ij) + 3 S_i, where S_i is the standard deviation of l_ij with n - 1 in the denominator.
    The standard is for the position of a robot's tool in space over ten runs, at points set by planes across the
    path; here the points are the frames of the cue, so that lateness counts too, and D is 1 for a single axis. With
    two runs both distances are half the difference and S_i is zero: RT_p says little before there are several.

    Shape: `paths` (N, F, D), runs by points by coordinates; no NaN. Unit: that of the coordinates.
    Error: ValueError with fewer than two runs or no points.
    Source: ISO 9283:1998, path repeatability RT_p (8.3; clause number from memory).
    """
    runs, points = paths.shape[:2]
    if runs < 2 or points < 1:
        raise ValueError(f"repeatability needs two runs and one point, not {runs} and {points}")
    distances = np.linalg.norm(paths - paths.mean(axis=0), axis=2)
    at_each_point = distances.mean(axis=0) + 3 * distances.std(axis=0, ddof=1)
    worst = int(np.argmax(at_each_point))
    return float(at_each_point[worst]), worst
