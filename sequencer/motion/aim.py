"""Where pan and tilt stand for the lens to look at a point, along a path of slide, lift and roll, without a flip.

Seen from the pivot, where pan, tilt and roll meet, the entrance pupil lies aside, ahead and above, and the optical axis
runs on from it. Rolled, that is (a, y, h) with y still open; panned and tilted it is to be the way d to the point:
|d|^2 = a^2 + y^2 + h^2; of the horizontal way q = +-sqrt(dx^2 + dy^2 - a^2) is left; tilt = atan2(dz, q) - atan2(h, y)
and pan = atan2(dy, dx) - atan2(q, a). With q below zero the head is tilted over the top, and the picture upside down.
It refuses no path: what cannot be is a `Missed`, what hardly can be a `Near` (`motion.overhead`), and what the travel
does not allow a `Beyond`. Speeds are for the check.
Source: textbook (forward kinematics of a head whose axes meet; order and signs as in `rig.pose`), solved here.
"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.overhead import Near, Seen, passes, settled_turns
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.pose import READ_AS, pupil_m, stood, turned

Floats = NDArray[np.float64]

NEAREST_M = 0.01  # before the entrance pupil: what is nearer is in the lens
_ROUND = 360.0


class Why(StrEnum):
    """What keeps a point from being looked at."""

    ASIDE = "it is so near the axis that pan turns about that the lens, which sits beside it, cannot be turned to it"
    INSIDE = "it is in the lens, or behind it"


@dataclass(frozen=True, slots=True)
class Missed:
    """The first instant at which no pan and tilt look at the point, how far it is from the pan axis or the lens, and
    how far it must be. Unit: seconds, metres."""

    at_s: float
    why: Why
    far_m: float
    need_m: float


@dataclass(frozen=True, slots=True)
class Beyond:
    """An axis that would have to stand outside its travel: at `worst`, and inside from `inside_s[0]` to `inside_s[1]`.

    `inside_s` is the longest stretch of the path in which both pan and tilt are within their travels; None without one.
    """

    axis: str
    at_s: float
    worst: float
    inside_s: tuple[float, float] | None


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Aimed:
    """Pan and tilt, as the rig's axes count them, with all turns, and how far ahead of the lens the point is.

    `distance_m` counts from the entrance pupil as zoom and focus of the path have it, `sensor_m` from the sensor plane;
    from the pupil too, where no table of the lens tells the two apart.
    Shape: `t_s`, `pan`, `tilt`, `distance_m`, `sensor_m` (T,). Unit: seconds; the axis's own; metres along the optical
    axis.
    """

    t_s: Floats
    pan: Floats
    tilt: Floats
    distance_m: Floats
    sensor_m: Floats
    near: tuple[Near, ...]
    beyond: tuple[Beyond, ...]


@dataclass(frozen=True, slots=True)
class Head:
    """The places of the axes that aim the camera: the first of their kind; others of the kind stay as they are told."""

    pan: int
    tilt: int


def head(rig: Rig) -> Head:
    """Return what aims the camera. Error: ValueError in plain words for a rig that cannot be aimed."""
    places = []
    for kind in ("pan", "tilt"):
        own = [number for number, axis in enumerate(rig.axes) if axis.kind == kind]
        read = [number for number in own if rig.axes[number].unit == READ_AS[kind]]
        if not read:
            what = f"{rig.axes[own[0]].name} counts {rig.axes[own[0]].unit}" if own else f"the rig has no {kind}"
            raise ValueError(f"{what}; to be aimed it needs a {kind} in {READ_AS[kind]}")
        places.append(read[0])
    return Head(*places)


def aimed(
    rig: Rig,
    t_s: Floats,
    positions: Floats,
    points: Floats,
    *,
    over_the_top: bool = False,
    within_deg: float = 0.01,
) -> Aimed | Missed:
    """Return pan and tilt that keep the lens on the points, from one sample to the next without a flip.

    Only what the path says of pan and tilt at its begin counts: of all whole turns the nearest is taken that fits the
    travel. Where the point passes straight above or below to within a quarter of `within_deg`, tilt goes on through it,
    and the picture is upside down from there; elsewhere the way is exact. `over_the_top` begins upside down.
    Shape: `t_s` (T,), rising, `positions` (T, A), `points` (T, 3) or (3,). Unit: seconds, each axis's own, metres.
    Error: ValueError for a rig that cannot be aimed.
    """
    own = head(rig)
    lens = np.broadcast_to(pupil_m(rig, positions), (len(t_s), 3))
    seen = _seen(rig, t_s, positions, points, lens)
    if (missed := _missed(seen, lens[:, 1])) is not None:
        return missed
    within = float(np.radians(within_deg)) / 4
    sides, near = passes(seen, within, -1.0 if over_the_top else 1.0)
    pan_deg, tilt_deg, near = settled_turns(seen, sides, near, within)
    others = stood(rig, _without(positions, own))[1]
    counted = {}
    for axis, place, total, rest in (
        ("pan", own.pan, pan_deg, others[:, 0]),
        ("tilt", own.tilt, tilt_deg, others[:, 1]),
    ):
        machine = rig.axes[place]
        values = (total - rest) * rig.geometry.sign(machine.name, machine.kind)
        counted[axis] = values + fitting_turns(machine, values, float(positions[0, place]))
    pair = (rig.axes[own.pan], counted["pan"]), (rig.axes[own.tilt], counted["tilt"])
    return Aimed(
        t_s=t_s,
        pan=counted["pan"],
        tilt=counted["tilt"],
        distance_m=seen.ahead - lens[:, 1],
        sensor_m=seen.ahead - rig.geometry.mounted_mm[1] / 1000,
        near=near,
        beyond=_beyond(t_s, pair),
    )


def off_deg(rig: Rig, positions: Floats, points: Floats) -> Floats:
    """Return the angle between the optical axis and the way from the lens to the point. Shape: (T, A), (T, 3) to (T,).

    It is worked out from the pose, forward, and so says what an aim is worth.
    """
    pivot, angles_deg = stood(rig, positions)
    matrix = turned(angles_deg)
    way = points - (pivot + (matrix @ pupil_m(rig, positions)[..., None])[..., 0])
    across = np.linalg.norm(np.cross(matrix[..., :, 1], way), axis=-1)
    found: Floats = np.degrees(np.arctan2(across, (matrix[..., :, 1] * way).sum(axis=-1)))
    return found


def _seen(rig: Rig, t_s: Floats, positions: Floats, points: Floats, lens: Floats) -> Seen:
    """Return the points from the pivot, and where the rolled pupil lies aside of and above it. Shape: `lens` (T, 3)."""
    pivot, angles_deg = stood(rig, positions)
    way = np.broadcast_to(points, pivot.shape) - pivot
    right, _, up = lens.T
    cos, sin = np.cos(np.radians(angles_deg[:, 2])), np.sin(np.radians(angles_deg[:, 2]))
    aside, above = right * cos + up * sin, up * cos - right * sin
    left = (way**2).sum(axis=1) - aside**2 - above**2
    return Seen(t_s, way, aside, above, np.sign(left) * np.sqrt(np.abs(left)))


def _missed(seen: Seen, lens_m: Floats) -> Missed | None:
    """Return the first instant at which the equations have no answer. `lens_m` is how far ahead the pupil lies."""
    need_m = np.maximum(lens_m, 0.0) + NEAREST_M
    level = np.hypot(seen.way[:, 0], seen.way[:, 1])
    inside = seen.ahead < need_m
    aside = level < np.abs(seen.aside)
    wrong = inside | aside
    if not wrong.any():
        return None
    first = int(wrong.argmax())
    at_s = float(seen.t_s[first])
    if inside[first]:
        reach = float(np.linalg.norm(seen.way[first]))
        return Missed(
            at_s, Why.INSIDE, reach, float(np.linalg.norm([seen.aside[first], need_m[first], seen.above[first]]))
        )
    return Missed(at_s, Why.ASIDE, float(level[first]), float(abs(seen.aside[first])))


def _without(positions: Floats, own: Head) -> Floats:
    """Return the positions with the axes that aim at zero."""
    rest = np.array(positions, dtype=np.float64)
    rest[:, [own.pan, own.tilt]] = 0.0
    return rest


def fitting_turns(axis: Axis, values: Floats, near: float) -> float:
    """Return the whole turns to add: those that fit the travel best, and of these the nearest to where the axis is."""
    middle = round((near - float(values[0])) / _ROUND)
    if axis.travel is None:
        return _ROUND * middle
    low, high = axis.travel
    least, most = float(values.min()), float(values.max())
    inner = round(((low + high) / 2 - (least + most) / 2) / _ROUND)
    tried = [_ROUND * turns for turns in {*range(middle - 1, middle + 2), *range(inner - 1, inner + 2)}]

    def badness(turns: float) -> tuple[float, float]:
        return max(low - least - turns, most + turns - high, 0.0), abs(float(values[0]) + turns - near)

    best: float = min(tried, key=badness)
    return best


def _beyond(t_s: Floats, pair: tuple[tuple[Axis, Floats], tuple[Axis, Floats]]) -> tuple[Beyond, ...]:
    """Return which of both axes would leave its travel."""
    over = []
    for axis, values in pair:
        low, high = axis.travel or (-np.inf, np.inf)
        over.append(np.maximum(np.maximum(low - values, values - high), 0.0))
    good = (over[0] + over[1]) <= 0
    edges = np.flatnonzero(np.diff(good, prepend=False, append=False)).reshape(-1, 2)
    spans = [(float(t_s[first]), float(t_s[last - 1])) for first, last in edges.tolist()]
    inside = max(spans, key=lambda span: span[1] - span[0], default=None)
    return tuple(
        Beyond(axis.name, float(t_s[int((much > 0).argmax())]), float(values[int(much.argmax())]), inside)
        for (axis, values), much in zip(pair, over, strict=True)
        if much.any()
    )
