"""Our space in the terms of others, in words and as numbers: axes, signs, unit, and cameras that look along their -Z.

Places and angles become a format's own here, and a stranger's matrix becomes our pose, or words why it is none.
Source: Khronos glTF 2.0, "Coordinate System and Units" and "Cameras"; OpenUSD, UsdGeomCamera and UsdGeom stage metrics.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Up = Literal["y", "z"]

# from our space (X right, Y forward, Z up) to one with Y up, where forward is -Z
_TO_Y_UP = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]])
_TO: dict[Up, Floats] = {"y": _TO_Y_UP, "z": np.eye(3)}
_AXES: dict[Up, str] = {
    "y": "right-handed, Y up: X to the camera's right, Y up, Z backward, where pan is zero",
    "z": "right-handed, Z up: X to the camera's right, Y forward, Z up, where pan is zero",
}
# the other camera's own axes (right, up, back) in our camera's (right, forward, up)
_LOOKING_BACK = _TO_Y_UP.T
_LARGEST = 1e12
_ALIKE = 1e-4  # by how much the scales along three axes may differ, and their angles from right ones


@dataclass(frozen=True, slots=True, kw_only=True)
class Space:
    """Axes and unit of a format, as the text beside a file explains them.

    `turns` says how it holds the camera's turning, `camera` along which of its own axes a camera looks, `lens` how it
    has the lens. `in_metre` is how many of its `unit` a metre has. `time` says how it counts time, where not in frames.
    """

    up: Up
    unit: str
    in_metre: float
    turns: str
    camera: str
    lens: str
    time: str = ""

    @property
    def axes(self) -> str:
        """Where its X, Y and Z go."""
        return _AXES[self.up]

    def placed(self, points_m: ArrayLike) -> Floats:
        """Return places of our space (metres) as the file has them. Shape: (..., 3) to (..., 3)."""
        out: Floats = np.asarray(points_m, dtype=np.float64) @ _TO[self.up].T * self.in_metre
        return out


GROWS = "pan grows to the left, tilt upwards, roll clockwise as seen from behind the camera"
LOOKING_BACK = "with no turn the camera looks along its own -Z, and its own +Y is up in the picture"
OURS = Space(
    up="z",
    unit="m",
    in_metre=1.0,
    turns=(
        "pan, tilt and roll in degrees, in this order, each about the axis as the one before has left it (intrinsic "
        f"Z, X, Y), right-handed: {GROWS}"
    ),
    camera="with no turn the camera looks along +Y, and +Z is up in the picture",
    lens="focal length in mm, distance in focus in m",
)


@dataclass(frozen=True, slots=True, eq=False)
class Warped:
    """Why no camera stands as a matrix says: at sample `number`, in words that follow the camera's name."""

    number: int
    words: str


def quaternions(angles_deg: Floats) -> Floats:
    """Return the turning of a camera that looks along -Z, Y up, as x, y, z, w; it never jumps to the other sign.

    Pan turns about Y, then tilt about X, then roll about -Z. Shape: (..., 3) to (..., 4). Unit: degrees.
    """
    half = np.radians(angles_deg) / 2
    half[..., 2] *= -1
    (cp, ct, cr), (sp, st, sr) = (np.moveaxis(part, -1, 0) for part in (np.cos(half), np.sin(half)))
    return np.stack(
        [
            cp * st * cr + sp * ct * sr,
            sp * ct * cr - cp * st * sr,
            cp * ct * sr - sp * st * cr,
            cp * ct * cr + sp * st * sr,
        ],
        axis=-1,
    )


def from_space(linear: Floats, origin: Floats, up: Up, unit_m: float) -> tuple[Floats, Floats, float] | Warped:
    """Return position and matrix in our space of cameras that look along -Z, and the scale that was taken off them.

    `linear` (N, 3, 3) has the camera's own axes as columns, `origin` (N, 3) its place, in units of `unit_m` metres.
    A scale that is the same along all axes is no harm. What mirrors, shears or squeezes the camera is.
    """
    # what is larger than this is no place and no turning, and would not stay a number
    sound = (np.abs(linear) < _LARGEST).all(axis=(1, 2)) & (np.abs(origin) < _LARGEST).all(axis=1)
    if not sound.all():
        return Warped(int((~sound).argmax()), "has a transform that is no number, or far too large")
    scales = np.linalg.norm(linear, axis=-2)
    if (flat := scales.min(axis=-1) < 1 / _LARGEST).any():
        return Warped(int(flat.argmax()), "is scaled to nothing")
    axes = linear / scales[:, np.newaxis, :]
    if (mirrored := np.linalg.det(axes) < 0).any():
        return Warped(int(mirrored.argmax()), "is mirrored: what is right in its picture is left")
    leans = np.abs(np.swapaxes(axes, -1, -2) @ axes - np.eye(3)).max(axis=(1, 2))
    if (sheared := leans > _ALIKE).any():
        return Warped(int(sheared.argmax()), "is sheared: its axes are not at right angles")
    if (uneven := scales.max(axis=-1) > scales.min(axis=-1) * (1 + _ALIKE)).any():
        number = int(uneven.argmax())
        along = ", ".join(f"{scale:.6g}" for scale in scales[number])
        return Warped(number, f"is scaled unevenly ({along} along its X, Y and Z)")
    left, _, right = np.linalg.svd(axes)  # the nearest turning: takes off what single precision left
    back = _TO[up].T
    return origin @ back.T * unit_m, back @ (left @ right) @ _LOOKING_BACK.T, float(np.median(scales))
