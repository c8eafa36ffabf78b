"""The parts that the timeline is drawn of, what each shows of the desk, and which are out of date.

It refuses to draw a part whose content is as it was.
"""

from collections.abc import Iterable, Iterator, Mapping, Set
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from PyQt6.QtCore import QPoint, QPointF, QRect, QRectF
from PyQt6.QtGui import QColor, QFontMetricsF, QPainter

from sequencer.motion.shape import Shape
from sequencer.project.document import Project
from sequencer.rig.axis import Axis
from sequencer.score.move import Marker
from ui.desk import Desk
from ui.theme import Theme
from ui.timeline import beats as metred
from ui.timeline import ink
from ui.timeline import ticks as ruled
from ui.timeline.bands import draw_music, draw_ruler, draw_wave
from ui.timeline.geometry import Layout, arrange, shown
from ui.timeline.ink import Canvas
from ui.timeline.judged import Judged
from ui.timeline.lanes import Content, Manner, draw_body, draw_head
from ui.timeline.look import Look
from ui.timeline.sheet import Grid, Sheet, down_px
from ui.timeline.ticks import Ticks
from ui.timeline.wave import Sound

Floats = NDArray[np.float64]

RULER, MUSIC, WAVE, HEAD, BODY, REST = "ruler", "music", "wave", "head", "body", "rest"


@dataclass(frozen=True, slots=True)
class Part:
    """One part: the ruler, the markers and cues, the playback, a lane's head or body, or what is left below."""

    kind: str
    axis: str = ""


_CORNER = QPoint(1, 1)  # from the last pixel to the end


