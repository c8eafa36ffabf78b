"""What mouse, wheel, touchpad and keyboard do in the timeline: gestures while a button is down, and acts.

It refuses to draw, and to keep a gesture when the keyboard goes elsewhere: that abandons it.
"""

from PyQt6.QtCore import QEvent, QObject, QPointF, Qt, QTimer, pyqtSignal
from PyQt6.QtGui import QKeyEvent, QMouseEvent, QNativeGestureEvent, QWheelEvent
from PyQt6.QtWidgets import QWidget

from ui.acts import choose, keys, view
from ui.desk import Desk
from ui.timeline.geometry import Hit, hit
from ui.timeline.gesture import Gesture, Pointer, Scene, pointer
from ui.timeline.ground_gesture import BoxGesture, PanGesture, PlayheadGesture, playhead_frames
from ui.timeline.key_gesture import KeyGesture
from ui.timeline.keyboard import act_for
from ui.timeline.mark_gesture import MarkGesture, mark_at

_NOTCH = 120.0  # of a wheel, in eighths of a degree
_NOTCH_PART = 0.1  # of what is in sight, that a notch goes on
_NOTCH_PX = 48.0  # down the lanes
_EDGE_MS = 40  # between two steps beyond the edge
_EDGE_PX = 80.0  # so far beyond, the steps are largest
_EDGE_MOST = 0.04  # of what is in sight
_ZOOM_PX = 200.0  # of a touchpad, to twice as large
_MOST_NOTCHES = 20.0  # at once


