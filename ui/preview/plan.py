"""The set from above: where places lie in the plan view, what is under the pointer, the wedge that the camera sees.

It knows no Qt, and refuses to squeeze: a metre is as wide as it is tall. Forward is up.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sequencer.project.stage import Box, Person, Stage
from sequencer.rig.axis import Rig
from sequencer.rig.lens import Lens
from sequencer.rig.pose import READ_AS, Pose, track
from ui.preview.stand_ins import SHOULDER, corners

Floats = NDArray[np.float64]
EDGE_PX = 30.0  # around what must be in sight
PERSON_PX = 6.0  # the smallest that a person is drawn, half across
WITHIN_PX = 6.0  # of the pointer a thing is meant
BAR_PX = (60.0, 150.0)  # the length of the scale bar
_BEYOND = 1.6  # how far the wedge is drawn, in distances of focus
_LEAST_M = 0.2  # of the stretch in sight


@dataclass(frozen=True, slots=True)
class Plan:
    """A view of this size, with the origin of the set at a place in it. Unit: pixels; `scale_px` for each metre."""

    width_px: float
    height_px: float
    scale_px: float
    origin_px: tuple[float, float]

    def px(self, metres: Floats) -> Floats:
        """Return where places of the set lie. Shape: (..., 2) or (..., 3) to (..., 2)."""
        found: Floats = metres[..., :2] * np.array([self.scale_px, -self.scale_px]) + np.array(self.origin_px)
        return found

    def metres(self, x_px: float, y_px: float) -> tuple[float, float]:
        """Return the place of the set that lies there."""
        return (x_px - self.origin_px[0]) / self.scale_px, (self.origin_px[1] - y_px) / self.scale_px


@dataclass(frozen=True, slots=True)
class Hit:
    """A person, or a box, with its place among its kind."""

    kind: str
    number: int


def fitted(width_px: float, height_px: float, points: Floats) -> Plan:
    """Return the plan in which all these places are in sight. Shape: (N, 2)."""
    low, high = points.min(axis=0), points.max(axis=0)
    across, along = np.maximum(high - low, _LEAST_M)
    scale = min(max(width_px - 2 * EDGE_PX, 1.0) / across, max(height_px - 2 * EDGE_PX, 1.0) / along)
    middle = (low + high) / 2
    origin = (width_px / 2 - middle[0] * scale, height_px / 2 + middle[1] * scale)
    return Plan(width_px, height_px, float(scale), (float(origin[0]), float(origin[1])))


def in_sight(stage: Stage, tracks: Floats, where: Pose | None) -> Floats:
    """Return the places that the plan must show: the set, the slides' tracks, the way of the camera. Shape: (N, 2)."""
    parts = [np.array([[0.0, 0.0]]), tracks.reshape(-1, tracks.shape[-1])[:, :2]]
    parts += [np.array([[one.x_m, one.y_m]]) for one in stage.people]
    parts += [corners(box)[:, :2] for box in stage.boxes]
    if where is not None:
        parts.append(where.position.reshape(-1, 3)[:, :2])
    return np.concatenate(parts)


def tracks(rig: Rig, positions: Floats, where: Pose) -> Floats:
    """Return each slide's track while the other axes stand at `positions`. Shape: (A,), to (N, 2, 3).

    A slide without ends has none that could be drawn.
    """
    lines = []
    for number, axis in enumerate(rig.axes):
        if axis.kind == "slide" and axis.unit == READ_AS["slide"] and axis.travel is not None:
            way = track(rig, axis) / 1000
            lines.append([where.position + way * (end - positions[number]) for end in axis.travel])
    return np.array(lines).reshape(-1, 2, 3)


def wedge(where: Pose, lens: Lens, half_width: float) -> tuple[Floats, Floats]:
    """Return the wedge that the camera sees in the middle row of its picture, and the line of what is in focus.

    `half_width` is the picture's, as a part of the frame's. Shape: (3, 2), left end, camera, right end; (2, 2).
    """
    ends = []
    for side in (-1, 1):
        way = where.matrix @ np.array([side * half_width * lens.slopes[0], 1.0, 0.0])
        ends.append(where.position[:2] + way[:2] * lens.focus_m)
    focus = np.array(ends)
    here = where.position[:2]
    far = here + (focus - here) * _BEYOND
    return np.stack([far[0], here, far[1]]), focus


