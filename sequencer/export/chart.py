"""The check chart: nine points in the set, and where the camera that is handed over sees them.

Whoever reads the file back puts points at these places and looks at them through the camera: if they stand at these
pixels, axes, units, rotation order, focal length and frame numbers were all understood.
Source: central projection (pinhole camera), any textbook of photogrammetry.
"""

from dataclasses import dataclass
from html import escape

import numpy as np
from numpy.typing import NDArray

from sequencer.export.delivery import CameraPath, Delivery
from sequencer.rig.axis import Camera
from sequencer.rig.lens import FAR_M, Lens, from_camera, projected
from sequencer.rig.pose import Pose, turned

Floats = NDArray[np.float64]
_ASIDE = 0.6  # of the way from the middle of the frame to its edge
_NEARER, _FARTHER = 0.8, 1.25  # of the distance: with all at one distance, a wrong place would show less
# a place in each frame for three of the points, not in one line: together they are three rows of three
_LAID: tuple[tuple[tuple[int, float, float, float], ...], ...] = (
    ((1, -1, 1, 1.0), (3, 1, 1, _NEARER), (8, 0, -1, _FARTHER)),
    ((2, 0, 1, _FARTHER), (4, -1, 0, _NEARER), (6, 1, 0, 1.0)),
    ((5, 0, 0, 1.0), (7, -1, -1, _FARTHER), (9, 1, -1, _NEARER)),
)


@dataclass(frozen=True, slots=True, eq=False)
class Chart:
    """Nine points and where up to three frames have them.

    Shape: `points_m` (9, 3), in our space; `frames` (N,), of the path, counted from 0; `pixels` (N, 9, 2), across and
    down from the outer corner of the picture's top left pixel, whose centre is at (0.5, 0.5), NaN behind the camera.
    """

    points_m: Floats
    frames: tuple[int, ...]
    pixels: Floats

    def seen(self, size: tuple[int, int]) -> NDArray[np.bool_]:
        """Tell which points are in the picture of this size. Shape: (N, 9)."""
        # no number is neither above nor below
        inside = (self.pixels >= 0) & (self.pixels <= np.array(size))
        return inside[..., 0] & inside[..., 1]


def chart(path: CameraPath, camera: Camera) -> Chart:
    """Return the chart of a path: of its first, middle and last frame that are known.

    Three of the points are laid out in each of the three frames, at the distance in focus there, nearer and farther;
    where the camera stands still, all nine are rows of three. They are rounded, so that they can be typed.
    """
    known = np.flatnonzero(np.isfinite(path.position_m[:, path.main]).all(axis=-1))
    chosen = [int(known[0]), int(known[len(known) // 2]), int(known[-1])]
    points = np.empty((9, 3))
    for frame, places in zip(chosen, _LAID, strict=True):
        here, lens = _at(path, camera, frame)
        for number, aside, above, part in places:
            ahead_m = lens.focus_m * part
            flat = np.array([aside * _ASIDE * ahead_m, ahead_m, above * _ASIDE * ahead_m])
            flat *= np.array([lens.slopes[0], 1.0, lens.slopes[1]])
            points[number - 1] = here.position + here.matrix @ flat
    nearest = float(np.linalg.norm(points - path.position_m[chosen[0], path.main], axis=1).min())
    points = np.round(points, 3 if nearest > 1 else 4)
    frames = tuple(dict.fromkeys(chosen))
    return Chart(points, frames, np.stack([pixels_of(path, camera, frame, points) for frame in frames]))


def pixels_of(path: CameraPath, camera: Camera, frame: int, points_m: Floats) -> Floats:
    """Return where a frame of the path has points, at the frame's own instant. Shape: (N, 3) to (N, 2).

    Unit: metres of our space; pixels of the whole sensor, as in Chart.
    """
    here, lens = _at(path, camera, frame)
    flat = projected(lens, from_camera(here, points_m))
    out: Floats = (1 + flat * np.array([1.0, -1.0])) / 2 * np.array(camera.pixels)
    return out


def _at(path: CameraPath, camera: Camera, frame: int) -> tuple[Pose, Lens]:
    angles = path.angles_deg[frame, path.main]
    focus_m, focal_mm = float(path.focus_m[frame, path.main]), float(path.focal_mm[frame, path.main])
    # what is focused at infinity, or where nobody says, is as far off as the subject
    focus_m = focus_m if np.isfinite(focus_m) and focus_m < FAR_M else camera.subject_m
    return Pose(path.position_m[frame, path.main], turned(angles), angles), Lens(camera.sensor_mm, focal_mm, focus_m)


def picture(found: Chart, delivery: Delivery, numbers: tuple[int, ...], labels: tuple[str, ...]) -> str:
    """Return the chart as a drawing: each frame with the points that it has. Source: SVG 1.1."""
    assert delivery.rig.camera is not None
    width, height = delivery.rig.camera.pixels
    unit = width / 100
    tall, margin, head = height + 6 * unit, 2 * unit, 10 * unit
    across, down = width + 2 * margin, head + tall * len(found.frames)
    title = _title(delivery)
    letters = min(3 * unit, width / (0.6 * len(title)))  # a letter is some 0.6 of its size wide
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{-margin:g} {-head:g} {across:g} {down:g}" '
        f'font-family="sans-serif" font-size="{2.4 * unit:g}">',
        f'<rect x="{-margin:g}" y="{-head:g}" width="{across:g}" height="{down:g}" fill="white"/>',
        f'<text x="0" y="{-6 * unit:g}" font-size="{letters:g}">{escape(title)}</text>',
    ]
    seen = found.seen((width, height))
    for place, (number, label) in enumerate(zip(numbers, labels, strict=True)):
        lines.append(f'<g transform="translate(0 {place * tall:g})">')
        lines.append(
            f'<text x="0" y="{-unit:g}">frame {number}, {escape(label)}; {width} x {height} pixels</text>'
            f'<rect width="{width}" height="{height}" fill="none" stroke="black" stroke-width="{unit / 5:g}"/>'
        )
        lines += [_cross(one + 1, found.pixels[place, one], width) for one in np.flatnonzero(seen[place]).tolist()]
        lines.append("</g>")
    return "\n".join([*lines, "</svg>", ""])


def _title(delivery: Delivery) -> str:
    take = f", {delivery.take}" if delivery.take else ""
    return f"{delivery.project}, {delivery.cue.name}, {delivery.run}{take}, {delivery.source}"


def _cross(number: int, at: Floats, width: int) -> str:
    (x, y), unit = at.tolist(), width / 100
    # words stay inside the picture
    side, anchor = (-1, ' text-anchor="end"') if x > 0.7 * width else (1, "")
    return (
        f'<path d="M{x - unit:.2f} {y:.2f}H{x + unit:.2f}M{x:.2f} {y - unit:.2f}V{y + unit:.2f}" stroke="black" '
        f'stroke-width="{unit / 6:g}" fill="none"/>'
        f'<text x="{x + side * 0.6 * unit:.2f}" y="{y - 0.6 * unit:.2f}"{anchor}>{number}: {x:.2f}, {y:.2f}</text>'
    )
