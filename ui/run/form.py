"""The choices of a run: rig, clock and its port, cue, pass, speed, take; and below them what is seldom changed.

It starts nothing: it only tells the link what was chosen, and shows what the link made of it.
"""

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from functools import partial
from typing import Any

from PyQt6.QtCore import QSignalBlocker, Qt, pyqtSignal
from PyQt6.QtGui import QStandardItemModel
from PyQt6.QtWidgets import QCheckBox, QComboBox, QFormLayout, QLineEdit, QSizePolicy, QToolButton, QWidget

from sequencer.errors import SequencerError
from sequencer.shell.kinds import carried
from sequencer.shell.listen import inputs
from ui.acts.judging import Judging
from ui.acts.outlets import fault_of
from ui.desk import Desk
from ui.label import Label, tip
from ui.language import translate
from ui.link.choice import CLOCKS, SIMULATED, Choice, ClockChoice, inlet_fault, plan_of
from ui.link.company import Aside
from ui.link.link import Link
from ui.run.by_hand import ByHand
from ui.run.quiet import Quiet
from ui.run.words import clock_name

ADDRESS = "osc://127.0.0.1:9000"
TYPED, OWN = "typed", ""  # in the list of rigs: at an address, and by the outputs of the rig's description
SPEEDS = tuple(Fraction(percent, 100) for percent in (100, 50, 25, 10))
_CARRIED = {"mtc": "midi", "clock": "midi", "ltc": "ltc", "osc": "osc"}


def ports() -> dict[str, tuple[str, ...]]:
    """Return the inputs of this machine by what they bring: midi, ltc, osc. It may block for a while."""
    found: dict[str, tuple[str, ...]] = {}
    for address in inputs()[0]:
        kind = carried(address)
        found[kind] = (*found.get(kind, ()), address)
    return found


