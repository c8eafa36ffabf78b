"""The truth strip: across the top, in both faces, never covered: what the rig does, by whose clock, and what stops it.

It says only what the engine reported, and how old that is. It asks nothing and takes no keyboard.
"""

from fractions import Fraction
from math import ceil, floor

from PyQt6.QtCore import QSize, QTimer
from PyQt6.QtGui import QColor, QPainter, QPaintEvent, QResizeEvent
from PyQt6.QtWidgets import QHBoxLayout, QSizePolicy, QVBoxLayout, QWidget

from sequencer.shell.messages import Status
from ui.desk import Desk
from ui.label import Label
from ui.language import translate
from ui.link.link import Link
from ui.link.outputs import end_words
from ui.link.standing import Standing
from ui.run.link_plate import LinkPlate
from ui.run.link_state import NOTHING, gone, see, trouble
from ui.run.nearness import rows, worst
from ui.run.plate import Plate, Reading
from ui.run.stop import StopControl
from ui.run.words import lock_words
from ui.theme import GAP_PX, STATE_PX, STOP_PX, font_px

AFAR_ARCMIN, AFAR_M = 22.0, 1.5  # what is read while the rig runs
NEAR_PX = 30  # the same while preparing
_BLINK_MS = 500
_TOP_PX = 4
_LETTERS = 19.5  # font sizes that state, timecode and countdown take side by side
_ROOMY_PX, _WIDE_PX = 1200, 1500
_NONE = "--:--:--:--"


