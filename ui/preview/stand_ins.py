"""The set as straight lines in the world: ground, stand-in people and boxes, with what each line belongs to.

Figures are drawn by us from proportions that anybody has: eight heads high, shoulders two heads wide. It knows no Qt.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sequencer.project.stage import Box, Ground, Person, Stage

Floats = NDArray[np.float64]
GROUND, BOX, PERSON = 0, 1, 2  # what a line belongs to
SHOULDER = 0.125  # half of their width, as a part of the height
_AROUND = 12  # lines of a ring


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """All lines of the set. Shape: `lines` (N, 2, 3), in metres; `kinds` (N,), what each belongs to."""

    lines: Floats
    kinds: NDArray[np.int8]


def scene(stage: Stage) -> Scene:
    """Return the lines of everything that stands before the camera."""
    parts = [(GROUND, grid(stage.ground))]
    parts += [(BOX, edges(box)) for box in stage.boxes]
    parts += [(PERSON, figure(person)) for person in stage.people]
    kinds = np.repeat([kind for kind, _ in parts], [len(lines) for _, lines in parts]).astype(np.int8)
    return Scene(np.concatenate([lines for _, lines in parts]), kinds)


def grid(ground: Ground) -> Floats:
    """Return the lines of the ground, a line through the origin among them. Shape: (N, 2, 3)."""
    half, count = ground.size_m / 2, math.floor(ground.size_m / 2 / ground.cell_m + 1e-9)
    at = np.arange(-count, count + 1) * ground.cell_m
    lines = np.zeros((2, len(at), 2, 3))
    lines[0, :, :, 0], lines[1, :, :, 1] = at[:, np.newaxis], at[:, np.newaxis]
    lines[0, :, :, 1], lines[1, :, :, 0] = [-half, half], [-half, half]
    return lines.reshape(-1, 2, 3)


def corners(box: Box) -> Floats:
    """Return the eight corners of a box, the four on the ground first, in turn. Shape: (8, 3)."""
    width, depth, height = (size / 2 for size in box.size_m)
    flat = np.array([[-width, -depth], [width, -depth], [width, depth], [-width, depth]])
    low, high = np.full((4, 1), -height), np.full((4, 1), height)
    whole = np.concatenate([np.hstack([flat, low]), np.hstack([flat, high])])
    return placed(whole, box.heading_deg, box.centre_m)


def edges(box: Box) -> Floats:
    """Return the twelve edges of a box. Shape: (12, 2, 3)."""
    at = corners(box)
    ring = [(0, 1), (1, 2), (2, 3), (3, 0)]
    pairs = [*ring, *[(one + 4, other + 4) for one, other in ring], *[(one, one + 4) for one in range(4)]]
    lines: Floats = at[np.array(pairs)]
    return lines


def figure(person: Person) -> Floats:
    """Return a stand-in but for its head: trunk, arms, legs, nose and feet, which point where it looks.

    Shape: (N, 2, 3).
    """
    return placed(_figure() * person.height_m, person.heading_deg, (person.x_m, person.y_m, 0.0))


def placed(points: Floats, heading_deg: float, at: tuple[float, float, float]) -> Floats:
    """Return points turned to the left by the heading about the upright through zero, and moved. Shape: (..., 3)."""
    cos, sin = math.cos(math.radians(heading_deg)), math.sin(math.radians(heading_deg))
    turn = np.array([[cos, sin, 0.0], [-sin, cos, 0.0], [0.0, 0.0, 1.0]])
    moved: Floats = points @ turn + np.array(at)
    return moved


def heads(people: tuple[Person, ...], eye: Floats) -> Floats:
    """Return the outlines of the heads as they are seen from `eye`: round from every side. Shape: (N, 2, 3)."""
    if not people:
        return np.empty((0, 2, 3))
    height = np.array([one.height_m for one in people])[:, np.newaxis]
    feet = np.array([[one.x_m, one.y_m] for one in people])
    away = feet - eye[:2]
    length = np.maximum(np.hypot(away[:, :1], away[:, 1:]), 1e-6)
    aside = np.hstack([-away[:, 1:], away[:, :1]]) / length * height
    around = np.linspace(0, 2 * math.pi, _AROUND + 1)
    rings = np.empty((len(people), len(around), 3))
    rings[..., :2] = feet[:, np.newaxis] + 0.05 * np.cos(around)[:, np.newaxis] * aside[:, np.newaxis]
    rings[..., 2] = (0.937 + 0.063 * np.sin(around)) * height
    return np.stack([rings[:, :-1], rings[:, 1:]], axis=2).reshape(-1, 2, 3)


@lru_cache(maxsize=1)
def _figure() -> Floats:
    """Return a figure of height one on the origin that looks along Y, without its head. Shape: (N, 2, 3)."""
    around = np.linspace(0, 2 * math.pi, _AROUND + 1) + math.pi / 4
    rings = [
        np.stack([across * np.cos(around), deep * np.sin(around), 0 * around + up], axis=1)
        for across, deep, up in ((SHOULDER, 0.055, 0.82), (0.08, 0.05, 0.62), (0.088, 0.055, 0.5))
    ]
    quarter = len(around) // 4
    lines: list[object] = [*rings]
    lines += [[ring[corner] for ring in rings] for corner in (0, quarter, 2 * quarter, 3 * quarter)]
    lines += [[(0, 0, 0.874), (0, 0, 0.82)], [(0, 0.05, 0.94), (0, 0.10, 0.925), (0, 0.05, 0.915)]]
    for hand in (-1, 1):
        lines.append([(hand * SHOULDER, 0, 0.82), (hand * 0.155, -0.015, 0.64), (hand * 0.15, 0.03, 0.47)])
        lines.append([(hand * 0.06, 0, 0.5), (hand * 0.07, 0.012, 0.27), (hand * 0.07, 0, 0.02)])
        foot = [(hand * 0.06, -0.025, 0), (hand * 0.08, 0.10, 0), (hand * 0.07, 0, 0.04), (hand * 0.06, -0.025, 0)]
        lines.append(foot)
    strips = [np.asarray(line, dtype=np.float64) for line in lines]
    return np.concatenate([np.stack([strip[:-1], strip[1:]], axis=1) for strip in strips])
