"""Everything that the lens view draws of the world at one instant, projected at once. It knows no Qt."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sequencer.project.stage import Stage
from sequencer.rig.lens import Lens, drawn, focus_on_ground, from_camera, horizon, projected
from sequencer.rig.pose import Pose
from ui.preview.course import Ribbon, level
from ui.preview.stand_ins import PERSON, Scene, heads

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
FOCUS, WAY = 3, 4  # what a line belongs to, beside ground, box and person
_GUARD = 1.05  # no line is drawn further out than the frame, and half of the widest pen
_DASH = 3  # lines of the ribbon that is past, of which each is drawn and as many are not


@dataclass(frozen=True, slots=True, eq=False)
class Sight:
    """Lines in frame coordinates.

    Shape: `lines` (M, 2, 2) with `kinds` (M,); of the ribbon, `way` (W, 2, 2) with `levels` (W,), how fast, and
    `ticks` (K, 2, 2), short stretches of the way from each tick on, with `after` (K,), how many ticks from now;
    `horizon` (2, 2) or None; `crowns` (P, 2), above each person's head, nan where they are not ahead.
    """

    lines: Floats
    kinds: Ints
    way: Floats
    levels: Ints
    ticks: Floats
    after: Ints
    horizon: Floats | None
    crowns: Floats


def sight(stage: Stage, scene: Scene, ribbon: Ribbon | None, where: Pose, lens: Lens) -> Sight:
    """Return what the camera sees of the set, of what is in focus on the ground, and of its own way."""
    round_heads = heads(stage.people, where.position)
    parts, kinds = [scene.lines, round_heads], [scene.kinds, np.full(len(round_heads), PERSON)]
    in_focus = focus_on_ground(where, lens)
    if in_focus is not None:
        parts.append(in_focus[np.newaxis])
        kinds.append(np.array([FOCUS]))
    before = sum(len(part) for part in parts)
    if ribbon is not None:
        parts.append(ribbon.ways)
        kinds.append(np.full(len(ribbon.ways), WAY))
    flat, number = drawn(where, lens, np.concatenate(parts), _GUARD)
    first = int(number.searchsorted(before))
    crowns = np.array([[one.x_m, one.y_m, one.height_m * 1.02] for one in stage.people]).reshape(-1, 3)
    return Sight(
        flat[:first],
        np.concatenate(kinds)[number[:first]].astype(np.int64),
        *_of(ribbon, flat[first:], number[first:] - before),
        horizon(where, lens),
        projected(lens, from_camera(where, crowns)),
    )


def _of(ribbon: Ribbon | None, flat: Floats, number: Ints) -> tuple[Floats, Ints, Floats, Ints]:
    """Return what of the ribbon is drawn: its lines, how fast each is, its ticks, how many ticks from now they are."""
    if ribbon is None:
        none = np.empty(0, dtype=np.int64)
        return flat, none, flat, none
    shown = ~ribbon.past[number] | (number % (2 * _DASH) < _DASH)
    # a stretch that was cut at the frame does not begin at its tick
    ticks = (ribbon.after[number] != 0) & (np.abs(flat[:, 0]) <= 1).all(axis=1)
    return flat[shown], level(ribbon.speed[number[shown]]), flat[ticks], ribbon.after[number[ticks]]
