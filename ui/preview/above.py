"""The set from above, with the slide, the head and what the camera sees; people and boxes can be dragged about.

It refuses to turn or size things: their numbers are typed. Every edit goes through the desk.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from PyQt6.QtCore import QEvent, QPointF, QSize, Qt
from PyQt6.QtGui import QColor, QFocusEvent, QFont, QKeyEvent, QMouseEvent, QPainter, QPaintEvent, QPen, QPolygonF
from PyQt6.QtWidgets import QSizePolicy, QWidget

from sequencer.motion.standing import standing_at
from sequencer.project.stage import Stage
from sequencer.rig.lens import framed, lens
from sequencer.rig.pose import Pose, pose
from ui.desk import Desk
from ui.language import translate
from ui.preview.course import course, ends_s, middles
from ui.preview.plan import (
    Hit,
    Plan,
    arrow,
    fine_m,
    fitted,
    hit,
    in_sight,
    moved,
    name_of,
    place_of,
    radius_px,
    rounded,
    scale_bar,
    tracks,
    wedge,
)
from ui.preview.stand_ins import corners, grid
from ui.preview.strokes import BARE_PX, clear, label, pen, rule

Floats = NDArray[np.float64]
TEXT_PX = 13
WORDS_PX = 420  # as wide as the view is at least for words beside what is not of now
_STEPS = {
    Qt.Key.Key_Left: (-1, 0),
    Qt.Key.Key_Right: (1, 0),
    Qt.Key.Key_Up: (0, 1),
    Qt.Key.Key_Down: (0, -1),
}
_COARSE = 10  # fine steps that an arrow key takes; one with shift


class PlanView(QWidget):
    """The plan; it follows the desk. Arrow keys move the chosen thing, the page keys choose another."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self._chosen: Hit | None = None
        self._held: tuple[float, float] | None = None  # from the pointer to the thing that is dragged
        self._plan: Plan | None = None  # kept while something is dragged
        self._way: Pose | None = None
        self._live: Floats | None = None
        self.setAccessibleName(translate("preview", "Plan view"))
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setMinimumSize(240, 160)
        desk.changed.connect(self._follow)
        desk.opened.connect(self._leave)
        desk.placed.connect(self.update)
        desk.preferred.connect(self.update)
        self._follow()

    def sizeHint(self) -> QSize:
        return QSize(480, 300)

    @property
    def chosen(self) -> Hit | None:
        """The thing that the keyboard moves."""
        return self._chosen

    @property
    def stage(self) -> Stage:
        """The set as it is shown."""
        return self._desk.project.stage

    def show_positions(self, positions: Floats | None) -> None:
        """Show the camera where the axes are, in the rig's order, instead of at the playhead; None goes back."""
        self._live = positions
        self.update()

    def plan(self) -> Plan:
        """Return where everything lies now."""
        if self._plan is not None:
            return self._plan
        desk = self._desk
        at = self._here()
        return fitted(
            self.width(),
            self.height(),
            in_sight(desk.project.stage, tracks(desk.project.rig, at, pose(desk.project.rig, at)), self._way),
        )

    def choose(self, what: Hit | None) -> None:
        """Choose the thing that the keyboard moves."""
        self._chosen = what
        stage = self._desk.project.stage
        words = translate("preview", "Nothing is chosen; page down chooses the first thing")
        if what is not None:
            x_m, y_m = place_of(stage, what)
            words = translate("preview", "{name}, {x:g} m to the right, {y:g} m ahead")
            words = words.format(name=name_of(stage, what), x=x_m, y=y_m)
        self.setAccessibleDescription(words)
        self.update()

    def _leave(self) -> None:
        self._held = self._plan = None
        self.choose(None)

    def _follow(self) -> None:
        desk = self._desk
        self._way = course(desk.project.rig, desk.shapes)
        stage, what = desk.project.stage, self._chosen
        if what is not None and what.number >= len(stage.people if what.kind == "person" else stage.boxes):
            what = None
        self.choose(what)

    def _here(self) -> Floats:
        live = self._live
        if live is not None and len(live) == len(self._desk.project.rig.axes) and bool(np.isfinite(live).all()):
            return live
        return self._positions(self._desk.playhead_s)

    def _positions(self, at_s: float) -> Floats:
        return standing_at(self._desk.project.rig, self._desk.shapes, at_s)

    # by hand

    def mousePressEvent(self, event: QMouseEvent | None) -> None:
        if event is None:
            return
        if event.button() == Qt.MouseButton.RightButton and self._held is not None:
            self._held = self._plan = None
            self._desk.abandon()
        if event.button() != Qt.MouseButton.LeftButton:
            return
        at, plan, stage = event.position(), self.plan(), self._desk.project.stage
        found = hit(plan, stage, at.x(), at.y())
        self.choose(found)
        if found is None:
            return
        if self._desk.locked:
            self._desk.note(self._desk.locked, "refused")
            return
        there, pointer = place_of(stage, found), plan.metres(at.x(), at.y())
        self._plan, self._held = plan, (there[0] - pointer[0], there[1] - pointer[1])

    def mouseMoveEvent(self, event: QMouseEvent | None) -> None:
        if event is None or self._held is None or self._chosen is None or self._plan is None:
            return
        x_m, y_m = self._plan.metres(event.position().x(), event.position().y())
        step = fine_m(self._plan)
        at = rounded(x_m + self._held[0], step), rounded(y_m + self._held[1], step)
        project = self._desk.project
        if at == place_of(project.stage, self._chosen):
            return
        try:
            self._desk.draft(replace(project, stage=moved(project.stage, self._chosen, *at)))
        except ValueError as fault:
            self._desk.note(str(fault), "refused")

    def mouseReleaseEvent(self, event: QMouseEvent | None) -> None:
        if event is None or event.button() != Qt.MouseButton.LeftButton or self._held is None:
            return
        self._held = self._plan = None
        if self._chosen is not None:
            self._desk.settle(self._words(self._desk.project.stage, self._chosen))
        self.update()

    def _words(self, stage: Stage, what: Hit) -> str:
        return translate("preview", "move {name}").format(name=name_of(stage, what))

    # by key

    def event(self, event: QEvent | None) -> bool:
        # the arrows are this view's own while something is chosen, whatever else they are keys for
        if (
            isinstance(event, QKeyEvent)
            and event.type() == QEvent.Type.ShortcutOverride
            and self._chosen is not None
            and event.key() in _STEPS
        ):
            event.accept()
            return True
        return super().event(event)

    def keyPressEvent(self, event: QKeyEvent | None) -> None:
        if event is None:
            return
        way = _STEPS.get(Qt.Key(event.key()))
        if event.key() in (Qt.Key.Key_PageDown, Qt.Key.Key_PageUp):
            self._next(1 if event.key() == Qt.Key.Key_PageDown else -1)
        elif way is not None and self._chosen is not None:
            plan, what = self.plan(), self._chosen
            many = 1 if event.modifiers() & Qt.KeyboardModifier.ShiftModifier else _COARSE
            step = fine_m(plan)
            x_m, y_m = place_of(self._desk.project.stage, what)
            to = rounded(x_m + way[0] * many * step, step), rounded(y_m + way[1] * many * step, step)
            words = self._words(self._desk.project.stage, what)
            self._desk.attempt(
                words,
                lambda project: replace(project, stage=moved(project.stage, what, *to)),
                merge=f"plan {what.kind} {what.number}",
            )
        else:
            super().keyPressEvent(event)

    def _next(self, step: int) -> None:
        stage = self._desk.project.stage
        there = [Hit("person", n) for n in range(len(stage.people))] + [Hit("box", n) for n in range(len(stage.boxes))]
        if there:
            begin = -1 if step > 0 else 0
            self.choose(there[((there.index(self._chosen) if self._chosen in there else begin) + step) % len(there)])

    def focusInEvent(self, event: QFocusEvent | None) -> None:
        super().focusInEvent(event)
        self.update()

    def focusOutEvent(self, event: QFocusEvent | None) -> None:
        super().focusOutEvent(event)
        self.update()

    # drawing

    def paintEvent(self, event: QPaintEvent | None) -> None:
        painter = QPainter(self)
        font = QFont(self.font())
        font.setPixelSize(TEXT_PX)
        painter.setFont(font)
        theme, plan, stage = self._desk.theme, self.plan(), self._desk.project.stage
        painter.fillRect(self.rect(), clear(theme.ground, 1))
        painter.setPen(pen(theme.rule, BARE_PX))
        rule(painter, plan.px(grid(stage.ground)))
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        self._draw_things(painter, plan, stage)
        self._draw_rig(painter, plan)
        self._draw_signs(painter, plan)
        if self.hasFocus():
            painter.setPen(pen(theme.focus, 2.0))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRect(self.rect().adjusted(1, 1, -1, -1))
        painter.end()

    def _draw_things(self, painter: QPainter, plan: Plan, stage: Stage) -> None:
        theme = self._desk.theme
        for number, box in enumerate(stage.boxes):
            flat = plan.px(corners(box)[:4])
            lit = self._chosen == Hit("box", number)
            _fill(painter, flat, clear(theme.edge, 0.18))
            painter.setPen(pen(theme.focus if lit else theme.weak, 3.0 if lit else 1.0))
            rule(painter, _strip(np.concatenate((flat, flat[:1]))))
            if np.ptp(flat[:, 0]) > painter.fontMetrics().horizontalAdvance(box.name):
                x, y = flat.mean(axis=0).tolist()
                label(painter, x, y - 8, box.name, (theme.text, theme.ground), middle=True)
        for number, one in enumerate(stage.people):
            x, y = plan.px(np.array([one.x_m, one.y_m])).tolist()
            half, lit = radius_px(plan, one), self._chosen == Hit("person", number)
            painter.setPen(pen(theme.focus if lit else theme.text, 3.0 if lit else 1.5))
            painter.setBrush(QColor(theme.ground))
            painter.save()
            painter.translate(x, y)
            painter.rotate(-one.heading_deg)
            painter.drawEllipse(QPointF(0, 0), half, half * 0.55)  # shoulders
            painter.drawEllipse(QPointF(0, 0), half * 0.45, half * 0.45)  # head
            rule(painter, np.array([[[0, -half * 0.45], [0, -half * 1.05]]]))  # where the face points
            painter.restore()
            label(painter, x + half + 4, y - 8, one.name, (theme.text, theme.ground))

    def _draw_rig(self, painter: QPainter, plan: Plan) -> None:
        desk, theme, rig = self._desk, self._desk.theme, self._desk.project.rig
        at = self._here()
        here = pose(rig, at)
        painter.setPen(pen(theme.edge, 4.0))
        rule(painter, plan.px(tracks(rig, at, here)))
        ends = ends_s(desk.shapes)
        if rig.camera is not None and ends is not None and self._way is not None:
            named = (translate("preview", "first key"), translate("preview", "last key"))
            for end_s, words, style in zip(ends, named, (Qt.PenStyle.DotLine, Qt.PenStyle.DashLine), strict=True):
                there = self._positions(end_s)
                self._draw_wedge(painter, plan, there, (pen(theme.edge, 1.0, style), 0.0), words)
            through, _ = lens(rig.camera, rig, at)
            painter.setPen(pen(theme.tracks[1], 1.0))
            rule(painter, _strip(plan.px(middles(self._way, through))))
            painter.setPen(pen(theme.tracks[1], 3.0))
            rule(painter, _strip(plan.px(self._way.position)))
        if rig.camera is not None:
            self._draw_wedge(painter, plan, at, (pen(theme.text, 1.5), 0.12))
        x, y = plan.px(here.position).tolist()
        painter.save()
        painter.translate(x, y)
        painter.rotate(-float(np.degrees(np.arctan2(-here.forward[0], here.forward[1]))))
        painter.setPen(pen(theme.text, 1.5))
        painter.setBrush(QColor(theme.ground))
        painter.drawRect(-6, -5, 12, 14)
        painter.drawRect(-3, -11, 6, 6)  # the lens
        painter.restore()

    def _draw_wedge(self, painter: QPainter, plan: Plan, at: Floats, how: tuple[QPen, float], words: str = "") -> None:
        desk, rig = self._desk, self._desk.project.rig
        if rig.camera is None:
            return
        through, _ = lens(rig.camera, rig, at)
        sides, focus = wedge(pose(rig, at), through, framed(through, desk.project.aspect)[0])
        drawn_with, filled = how
        if filled:
            _fill(painter, plan.px(sides), clear(desk.theme.text, filled))
        painter.setPen(drawn_with)
        rule(painter, _strip(plan.px(sides)))
        if words and self.width() >= WORDS_PX:
            x, y = plan.px(sides[0]).tolist()
            label(painter, x, y, words, (desk.theme.text, desk.theme.ground), middle=True)
        if filled:
            painter.setPen(pen(desk.theme.tracks[2], 2.0))
            rule(painter, plan.px(focus)[np.newaxis])

    def _draw_signs(self, painter: QPainter, plan: Plan) -> None:
        """Draw which way is forward, and the scale."""
        theme = self._desk.theme
        painter.setPen(pen(theme.text, 2.0))
        rule(painter, np.array(arrow(20.0, 50.0, 36.0)))
        label(painter, 34, 12, translate("preview", "forward"), (theme.text, theme.ground))
        number, unit, length_px = scale_bar(plan)
        y = self.height() - 14.0
        painter.setPen(pen(theme.text, 2.0))
        bar = [
            [[14, y], [14 + length_px, y]],
            [[14, y - 5], [14, y + 5]],
            [[14 + length_px, y - 5], [14 + length_px, y + 5]],
        ]
        rule(painter, np.array(bar))
        label(painter, 22 + length_px, y - 9, f"{number:g} {unit}", (theme.text, theme.ground))


def _fill(painter: QPainter, corners_px: Floats, colour: QColor) -> None:
    """Fill a face, whose edges are for lines to smooth: to smooth it as well takes ten times as long. Shape: (N, 2)."""
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(colour)
    painter.drawConvexPolygon(QPolygonF([QPointF(x, y) for x, y in corners_px.tolist()]))
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)


def _strip(points: Floats) -> Floats:
    """Return the lines from each point to the next. Shape: (N, 2) to (N-1, 2, 2)."""
    return np.stack([points[:-1], points[1:]], axis=1)
