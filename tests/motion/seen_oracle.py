"""Where a rig's camera is and looks, worked out by scipy's Rotation from the conventions: for tests of the way back."""

import numpy as np
from scipy.spatial.transform import Rotation

from sequencer.rig.axis import Rig
from tests.motion.aim_oracles import pupil_mm, read, turned_ahead


def seen(rig: Rig, positions: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the place of the pupil, and the matrix of right, forward and up. Shape: (T, A) to (T, 3), (T, 3, 3).

    Source: docs/conventions.md; scipy's Rotation, intrinsic Z, X, Y.
    """
    places, matrices = [], []
    for at in positions:
        stood = read(rig, at)
        turn = Rotation.from_euler("ZXY", [stood.pan_deg, stood.tilt_deg, stood.roll_deg], degrees=True)
        pivot = np.array([0.0, 0.0, rig.geometry.height_m + stood.up_m])
        pivot[:2] += stood.slide_m * turned_ahead(stood.heading_deg)
        places.append(pivot + turn.apply(pupil_mm(rig, at) / 1000))
        matrices.append(turn.as_matrix())
    return np.array(places), np.array(matrices)