def radius_px(plan: Plan, person: Person) -> float:
    """Return half of how wide a person is drawn."""
    return max(PERSON_PX, person.height_m * SHOULDER * plan.scale_px)


def hit(plan: Plan, stage: Stage, x_px: float, y_px: float) -> Hit | None:
    """Return what is under the pointer: the person whose middle is nearest, or the smallest box there."""
    near = []
    for number, one in enumerate(stage.people):
        x, y = plan.px(np.array([one.x_m, one.y_m]))
        far = math.hypot(x - x_px, y - y_px)
        if far <= radius_px(plan, one) + WITHIN_PX:
            near.append((far, number))
    if near:
        return Hit("person", min(near)[1])
    x_m, y_m = plan.metres(x_px, y_px)
    within = [(box.size_m[0] * box.size_m[1], n) for n, box in enumerate(stage.boxes) if _over(plan, box, x_m, y_m)]
    return Hit("box", min(within)[1]) if within else None


def _over(plan: Plan, box: Box, x_m: float, y_m: float) -> bool:
    turn = math.radians(box.heading_deg)
    across, along = x_m - box.centre_m[0], y_m - box.centre_m[1]
    inside = (
        abs(across * math.cos(turn) + along * math.sin(turn)) - box.size_m[0] / 2,
        abs(along * math.cos(turn) - across * math.sin(turn)) - box.size_m[1] / 2,
    )
    return max(inside) * plan.scale_px <= WITHIN_PX


def place_of(stage: Stage, what: Hit) -> tuple[float, float]:
    """Return where a thing stands. Unit: metres."""
    if what.kind == "person":
        one = stage.people[what.number]
        return one.x_m, one.y_m
    x_m, y_m, _ = stage.boxes[what.number].centre_m
    return x_m, y_m


def name_of(stage: Stage, what: Hit) -> str:
    """Return what the operator calls a thing."""
    return (stage.people if what.kind == "person" else stage.boxes)[what.number].name


def moved(stage: Stage, what: Hit, x_m: float, y_m: float) -> Stage:
    """Return the stage with a thing elsewhere. Error: ValueError for a place too far away."""
    if what.kind == "person":
        return stage.with_person(what.number, replace(stage.people[what.number], x_m=x_m, y_m=y_m))
    box = stage.boxes[what.number]
    return stage.with_box(what.number, replace(box, centre_m=(x_m, y_m, box.centre_m[2])))


def fine_m(plan: Plan) -> float:
    """Return the step to which a thing's place is rounded while it is dragged: about a pixel, as people count."""
    return float(10.0 ** math.ceil(math.log10(1 / plan.scale_px) - 0.5))


def rounded(value_m: float, step_m: float) -> float:
    """Return the nearest whole number of steps, as a number without noise behind."""
    return round(round(value_m / step_m) * step_m, 6)


def scale_bar(plan: Plan) -> tuple[float, str, float]:
    """Return the length of the scale bar in a round number of `m`, `cm` or `mm`: number, unit, pixels."""
    length_m = next(
        (
            part * 10.0**power
            for power in range(-4, 5)
            for part in (1, 2, 5)
            if part * 10.0**power * plan.scale_px >= BAR_PX[0]
        ),
        1e4,
    )
    for unit, metres in (("m", 1.0), ("cm", 0.01), ("mm", 0.001)):
        if length_m >= metres * 0.999:
            return round(length_m / metres, 3), unit, length_m * plan.scale_px
    return round(length_m / 0.001, 3), "mm", length_m * plan.scale_px


def arrow(x_px: float, y_px: float, length_px: float) -> Sequence[Sequence[Sequence[float]]]:
    """Return the lines of an arrow upwards from (x, y). Shape: (3, 2, 2)."""
    tip, side = y_px - length_px, length_px * 0.28
    return [
        [[x_px, y_px], [x_px, tip]],
        [[x_px, tip], [x_px - side, tip + side]],
        [[x_px, tip], [x_px + side, tip + side]],
    ]
