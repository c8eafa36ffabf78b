"""What the camera sees at the playhead, or where the rig is now: a drawing of the set through the lens.

It refuses to guess: what the rig file does not tell is said in words beside the picture.
"""

import numpy as np
from numpy.typing import NDArray
from PyQt6.QtCore import QSize, Qt
from PyQt6.QtGui import QFont, QPainter, QPaintEvent
from PyQt6.QtWidgets import QSizePolicy, QWidget

from sequencer.motion.standing import standing_at
from sequencer.project.values import exact_text
from sequencer.rig.lens import Lens, lens
from sequencer.rig.pose import Pose, pose, unread
from sequencer.rig.reading import Guess
from ui.desk import Desk
from ui.language import translate
from ui.preview.below import RIBBON_PX, RIBBON_TRACKS, ROW_PX, Below, Over
from ui.preview.course import ends_s, ribbon, said, tick_s, width_of_picture_deg
from ui.preview.frame import EDGE_PX, Frame, fitted, ticks_px
from ui.preview.sight import FOCUS, Sight, sight
from ui.preview.stand_ins import BOX, GROUND, PERSON, Scene, scene
from ui.preview.strokes import BARE_PX, clear, label, pen, rectangle, rule, wide_px

Floats = NDArray[np.float64]
Eye = tuple[Pose, Lens, tuple[Guess, ...]]

TEXT_PX = 13
WIDE_PX = 620  # from here on there is room for the words beside ticks, and for the key to the ribbon


