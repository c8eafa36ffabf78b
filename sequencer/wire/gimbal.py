"""Angles of a camera head as MAVLink's gimbal messages carry them: quaternions and rates, and back to axes.

MAVLink counts yaw to the right, pitch up and roll to the right, in radians; a pan of ours counts to the left. Yaw,
pitch and roll follow each other in that order, each about its already turned axis.
Source: MAVLink common message set (GIMBAL_MANAGER_SET_ATTITUDE, GIMBAL_DEVICE_ATTITUDE_STATUS) for signs and the order
w, x, y, z; the order of rotations is the aerospace sequence Z-Y-X of ISO 1151-1 (from memory); Diebel, "Representing
Attitude" (2006), for the quaternion of it (from memory).
"""

import math
from dataclasses import dataclass

Quaternion = tuple[float, float, float, float]
NO_ATTITUDE: Quaternion = (math.nan, math.nan, math.nan, math.nan)  # only the rates count
_UPRIGHT = 1 - 2e-7  # of the sine of pitch: beyond it yaw and roll turn about one line, as far as 32 bits can tell
_LEAST_NORM = 0.5  # a unit quaternion that is further off than this is none


@dataclass(frozen=True, slots=True)
class Attitude:
    """Where a head looks. Unit: degrees; yaw to the right, pitch up, roll to the right."""

    roll: float
    pitch: float
    yaw: float


def quaternion(attitude: Attitude) -> Quaternion:
    """Return the attitude as w, x, y, z, with w at least 0; whole turns are lost."""
    half = math.pi / 360
    roll, pitch, yaw = attitude.roll * half, attitude.pitch * half, attitude.yaw * half
    cr, sr, cp, sp, cy, sy = (f(v) for v in (roll, pitch, yaw) for f in (math.cos, math.sin))
    w = cr * cp * cy + sr * sp * sy
    sign = -1.0 if w < 0 else 1.0
    return (
        sign * w,
        sign * (sr * cp * cy - cr * sp * sy),
        sign * (cr * sp * cy + sr * cp * sy),
        sign * (cr * cp * sy - sr * sp * cy),
    )


def attitude(of: Quaternion, near: Attitude) -> Attitude | None:
    """Return the angles of a quaternion that are nearest to `near`, with its whole turns; None where it is none.

    Two sets of angles look the same way: pitch over the top is the same as half a turn of yaw and roll.
    """
    norm = math.hypot(*of)
    if not (math.isfinite(norm) and abs(norm - 1) < _LEAST_NORM):
        return None
    w, x, y, z = (part / norm for part in of)
    sine = 2 * (w * y - z * x)
    if abs(sine) > _UPRIGHT:
        # only the sum, or the difference, of yaw and roll shows: roll is taken to be where it should be
        turn = math.degrees(2 * math.atan2(x, w))
        yaw = near.roll - turn if sine > 0 else turn - near.roll
        return Attitude(near.roll, unwrapped(math.copysign(90, sine), near.pitch), unwrapped(yaw, near.yaw))
    roll = math.degrees(math.atan2(2 * (w * x + y * z), 1 - 2 * (x * x + y * y)))
    pitch = math.degrees(math.asin(sine))
    yaw = math.degrees(math.atan2(2 * (w * z + x * y), 1 - 2 * (y * y + z * z)))
    both = [
        Attitude(unwrapped(r, near.roll), unwrapped(p, near.pitch), unwrapped(h, near.yaw))
        for r, p, h in ((roll, pitch, yaw), (roll + 180, 180 - pitch, yaw + 180))
    ]
    return min(both, key=lambda one: abs(one.roll - near.roll) + abs(one.pitch - near.pitch) + abs(one.yaw - near.yaw))


def unwrapped(angle: float, near: float) -> float:
    """Return the angle with as many whole turns as bring it nearest to `near`. Unit: degrees."""
    return near + math.remainder(angle - near, 360)


def half_turns(angle: float) -> float:
    """Return the angle without its whole turns, from -180 to 180. Unit: degrees."""
    return math.remainder(angle, 360)
