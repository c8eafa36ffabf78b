"""The slate: full screen before the lens, with cue, pass, take and timecode, and a clap of flash and beep.

The flash and the beep begin at one instant, as far as the machine can say: the log has when the picture was handed to
the screen, and when the beep was at the sound card's converter. What a screen adds, one to three frames of its own as a
rule (common practice, no source), no program can know. Stop works here as everywhere. It moves nothing.
"""

import time
from collections.abc import Callable
from datetime import date
from fractions import Fraction

from PyQt6.QtCore import QRectF, Qt, QTimer
from PyQt6.QtGui import (
    QColor,
    QFont,
    QFontMetricsF,
    QHideEvent,
    QKeyEvent,
    QPainter,
    QPaintEvent,
    QResizeEvent,
    QShowEvent,
)
from PyQt6.QtWidgets import QPushButton, QWidget

from sequencer.shell.messages import Clapped, Said
from sequencer.shell.slate_sound import AHEAD_S
from ui.desk import Desk
from ui.language import translate
from ui.link.link import Link
from ui.run.slate_sound import SlateSound
from ui.run.slate_words import Shown, logged, shown
from ui.run.stop import BLACK, WHITE, StopControl
from ui.theme import BIG_TARGET_PX, GAP_PX, STATE_PX

FLASH_FRAMES = 2  # so that a camera that is not in step catches one whole
_TICK_MS = 16
_HEARD_WITHIN_MS = 3000  # the beep is known to have sounded, or it has not


