"""Small real timelines for the trial rig: rest-to-rest legs of the 3-4-5 polynomial between given places."""

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.trajectory import Trajectory
from sequencer.rig.axis import Rig
from tests.playback.rules import RIG

Floats = NDArray[np.float64]

START = np.array([-20.0, 0.0, 300.0, 0.2])
END = np.array([25.0, 20.0, 700.0, 0.8])


def legs(at_s: list[float], places: list[Floats], rig: Rig = RIG) -> Trajectory:
    """Go from place to place, all axes in the same time.

    Source: 3-4-5 polynomial, s = 10u^3 - 15u^4 + 6u^5 (cam-design trade).
    """
    pieces = []
    for axis in range(len(rig.axes)):
        columns = []
        for k in range(len(at_s) - 1):
            way, lasts_s = float(places[k + 1][axis] - places[k][axis]), at_s[k + 1] - at_s[k]
            columns.append(
                [6 * way / lasts_s**5, -15 * way / lasts_s**4, 10 * way / lasts_s**3, 0, 0, float(places[k][axis])]
            )
        pieces.append((np.array(at_s), np.array(columns).T, float(places[-1][axis])))
    return Trajectory.joined(rig.names, pieces, np.zeros(len(rig.axes)))


def there() -> Trajectory:
    """One leg from START to END, from second 10 to second 14."""
    return legs([10.0, 14.0], [START, END])