class Hands(QObject):
    """The timeline hands each event over; the answer is whether it was used.

    `numbers_asked`: the operator wants to type the numbers of what is chosen.
    """

    numbers_asked = pyqtSignal()

    def __init__(self, desk: Desk, scene: Scene) -> None:
        super().__init__(scene if isinstance(scene, QObject) else None)
        self._desk = desk
        self._scene = scene
        self._gesture: Gesture | None = None
        self._anchor: Hit | None = None
        self._last = Pointer(0.0, 0.0)
        self._edge = QTimer(self)
        self._edge.setInterval(_EDGE_MS)
        self._edge.timeout.connect(self._go_on)
        desk.opened.connect(self._forget)
        if isinstance(scene, QObject):
            scene.installEventFilter(self)

    @property
    def is_busy(self) -> bool:
        """Whether a gesture goes on."""
        return self._gesture is not None

    def press(self, event: QMouseEvent) -> bool:
        """Begin the gesture that belongs to what is under the pointer."""
        now = pointer(event.position(), event.modifiers())
        if self._gesture is not None:  # a second button ends it without a change
            self.abandon()
            return True
        if event.button() == Qt.MouseButton.MiddleButton:
            self._gesture = PanGesture(self._desk, self._scene, now)
        elif event.button() == Qt.MouseButton.LeftButton:
            self._gesture = self._begun(now)
        return self._gesture is not None or event.button() == Qt.MouseButton.LeftButton

    def move(self, event: QMouseEvent) -> bool:
        """Go on with the gesture, or show what a press would hold."""
        now = pointer(event.position(), event.modifiers())
        if self._gesture is None:
            self._show_cursor(now)
            return False
        self._last = now
        self._gesture.move(now)
        if self._beyond_px() and not isinstance(self._gesture, PanGesture):
            if not self._edge.isActive():
                self._edge.start()
        else:
            self._edge.stop()
        return True

    def release(self, event: QMouseEvent) -> bool:
        """End the gesture."""
        gesture = self._taken()
        if gesture is not None:
            gesture.release(pointer(event.position(), event.modifiers()))
        return gesture is not None

    def double(self, event: QMouseEvent) -> bool:
        """Add a key to the lane under the pointer; on a key, ask for its numbers."""
        if event.button() != Qt.MouseButton.LeftButton:
            return False
        now = pointer(event.position(), event.modifiers())
        layout = self._scene.layout_now()
        if hit(layout, self._desk.shapes, now.x_px, now.y_px) is not None:
            self.numbers_asked.emit()
            return True
        lane = layout.lane_at(now.y_px)
        if lane is None or now.x_px < layout.left_px:
            return False
        at = playhead_frames(self._desk, self._scene, now)
        track = self._desk.track(lane.axis)
        inside = track is not None and track.keys[0].at < at < track.keys[-1].at
        keys.add_key(self._desk, lane.axis, at, None if inside else self._value(lane.axis, now.y_px))
        return True

    def wheel(self, event: QWheelEvent) -> bool:
        """Go on in time; with ctrl zoom about the pointer, with shift go down the lanes. A touchpad goes both ways."""
        held, pixels, angle = event.modifiers(), event.pixelDelta(), event.angleDelta()
        touched = not pixels.isNull()
        along = angle.y() or angle.x()
        if held & Qt.KeyboardModifier.ControlModifier:
            notches = (pixels.y() or pixels.x()) / _ZOOM_PX * 3 if touched else along / _NOTCH
            notches = max(-_MOST_NOTCHES, min(_MOST_NOTCHES, notches))
            view.zoom(self._desk, view.STEP**notches, self._time_s(event.position()))
        elif held & Qt.KeyboardModifier.ShiftModifier:
            self._scene.scroll_px -= float(pixels.y() or pixels.x()) if touched else along / _NOTCH * _NOTCH_PX
        elif touched:
            self._pan_px(-pixels.x())
            self._scene.scroll_px -= float(pixels.y())
        else:
            view.pan(self._desk, -along / _NOTCH * _NOTCH_PART)
        if self._gesture is not None and not isinstance(self._gesture, PanGesture):
            self._gesture.move(self._last)
        return True

    def gesture(self, event: QNativeGestureEvent) -> bool:
        """Zoom as two fingers on a touchpad do."""
        if event.gestureType() != Qt.NativeGestureType.ZoomNativeGesture:
            return False
        view.zoom(self._desk, max(0.1, 1 + event.value()), self._time_s(event.position()))
        return True

    def key(self, event: QKeyEvent) -> bool:
        """Do what the key does; escape abandons a gesture and nothing else."""
        if event.key() == Qt.Key.Key_Escape:
            return self.abandon()
        act = act_for(event.key(), event.modifiers())
        if act is None:
            return False
        self.abandon()
        act(self._desk, self)
        return True

    @property
    def axis(self) -> str:
        """The axis of the lane that has the keyboard."""
        return self._scene.chosen_axis

    def ask_numbers(self) -> None:
        """Have the numbers of what is chosen typed."""
        self.numbers_asked.emit()

    def other_lane(self, step: int, *, extend: bool = False) -> None:
        """Give another lane the keyboard, so many further down."""
        axes = [lane.axis for lane in self._scene.layout_now().lanes]
        if not axes:
            return
        there = axes.index(self._scene.chosen_axis) if self._scene.chosen_axis in axes else 0
        axis = axes[min(max(there + step, 0), len(axes) - 1)]
        if axis != self._scene.chosen_axis:
            self._scene.chosen_axis = axis
            choose.choose_beside(self._desk, axis, extend=extend)

    def leave(self, event: QEvent) -> bool:
        """The pointer went away, which ends nothing: a drag goes on outside."""
        return False

    def eventFilter(self, watched: QObject | None, event: QEvent | None) -> bool:
        """Abandon a gesture when the keyboard goes elsewhere."""
        if event is not None and event.type() in (QEvent.Type.FocusOut, QEvent.Type.WindowDeactivate):
            self.abandon()
        return False

    def abandon(self) -> bool:
        """End the gesture as if it had not been; return whether there was one."""
        gesture = self._taken()
        if gesture is not None:
            gesture.abandon()
        return gesture is not None

    def _forget(self) -> None:
        self._taken()
        self._anchor = None
        self._scene.show_box(None)
        self._scene.show_snap(None)

    def _taken(self) -> Gesture | None:
        """Return the gesture, which is over for the hands."""
        self._edge.stop()
        gesture, self._gesture = self._gesture, None
        return gesture

    def _beyond_px(self) -> float:
        """Return how far the pointer is to the right of what is in sight, or to the left, below zero."""
        layout, x_px = self._scene.layout_now(), self._last.x_px
        return min(0.0, x_px - layout.left_px) + max(0.0, x_px - layout.width_px)

    def _go_on(self) -> None:
        """While a drag is held beyond the edge, what lies there comes in sight."""
        if self._gesture is None:
            self._edge.stop()
            return
        part = max(-_EDGE_MOST, min(_EDGE_MOST, self._beyond_px() / _EDGE_PX * _EDGE_MOST))
        view.pan(self._desk, part)
        self._gesture.move(self._last)

    def _begun(self, now: Pointer) -> Gesture | None:
        layout = self._scene.layout_now()
        if now.y_px < layout.lanes_px:
            mark = mark_at(layout, self._desk.project, now.x_px, now.y_px)
            if mark is not None:
                return MarkGesture(self._desk, self._scene, mark, now)
            return PlayheadGesture(self._desk, self._scene, now) if now.x_px >= layout.left_px else None
        found = hit(layout, self._desk.shapes, now.x_px, now.y_px)
        lane = layout.lane_at(now.y_px)
        if found is not None:
            self._scene.chosen_axis = found.axis
            gesture = KeyGesture(self._desk, self._scene, found, now, self._anchor)
            self._anchor = self._anchor if now.extend and self._anchor is not None else found
            return gesture
        if lane is not None:
            self._scene.chosen_axis = lane.axis
        return BoxGesture(self._desk, self._scene, now) if now.x_px >= layout.left_px else None

    def _show_cursor(self, now: Pointer) -> None:
        if not isinstance(self._scene, QWidget):
            return
        layout, shape = self._scene.layout_now(), Qt.CursorShape.ArrowCursor
        if now.y_px < layout.lanes_px:
            if mark_at(layout, self._desk.project, now.x_px, now.y_px) is not None:
                shape = Qt.CursorShape.SizeHorCursor
        elif hit(layout, self._desk.shapes, now.x_px, now.y_px) is not None:
            shape = Qt.CursorShape.SizeAllCursor
        if self._scene.cursor().shape() != shape:
            self._scene.setCursor(shape)

    def _value(self, axis: str, y_px: float) -> float:
        """Return the value drawn at `y_px`, inside the axis's travel, to as many decimals as a pixel tells apart."""
        lane = self._scene.layout_now().lane(axis)
        value = round(lane.value(y_px), 2 if lane.high - lane.low > 2 else 4)
        travel = self._desk.project.rig.travels[axis]
        return value if travel is None else min(max(value, travel[0]), travel[1])

    def _pan_px(self, px: float) -> None:
        begin_s, end_s = self._desk.span_s
        shift_s = px / self._scene.layout_now().px_a_s
        self._desk.look(begin_s + shift_s, end_s + shift_s)

    def _time_s(self, at: QPointF) -> float:
        layout = self._scene.layout_now()
        return layout.t_s(max(at.x(), layout.left_px))
