"""Where the sensor's frame and the picture inside it lie in the lens view, and the lines that help the eye.

It knows no Qt, and refuses to squeeze: a pixel of the view is as wide as it is tall.
"""

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from sequencer.rig.lens import ACTION_SAFE, Lens, framed

Floats = NDArray[np.float64]
EDGE_PX = 6.0  # around the frame


@dataclass(frozen=True, slots=True)
class Rect:
    """A rectangle of the view."""

    left: float
    top: float
    width: float
    height: float

    @property
    def right(self) -> float:
        return self.left + self.width

    @property
    def bottom(self) -> float:
        return self.top + self.height

    @property
    def sides(self) -> Floats:
        """Its four sides. Shape: (4, 2, 2)."""
        at = np.array(
            [[self.left, self.top], [self.right, self.top], [self.right, self.bottom], [self.left, self.bottom]]
        )
        return np.stack([at, np.roll(at, -1, axis=0)], axis=1)

    def without(self, inner: "Rect") -> tuple["Rect", ...]:
        """Return what lies above, below, left and right of a rectangle inside; without what is thinner than a pixel."""
        around = (
            Rect(self.left, self.top, self.width, inner.top - self.top),
            Rect(self.left, inner.bottom, self.width, self.bottom - inner.bottom),
            Rect(self.left, inner.top, inner.left - self.left, inner.height),
            Rect(inner.right, inner.top, self.right - inner.right, inner.height),
        )
        return tuple(one for one in around if one.width > 0.5 and one.height > 0.5)

    def about_middle(self, across: float, up: float) -> "Rect":
        """Return a part of the rectangle about its middle."""
        width, height = self.width * across, self.height * up
        return Rect(self.left + (self.width - width) / 2, self.top + (self.height - height) / 2, width, height)


@dataclass(frozen=True, slots=True)
class Frame:
    """The sensor's frame in the view, and the picture in it. Unit: pixels of the screen's own."""

    view: Rect
    sensor: Rect
    picture: Rect

    def px(self, flat: Floats) -> Floats:
        """Return where frame coordinates lie. Shape: (..., 2) both."""
        half = np.array([self.sensor.width / 2, -self.sensor.height / 2])
        found: Floats = flat * half + np.array(
            [self.sensor.left + self.sensor.width / 2, self.sensor.top + self.sensor.height / 2]
        )
        return found

    @property
    def bars(self) -> tuple[Rect, ...]:
        """What of the sensor is not in the picture: two bars, or none."""
        return self.sensor.without(self.picture)

    @property
    def around(self) -> tuple[Rect, ...]:
        """What of the view is not in the sensor's frame."""
        return self.view.without(self.sensor)

    @property
    def thirds(self) -> Floats:
        """The lines at a third and two thirds of the picture. Shape: (4, 2, 2)."""
        inner = self.picture
        lines = []
        for part in (1 / 3, 2 / 3):
            x, y = inner.left + part * inner.width, inner.top + part * inner.height
            lines += [[[x, inner.top], [x, inner.bottom]], [[inner.left, y], [inner.right, y]]]
        return np.array(lines)

    @property
    def safe(self) -> Rect:
        """The part of the picture that every screen shows."""
        return self.picture.about_middle(ACTION_SAFE, ACTION_SAFE)

    @property
    def cross(self) -> Floats:
        """A small cross in the middle. Shape: (2, 2, 2)."""
        inner = self.picture
        x, y, arm = inner.left + inner.width / 2, inner.top + inner.height / 2, 7.0
        return np.array([[[x - arm, y], [x + arm, y]], [[x, y - arm], [x, y + arm]]])


def fitted(width_px: float, height_px: float, lens: Lens, aspect: Fraction | None) -> Frame:
    """Return the largest frame in a view of this size."""
    width = max(1.0, width_px - 2 * EDGE_PX)
    height = max(1.0, height_px - 2 * EDGE_PX)
    scale = min(width / lens.aspect, height)
    sensor = Rect((width_px - scale * lens.aspect) / 2, (height_px - scale) / 2, scale * lens.aspect, scale)
    return Frame(Rect(0.0, 0.0, width_px, height_px), sensor, sensor.about_middle(*framed(lens, aspect)))


def ticks_px(frame: Frame, ticks: Floats, half_px: float) -> Floats:
    """Return a short line across the way at the beginning of each of these stretches. Shape: (K, 2, 2) both."""
    at = frame.px(ticks)
    way = at[:, 1] - at[:, 0]
    length = np.hypot(way[:, 0], way[:, 1])[:, np.newaxis]
    # where the view stands still, the tick stands upright
    still = length < 1e-3
    aside = np.where(still, [[0.0, 1.0]], np.stack([-way[:, 1], way[:, 0]], axis=1) / np.where(still, 1, length))
    return np.stack([at[:, 0] - half_px * aside, at[:, 0] + half_px * aside], axis=1)
