"""The timeline: what is drawn of the desk's move, part by part, and repainted only where something changed.

It refuses to decide what a press or a key means: its hands do (`hands`), and without them it only draws.
"""

from collections.abc import Iterable
from dataclasses import replace
from typing import Protocol

from PyQt6.QtCore import QEvent, QPoint, QPointF, QRect, QRectF, QSize, Qt, QTimer, pyqtSignal
from PyQt6.QtGui import (
    QColor,
    QFocusEvent,
    QKeyEvent,
    QMouseEvent,
    QNativeGestureEvent,
    QPainter,
    QPaintEvent,
    QPen,
    QRegion,
    QResizeEvent,
    QWheelEvent,
)
from PyQt6.QtWidgets import QSizePolicy, QWidget

from ui.desk import Desk
from ui.language import translate
from ui.timeline.geometry import Layout, on_pixels
from ui.timeline.parts import BODY, HEAD, WAVE, Part, Parts
from ui.timeline.picture import Picture
from ui.timeline.wave import Sound
from ui.timeline.words import spoken_key

_CALM_MS = 140  # after which what moved stands still, and is drawn finely
_LINE_PX = 3  # of the playhead's strip, to each side
_TAG_PX = 20.0


class Hands(Protocol):
    """What presses, wheels and keys do; each returns whether it took the event."""

    def press(self, event: QMouseEvent) -> bool: ...
    def move(self, event: QMouseEvent) -> bool: ...
    def release(self, event: QMouseEvent) -> bool: ...
    def double(self, event: QMouseEvent) -> bool: ...
    def wheel(self, event: QWheelEvent) -> bool: ...
    def key(self, event: QKeyEvent) -> bool: ...
    def leave(self, event: QEvent) -> bool: ...
    def gesture(self, event: QNativeGestureEvent) -> bool: ...


