"""From mark to mark: where the rig is among them, and what sends it on, which is held, since it then moves by itself.

No single press, click or key here starts motion.
"""

from PyQt6.QtGui import QResizeEvent
from PyQt6.QtWidgets import QGridLayout, QVBoxLayout, QWidget

from sequencer.shell.tour import ORIGIN
from ui.acts.poses import Poses
from ui.label import Label, tip
from ui.language import translate
from ui.run.hold import Hold
from ui.theme import BIG_TARGET_PX, GAP_PX, STATE_PX, TEXT_PX

_LEAST_PX = 312  # across: no word on what is held is cut
_ROOMY_PX = 330  # of height, for large targets in the face for running
_BOTH_PX = 220
_SHUT_PX = 180  # for why nothing can be held now, as well
_LOW_PX = 44


class GoPanel(QWidget):
    """What is held to send the rig to the chosen mark, to its neighbours, or back to its origin."""

    def __init__(self, poses: Poses) -> None:
        super().__init__()
        self._poses, self._desk, self._link = poses, poses.desk, poses.link
        self.setAccessibleName(translate("run", "Go to marks"))
        self.setMinimumWidth(_LEAST_PX)
        self.words, self.ways, self.fault = Label(), Label(), Label()
        for label in (self.words, self.ways, self.fault):
            label.setWordWrap(True)
        self.fault.setAccessibleName(translate("run", "What is wrong with the chosen mark"))
        self.words.setAccessibleName(translate("run", "Where the rig is among the marks"))
        self.ways.setAccessibleName(translate("run", "What a hold does"))
        self.words.setStyleSheet(f"font-size: {STATE_PX}px; font-weight: bold;")
        self.ways.setStyleSheet(f"font-size: {STATE_PX}px;")
        self.back = self._hold(translate("run", "Hold: previous"), translate("run", "Hold to go to the previous mark"))
        self.on = self._hold(translate("run", "Hold: next"), translate("run", "Hold to go to the next mark"))
        self.there = self._hold(translate("run", "Hold: chosen"), translate("run", "Hold to go to the chosen mark"))
        self.origin = self._hold(translate("run", "Hold: origin"), translate("run", "Hold to return to the origin"))
        grid = QGridLayout()
        grid.setSpacing(GAP_PX)
        for place, hold in enumerate((self.back, self.on, self.there, self.origin)):
            grid.addWidget(hold, place // 2, place % 2)
        lines = QVBoxLayout(self)
        lines.setContentsMargins(0, GAP_PX, GAP_PX, GAP_PX)  # what is at its left has an edge of its own
        lines.addWidget(self.words)
        lines.addWidget(self.ways)
        lines.addLayout(grid)
        lines.addWidget(self.fault)
        lines.addStretch(1)
        self.back.held.connect(self._go_back)
        self.on.held.connect(self._go_on)
        self.there.held.connect(self._go_there)
        self.origin.held.connect(self._go_home)
        for signal in (poses.moved, poses.chose, self._link.standing, self._link.chosen, self._desk.changed):
            signal.connect(self._show)
        for signal in (self._desk.faced, self._desk.preferred):
            signal.connect(self._face)
        self._face()

    def _hold(self, words: str, name: str) -> Hold:
        hold = Hold(self._desk, words)
        hold.setAccessibleName(name)
        hold.setToolTip(tip(name))
        return hold

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        super().resizeEvent(event)
        self._face()

    def _go_back(self) -> None:
        self._poses.step(-1)

    def _go_on(self) -> None:
        self._poses.step(1)

    def _go_there(self) -> None:
        self._poses.go(self._poses.current)

    def _go_home(self) -> None:
        self._poses.home()

    def _face(self) -> None:
        tall = BIG_TARGET_PX if self._desk.face == "run" and self.height() >= _ROOMY_PX else _LOW_PX
        for hold in (self.back, self.on, self.there, self.origin):
            hold.setFixedHeight(tall)
        theme, text_px = self._desk.theme, STATE_PX if self._desk.face == "run" else TEXT_PX
        self.fault.setStyleSheet(
            f"background: {theme.over}; color: {theme.over_text}; border-radius: 3px; padding: 2px 6px;"
            f"font-size: {text_px}px;"
        )
        self._show()

    def _show(self) -> None:
        poses, shut = self._poses, bool(self._link.why_not_drive())
        for hold, name in (
            (self.back, poses.neighbour(-1)),
            (self.on, poses.neighbour(1)),
            (self.there, poses.current),
        ):
            hold.setEnabled(not shut and bool(name) and not poses.why_not(name))
        self.origin.setEnabled(not shut)
        self.words.setText(where(poses))
        self.words.setVisible(bool(self.words.text()))
        self.ways.setText(self._ways())
        self.fault.setText(poses.trouble(poses.current))
        self.fault.setVisible(bool(self.fault.text()))
        # where there is no height for both, where the rig is comes before where it could go
        roomy = self.height() >= (_SHUT_PX if shut else _BOTH_PX)
        self.ways.setVisible(not self.words.text() or roomy)

    def _ways(self) -> str:
        """Say where each hold leads, or why none leads anywhere."""
        poses, why = self._poses, self._link.why_not_drive()
        if why:
            words = translate("run", "Not to be sent to marks: {why}. Marks are stored from {place}.")
            place = translate("run", "the rig") if poses.from_rig() else translate("run", "the playhead")
            return words.format(why=why, place=place)
        if not poses.marks:
            return translate("run", "There are no marks; store one first.")
        back, on = poses.neighbour(-1), poses.neighbour(1)
        none = translate("run", "none")
        words = translate("run", "Previous: {back}. Next: {on}. Chosen: {chosen}.")
        return words.format(back=back or none, on=on or none, chosen=poses.current or none)


def where(poses: Poses) -> str:
    """Return where the rig is among the marks, in one sentence or two; nothing where there is no rig."""
    if not poses.link.connected:
        return ""
    if poses.on_way:
        return translate("run", "On the way to {name}; a touch of the stick takes over.").format(name=poses.bound)
    if poses.interrupted:
        return interrupted(poses)
    here = [mark.name for mark, how in zip(poses.marks, poses.stands(), strict=True) if how == "here"]
    if here:
        return translate("run", "At {names}.").format(names=translate("run", " and ").join(here))
    at = poses.link.hands.at
    if at is not None:
        return translate("run", "Away from {name}, where it was last.").format(name=at)
    return translate("run", "At no mark.")


def interrupted(poses: Poses) -> str:
    """Return that the rig did not come to where it was sent, and how it goes on."""
    name = poses.bound
    if name == ORIGIN:
        words = translate("run", "Interrupted on the way to the origin; return to it goes on.")
    elif name == poses.neighbour(1):
        words = translate("run", "Interrupted on the way to {name}; next goes on.")
    elif name == poses.neighbour(-1):
        words = translate("run", "Interrupted on the way to {name}; previous goes on.")
    else:
        words = translate("run", "Interrupted on the way to {name}; choose it, and send the rig there again.")
    return words.format(name=name)
