"""Depth of field, hyperfocal distance and field of view. It knows a thin lens in air, and no lens's faults.

Distances come and go from the sensor plane, as a lens scale and a tape have them; between, they are the lens's own.
With a known entrance pupil that is what lies ahead of the pupil, without one what lies ahead of a thin lens.
Source: depth of field and hyperfocal distance as in any handbook of cinematography (from memory): H = f²/(N c) + f,
near = s (H - f) / (H + s - 2 f), far = s (H - f) / (H - s); thin lens: 1/f = 1/s + 1/s'.
"""

import math
from dataclasses import dataclass

_CIRCLE_PART = 1500.0


@dataclass(frozen=True, slots=True)
class Depth:
    """What is sharp enough, and the nearest focus that keeps infinity so. Unit: metres from the sensor plane."""

    near_m: float
    far_m: float
    hyperfocal_m: float

    @property
    def total_m(self) -> float:
        """How deep it is; infinite where it ends at infinity."""
        return self.far_m - self.near_m


def usual_circle_mm(sensor_mm: tuple[float, float]) -> float:
    """Return the blur that counts as sharp if nobody says: the diagonal by 1500. Common practice, no source."""
    return math.hypot(*sensor_mm) / _CIRCLE_PART


def fields_deg(sensor_mm: tuple[float, float], focal_mm: float) -> tuple[float, float, float]:
    """Return the field of view across, up and along the diagonal.

    Source: 2 atan(d / 2 f), central projection, any textbook of photogrammetry.
    """
    across, up, diagonal = (
        math.degrees(2 * math.atan(one / 2 / focal_mm)) for one in (*sensor_mm, math.hypot(*sensor_mm))
    )
    return across, up, diagonal


def hyperfocal_mm(focal_mm: float, f_number: float, circle_mm: float) -> float:
    """Return the hyperfocal distance, from the lens."""
    return focal_mm * focal_mm / (f_number * circle_mm) + focal_mm


def from_lens_mm(focal_mm: float, distance_m: float, pupil_mm: float | None = None) -> float:
    """Return how far ahead of the lens lies what is `distance_m` from the sensor plane.

    `pupil_mm` is the entrance pupil's place ahead of the sensor plane; without it the lens is a thin one, in focus
    there. Error: ValueError for what is nearer than the lens can be focused.
    """
    distance_mm = distance_m * 1000
    if pupil_mm is not None:
        if not distance_mm - pupil_mm > focal_mm:
            raise ValueError(
                f"{distance_m:g} m from the sensor plane lies within the lens, or nearer than it focuses; give a "
                "greater distance"
            )
        return distance_mm - pupil_mm
    if math.isinf(distance_mm):
        return math.inf
    if distance_mm < 4 * focal_mm:
        nearest = f"{4 * focal_mm / 1000:g} m, four focal lengths"
        raise ValueError(
            f"{distance_m:g} m is nearer than a thin lens of {focal_mm:g} mm can be focused; the least is {nearest}"
        )
    return (distance_mm + math.sqrt(distance_mm * (distance_mm - 4 * focal_mm))) / 2


def depth_of_field(
    focal_mm: float, f_number: float, circle_mm: float, distance_m: float, pupil_mm: float | None = None
) -> Depth:
    """Return what is sharp where the lens is focused at `distance_m`, which may be infinite.

    Error: ValueError for a distance that is nearer than the lens can be focused.
    """
    s = from_lens_mm(focal_mm, distance_m, pupil_mm)
    limit = hyperfocal_mm(focal_mm, f_number, circle_mm)
    thin = pupil_mm is None
    if math.isinf(s):
        ahead = focal_mm if pupil_mm is None else pupil_mm
        near, far = limit - focal_mm, math.inf
    else:
        ahead = distance_m * 1000 - s
        near = s * (limit - focal_mm) / (limit + s - 2 * focal_mm)
        # at the hyperfocal distance itself, rounding may leave it a hair short of infinity
        far = math.inf if s >= limit * (1 - 1e-12) else s * (limit - focal_mm) / (limit - s)
    there = limit * focal_mm / (limit - focal_mm) if thin else pupil_mm
    return Depth((near + ahead) / 1000, (far + ahead) / 1000, (limit + (there or 0.0)) / 1000)