class Strip(QWidget):
    """State, timecode and countdown large; rig, cue, pass, take, speed, error and age below; stop at the right.

    The link to the rig is in the last row; what a drop of it left behind comes below, until the reset.
    """

    def __init__(self, desk: Desk, link: Link, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self._link = link
        self._distance_m = AFAR_M
        self._worn: tuple[bool, int, int] | None = None
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setAccessibleName(translate("run", "State of the rig"))
        self.plate = Plate(desk, self)
        self.timecode = Reading(desk, translate("run", "timecode"), self)
        self.countdown = Reading(desk, translate("run", "moves in"), self)
        self.last_stop = Reading(desk, translate("run", "last stop"), self)
        self.hands = Reading(desk, translate("run", "controllers"), self)
        self.rig = Reading(desk, translate("run", "rig"), self, inline=True)
        self.ends = Reading(desk, translate("run", "at end"), self, inline=True)
        self.ends.hide()
        self.cue = Reading(desk, translate("run", "cue"), self, inline=True)
        self.run = Reading(desk, translate("run", "pass"), self, inline=True)
        self.take = Reading(desk, translate("run", "take"), self, inline=True)
        self.speed = Reading(desk, translate("run", "speed"), self, inline=True)
        self.behind = Reading(desk, translate("run", "behind"), self, inline=True)
        self.reports = Reading(desk, translate("run", "reports"), self, inline=True)
        self.caution = Reading(desk, "", self, inline=True)
        self.cause = Reading(desk, translate("run", "last stop"), self, inline=True)
        self.last_stop.wraps, self.caution.heavy = True, False
        self.link = LinkPlate(desk, self)
        self.trouble = Label(self)
        self.trouble.setWordWrap(True)
        self.trouble.hide()
        self._seen = NOTHING
        self.stop = StopControl(link, self)
        self._lay_out()
        self._blink = QTimer(self)
        self._blink.setInterval(_BLINK_MS)
        self._blink.timeout.connect(self._blinked)
        for signal in (desk.faced, desk.preferred):
            signal.connect(self._sized)
        link.standing.connect(self._stand)
        link.status.connect(self._look)
        link.chosen.connect(self._choose)
        link.outputs.changed.connect(self._name_rig)
        link.countdown.ticked.connect(self._ticked)
        desk.changed.connect(self._choose)
        self._choose()
        self._sized()
        self._stand(link.now)

    def stand_at(self, distance_m: float) -> None:
        """Size what is read in the face for running for eyes that are `distance_m` away."""
        self._distance_m = distance_m
        self._sized()

    def _lay_out(self) -> None:
        upper, lower, lowest = QHBoxLayout(), QHBoxLayout(), QHBoxLayout()
        for layout in (upper, lower, lowest):
            layout.setSpacing(GAP_PX)
        for one in (self.plate, self.timecode, self.countdown):
            upper.addWidget(one)
        upper.addWidget(self.hands)
        self.hands.hide()
        upper.addWidget(self.last_stop, 1)
        upper.addStretch()
        for reading in (self.rig, self.ends, self.cue, self.run, self.take, self.speed, self.behind, self.reports):
            lower.addWidget(reading, 1 if reading in (self.cue, self.run) else 0)
        lowest.setSpacing(2)
        lowest.addWidget(self.caution)
        lowest.addWidget(self.link)
        lowest.addWidget(self.cause, 1)
        left = QVBoxLayout(self)
        left.setSizeConstraint(QVBoxLayout.SizeConstraint.SetNoConstraint)
        left.setContentsMargins(GAP_PX, _TOP_PX, GAP_PX, _TOP_PX)
        upper.addSpacing(STOP_PX[0] + 2 * GAP_PX)
        upper.addStrut(STOP_PX[1])
        left.setSpacing(2)
        for layout in (upper, lower, lowest):
            left.addLayout(layout)
        left.addWidget(self.trouble)

    def _sized(self) -> None:
        """Write as large as the face asks for. The stop control stays where and as it is."""
        afar = self._desk.face == "run"
        # what does not fit beside the stop control would lie under it
        self.hands.size_for(STATE_PX, "mm " + translate("run", "IN HAND"))
        beside = STOP_PX[0] + (0 if self.hands.isHidden() else self.hands.sizeHint().width())
        fits = max(NEAR_PX, round((self.width() - beside - 5 * GAP_PX) / _LETTERS))
        large = min(fits, max(NEAR_PX, font_px(AFAR_ARCMIN, self._distance_m))) if afar else NEAR_PX
        small = STATE_PX + 2 if afar and self.width() >= _ROOMY_PX else STATE_PX
        theme = self._desk.theme
        self.trouble.setStyleSheet(
            f"background: {theme.over}; color: {theme.over_text}; font-size: {STATE_PX}px; padding: 3px 6px;"
        )
        narrow = self.width() < _ROOMY_PX
        self.link.size_for(STATE_PX, brief=narrow)
        self.ends.size_for(small, f"m {self.ends.value}")
        real, brief = self._link.choice.real, bool(self.ends.value) and self.width() < _WIDE_PX
        widest = translate("run", "REAL 10 outputs") if real else translate("run", "SIMULATED")
        self.rig.size_for(small, translate("run", "REAL") if brief else widest)
        self.ends.setVisible(bool(self.ends.value) and not narrow)
        self.last_stop.setVisible(not afar)
        self.cause.setVisible(afar and not narrow)
        self._look_at_trouble()
        if self._worn == (afar, large, small):  # it was the lock, or the theme, that is another
            self.update()
            return
        self._worn = (afar, large, small)
        self.plate.size_for(large)
        self.timecode.size_for(large, "00:00:00:00")
        self.countdown.size_for(large, "00:00.0")
        # room for the longest that may not be cut; cue, pass and cause take what is left
        for reading, widest in (
            (self.last_stop, "0000"),
            (self.cause, "0000"),
            (self.cue, "00"),
            (self.run, "00"),
            (self.take, "000"),
            (self.speed, "100%"),
            (self.behind, "slide 00.00 mm"),
            (self.reports, "mm " + translate("run", "STALE {age} s").format(age="0.0")),
        ):
            reading.size_for(small, widest)
        self.caution.size_for(STATE_PX, self.caution.value)  # what is beside it needs the room
        self.update()

    def minimumSizeHint(self) -> QSize:
        return QSize(640, super().minimumSizeHint().height())

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        super().resizeEvent(event)
        self._name_rig()
        self.stop.move(self.width() - STOP_PX[0] - GAP_PX, _TOP_PX)
        self.stop.raise_()

    def paintEvent(self, event: QPaintEvent | None) -> None:
        painter = QPainter(self)
        painter.fillRect(self.rect(), QColor(self._desk.theme.strip))
        painter.fillRect(0, self.height() - 2, self.width(), 2, QColor(self._desk.theme.strip_text))

    # what is shown

    def _choose(self) -> None:
        choice = self._link.choice
        self.caution.show_value(
            translate(
                "run", "Rigs crush, trap and drop things. This is no safety device: keep a hard-wired stop in reach."
            )
        )
        self._name_rig()
        self.cue.show_value(choice.cue or translate("run", "whole move"))
        try:
            run = self._desk.project.run(choice.run)
        except ValueError:
            self.run.show_value("-")
            self.speed.show_value("-")
            return
        self.run.show_value(run.name)
        self.speed.show_value(f"{float(run.speed * choice.speed):.0%}")

    def _name_rig(self) -> None:
        """Say which rig it is, and beside it what its devices do when setpoints end; the whole of it is in the tip."""
        outputs, simulated = self._link.outputs, translate("run", "SIMULATED")
        real, worst_end = self._link.choice.real, outputs.worst
        ends = end_words(worst_end) if real and worst_end is not None else ""
        name = translate("run", "REAL {rig}").format(rig=outputs.rig_name) if real else simulated
        if ends and self.width() < _WIDE_PX:
            name = translate("run", "REAL")  # how many there are is beside what arms
        self.rig.show_value(name, more="\n".join(outputs.whole))
        self.ends.show_value(ends, worst_end == "drop power", more="\n".join(outputs.whole))
        self._sized()
        self._look_at_link(self._link.newest)

    def _stand(self, standing: Standing) -> None:
        self.plate.show_standing(standing)
        if standing.state == "fault" and not self._blink.isActive():
            self._blink.start()
        elif standing.state != "fault":
            self._blink.stop()
            self.plate.dimmed = False
        self.countdown.show_value(self._counted(standing), alarm=self._link.countdown.counting)
        stopped = standing.state in ("stopped", "fault")
        cause = (stopped and standing.cause) or self._link.last_stop or translate("run", "none")
        self.last_stop.show_value(cause)
        self.cause.show_value(cause)
        self._look_at_trouble()
        self.take.show_value(self._link.take.rpartition("_")[2] or "-")
        if standing.stale:
            words = translate("run", "STALE {age} s").format(age=f"{standing.age_s:.1f}")
        else:
            words = translate("run", "fresh") if self._link.newest is not None else translate("run", "none")
        self.reports.show_value(words, alarm=standing.stale)
        if self._link.newest is None:
            self._look(None)
        elif gone(self._link.newest, standing):
            self._look_at_link(None)
        self._show_hands()

    def _show_hands(self) -> None:
        """Say that game controllers drive, while they do."""
        in_hand = self._link.connected and self._link.hands.taken
        if in_hand == self.hands.isHidden():
            self.hands.show_value(translate("run", "IN HAND") if in_hand else "", alarm=in_hand)
            self.hands.setVisible(in_hand)
            self._sized()

    def _counted(self, standing: Standing) -> str:
        left_s = self._link.countdown.left_s
        if left_s is not None:
            return f"{ceil(left_s)}"
        if standing.to_motion_s is None:
            return "-"
        if standing.to_motion_s == 0:
            return translate("run", "now")
        minutes, seconds = divmod(standing.to_motion_s, 60)
        return f"{minutes:.0f}:{seconds:04.1f}" if minutes else f"{seconds:.1f}"

    def _look(self, status: Status | None) -> None:
        self._look_at_link(status)
        self._show_hands()
        timebase = self._desk.project.timebase
        if status is None or status.lock in ("waiting", "locking"):
            label = _NONE
        else:
            label = str(timebase.label(floor(timebase.rate.frames(Fraction(status.timeline_s)))))
        lock = translate("run", "no clock") if status is None else lock_words(status.lock)
        if status is not None and status.lock == "locked" and abs(status.speed - 1) >= 5e-4:
            lock = f"{lock}, {status.speed:.1%}"
        if status is not None and status.lost:
            lock = translate("run", "{lock}, {number} lost").format(lock=lock, number=status.lost)
        self.timecode.caption_as(translate("run", "timecode: {lock}").format(lock=lock))
        self.timecode.show_value(label)
        one = worst(rows(self._desk.project.rig, status))
        if one is None:
            self.behind.show_value("-")
        else:
            self.behind.show_value(f"{one.axis.name} {abs(one.error or 0.0):.2f} {one.axis.unit}")

    def _look_at_link(self, status: Status | None) -> None:
        seen = see(self._seen, status, self._link.outputs.trouble)
        if seen != self._seen:
            self._seen = seen
            self.link.show_link(seen)
        self._look_at_trouble()

    def _look_at_trouble(self) -> None:
        """Say below what a drop left behind, or where there is no room elsewhere why it stopped."""
        words = trouble(self._seen, self._desk.project.rig, self._link.newest)
        standing = self._link.now
        cut = self._desk.face == "run" and (self.cause.isHidden() or self.cause.cut)
        if not words and cut and standing.state in ("stopped", "fault") and standing.cause:
            words = translate("run", "Last stop: {cause}").format(cause=standing.cause)
        if words != self.trouble.text():
            self.trouble.setText(words)
            self.trouble.setAccessibleName(words)
            self.trouble.setVisible(bool(words))

    def _ticked(self) -> None:
        self._stand(self._link.now)

    def _blinked(self) -> None:
        self.plate.dimmed = not self.plate.dimmed
        self.plate.update()