class Parts:
    """Knows what was drawn last, so that it can tell what is out of date."""

    def __init__(self, desk: Desk, sound: Sound) -> None:
        self._desk, self._sound = desk, sound
        self._shapes: Mapping[str, Shape] = desk.shapes
        self._chosen: Mapping[str, Set[int]] = desk.selection
        self._project: Project = desk.project
        self._ranges: dict[str, tuple[Shape | None, float, tuple[float, float]]] = {}
        self._judged: dict[str, Judged] = {}
        self._look = Look(theme=desk.theme)
        self._marked: tuple[tuple[Marker, ...], list[float]] = ((), [])
        self._lined: tuple[tuple[object, ...], Grid] | None = None
        self._lying: tuple[tuple[object, ...], Sheet] | None = None
        self.tag_px = 0.0
        self._ghosts = self._ghosts_now()
        self.forget()

    def forget(self) -> None:
        """Measure words anew."""
        wide = QFontMetricsF(self._look.strong).horizontalAdvance("00:00:00:00.00")
        self.tag_px = float(round(wide) + 14)

    # where

    def lay(self, size_px: tuple[float, float], span_s: tuple[float, float], scroll_px: float, *, keep: bool) -> Layout:
        """Lay the timeline out; `keep` the ranges of values, as long as a gesture goes on."""
        project = self._desk.project
        rows = bool(project.move.markers) + bool(project.move.cues)
        rough = [(axis.name, (0.0, 1.0)) for axis in project.rig.axes]
        waved = project.playback is not None
        layout = arrange(size_px, span_s, rough, rows=rows, waved=waved, scroll_px=scroll_px)
        lanes = tuple(
            replace(lane, low=low, high=high)
            for axis, lane in zip(project.rig.axes, layout.lanes, strict=True)
            for low, high in [self._range(axis, lane.height_px, keep=keep)]
        )
        return replace(layout, lanes=lanes)

    def _range(self, axis: Axis, height_px: float, *, keep: bool) -> tuple[float, float]:
        """Return the values that a lane shows, worked out anew for another shape or height only."""
        shape = self._desk.shapes.get(axis.name)
        kept = self._ranges.get(axis.name)
        if kept is not None and (keep or (kept[0] is shape and kept[1] == height_px)):
            return kept[2]
        found = shown(shape, axis.travel, axis.home, height_px)
        self._ranges[axis.name] = (shape, height_px, found)
        return found

    def all(self, layout: Layout) -> Iterator[Part]:
        """Yield every part that there is."""
        yield Part(RULER)
        if layout.music is not None:
            yield Part(MUSIC)
        if layout.wave is not None:
            yield Part(WAVE)
        for lane in layout.lanes:
            yield Part(HEAD, lane.axis)
            yield Part(BODY, lane.axis)
        yield Part(REST)

    def area(self, part: Part, layout: Layout) -> QRectF:
        """Return where the part lies, as far as it is in sight."""
        band = {MUSIC: layout.music, WAVE: layout.wave}.get(part.kind)
        if part.kind == RULER:
            return QRectF(0, 0, layout.width_px, layout.ruler_px)
        if band is not None:
            return QRectF(0, band.top_px, layout.width_px, band.height_px)
        if part.kind == REST:
            top_px = min(layout.height_px, layout.lanes_px + layout.all_lanes_px)
            return QRectF(0, top_px, layout.width_px, layout.height_px - top_px)
        found = [lane for lane in layout.lanes if lane.axis == part.axis]
        if not found:
            return QRectF()
        top_px, end_px = max(found[0].top_px, layout.lanes_px), min(found[0].end_px, layout.height_px)
        left, wide = (0.0, layout.left_px) if part.kind == HEAD else (layout.left_px, layout.width_px - layout.left_px)
        return QRectF(left, top_px, wide, max(0.0, end_px - top_px))

    # what is out of date

    def changed(self, layout: Layout) -> set[Part]:
        """Return what another document, or another draft, makes out of date."""
        desk, project, before = self._desk, self._desk.project, self._project
        self._project = project
        if project.rig is not before.rig or project.timebase != before.timebase:
            return set(self.all(layout))
        stale = {
            Part(BODY, axis)
            for axis in {*desk.shapes, *self._shapes}
            if desk.shapes.get(axis) is not self._shapes.get(axis)
        }
        self._shapes = desk.shapes
        move, old = project.move, before.move
        if move.markers is not old.markers or move.cues is not old.cues:
            stale |= {Part(MUSIC), *(Part(BODY, lane.axis) for lane in layout.lanes)}
        if project.tempo is not before.tempo:
            stale |= {Part(RULER), Part(WAVE), *(Part(BODY, lane.axis) for lane in layout.lanes)}
        if project.playback is not before.playback:
            stale.add(Part(WAVE))
        return stale

    def chosen(self) -> set[Part]:
        """Return what other chosen keys make out of date."""
        now, before = self._desk.selection, self._chosen
        self._chosen = now
        return {Part(BODY, axis) for axis in {*now, *before} if now.get(axis) != before.get(axis)}

    def proposed(self) -> set[Part]:
        """Return what another proposal makes out of date."""
        now, before = self._ghosts_now(), self._ghosts
        self._ghosts = now
        return {Part(BODY, axis) for axis in {*now, *before} if now.get(axis) is not before.get(axis)}

    def _ghosts_now(self) -> dict[str, Shape]:
        proposal, shapes = self._desk.proposal, self._desk.shapes
        if proposal is None:
            return {}
        return {axis: shape for axis, shape in proposal.shapes.items() if shape is not shapes.get(axis)}

    # how

    def draw(
        self,
        canvas: Canvas,
        look: Look,
        layout: Layout,
        stale: Iterable[Part],
        current: str,
        bodies: Mapping[str, tuple[Content, Manner]],
    ) -> None:
        """Draw these parts, each in its place and not beyond it; and the bodies of lanes, by axis."""
        painter = canvas.painter
        parts = set(stale) & set(self.all(layout))
        if bodies:
            self._draw_bodies(canvas, look, layout, bodies)
        for part in parts:
            if part.kind == BODY or (area := self.area(part, layout)).isEmpty():
                continue
            painter.setClipRect(area)
            if part.kind == RULER:
                draw_ruler(painter, look, layout, self._ticks(look, layout))
            elif part.kind == MUSIC:
                self._draw_music(painter, look, layout)
            elif part.kind == WAVE:
                self._draw_wave(canvas, look, layout)
            elif part.kind == REST:
                painter.fillRect(area, QColor(look.theme.panel))
            elif part.kind == HEAD:
                number = self._desk.project.rig.index(part.axis)
                what = replace(self.content(number), current=part.axis == current)
                draw_head(painter, look, layout, layout.lanes[number], what)

    @property
    def worded(self) -> bool:
        """Whether words are written on the playback, which stay where they are."""
        return bool(self._sound.words)

    def lined(self, look: Look, layout: Layout) -> object:
        """Return how far apart the lanes' upright lines are, as far as that depends on what is in sight."""
        if self._desk.project.tempo is not None or self._desk.counted not in ("frames", "seconds"):
            return None
        lines = self._ticks(look, layout).labelled[:2]
        return round(lines[-1][0] - lines[0][0], 6) if lines else 0.0

    def content(self, number: int) -> Content:
        """Return what the lane of this number shows now."""
        axis = self._desk.project.rig.axes[number]
        shape, proposal = self._desk.shapes.get(axis.name), self._desk.proposal
        judged = self._judged.get(axis.name)
        if shape is None:
            judged = None
        elif judged is None or judged.shape is not shape:
            judged = self._judged[axis.name] = Judged(shape)
        ghost = None if proposal is None else proposal.shapes.get(axis.name)
        return Content(
            axis=axis,
            number=number,
            judged=judged,
            ghost=None if ghost is shape else ghost,
            chosen=self._desk.selection.get(axis.name, frozenset()),
            current=False,
        )

    def _under(self, look: Look, layout: Layout, between: tuple[int, int]) -> Sheet:
        """Return what lies under all lanes; it is kept as long as nothing of it is another: while a key is dragged."""
        key = *self._grid_key(look, layout), layout.height_px, layout.lanes_px, look.theme, look.ratio, between
        if self._lying is None or self._lying[0] != key:
            self._lying = key, Sheet(look, layout, self._grid(look, layout), between)
        return self._lying[1]

    def _draw_bodies(
        self, canvas: Canvas, look: Look, layout: Layout, bodies: Mapping[str, tuple[Content, Manner]]
    ) -> None:
        """Draw lanes: the ground of each, and on it what is its own."""
        painter, sheet = canvas.painter, self._under(look, layout, (canvas.left, canvas.end))
        between_px = canvas.left / look.ratio, canvas.end / look.ratio
        highest, lowest = round(layout.lanes_px * look.ratio), round(layout.height_px * look.ratio)
        line = max(1, round(look.ratio))  # below the lane
        for lane in layout.lanes:
            top, foot = down_px(lane, look.ratio)
            if lane.axis not in bodies or foot <= highest or top >= lowest:
                continue
            what, how = bodies[lane.axis]
            tints = what.judged.tints(layout, *between_px) if what.judged is not None else None
            sheet.lay(canvas.pixels, lane, what.axis.travel, tints)
            shown = replace(canvas, highest=max(top, highest), lowest=min(foot - line, lowest))
            painter.scale(1 / look.ratio, 1 / look.ratio)  # the clip counts pixels of the screen
            corners = QPoint(canvas.left, shown.highest), QPoint(canvas.end, shown.lowest) - _CORNER
            painter.setClipRect(QRect(*corners))
            painter.resetTransform()
            draw_body(shown, look, layout, lane, what, how)

    def draw_tag(self, painter: QPainter, theme: Theme, area: QRectF) -> None:
        """Draw the playhead's label."""
        label = str(self._desk.project.timebase.label_at(self._desk.playhead_s))
        painter.fillRect(area.adjusted(-1, -1, 1, 1), QColor(theme.ground))
        painter.fillRect(area, QColor(theme.playhead))
        # the signs are kept as pictures: another label is another row of them
        device = painter.device()
        ratio = 1.0 if device is None else device.devicePixelRatioF()
        signs = [ink.worded(sign, self._look.strong, theme.ground, theme.playhead, ratio) for sign in label]
        wide = [sign.deviceIndependentSize().width() for sign in signs]
        x = area.left() + round((area.width() - sum(wide)) / 2)
        y = area.top() + round((area.height() - signs[0].deviceIndependentSize().height()) / 2)
        for sign, wide_px in zip(signs, wide, strict=True):
            painter.drawPixmap(QPointF(x, y), sign)
            x += wide_px

    def _draw_music(self, painter: QPainter, look: Look, layout: Layout) -> None:
        if layout.music is None:
            return
        project = self._desk.project
        rate, move = project.timebase.rate, project.move
        names = (one.name for one in move.markers)
        markers = list(zip(self._markers_s(project), names, strict=True))
        cues = [(float(rate.seconds(one.start)), float(rate.seconds(one.end)), one.name) for one in move.cues]
        draw_music(painter, look, layout, layout.music, markers, cues)

    def _draw_wave(self, canvas: Canvas, look: Look, layout: Layout) -> None:
        playback = self._desk.project.playback
        if layout.wave is None or playback is None:
            return
        begin_s = float(self._desk.project.timebase.rate.seconds(playback.at))
        grid, beats = self._grid(look, layout), (np.empty(0), np.empty(0))
        if self._desk.project.tempo is not None:
            beats = grid.strong_px, grid.fine_px
        draw_wave(canvas, look, layout, layout.wave, (self._sound.waveform, begin_s, self._sound.words), beats)

    def _ticks(self, look: Look, layout: Layout, px_a_s: float | None = None) -> Ticks:
        desk, project = self._desk, self._desk.project
        span = (layout.begin_s, layout.end_s, px_a_s or layout.px_a_s, look.width_px)
        if desk.counted == "frames":
            return ruled.frames(project.timebase, *span)
        if desk.counted == "seconds":
            return ruled.seconds(*span)
        if desk.counted == "bars" and project.tempo is not None:
            return metred.bars(project.tempo, *span)
        return ruled.timecode(project.timebase, *span)

    def _grid_key(self, look: Look, layout: Layout) -> tuple[object, ...]:
        project = self._desk.project
        edges = layout.begin_s, layout.px_a_s, layout.width_px
        return *edges, project.tempo, project.timebase, project.move.markers, self._desk.counted

    def _grid(self, look: Look, layout: Layout) -> Grid:
        """Return the upright lines of all lanes; they are kept until they lie elsewhere."""
        key = self._grid_key(look, layout)
        if self._lined is None or self._lined[0] != key:
            project = self._desk.project
            edge_s = 1 / layout.px_a_s  # a line just out of sight may be drawn in the first or last column
            wider = replace(layout, begin_s=layout.begin_s - edge_s, end_s=layout.end_s + edge_s)
            if project.tempo is not None:
                bars_s, beats_s = metred.beats(project.tempo, wider.begin_s, wider.end_s, layout.px_a_s)
            else:
                bars_s, beats_s = [at_s for at_s, _ in self._ticks(look, wider, layout.px_a_s).labelled], []
            places = (self._inside(layout, each) for each in (bars_s, beats_s, self._markers_s(project)))
            strong_px, fine_px, markers_px = places
            self._lined = key, Grid(strong_px=strong_px, fine_px=fine_px, markers_px=markers_px)
        return self._lined[1]

    def _markers_s(self, project: Project) -> list[float]:
        """Return when the markers are; worked out once, since a scroll asks for it at each frame."""
        markers = project.move.markers
        if self._marked[0] is not markers:
            self._marked = (markers, [float(project.timebase.rate.seconds(one.at)) for one in markers])
        return self._marked[1]

    def _inside(self, layout: Layout, at_s: Iterable[float]) -> Floats:
        places = layout.across(np.array(list(at_s), np.float64))
        return places[(places >= layout.left_px - 1) & (places <= layout.width_px + 1)]
