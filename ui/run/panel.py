"""The run panel: choose and connect a rig, arm by holding, start by holding or counting down, reset; and what was said.

No single press, click or key here starts motion. It shows the link's standing and decides nothing.
"""

from datetime import datetime
from itertools import pairwise
from math import ceil

from PyQt6.QtCore import QSize, Qt
from PyQt6.QtGui import QResizeEvent
from PyQt6.QtWidgets import (
    QApplication,
    QBoxLayout,
    QCheckBox,
    QFrame,
    QHBoxLayout,
    QPlainTextEdit,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from sequencer.shell.messages import Said
from ui.acts.cautions import cautions
from ui.desk import Desk, Face
from ui.label import Label
from ui.language import translate
from ui.link.link import Link
from ui.run.by_hand import unperformed
from ui.run.form import Form
from ui.run.hold import Hold
from ui.run.lines import Lines
from ui.run.link_watch import LinkWatch
from ui.run.outputs_told import OutputsTold
from ui.run.performing import Performing
from ui.run.punch import PunchControl
from ui.run.quiet import Quiet
from ui.run.words import next_line
from ui.theme import BIG_TARGET_PX, GAP_PX, STATE_PX, TEXT_PX, Theme

_WIDE_PX = 760
_LOW_PX = 440
_TIGHT_PX = 240
_NARROWEST_PX = 300
_LINES = 500
_LOG_PX = 52
_COUNT_PX = 64
_TICK_PX = 24  # at least, for a finger
_APART_PX = 16  # around what moves the rig


class RunPanel(QWidget):
    """Choices at the left, arming in the middle, the log at the right, or below the middle where there is no room."""

    def __init__(self, desk: Desk, link: Link, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self._link = link
        self._quiet = Quiet(self)
        self._worn: tuple[Face, Theme, bool, bool] | None = None
        self.setAccessibleName(translate("run", "Run"))
        self.form = Form(desk, link, self)
        self.connecting = self._button(translate("run", "Connect"))
        self.resetting = self._button(translate("run", "Reset"))
        self.caution = Label(self)
        self.clear = QCheckBox(self)
        self.arm = Hold(desk, translate("run", "Hold to ARM"), self)
        self.start = Hold(desk, translate("run", "Hold to START"), self)
        self.performing = Performing(link, self)
        self.watch = LinkWatch(link, self)
        self.punch = PunchControl(desk, self.performing, self)
        self.count = self._button(translate("run", "Start in 3 s"))
        self.number = Label(self)
        self.next = Lines(self)
        self.log = QPlainTextEdit(self)
        self.outputs = OutputsTold(link.outputs, self)
        self._quiet.over(self.outputs.button)
        self._dress()
        self._lay_out()
        self._connect()
        self._faced()
        self._stand()

    def _button(self, words: str) -> QPushButton:
        button = QPushButton(words, self)
        button.setAutoDefault(False)
        button.setAccessibleName(words)
        button.setAutoRepeat(False)
        self._quiet.over(button)
        return button

    def _dress(self) -> None:
        self.clear.setAccessibleName(translate("run", "People are clear; hard-wired stop in reach"))
        self._quiet.over(self.clear)
        self.caution.setWordWrap(True)
        self.caution.setText(cautions())
        self.next.setAccessibleName(translate("run", "What happens next"))
        self.number.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.number.setAccessibleName(translate("run", "Countdown"))
        self.log.setReadOnly(True)
        self.log.setMaximumBlockCount(_LINES)
        self.log.setTabChangesFocus(True)
        self.log.setAccessibleName(translate("run", "What was said"))
        self.log.setPlaceholderText(translate("run", "What was said comes here."))

    def _lay_out(self) -> None:
        choices = QWidget()
        left = QVBoxLayout(choices)
        left.addWidget(self.form)
        left.addWidget(self.caution)
        left.addStretch()
        scroll = QScrollArea(self)
        scroll.setWidget(choices)
        scroll.setWidgetResizable(True)
        scroll.setFrameShape(QFrame.Shape.NoFrame)
        scroll.setMinimumSize(190, 120)
        scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        scroll.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self._first = QHBoxLayout()
        self._first.addWidget(self.connecting)
        self._first.addWidget(self.resetting)
        self._holds = QBoxLayout(QBoxLayout.Direction.TopToBottom)
        self._holds.addWidget(self.punch)
        self._holds.addWidget(self.arm)
        self._holds.addWidget(self.start)
        self._middle = QVBoxLayout()
        self._middle.addWidget(self.next)
        self._middle.addLayout(self._first)
        self._middle.addWidget(self.clear)
        self._middle.addWidget(self.number)
        self._middle.addLayout(self._holds)
        self._middle.addWidget(self.count)
        self._middle.addStretch()
        self._right = QBoxLayout(QBoxLayout.Direction.LeftToRight)
        self._right.addLayout(self._middle, 1)
        self._words = QVBoxLayout()
        self._words.addWidget(self.outputs.button)
        self._words.addWidget(self.outputs.brief)
        self._words.addWidget(self.outputs.whole, 1)
        self._words.addWidget(self.log, 1)
        self._right.addLayout(self._words, 1)
        columns = QHBoxLayout(self)
        columns.setSpacing(_APART_PX)
        columns.setSizeConstraint(QBoxLayout.SizeConstraint.SetNoConstraint)
        columns.setContentsMargins(GAP_PX, GAP_PX, GAP_PX, GAP_PX)
        columns.addWidget(scroll, 3)
        columns.addLayout(self._right, 6)
        order: tuple[QWidget, ...] = (
            self.connecting,
            self.resetting,
            self.outputs.button,
            self.clear,
            self.punch,
            self.arm,
            self.start,
            self.count,
            self.outputs.whole,
            self.log,
        )
        for before, after in pairwise(order):
            self.setTabOrder(before, after)

    def _connect(self) -> None:
        link = self._link
        self.connecting.clicked.connect(self._connect_or_leave)
        self.resetting.clicked.connect(link.reset)
        self.clear.toggled.connect(link.clear)
        self.outputs.button.toggled.connect(self._stand)
        link.outputs.changed.connect(self._stand)
        self.arm.held.connect(link.arm)
        self.start.held.connect(link.start)
        self.count.clicked.connect(link.countdown.begin)
        link.standing.connect(self._stand)
        link.chosen.connect(self._stand)
        link.said.connect(self._said)
        link.countdown.ticked.connect(self._stand)
        self.performing.changed.connect(self._stand)
        self.watch.changed.connect(self._stand)
        self.watch.told.connect(self._log)
        self.form.loud.connect(self.watch.be_loud)
        self._desk.changed.connect(self._stand)
        self._desk.faced.connect(self._faced)
        self._desk.preferred.connect(self._faced)

    def _connect_or_leave(self) -> None:
        if self._link.connected:
            self._link.leave()
        else:
            self._link.open()

    def minimumSizeHint(self) -> QSize:
        return QSize(_NARROWEST_PX, 320)

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        super().resizeEvent(event)
        self._faced()

    # what is shown

    def _faced(self) -> None:
        """Use larger targets and letters in the face for running."""
        wide = self.width() >= _WIDE_PX
        low = self.height() < (_LOW_PX if wide else _LOW_PX + 140)
        if self._worn == (self._desk.face, self._desk.theme, wide, low):  # it was the lock that is another
            return
        self._worn = (self._desk.face, self._desk.theme, wide, low)
        afar, theme = self._desk.face == "run" and not low, self._desk.theme
        self._share(wide, low)
        self.punch.be_low(low)
        self.next.cramped = low
        self.log.setMinimumHeight(_LOG_PX // 2 if low else _LOG_PX)
        target, text = (BIG_TARGET_PX - 10, STATE_PX + 4) if afar else (BIG_TARGET_PX // 2 - 10, TEXT_PX)
        self.setStyleSheet(
            f"QPushButton, QToolButton, QComboBox, QLineEdit {{ min-height: {target}px; font-size: {text}px; }}"
            f"QLabel, QCheckBox, QPlainTextEdit {{ font-size: {text}px; }}"
            f"QCheckBox {{ min-height: {_TICK_PX}px; }}"
            f"QCheckBox::indicator {{ width: {text}px; height: {text}px; border: 2px solid {theme.text}; }}"
            f"QCheckBox::indicator:checked {{ background: {theme.text}; border: 2px solid {theme.text}; }}"
            f"QCheckBox::indicator:focus {{ border: 2px solid {theme.focus}; }}"
        )
        # a row's name stands beside the middle of its field
        self.form.setStyleSheet(f"QLabel {{ min-height: {target}px; }} QLabel#beside {{ min-height: 0; }}")
        self.caution.setStyleSheet(f"font-size: {TEXT_PX}px;")  # the strip says it in one line, large
        for label, size in ((self.next, STATE_PX + (4 if afar else 0)), (self.number, _COUNT_PX)):
            label.setStyleSheet(f"font-size: {size}px; font-weight: bold;")
        self._stand()

    def _share(self, wide: bool, low: bool) -> None:
        """Put the log beside what arms or below it, and what is held beside each other where there is no height."""
        beside, below = QBoxLayout.Direction.LeftToRight, QBoxLayout.Direction.TopToBottom
        self._right.setDirection(beside if wide else below)
        self._right.setStretch(0, 1 if wide else 0)
        self._holds.setDirection(beside if low else below)
        # what the outputs do is over the log, or where that is below beside what connects
        if wide:
            self._words.insertWidget(0, self.outputs.button)
        else:
            self._first.addWidget(self.outputs.button)
        # a tick's words break no lines by themselves
        self.clear.setText(self.clear.accessibleName().replace("; ", "; " if low else ";\n"))
        for layout in (self._right, self._middle, self._holds):
            layout.setSpacing(GAP_PX if low else _APART_PX)

    def _stand(self) -> None:
        link, standing = self._link, self._link.now
        why_not = link.why_not() or unperformed(link.choice, self._desk.project)
        self.connecting.setText(translate("run", "Disconnect") if link.connected else translate("run", "Connect"))
        self.connecting.setEnabled(not standing.dangerous)
        self.resetting.setEnabled(standing.can_reset and self.watch.seen.word != "down")
        self.clear.setVisible(link.choice.real)
        self.caution.setVisible(not link.cleared if link.choice.real else not link.connected)
        if self.clear.isChecked() != link.cleared:
            self.clear.setChecked(link.cleared)
        self.clear.setEnabled(not standing.dangerous)
        self.arm.setEnabled(not why_not)
        self._share_holds(link.choice.ours)
        counting = link.countdown.counting
        self.start.setEnabled(standing.can_start and not counting)
        self.count.setEnabled(standing.can_start and not counting)
        left_s = link.countdown.left_s
        # the strip counts as well, where there is no height for it here
        self.number.setVisible(left_s is not None and self._worn is not None and not self._worn[3])
        self.number.setText("" if left_s is None else f"{ceil(left_s)}")
        self.next.setText(self._next_words(why_not))

    def _share_holds(self, ours: bool) -> None:
        """Show what can be held or pressed now: in a performance the punch, in the place of what armed and started."""
        armed, playing = self.performing.armed, self.performing.playing
        started_here = QApplication.focusWidget() in (self.start, self.count)
        low = self._worn is not None and self._worn[3]
        self.outputs.show(brief=self.width() >= _WIDE_PX, busy=self._link.dangerous)
        read = self.outputs.read
        # where there is little height, what cannot be used before a reset, or while it is read, makes room
        shut = low and (read or self._link.now.state in ("stopped", "fault"))
        self.punch.setVisible(armed)
        self.arm.setVisible(not armed and not shut)
        for one in (self.start, self.count):
            one.setVisible(ours and not playing and not shut)
        if playing and started_here:
            self.punch.setFocus()
        # the strip says what a drop left behind; and where there is hardly any height, targets come before the log
        tight = self.height() < _TIGHT_PX and self.width() < _WIDE_PX
        self.next.setVisible(not (low and self.watch.seen.dropped))
        self.log.setVisible(not read and not (tight and (armed or self._link.choice.real)))

    def _next_words(self, why_not: str) -> str:
        standing, seen = self._link.now, self.watch.seen
        if seen.dropped:
            return (
                translate("run", "The rig is back. Look at it, then reset; nothing moves before.")
                if seen.back
                else translate("run", "The link to the rig is down. It can be reset when it is back.")
            )
        if self._link.countdown.counting:
            return translate("run", "The rig starts at zero. Any key or any click calls it off.")
        if standing.state == "idle" and why_not:
            return translate("run", "Not to be armed: {why}.").format(why=why_not)
        return next_line(standing.how)

    def _said(self, said: Said) -> None:
        punched = translate("run", "punched {how}").format(how=said.text)
        self._log(punched if said.code == "punch" else said.text)

    def _log(self, words: str) -> None:
        self.log.appendPlainText(f"{datetime.now():%H:%M:%S}  {words}")
