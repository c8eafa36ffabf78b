"""Drags that begin beside a key: a box that chooses keys, the playhead, the view. They change no document."""

from fractions import Fraction
from math import hypot

from PyQt6.QtCore import QPointF, QRectF

from sequencer.score.edits.snap import Lines
from ui.acts.grids import FRAMES, lines
from ui.desk import Desk
from ui.timeline.geometry import boxed
from ui.timeline.gesture import START_PX, Pointer, Scene, frames_at, snapped


class BoxGesture:
    """A box over the lanes chooses the keys in it, beside those that were, if more or extending is held."""

    def __init__(self, desk: Desk, scene: Scene, start: Pointer) -> None:
        self._desk = desk
        self._scene = scene
        self._start = start
        self._start_s = scene.layout_now().t_s(start.x_px)
        self._before = {axis: frozenset(own) for axis, own in desk.selection.items()}
        self._begun = False

    def move(self, now: Pointer) -> None:
        """Choose what is in the box."""
        start = self._start
        if not self._begun and hypot(now.x_px - start.x_px, now.y_px - start.y_px) < START_PX:
            return
        self._begun = True
        layout = self._scene.layout_now()
        begin_px = layout.x(self._start_s)  # the view may have gone on meanwhile
        self._scene.show_box(QRectF(QPointF(begin_px, start.y_px), QPointF(now.x_px, now.y_px)).normalized())
        found = boxed(layout, self._desk.shapes, begin_px, start.y_px, now.x_px, now.y_px)
        if start.more or start.extend:
            axes = self._before.keys() | found.keys()
            none: frozenset[int] = frozenset()
            found = {axis: self._before.get(axis, none) | found.get(axis, none) for axis in axes}
        self._desk.select(found)

    def release(self, now: Pointer) -> None:
        """Take the box away; a mere click on the ground chooses nothing."""
        self._scene.show_box(None)
        if not self._begun and not (self._start.more or self._start.extend):
            self._desk.select({})

    def abandon(self) -> None:
        """Choose what was chosen before."""
        self._scene.show_box(None)
        self._desk.select(self._before)


class PlayheadGesture:
    """The playhead follows the pointer, on whole frames or what keys snap onto."""

    def __init__(self, desk: Desk, scene: Scene, start: Pointer) -> None:
        self._desk = desk
        self._scene = scene
        self._before = desk.playhead
        self._grid = lines_or_frames(desk)
        self.move(start)

    def move(self, now: Pointer) -> None:
        """Put the playhead under the pointer."""
        layout = self._scene.layout_now()
        at = frames_at(self._desk, layout, now.x_px)
        self._desk.place(at if now.free else snapped(self._desk, layout, self._grid, at)[0])

    def release(self, now: Pointer) -> None:
        """Leave the playhead where it is."""

    def abandon(self) -> None:
        """Put the playhead back."""
        self._desk.place(self._before)


class PanGesture:
    """The view follows the pointer, across in time and down over the lanes."""

    def __init__(self, desk: Desk, scene: Scene, start: Pointer) -> None:
        self._desk = desk
        self._scene = scene
        self._before_s = desk.span_s
        self._before_px = scene.scroll_px
        self._start = start

    def move(self, now: Pointer) -> None:
        """Show what brings the pointer over the same instant."""
        shift_s = (self._start.x_px - now.x_px) / self._scene.layout_now().px_a_s
        begin_s, end_s = self._before_s
        self._desk.look(begin_s + shift_s, end_s + shift_s)
        self._scene.scroll_px = self._before_px + self._start.y_px - now.y_px

    def release(self, now: Pointer) -> None:
        """Leave the view where it is."""

    def abandon(self) -> None:
        """Show what was shown before."""
        self._desk.look(*self._before_s)
        self._scene.scroll_px = self._before_px


def lines_or_frames(desk: Desk) -> Lines | None:
    """Return what the playhead and marks snap onto: whole frames where there are no lines of the chosen kind."""
    try:
        return lines(desk, "")
    except ValueError:
        return FRAMES


def playhead_frames(desk: Desk, scene: Scene, now: Pointer) -> Fraction:
    """Return the frame for a key that is added under the pointer: on a line, unless snapping is off."""
    layout = scene.layout_now()
    at = frames_at(desk, layout, now.x_px)
    return at if now.free else snapped(desk, layout, lines_or_frames(desk), at)[0]