class Slate(QWidget):
    """A window of its own. Enter claps; F7 or its button takes it away again."""

    def __init__(
        self,
        desk: Desk,
        link: Link,
        parent: QWidget | None = None,
        *,
        sound: SlateSound | None = None,
        now_ns: Callable[[], int] = time.monotonic_ns,
    ) -> None:
        super().__init__(parent, Qt.WindowType.Window)
        self._desk, self._link, self._now_ns = desk, link, now_ns
        self.sound = sound or SlateSound(self)
        self.flashing = False
        self._due_ns: int | None = None  # when a clap's flash begins
        self._flash_ns: int | None = None  # when it began, of a clap that is not in the log yet
        self._early: tuple[int | None, ...] = ()  # when its beep began, where that is known before the flash
        self._told = ""
        self._opened: tuple[str, float] | None = None
        self.setWindowTitle(translate("slate", "Slate · twintake"))
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAccessibleName(translate("slate", "Slate"))
        self.stop = StopControl(link, self)
        self.clapper = self._button(translate("slate", "Clap (Enter)"), self.clap)
        self.closer = self._button(translate("slate", "Back (F7)"), self.hide)
        self._ticks = QTimer(self)
        self._ticks.setInterval(_TICK_MS)
        self._ticks.timeout.connect(self.update)
        self._flash, self._dark, self._late = (self._once(act) for act in (self._light, self._darken, self._unheard))
        self.sound.sounded.connect(self._sounded)
        self.sound.changed.connect(self.update)
        link.chosen.connect(self._choose)
        desk.changed.connect(self._choose)

    @property
    def flash_s(self) -> float:
        """How long the flash lasts, and the beep."""
        return float(self._desk.project.timebase.rate.seconds(Fraction(FLASH_FRAMES)))

    def turn(self) -> None:
        """Show it over the whole screen, or take it away."""
        if self.isVisible():
            self.hide()
        else:
            self.showFullScreen()
            self.activateWindow()
            self.setFocus()

    def clap(self) -> None:
        """Flash and beep at one instant, a moment from now; one clap at a time."""
        if self._due_ns is not None or self._flash_ns is not None:
            return
        at_ns = self._now_ns() + round(AHEAD_S * 1e9)
        beeps = self.sound.clap(at_ns)
        self._told = translate("slate", "clap")
        self._due_ns, self._early = at_ns, ()
        self._flash.start(round(AHEAD_S * 1000))
        if not beeps:
            self._told = translate("slate", "clap without a beep")

    def now(self) -> Shown:
        """Return what is shown."""
        return shown(self._desk.project, self._link.choice, self._link.take, self._link.newest, self._now_ns())

    def _light(self) -> None:
        self.flashing, self._due_ns = True, None
        self.repaint()  # at once, not when there is time for it
        self._flash_ns = self._now_ns()
        self._dark.start(round(self.flash_s * 1000))
        if self._early:
            self._log(*self._early)
        elif self.sound.device:
            self._late.start(_HEARD_WITHIN_MS)
        else:
            self._log(None)

    def _darken(self) -> None:
        self.flashing = False
        self.update()

    def _sounded(self, at_ns: int | None) -> None:
        if self._flash_ns is not None:
            self._log(at_ns)
        elif self._due_ns is not None:
            self._early = (at_ns,)  # a window that was busy flashes late

    def _unheard(self) -> None:
        if self._flash_ns is not None:
            self._log(None)

    def _log(self, beep_ns: int | None) -> None:
        """Have the take's log keep the clap, where a take is recorded; the window's own log has it in any case."""
        assert self._flash_ns is not None
        flash_ns, self._flash_ns = self._flash_ns, None
        self._late.stop()
        words = logged(self._desk.project.timebase, self._link.newest, flash_ns, beep_ns)
        kept = self.now().recorded and self._link.tell(Clapped(flash_ns, words))
        if kept:
            self._told = translate("slate", "{words}: in the take's log").format(words=words)
        else:
            self._told = translate("slate", "{words}: no take is recorded, so no log keeps it").format(words=words)
            self._link.said.emit(Said(flash_ns, "slate", self._told))
        self.update()

    def _choose(self) -> None:
        """Beep through the card that the music goes to."""
        wanted = (self._link.choice.audio_out, self.flash_s)
        if self.isVisible() and wanted != self._opened:
            self._opened = wanted
            self.sound.begin(*wanted)

    def _once(self, act: Callable[[], None]) -> QTimer:
        timer = QTimer(self)
        timer.setSingleShot(True)
        timer.setTimerType(Qt.TimerType.PreciseTimer)
        timer.timeout.connect(act)
        return timer

    def _button(self, words: str, do: Callable[[], object]) -> QPushButton:
        button = QPushButton(words, self)
        button.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        button.setMinimumHeight(BIG_TARGET_PX)
        button.setStyleSheet(
            f"background: {BLACK}; color: {WHITE}; border: 2px solid {WHITE}; font-size: {STATE_PX}px;"
        )
        button.clicked.connect(lambda _: do())
        return button

    def showEvent(self, event: QShowEvent | None) -> None:
        super().showEvent(event)
        self._told, self._opened = "", None
        self._ticks.start()
        self._choose()

    def hideEvent(self, event: QHideEvent | None) -> None:
        super().hideEvent(event)
        for timer in (self._ticks, self._flash, self._dark, self._late):
            timer.stop()
        self._unheard()  # what flashed is in the log, whoever is in a hurry
        self.flashing, self._due_ns = False, None
        self.sound.end()

    def keyPressEvent(self, event: QKeyEvent | None) -> None:
        if event is None:
            return
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and not event.isAutoRepeat():
            self.clap()
        elif event.key() == Qt.Key.Key_F7:
            self.hide()
        else:
            super().keyPressEvent(event)

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        super().resizeEvent(event)
        self.stop.move(self.width() - self.stop.width() - GAP_PX, GAP_PX)
        right = self.width() - GAP_PX
        for button in (self.closer, self.clapper):
            button.resize(button.sizeHint().width() + 4 * GAP_PX, BIG_TARGET_PX)
            right -= button.width()
            button.move(right, self.height() - BIG_TARGET_PX - GAP_PX)
            right -= GAP_PX

    def paintEvent(self, event: QPaintEvent | None) -> None:
        ground, ink = (WHITE, BLACK) if self.flashing else (BLACK, WHITE)
        painter = QPainter(self)
        painter.fillRect(self.rect(), QColor(ground))
        painter.setPen(QColor(ink))
        one, wide, high = self.now(), self.width() - 4 * GAP_PX, float(self.height())
        left = 2.0 * GAP_PX
        room = wide - self.stop.width() - 2 * GAP_PX
        run = one.run if not one.note else f"{one.run} · {one.note}"
        self._line(painter, QRectF(left, 0.02 * high, room, 0.1 * high), one.project)
        self._field(painter, QRectF(left, 0.14 * high, 0.68 * wide, 0.15 * high), translate("slate", "cue"), one.cue)
        self._field(painter, QRectF(left, 0.30 * high, 0.68 * wide, 0.15 * high), translate("slate", "pass"), run)
        take = QRectF(left + 0.7 * wide, 0.14 * high, 0.3 * wide, 0.31 * high)
        self._field(painter, take, translate("slate", "take"), one.take)
        self._field(painter, QRectF(left, 0.47 * high, wide, 0.34 * high), translate("slate", "timecode"), one.timecode)
        foot = translate("slate", "{rate} frames/s · {day}").format(rate=one.rate, day=date.today().isoformat())
        self._line(painter, QRectF(left, 0.82 * high, 0.5 * wide, 0.06 * high), foot)
        self._line(painter, QRectF(left, 0.89 * high, 0.6 * wide, 0.05 * high), self._told or self._sound_words(one))
        if one.recorded:
            return
        words = translate("slate", "no take is recorded: arm with “record a take” first")
        self._line(painter, QRectF(left, 0.94 * high, 0.6 * wide, 0.05 * high), words)

    def _sound_words(self, one: Shown) -> str:
        if self.sound.trouble:
            return translate("slate", "no beep: {why}").format(why=self.sound.trouble)
        if self.sound.device:
            return translate("slate", "beep through {device}").format(device=self.sound.device)
        return translate("slate", "looking for a sound card")

    def _field(self, painter: QPainter, box: QRectF, caption: str, value: str) -> None:
        """Write a value as large as it fits, under a small caption."""
        cap = box.height() * 0.2
        self._line(painter, QRectF(box.left(), box.top(), box.width(), cap), caption)
        self._line(painter, box.adjusted(0, cap, 0, 0), value, bold=True)

    def _line(self, painter: QPainter, box: QRectF, words: str, bold: bool = False) -> None:
        font = QFont(self.font())
        font.setBold(bold)
        size = max(12, int(box.height() * 0.8))
        font.setPixelSize(size)
        wide = QFontMetricsF(font).horizontalAdvance(words)
        if wide > box.width():
            font.setPixelSize(max(12, int(size * box.width() / wide)))
        painter.setFont(font)
        left = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter
        metrics = QFontMetricsF(font)
        painter.drawText(box, int(left), metrics.elidedText(words, Qt.TextElideMode.ElideRight, box.width()))
