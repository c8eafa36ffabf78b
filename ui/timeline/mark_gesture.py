"""Markers and the ends of cues under the mouse. It refuses to drag a cue's end past its begin."""

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from sequencer.project.document import Project
from ui.acts.carry import BESIDE
from ui.acts.marks import in_time, with_cue, with_marker
from ui.desk import Desk
from ui.language import translate
from ui.timeline.geometry import ROW_PX, WITHIN_PX, Layout
from ui.timeline.gesture import START_PX, Pointer, Scene, frames_at, snapped
from ui.timeline.ground_gesture import lines_or_frames

_FLAG_PX = 7.0  # of a marker, to its right

MarkPart = Literal["marker", "cue start", "cue end"]


@dataclass(frozen=True, slots=True)
class MarkHit:
    """A marker, or one end of a cue, by its number."""

    part: MarkPart
    number: int


def mark_at(layout: Layout, project: Project, x_px: float, y_px: float) -> MarkHit | None:
    """Return the marker or the cue's end that is nearest to the point, if one is near."""
    if layout.music is None or not layout.music.top_px <= y_px < layout.music.end_px:
        return None
    rate, move = project.timebase.rate, project.move
    row = (y_px - layout.music.top_px) // ROW_PX
    found: list[tuple[float, MarkHit]] = []
    if move.markers and row == 0:
        for number, marker in enumerate(move.markers):
            right_px = x_px - layout.x(float(rate.seconds(marker.at)))
            if -WITHIN_PX / 2 <= right_px <= _FLAG_PX + WITHIN_PX / 2:
                found.append((abs(right_px), MarkHit("marker", number)))
    else:
        for number, cue in enumerate(move.cues):
            ends: tuple[tuple[MarkPart, Fraction], ...] = (("cue start", cue.start), ("cue end", cue.end))
            for part, at in ends:
                far_px = abs(x_px - layout.x(float(rate.seconds(at))))
                if far_px <= WITHIN_PX:
                    found.append((far_px, MarkHit(part, number)))
    return min(found, key=lambda each: each[0])[1] if found else None


class MarkGesture:
    """A marker or one end of a cue follows the pointer; one step when it is let go."""

    def __init__(self, desk: Desk, scene: Scene, mark: MarkHit, start: Pointer) -> None:
        self._desk = desk
        self._scene = scene
        self._mark = mark
        self._start = start
        self._document = desk.history.now
        self._grid = lines_or_frames(desk)
        self._begun = self._over = False

    def move(self, now: Pointer) -> None:
        """Put it under the pointer."""
        if not self._begun:
            if abs(now.x_px - self._start.x_px) < START_PX:
                return
            self._begun = True
            if self._desk.locked:
                self._desk.note(self._desk.locked, "refused")
                self._over = True
        if self._over or self._desk.history.now is not self._document or self._desk.locked:
            return
        layout, move = self._scene.layout_now(), self._document.move
        at = frames_at(self._desk, layout, now.x_px)
        if not now.free:
            at = snapped(self._desk, layout, self._grid, at)[0]
        number = self._mark.number
        if self._mark.part == "marker":
            moved = with_marker(move, number, at=at)
        elif self._mark.part == "cue start":
            at = min(at, move.cues[number].end - BESIDE)
            moved = with_cue(move, number, start=at)
        else:
            at = max(at, move.cues[number].start + BESIDE)
            moved = with_cue(move, number, end=at)
        self._desk.draft(moved)
        self._scene.show_snap(None if now.free else float(self._document.timebase.rate.seconds(at)))

    def release(self, now: Pointer) -> None:
        """Make it one step; a mere click puts the playhead there."""
        self._scene.show_snap(None)
        move = self._document.move
        number = self._mark.number
        if not self._begun:
            cue = None if self._mark.part == "marker" else move.cues[number]
            at = move.markers[number].at if cue is None else cue.start if self._mark.part == "cue start" else cue.end
            self._desk.place(at)
        elif self._desk.drafting and not self._over:
            is_marker = self._mark.part == "marker"
            name = move.markers[number].name if is_marker else move.cues[number].name
            words = translate("timeline", "move the marker {name}" if is_marker else "move the cue {name}")
            if is_marker:
                self._desk.draft(in_time(self._desk.project.move))
            self._desk.settle(words.format(name=name))

    def abandon(self) -> None:
        """Put it back."""
        self._scene.show_snap(None)
        if self._begun and self._desk.history.now is self._document:
            self._desk.abandon()
        self._over = True