class LensView(QWidget):
    """The picture, with frame lines, horizon, focus and the way of the view; it follows the desk."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self._positions: Floats | None = None
        self._scene: tuple[object, Scene] | None = None
        self._written: Below | None = None
        self._lines: Over | None = None
        self._said: tuple[object, str] = (None, "")
        self.setAccessibleName(translate("preview", "Lens view"))
        self.setToolTip(
            translate(
                "preview",
                "The ribbon is where the middle of the picture goes, whole ahead and broken behind. Thin: "
                "seven seconds and more to cross the picture; wider: less; widest: less than two.",
            )
        )
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setMinimumSize(240, 160)
        for signal in (desk.changed, desk.opened, desk.placed, desk.preferred):
            signal.connect(self.update)

    def sizeHint(self) -> QSize:
        return QSize(480, 300)

    def show_positions(self, positions: Floats | None) -> None:
        """Show the view from where the axes are, in the rig's order, instead of at the playhead; None goes back."""
        self._positions = positions
        self.update()

    @property
    def live(self) -> bool:
        """Whether the rig's own positions are shown: those of every axis are known."""
        there = self._positions
        return there is not None and len(there) == len(self._desk.project.rig.axes) and bool(np.isfinite(there).all())

    def eye(self) -> Eye | None:
        """Return where the camera is, its lens, and what of it the rig moves unread; None where it has no camera."""
        desk, rig = self._desk, self._desk.project.rig
        if rig.camera is None:
            return None
        if self.live and self._positions is not None:
            positions = self._positions
        else:
            positions = standing_at(rig, desk.shapes, desk.playhead_s)
        return pose(rig, positions), *lens(rig.camera, rig, positions)

    def cautions(self) -> tuple[str, ...]:
        """Return what the picture cannot know, in words."""
        return self._cautions(self.eye())

    def _cautions(self, eye: Eye | None) -> tuple[str, ...]:
        rig = self._desk.project.rig
        words = [
            translate("preview", "{axis} counts {unit}, the view needs {needed}: drawn at zero").format(
                axis=name, unit=unit, needed=needed
            )
            for name, unit, needed in unread(rig)
        ]
        if self._positions is not None and not self.live:
            words.append(translate("preview", "not every axis tells where it is: drawn at the playhead"))
        if eye is not None and "zoom" in eye[2]:
            zoom = translate("preview", "zoom has no table of focal lengths: drawn at {focal:g} mm")
            words.append(zoom.format(focal=eye[1].focal_mm))
        if eye is not None and "focus" in eye[2]:
            focus = translate("preview", "focus has no table of distances: drawn at {focus:g} m")
            words.append(focus.format(focus=eye[1].focus_m))
        return tuple(words)

    def caption(self) -> str:
        """Return the lens in words: focal length, field of view of the picture, focus, ticks of the ribbon."""
        return self._caption(self.eye())

    def _caption(self, eye: Eye | None) -> str:
        aspect = self._desk.project.aspect
        if eye is None:
            return translate(
                "preview", "The rig file has no camera: write its sensor, lens and distance into rig.json."
            )
        frame = fitted(100, 100, eye[1], aspect)
        half = frame.picture.width / frame.sensor.width, frame.picture.height / frame.sensor.height
        across, up = width_of_picture_deg(eye[1], half)
        words = [
            translate("preview", "{focal:g} mm, {across:.1f}° by {up:.1f}°"),
            translate("preview", "focus {focus:g} m"),
        ]
        values = {"focal": round(eye[1].focal_mm, 2), "across": across, "up": up, "focus": round(eye[1].focus_m, 3)}
        if aspect is not None:
            words.append(translate("preview", "picture {aspect}"))
        if (ends := ends_s(self._desk.shapes)) is not None:
            words.append(translate("preview", "tick {step} {unit}"))
            step, unit = said(tick_s((ends[1] - ends[0]) / self._speed()))
            values |= {"step": step}
            return "  ·  ".join(words).format(**values, unit=unit, aspect="" if aspect is None else exact_text(aspect))
        return "  ·  ".join(words).format(**values, aspect="" if aspect is None else exact_text(aspect))

    def frame_now(self) -> Frame | None:
        """Return where the frame lies now, or None without a camera."""
        eye = self.eye()
        return None if eye is None else self._frame(eye, self._below(eye, self._cautions(eye)))

    def _frame(self, eye: Eye, below: Below) -> Frame:
        return fitted(self.width(), self.height() - below.height(), eye[1], self._desk.project.aspect)

    def paintEvent(self, event: QPaintEvent | None) -> None:
        painter, theme, eye = QPainter(self), self._desk.theme, self.eye()
        painter.setFont(self._font())
        cautions = self._cautions(eye)
        below = self._below(eye, cautions)
        if eye is not None:
            frame = self._frame(eye, below)
            for around in frame.around:
                painter.fillRect(rectangle(around), clear(theme.panel, 1.0))
            painter.fillRect(rectangle(frame.sensor), clear(theme.ground, 1.0))
            painter.setClipRect(rectangle(frame.sensor))
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            self._draw_sight(painter, frame, eye)
            painter.setClipping(False)
            self._over(frame).draw(painter)
        else:
            painter.fillRect(self.rect(), clear(theme.panel, 1.0))
        below.draw(painter, self.height() - below.height())
        painter.end()

    def _speed(self) -> float:
        return float(self._desk.project.run(self._desk.run_name).speed)

    def _font(self) -> QFont:
        font = QFont(self.font())
        font.setPixelSize(TEXT_PX)
        return font

    def _drawn_scene(self) -> Scene:
        stage = self._desk.project.stage
        if self._scene is None or self._scene[0] is not stage:
            self._scene = stage, scene(stage)
        return self._scene[1]

    def _below(self, eye: Eye | None, cautions: tuple[str, ...]) -> Below:
        """Return what is written under the picture: drawn anew only where it is something else."""
        font, joined = self._font(), "; ".join(cautions)
        fits = wide_px(font.family(), TEXT_PX, joined) <= self.width() - 2 * EDGE_PX
        ends = ends_s(self._desk.shapes)
        key = (None if eye is None else eye[1], self._desk.project.aspect, ends, self._speed())
        if self._said[0] != key:
            self._said = key, self._caption(eye)
        there = Below(
            (self._said[1], *((joined,) if cautions and fits else cautions)),
            self.width() >= WIDE_PX and bool(self._desk.shapes) and eye is not None,
            (self.width(), self.devicePixelRatioF()),
            self._desk.theme,
            font.toString(),
        )
        if self._written is None or there != self._written:
            self._written = there
        return self._written

    def _over(self, frame: Frame) -> Over:
        """Return the lines that help the eye: drawn anew only where they lie elsewhere."""
        words = translate("preview", "Where the rig is") if self.live else translate("preview", "At the playhead")
        there = Over(frame, words, self.devicePixelRatioF(), self._desk.theme, self._font().toString())
        if self._lines is None or there != self._lines:
            self._lines = there
        return self._lines

    def _draw_sight(self, painter: QPainter, frame: Frame, eye: Eye) -> None:
        desk, theme, stage = self._desk, self._desk.theme, self._desk.project.stage
        where, through, _ = eye
        way = None
        if desk.shapes:
            way = ribbon(desk.project.rig, desk.shapes, desk.playhead_s, self._speed(), through)
        seen = sight(stage, self._drawn_scene(), way, where, through)
        lines = frame.px(seen.lines)
        # long lines across the frame: smoothed they would cost more than all the rest
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
        painter.setPen(pen(theme.rule, BARE_PX))
        rule(painter, lines[seen.kinds == GROUND])
        if seen.horizon is not None:
            painter.setPen(pen(theme.weak, BARE_PX, Qt.PenStyle.DashDotLine))
            rule(painter, frame.px(seen.horizon)[np.newaxis])
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        for kind, colour, width_px in ((BOX, theme.weak, 1.0), (PERSON, theme.text, 1.4)):
            painter.setPen(pen(colour, width_px))
            rule(painter, lines[seen.kinds == kind])
        self._draw_focus(painter, frame, lines[seen.kinds == FOCUS])
        if frame.picture.width >= WIDE_PX / 2:
            inner = frame.picture
            for one, (x, y) in zip(stage.people, frame.px(seen.crowns).tolist(), strict=True):
                if inner.left < x < inner.right and inner.top + ROW_PX < y < inner.bottom:
                    label(painter, x, y - ROW_PX, one.name, (theme.text, theme.ground), middle=True)
        self._draw_ribbon(painter, frame, seen)

    def _draw_focus(self, painter: QPainter, frame: Frame, line: Floats) -> None:
        """Draw where the ground is in focus, and say so where there is room, near the right edge if it can be."""
        theme, inner = self._desk.theme, frame.picture
        painter.setPen(pen(theme.tracks[2], 2.0))
        rule(painter, line)
        for (x0, y0), (x1, y1) in line.tolist():
            for part in (0.93, 0.5, 0.07):
                x = inner.left + part * inner.width
                y = y0 + (x - x0) * (y1 - y0) / (x1 - x0) if min(x0, x1) < x < max(x0, x1) else -1.0
                if inner.top + ROW_PX < y < inner.bottom:
                    words = translate("preview", "in focus")
                    label(painter, x, y - ROW_PX - 1, words, (theme.text, theme.ground), middle=True)
                    break

    def _draw_ribbon(self, painter: QPainter, frame: Frame, seen: Sight) -> None:
        desk, theme = self._desk, self._desk.theme
        way = frame.px(seen.way)
        for number, (track, width_px) in enumerate(zip(RIBBON_TRACKS, RIBBON_PX, strict=True)):
            painter.setPen(pen(theme.tracks[track], width_px))
            rule(painter, way[seen.levels == number])
        ticks = ticks_px(frame, seen.ticks, 7.0)
        painter.setPen(pen(theme.text, 1.5))
        rule(painter, ticks)
        if frame.picture.width < WIDE_PX:
            return
        ends = ends_s(desk.shapes) or (0.0, 0.0)
        step_s, last = tick_s((ends[1] - ends[0]) / self._speed()), (-1e9, 0.0)
        for line, after in zip(ticks.tolist(), seen.after.tolist(), strict=True):
            x, y = max(line, key=lambda end: float(end[1]))
            # words that would lie upon each other are left out
            if after > 0 and abs(x - last[0]) + abs(y - last[1]) > 44 and y < frame.picture.bottom - ROW_PX:
                count, unit = said(after * step_s)
                words = translate("preview", "{count} {unit}").format(count=count, unit=unit)
                label(painter, x, y + 1, words, (theme.text, theme.ground), middle=True)
                last = x, y
