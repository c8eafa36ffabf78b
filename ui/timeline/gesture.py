"""What all gestures of the mouse share: where the pointer is, what it needs of the timeline, and snapping on the way.

It refuses to change the document: each gesture does.
"""

from dataclasses import dataclass
from fractions import Fraction
from typing import Protocol

from PyQt6.QtCore import QPointF, QRectF, Qt

from sequencer.score.edits.snap import Lines
from ui.acts.grids import FRAMES, is_dense
from ui.desk import Desk
from ui.timeline.geometry import Layout

START_PX = 4.0  # from a press on, the pointer has gone so far when it is a drag
MAGNET_PX = 10.0  # lines that are far apart draw a key from so far


class Scene(Protocol):
    """What gestures need of the timeline.

    `chosen_axis` is the lane that has the keyboard, `scroll_px` how far the lanes are scrolled up.
    """

    chosen_axis: str
    scroll_px: float

    def layout_now(self) -> Layout: ...

    def show_box(self, box: QRectF | None) -> None: ...

    def show_snap(self, t_s: float | None) -> None: ...


@dataclass(frozen=True, slots=True)
class Pointer:
    """Where the pointer is, and what is held: `more` adds and removes, `extend` extends, `free` does not snap."""

    x_px: float
    y_px: float
    more: bool = False
    extend: bool = False
    free: bool = False


def pointer(at: QPointF, held: Qt.KeyboardModifier) -> Pointer:
    """Return the pointer at `at` with the keys that are `held`."""
    control = bool(held & Qt.KeyboardModifier.ControlModifier)
    return Pointer(
        at.x(),
        at.y(),
        more=control,
        extend=bool(held & Qt.KeyboardModifier.ShiftModifier),
        free=control or bool(held & Qt.KeyboardModifier.AltModifier),
    )


class Gesture(Protocol):
    """What goes on from a press to a release, or to its end without one."""

    def move(self, now: Pointer) -> None:
        """The pointer is elsewhere."""

    def release(self, now: Pointer) -> None:
        """The button is up."""

    def abandon(self) -> None:
        """All is as before the press."""


def frames_at(desk: Desk, layout: Layout, x_px: float) -> Fraction:
    """Return the frame drawn at `x_px`, to a thousandth, and no further than half a day away."""
    timebase = desk.project.timebase
    half = Fraction(timebase.counting.day, 2)
    at = Fraction(round(timebase.rate.frames(Fraction(layout.t_s(x_px))) * 1000), 1000)
    return min(max(at, -half), half - 1)


def snapped(desk: Desk, layout: Layout, grid: Lines | None, at: Fraction) -> tuple[Fraction, bool]:
    """Return the line for `at`, and whether it is one of the grid: elsewhere the nearest whole frame does.

    Without a grid, `at` as it is.
    """
    if grid is None:
        return at, False
    line = grid.nearest(at)
    far_px = abs(float(desk.project.timebase.rate.seconds(line - at))) * layout.px_a_s
    if is_dense(desk) or far_px <= MAGNET_PX:
        return line, True
    return FRAMES.nearest(at), False