class Form(QWidget):
    """One row a choice, each with its own words; a row without meaning for the clock is hidden.

    `loud`: whether the link to the rig is to be heard.
    """

    loud = pyqtSignal(bool)

    def __init__(
        self, desk: Desk, link: Link, parent: QWidget | None = None, *, find: Callable[[], Any] = ports
    ) -> None:
        super().__init__(parent)
        self._desk = desk
        self._link = link
        self._find = find
        self._ports: dict[str, tuple[str, ...]] = {}
        self._aside = Aside(self)
        self._judged: tuple[object, ...] = ()
        self.judging: Judging[str] = Judging(self._refused, lambda fault: self._refused(str(fault)), self)
        self._quiet = Quiet(self)
        self._rows = QFormLayout(self)
        self._rows.setContentsMargins(0, 0, 0, 0)
        self._rows.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapLongRows)
        self._rows.setLabelAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        self._rows.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.ExpandingFieldsGrow)
        self._build()
        self._build_more()
        for signal in (link.chosen, desk.changed, desk.opened):
            signal.connect(self.show_choice)
        link.standing.connect(self._free)
        link.kept.connect(self.show_choice)
        self.show_choice()

    def look_for_ports(self) -> None:
        """Ask the machine for its ports, aside."""
        self._aside.do(self._find, self._found)

    # rows

    def _build(self) -> None:
        self.rig = self._list(
            translate("run", "Rig"),
            [
                (translate("run", "simulated"), SIMULATED),
                (translate("run", "its outputs"), OWN),
                (translate("run", "an address"), TYPED),
            ],
            self._choose_rig,
        )
        means = translate("run", "Real: by the outputs that Setup describes, or at an address that is typed here.")
        self.rig.setToolTip(tip(means))
        self.address = QLineEdit(ADDRESS, self)
        self.address.setAccessibleName(translate("run", "Address of the rig"))
        several = translate(
            "run", "Several are parted by a semicolon, with their axes: pan,tilt=ADDRESS; slide=ADDRESS"
        )
        self.address.setToolTip(tip(several))
        self.address.editingFinished.connect(lambda: self._choose_rig(self.rig.currentData()))
        self._rows.addRow(translate("run", "Address"), self.address)
        self.refused = self._beside()
        clocks = [(clock_name(clock), clock) for clock in CLOCKS]
        self.clock = self._list(translate("run", "Clock"), clocks, self._choose_clock)
        self._build_inlet()
        self.cue = self._list(translate("run", "Cue"), [], lambda cue: self._choose(cue=cue))
        self.run = self._list(translate("run", "Pass"), [], lambda run: self._choose(run=run))
        speeds = [(f"{float(speed):.0%}", speed) for speed in SPEEDS]
        self.speed = self._list(translate("run", "Speed"), speeds, lambda speed: self._choose(speed=speed))
        self.record = self._tick(translate("run", "Record a take"), lambda yes: self._choose(record=yes))
        self._rows.addRow(self.record)
        self.next_take = self._beside()
        self.by_hand = ByHand(self._desk, self._link, self)
        self._rows.addRow(self.by_hand)

    def _build_inlet(self) -> None:
        self.inlet = self._list(translate("run", "Port"), [], lambda _: None)
        self.inlet.setEditable(True)
        self.inlet.setInsertPolicy(QComboBox.InsertPolicy.NoInsert)
        self.inlet.activated.connect(lambda _: self._choose_inlet())
        line = self.inlet.lineEdit()
        if line is not None:
            line.setPlaceholderText(translate("run", "the usual one"))
            line.setAccessibleName(translate("run", "Port of the clock"))
            line.editingFinished.connect(self._choose_inlet)
        listens = translate(
            "run",
            "OSC: osc:9001 hears this machine only. osc:INTERFACE:9001?from=ADDRESS hears another one too: by that "
            "network interface, and from the address that may speak (several with commas).",
        )
        self.inlet.setToolTip(tip(listens))
        self.inlet_refused = self._beside()

    def _build_more(self) -> None:
        more = QToolButton(self)
        more.setText(translate("run", "More"))
        more.setAccessibleName(translate("run", "Show what is seldom changed"))
        more.setCheckable(True)
        more.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonTextOnly)
        self._quiet.over(more)
        self._rows.addRow(more)
        seconds = [(f"{each:g} s", each) for each in (0.0, 1.0, 2.0, 3.0, 5.0, 10.0)]
        self.preroll = self._list(translate("run", "Preroll"), seconds, lambda each: self._choose(preroll_s=each))
        self.freewheel = self._list(
            translate("run", "Go on without timecode for"), seconds, lambda each: self._choose(freewheel_s=each)
        )
        late = [(translate("run", "wait for a new start"), "refuse"), (translate("run", "join the move"), "join")]
        self.late = self._list(translate("run", "Timecode in mid-move"), late, lambda how: self._choose(late=how))
        ticks = [(f"{each} Hz", each) for each in (50, 100, 250, 500, 1000)]
        self.tick_hz = self._list(translate("run", "Setpoints"), ticks, lambda each: self._choose(tick_hz=each))
        self.precise = self._tick(translate("run", "More punctual, more CPU"), lambda yes: self._choose(precise=yes))
        self._rows.addRow(self.precise)
        self.home = self._tick(
            translate("run", "The rig never answers: take it to stand at home"),
            lambda yes: self._choose(answers_needed=not yes),
        )
        self._rows.addRow(self.home)
        self.beep = self._tick(translate("run", "Sound when the link to the rig drops or is back"), self.loud.emit)
        self.beep.setChecked(True)
        self._rows.addRow(self.beep)
        self._seldom = (self.preroll, self.freewheel, self.late, self.tick_hz, self.precise, self.home, self.beep)
        more.toggled.connect(self._show_more)
        self._show_more(False)

    def _list(self, name: str, items: list[tuple[str, Any]], chosen: Callable[[Any], None]) -> QComboBox:
        box = QComboBox(self)
        box.setAccessibleName(name)
        box.setMinimumContentsLength(8)
        box.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        for words, data in items:
            box.addItem(words, data)
        box.activated.connect(lambda number: chosen(box.itemData(number)))
        box.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self._quiet.over(box)
        self._rows.addRow(name, box)
        return box

    def _beside(self) -> Label:
        """Return a row for words on the one above it."""
        label = Label(self)
        label.setWordWrap(True)
        label.setObjectName("beside")
        self._rows.addRow(label)
        return label

    def _tick(self, words: str, chosen: Callable[[bool], None]) -> QCheckBox:
        tick = QCheckBox(words, self)
        tick.setAccessibleName(words)
        tick.toggled.connect(chosen)
        self._quiet.over(tick)
        return tick

    # choosing

    def _choose(self, **what: Any) -> None:
        self._link.choose(replace(self._link.choice, **what))

    def _choose_rig(self, rig: str) -> None:
        self._choose(rig=rig if rig != TYPED else self.address.text().strip() or ADDRESS)

    def _choose_clock(self, clock: ClockChoice) -> None:
        self._choose(clock=clock, inlet="")
        if clock in _CARRIED:
            self.look_for_ports()

    def _choose_inlet(self) -> None:
        self._choose(inlet=self.inlet.currentText().strip())

    # showing

    def show_choice(self) -> None:
        """Show what is chosen, and what there is to choose."""
        choice, move = self._link.choice, self._desk.project.move
        whole = (translate("run", "whole move"), None)
        runs: list[tuple[str, Any]] = [(one.name, one.name) for one in move.passes] or [
            (translate("run", "as written"), None)
        ]
        _fill(self.cue, [*((cue.name, cue.name) for cue in move.cues), whole])
        _fill(self.run, runs)
        _fill(self.inlet, [(one, one) for one in self._ports.get(_CARRIED.get(choice.clock, ""), ())])
        typed = choice.rig not in (SIMULATED, OWN)
        _show(self.rig, TYPED if typed else choice.rig)
        own = self.rig.model()
        if isinstance(own, QStandardItemModel) and (item := own.item(self.rig.findData(OWN))) is not None:
            item.setEnabled(bool(self._desk.project.rig.outlets))  # described in Setup
        for box, value in (
            (self.clock, choice.clock),
            (self.cue, choice.cue),
            (self.run, choice.run),
            (self.speed, choice.speed),
            (self.preroll, choice.preroll_s),
            (self.freewheel, choice.freewheel_s),
            (self.late, choice.late),
            (self.tick_hz, choice.tick_hz),
        ):
            _show(box, value)
        with QSignalBlocker(self.inlet):
            self.inlet.setEditText(choice.inlet)
        for tick, yes in (
            (self.record, choice.record),
            (self.precise, choice.precise),
            (self.home, not choice.answers_needed),
        ):
            with QSignalBlocker(tick):
                tick.setChecked(yes)
        self.by_hand.show_choice()
        self._rows.setRowVisible(self.address, typed)
        self._judge(choice)
        self._rows.setRowVisible(self.inlet, choice.clock in _CARRIED)
        self._show_fault(self.inlet_refused, inlet_fault(choice))
        self.next_take.setText(self._next_take(choice))
        self._free()

    def _free(self) -> None:
        """Let nothing be chosen while anything is armed or moves."""
        free = not self._link.dangerous
        for box in self.findChildren(QComboBox) + self.findChildren(QCheckBox) + [self.address]:
            box.setEnabled(free or box is self.beep)
        self.record.setEnabled(free and self._link.choice.cue is not None)

    def _next_take(self, choice: Choice) -> str:
        if choice.cue is None:
            return translate("run", "a take is of one cue")
        folder = self._desk.folder
        try:
            plan = None if folder is None else plan_of(choice, self._desk.project, folder)
            if plan is None:
                return ""
            # asked for its next path, a plan makes the folder: not for a mere look
            name = plan.next_path().stem if plan.folder.is_dir() else f"{plan.stem}_001"
        except SequencerError as fault:
            return str(fault)
        return translate("run", "next: {take}").format(take=name)

    def _judge(self, choice: Choice) -> None:
        """Have it found out whether the outputs can be a run's."""
        rig = self._desk.project.rig
        asked = (choice.rig, choice.tick_hz, rig)
        if not choice.real:
            self._judged = ()
            self._refused("")
        elif asked != self._judged:
            self._judged = asked
            self.judging.ask(partial(fault_of, choice.rig, rig, choice.tick_hz))

    def _refused(self, why: str) -> None:
        """Say why these outputs cannot be a run's; an answer that comes too late counts no more."""
        self._show_fault(self.refused, why if self._link.choice.real else "")

    def _show_fault(self, label: Label, why: str) -> None:
        label.setText(translate("run", "Not to be connected: {why}").format(why=why) if why else "")
        self._rows.setRowVisible(label, bool(why))

    def _show_more(self, yes: bool) -> None:
        for widget in self._seldom:
            self._rows.setRowVisible(widget, yes)

    def _found(self, found: object) -> None:
        if isinstance(found, dict):
            self._ports = found
            self.show_choice()
        else:
            self._desk.note(translate("run", "ports could not be listed: {why}").format(why=found), "refused")


def _fill(box: QComboBox, items: list[tuple[str, Any]]) -> None:
    with QSignalBlocker(box):
        box.clear()
        for words, data in items:
            box.addItem(words, data)


def _show(box: QComboBox, value: object) -> None:
    """Choose the item that stands for `value`, without telling anybody; the first one where there is none."""
    with QSignalBlocker(box):
        place = next((number for number in range(box.count()) if box.itemData(number) == value), 0)
        box.setCurrentIndex(place)