class Timeline(QWidget):
    """The lanes of all axes with ruler, markers, cues and playback; `music` is its waveform.

    `axis_chosen`: the keyboard went to another lane. `lanes_moved`: lanes lie elsewhere now.
    """

    axis_chosen = pyqtSignal(str)
    lanes_moved = pyqtSignal()

    def __init__(self, desk: Desk, music: Sound | None = None, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.hands: Hands | None = None
        self._desk = desk
        self.sound = music or Sound(desk)
        self._parts = Parts(desk, self.sound)
        self._layout: Layout = self._parts.lay((1.0, 1.0), desk.span_s, 0.0, keep=False)
        self._picture = Picture(desk, self._parts)
        self._scroll_px = 0.0
        self._axis = desk.project.rig.names[0]
        self._moving = False
        self._box: QRectF | None = None
        self._snap_s: float | None = None
        self._playhead_x = 0.0
        self._dragged: set[Part] = set()  # what the gesture that goes on has changed
        self._said: tuple[object, ...] = ()  # what the spoken form was made of
        self._calm = QTimer(self)
        self._calm.setInterval(_CALM_MS)
        self._calm.setSingleShot(True)
        self._calm.timeout.connect(self.come_to_rest)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setMouseTracking(True)
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setAccessibleName(translate("timeline", "Timeline"))
        desk.changed.connect(self._on_changed)
        desk.opened.connect(self._on_opened)
        desk.selected.connect(self._on_selected)
        desk.proposed.connect(self._on_proposed)
        desk.zoomed.connect(self._on_zoomed)
        desk.placed.connect(self._on_placed)
        desk.preferred.connect(self._on_preferred)
        self.sound.heard.connect(self._on_heard)
        self._lay()
        self._say()

    # what others ask

    def layout_now(self) -> Layout:
        """Return where everything lies."""
        return self._layout

    @property
    def scroll_px(self) -> float:
        """How far the lanes are scrolled up; kept between none and as far as they reach."""
        return self._scroll_px

    @scroll_px.setter
    def scroll_px(self, far_px: float) -> None:
        far_px = float(round(min(max(0.0, far_px), self._layout.furthest_px)))
        if far_px != self._scroll_px:
            self._scroll_px = far_px
            self._move()
            self._lay()

    @property
    def chosen_axis(self) -> str:
        """The axis in whose lane the keyboard is."""
        return self._axis

    @chosen_axis.setter
    def chosen_axis(self, axis: str) -> None:
        if axis == self._axis:
            return
        lane = self._layout.lane(axis)
        before, self._axis = self._axis, axis
        self._spoil({Part(HEAD, before), Part(HEAD, axis)})
        above_px, below_px = self._layout.lanes_px - lane.top_px, lane.end_px - self._layout.height_px
        if above_px > 0 or below_px > 0:
            self.scroll_px += -above_px if above_px > 0 else min(below_px, lane.top_px - self._layout.lanes_px)
        self._say()
        self.axis_chosen.emit(axis)

    @property
    def is_moving(self) -> bool:
        """Whether what is in sight has just moved, so that it is still drawn in a pixel's width."""
        return self._moving

    def come_to_rest(self) -> None:
        """Draw finely again: nothing has moved for a while."""
        self._moving = False
        self._rest()

    def show_box(self, rect: QRectF | None) -> None:
        """Show a box in which keys are being chosen, or none."""
        for box in (self._box, rect):
            if box is not None:
                self.update(box.normalized().toAlignedRect().adjusted(-2, -2, 2, 2))
        self._box = rect

    def show_snap(self, t_s: float | None) -> None:
        """Show the instant that keys snap onto, or none."""
        for at_s in (self._snap_s, t_s):
            if at_s is not None:
                self.update(self._strip(self._layout.x(at_s)))
        self._snap_s = t_s

    def repaint_all(self) -> None:
        """Draw every part anew."""
        self._picture.forget()
        self.update()

    def sizeHint(self) -> QSize:  # Qt's name
        return QSize(960, 460)

    def minimumSizeHint(self) -> QSize:  # Qt's name
        return QSize(420, 200)

    # what the desk says

    def _on_changed(self) -> None:
        stale = self._parts.changed(self._layout)
        self._dragged = self._dragged | stale if self._desk.drafting else set()
        self._spoil(stale)
        self._lay()
        self._rest()
        self._say()

    def _on_opened(self) -> None:
        self._scroll_px = 0.0
        self._axis = self._desk.project.rig.names[0]
        self._lay(anew=True)

    def _on_selected(self) -> None:
        self._spoil(self._parts.chosen())
        self._say()

    def _on_proposed(self) -> None:
        self._spoil(self._parts.proposed())

    def _on_zoomed(self) -> None:
        begin_s, end_s = self._desk.span_s
        before = self._layout
        self._layout = on_pixels(replace(before, begin_s=begin_s, end_s=end_s, kept_px_a_s=0.0), before)
        if self._layout.px_a_s != before.px_a_s:
            self._move()
        self._playhead_x = self._layout.x(self._desk.playhead_s)
        self.update()

    def _on_placed(self) -> None:
        at_s = self._desk.playhead_s
        now_x = self._layout.x(at_s)
        for x in (self._playhead_x, now_x):
            self.update(self._strip(x))
            self.update(self._tag(x).toAlignedRect().adjusted(-1, -1, 1, 1))
        self._playhead_x = now_x
        self._say(at_s)

    def _on_preferred(self) -> None:
        self._parts.forget()
        self.repaint_all()

    def _on_heard(self) -> None:
        self._lay()
        self._spoil({Part(WAVE)})

    # inside

    def _lay(self, *, anew: bool = False) -> None:
        """Lay everything out, and have drawn anew what lies elsewhere."""
        before = None if anew else self._layout
        size_px = (float(self.width()), float(self.height()))
        now = self._parts.lay(size_px, self._desk.span_s, self._scroll_px, keep=self._desk.drafting and not anew)
        self._layout = on_pixels(now, before)
        self._scroll_px = min(self._scroll_px, self._layout.furthest_px)
        self._playhead_x = self._layout.x(self._desk.playhead_s)
        now = self._layout
        if before is None or (before.width_px, before.height_px) != (now.width_px, now.height_px):
            self.repaint_all()
            self.lanes_moved.emit()
            return
        if [(lane.axis, lane.top_px, lane.height_px) for lane in before.lanes] != [
            (lane.axis, lane.top_px, lane.height_px) for lane in now.lanes
        ]:
            self._spoil(self._parts.all(now))
            self.lanes_moved.emit()
            return
        for old, new in zip(before.lanes, now.lanes, strict=True):
            if old != new:
                self._spoil({Part(HEAD, new.axis), Part(BODY, new.axis)})

    def _spoil(self, parts: Iterable[Part]) -> None:
        """Have these parts drawn anew."""
        for part in parts:
            self._picture.spoil((part,))
            self.update(self._parts.area(part, self._layout).toAlignedRect())

    def _move(self) -> None:
        self._moving = True
        self._calm.start()

    def _rest(self) -> None:
        """Have drawn finely what was drawn in motion, as soon as nothing moves any more."""
        if not self._moving:
            self._spoil(self._picture.thin - self._dragged)

    def _strip(self, x: float) -> QRect:
        return QRect(round(x) - _LINE_PX, 0, 2 * _LINE_PX + 1, self.height())

    def _tag(self, x: float) -> QRectF:
        """Return where the playhead's label stands: about the line, and never out of the ruler."""
        wide = self._parts.tag_px
        left = min(max(self._layout.left_px, round(x) - wide / 2), self._layout.width_px - wide)
        return QRectF(round(left), 2, wide, _TAG_PX)

    def _say(self, at_s: float | None = None) -> None:
        """Keep the spoken form of the current key; the playhead is at `at_s`."""
        desk, axis = self._desk, self._axis
        if axis not in desk.selection and desk.selection:
            axis = next(iter(desk.selection))
        shape = desk.shapes.get(axis)
        chosen, number = axis in desk.selection, -1
        if chosen:
            number = min(desk.selection[axis])
        elif shape is not None and len(shape.at_s):
            at_s = desk.playhead_s if at_s is None else at_s
            number = max(0, int(shape.at_s.searchsorted(at_s, "right")) - 1)
        said = (shape, number, axis, chosen, desk.project.timebase)
        if said == self._said:
            return
        self._said = said
        if shape is None or not len(shape.at_s):
            words = translate("timeline", "{axis}, no keys").format(axis=axis.capitalize())
        else:
            words = spoken_key(shape, number, desk.project.timebase, chosen=chosen)
        if words != self.accessibleDescription():
            self.setAccessibleDescription(words)

    # Qt's events

    def paintEvent(self, event: QPaintEvent | None) -> None:  # Qt's name
        ratio = self.devicePixelRatioF()
        self._picture.refresh(ratio, self._layout, self._axis, moving=self._moving, dragged=self._dragged)
        painter = QPainter(self)
        painter.drawImage(QPoint(0, 0), self._picture.image())
        self._write(painter, QRegion(self.rect()) if event is None else event.region())
        self._overlay(painter)
        painter.end()

    def _write(self, painter: QPainter, region: QRegion) -> None:
        """Write over the lanes, as far as it is in the region."""
        layout = self._layout
        whole = QRectF(layout.left_px, layout.lanes_px, layout.width_px, layout.height_px)
        painter.setClipRect(whole)
        for lane in layout.lanes:
            if not region.intersects(QRect(0, round(lane.top_px), self.width(), round(lane.height_px))):
                continue
            for where, plate in self._picture.labels.get(lane.axis, ()):
                if region.intersects(QRectF(where, plate.deviceIndependentSize()).toAlignedRect()):
                    painter.drawPixmap(where, plate)
        painter.setClipping(False)

    def _overlay(self, painter: QPainter) -> None:
        theme, layout = self._desk.theme, self._layout
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
        if self._snap_s is not None and (x := layout.x(self._snap_s)) >= layout.left_px:
            painter.setPen(QPen(QColor(theme.focus), 1, Qt.PenStyle.DashLine))
            painter.drawLine(QPointF(round(x), layout.ruler_px), QPointF(round(x), layout.height_px))
        if self._box is not None:
            painter.setPen(QPen(QColor(theme.chosen), 1, Qt.PenStyle.DashLine))
            fill = QColor(theme.chosen)
            fill.setAlphaF(0.12)
            painter.setBrush(fill)
            painter.drawRect(self._box.normalized().adjusted(0, 0, -1, -1))
        if layout.left_px <= self._playhead_x <= layout.width_px:
            x = round(self._playhead_x)
            painter.fillRect(QRectF(x - 2, layout.ruler_px, 4, layout.height_px), QColor(theme.ground))
            painter.fillRect(QRectF(x - 1, layout.ruler_px - 6, 2, layout.height_px), QColor(theme.playhead))
            self._parts.draw_tag(painter, theme, self._tag(self._playhead_x))
        if self.hasFocus():
            painter.setPen(QPen(QColor(theme.focus), 2))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRect(QRectF(1, 1, layout.width_px - 2, layout.height_px - 2))

    def resizeEvent(self, event: QResizeEvent | None) -> None:  # Qt's name
        self._lay()

    def focusInEvent(self, event: QFocusEvent | None) -> None:  # Qt's name
        self.update()

    def focusOutEvent(self, event: QFocusEvent | None) -> None:  # Qt's name
        self.update()

    def mousePressEvent(self, event: QMouseEvent | None) -> None:  # Qt's name
        if event is not None:
            event.setAccepted(self.hands is not None and self.hands.press(event))

    def mouseMoveEvent(self, event: QMouseEvent | None) -> None:  # Qt's name
        if event is not None:
            event.setAccepted(self.hands is not None and self.hands.move(event))

    def mouseReleaseEvent(self, event: QMouseEvent | None) -> None:  # Qt's name
        if event is not None:
            event.setAccepted(self.hands is not None and self.hands.release(event))

    def mouseDoubleClickEvent(self, event: QMouseEvent | None) -> None:  # Qt's name
        if event is not None:
            event.setAccepted(self.hands is not None and self.hands.double(event))

    def wheelEvent(self, event: QWheelEvent | None) -> None:  # Qt's name
        if event is not None:
            event.setAccepted(self.hands is not None and self.hands.wheel(event))

    def keyPressEvent(self, event: QKeyEvent | None) -> None:  # Qt's name
        if event is not None and not (self.hands is not None and self.hands.key(event)):
            super().keyPressEvent(event)

    def leaveEvent(self, event: QEvent | None) -> None:  # Qt's name
        if event is not None and self.hands is not None:
            self.hands.leave(event)

    def event(self, event: QEvent | None) -> bool:
        """Give a touchpad's gestures to the hands too."""
        if isinstance(event, QNativeGestureEvent) and self.hands is not None and self.hands.gesture(event):
            return True
        return super().event(event)
