"""What each control of a pad is for: a table, and below it what gives the chosen line another control.

A control is chosen by name, or learned: moved or pressed on the pad. It refuses two roles that cannot be together.
"""

from collections.abc import Callable
from functools import partial

from PyQt6.QtCore import Qt, QTimer
from PyQt6.QtGui import QHideEvent, QKeyEvent
from PyQt6.QtWidgets import QHBoxLayout, QPushButton, QVBoxLayout, QWidget

from sequencer.live.handling import Deed, Drives, Handling, Held, remapped
from sequencer.live.pads import reading
from sequencer.rig.axis import Axis
from sequencer.shell.pad_watch import CONTROLS, Watched
from ui.acts import pad_roles
from ui.acts.pad_roles import Line, role_words
from ui.acts.pads import PadWatch
from ui.acts.written import decimal
from ui.desk import Desk
from ui.language import translate
from ui.panels.fields import Field, Pull, Tick, Told, attempt
from ui.panels.tables import plain_table, put_row
from ui.panels.typed import typed_number
from ui.theme import GAP_PX, TARGET_PX

LEARN_MS = 15_000
_ROWS = 9  # in sight
Change = Callable[[Handling], Handling]


class Roles(QWidget):
    """The roles of one operator's pad.

    `edit` changes the handling, as one step: its words, and how. `in_hand`: whether pads drive the rig right now, which
    a stick that is moved to be learned would move.
    """

    def __init__(
        self, desk: Desk, watch: PadWatch, edit: Callable[[str, Change], None], in_hand: Callable[[], bool]
    ) -> None:
        super().__init__()
        self._desk, self._watch, self._edit, self._in_hand = desk, watch, edit, in_hand
        self._handling = Handling()
        self._pads: tuple[Watched, ...] = ()
        self._lines: tuple[Line, ...] = ()
        self._rest: dict[int, Watched] | None = None  # what pads said when learning began
        self._patience = QTimer(self)
        self._patience.setSingleShot(True)
        self._patience.setInterval(LEARN_MS)
        self._patience.timeout.connect(self._give_up)
        titles = (translate("pads", "Does"), translate("pads", "Control"), translate("pads", "How"))
        self.table = plain_table(translate("pads", "What each control is for"), titles)
        self.table.setMinimumHeight((_ROWS + 1) * TARGET_PX)
        self.learn = QPushButton(translate("pads", "Learn: then move or press it"))
        self.learn.setCheckable(True)
        self.learn.setAccessibleName(translate("pads", "Learn the control of the chosen line"))
        self.none = QPushButton(translate("pads", "No control"))
        self.none.setAccessibleName(translate("pads", "Take the control away from the chosen line"))
        self.round = QPushButton(translate("pads", "The other way round"))
        self.round.setAccessibleName(translate("pads", "Have the chosen control move its axis the other way"))
        for button in (self.learn, self.none, self.round):
            button.setAutoDefault(False)
        means = translate("pads", "By name, where the pad is not at hand.")
        self.control = Pull(desk, translate("pads", "Control"), CONTROLS, self._name, means)
        means = translate("pads", "It moves this axis while the modifier is held, and only then.")
        self.modifier = Tick(desk, translate("pads", "With the modifier"), self._modify, means)
        means = translate("pads", "Of spring-back for this axis, both sides together; empty takes the pad's own.")
        self.swing = Field(desk, translate("pads", "Range of the axis"), self._swing, means)
        self.told = Told(desk)
        self.told.setAccessibleName(translate("pads", "What was learned"))
        self.fault, self.caution = Told(desk, fault=True), Told(desk, fault=True)
        self._lay_out()
        self.table.itemSelectionChanged.connect(self._turn)
        self.learn.toggled.connect(self._learn)
        self.none.clicked.connect(self._none)
        self.round.clicked.connect(self._round)
        watch.seen.connect(self._hear)

    def _lay_out(self) -> None:
        row = QHBoxLayout()
        for button in (self.learn, self.none, self.round):
            row.addWidget(button)
        row.addStretch(1)
        lines = QVBoxLayout(self)
        lines.setContentsMargins(0, 0, 0, 0)
        lines.setSpacing(GAP_PX)
        lines.addWidget(self.caution)
        lines.addWidget(self.table)
        lines.addLayout(row)
        for one in (self.told, self.fault, self.control, self.modifier, self.swing):
            lines.addWidget(one)
        self.fault.hide()

    @property
    def learning(self) -> bool:
        return self._rest is not None

    @property
    def line(self) -> Line | None:
        """The chosen one."""
        row = self.table.currentRow()
        return self._lines[row] if 0 <= row < len(self._lines) else None

    def show_handling(self, handling: Handling, pads: tuple[Watched, ...]) -> None:
        """Show what controls are for; `pads` are those here that this operator has."""
        self._handling, self._pads = handling, pads
        before, self._lines = self._lines, pad_roles.lines(handling, self._desk.project.rig)
        if [one.role for one in before] != [one.role for one in self._lines]:
            chosen = before[self.table.currentRow()].role if 0 <= self.table.currentRow() < len(before) else None
            self.table.setRowCount(len(self._lines))
            place = next((at for at, one in enumerate(self._lines) if _same(one.role, chosen)), 0)
            self.table.setCurrentCell(place, 0)
        for row, line in enumerate(self._lines):
            cells = (role_words(line.role), line.control or translate("pads", "none"), self._how(line))
            shown = tuple("" if (item := self.table.item(row, at)) is None else item.text() for at in range(len(cells)))
            if cells != shown:
                put_row(self.table, row, cells)
        bare = handling.enabling is None and handling.sticks
        words = translate(
            "pads",
            "Caution: nothing is held to drive. Whatever touches a stick moves the rig; keep people clear, or give "
            "“{role}” a control.",
        )
        self.caution.tell(words.format(role=role_words(Held.ENABLING)) if bare else "")
        self._show_line()

    def _how(self, line: Line) -> str:
        words = []
        if line.control and self._pads and all(reading(pad.row, line.control) is None for pad in self._pads):
            words.append(translate("pads", "not on this pad"))
        stick, axis = line.stick, self._axis(line)
        if isinstance(line.role, Drives) and axis is None:
            words.append(translate("pads", "not in this rig"))
        if stick is not None:
            words += [translate("pads", "with the modifier")] if stick.with_modifier else []
            words += [translate("pads", "the other way round")] if stick.reverse else []
            if stick.range is not None:
                unit = "" if axis is None else axis.unit
                words.append(translate("pads", "range {range} {unit}").format(range=decimal(stick.range), unit=unit))
            elif self._handling.manner == "spring" and axis is not None and axis.unit != "deg":
                words.append(translate("pads", "rate control: it has no range"))
        return ", ".join(words)

    def _axis(self, line: Line) -> Axis | None:
        rig = self._desk.project.rig
        if not isinstance(line.role, Drives) or line.role.axis not in rig.names:
            return None
        return rig.axes[rig.index(line.role.axis)]

    def _turn(self) -> None:
        """Show another line; what was being learned was for the one before."""
        self._stop()
        self._show_line()

    def _show_line(self) -> None:
        line = self.line
        moves = line is not None and line.stick is not None
        has = line is not None and bool(line.control)
        self.learn.setEnabled(line is not None)
        self.none.setEnabled(has)
        self.round.setEnabled(moves)
        is_axis = line is not None and isinstance(line.role, Drives)
        self.modifier.setVisible(is_axis)
        self.swing.setVisible(is_axis)
        self.round.setVisible(is_axis)
        for row in (self.modifier, self.swing):
            row.setEnabled(moves)
        there = dict.fromkeys((*(one for pad in self._pads for one in pad.controls), *self._handling.controls))
        names = [translate("pads", "none"), *(there if self._pads else dict.fromkeys((*CONTROLS, *there)))]
        self.control.show_texts(names)
        self.control.show_place(names.index(line.control) if has and line is not None else 0)
        stick = None if line is None else line.stick
        self.modifier.show_tick(stick is not None and stick.with_modifier)
        self.swing.unit.setText("" if line is None or (axis := self._axis(line)) is None else axis.unit)
        self.swing.show_text("" if stick is None or stick.range is None else decimal(stick.range))

    # what changes a line

    def _give(self, line: Line, control: str, left_or_down: bool = False) -> None:
        before = self._handling
        after = remapped(before, line.role, control, left_or_down)
        self._change(line, lambda now: remapped(now, line.role, control, left_or_down))
        words = translate("pads", "{control}: {role}.").format(control=control, role=role_words(line.role))
        self.told.tell(" ".join((words, *pad_roles.lost(before, after))))

    def _change(self, line: Line, change: Change) -> None:
        self.told.tell("")
        self.fault.tell("")
        self._edit(translate("pads", "control for “{role}”").format(role=role_words(line.role)), change)

    def _with_line(self, change: Callable[[Line], None]) -> None:
        line = self.line
        if line is not None:
            self.fault.tell(attempt(change, line))

    def _name(self, place: int) -> None:
        line = self.line
        if line is None:
            return
        if place == 0:
            self._change(line, lambda now: pad_roles.taken_away(now, line))
        else:
            self._give(line, self.control.box.itemText(place))

    def _none(self) -> None:
        self._with_line(lambda line: self._change(line, lambda now: pad_roles.taken_away(now, line)))

    def _round(self) -> None:
        self._with_line(lambda line: self._change(line, lambda now: pad_roles.turned_round(now, line)))

    def _modify(self, ticked: bool) -> None:
        line = self.line
        if line is not None:
            self._change(line, lambda now: pad_roles.modified(now, line, ticked))

    def _swing(self, text: str) -> None:
        line = self.line
        axis = None if line is None else self._axis(line)
        if line is None or axis is None:
            return
        swing = typed_number(text, axis.unit) if text.strip() else None
        if swing is not None and swing <= 0:
            raise ValueError(translate("pads", "that is no range; write a number above zero"))
        self._change(line, lambda now: pad_roles.swung(now, line, swing))

    # learning

    def _learn(self, on: bool) -> None:
        """Wait for a control to be moved, or no longer."""
        self._patience.stop()
        self._rest = None
        self.told.tell("")
        self.fault.tell("")
        why = self._why_not() if on else ""
        line = self.line
        if why or line is None or not on:
            self.learn.setChecked(False)
            self.fault.tell(why)
            return
        self._rest = dict(self._watch.here)
        self._patience.start()
        if isinstance(line.role, Drives):
            words = translate(
                "pads",
                "Push the stick the way in which {axis} is to count up, or press a button. Escape leaves it as it is.",
            ).format(axis=line.role.axis)
        else:
            words = translate("pads", "Press the button, or pull the trigger. Escape leaves it as it is.")
        self.told.tell(words)

    def _why_not(self) -> str:
        if self._in_hand():
            return translate(
                "pads", "the controllers are in hand: what you move would move the rig; give them back first"
            )
        if self._watch.trouble:
            return self._watch.trouble
        if not self._watch.here:
            return translate("pads", "no controller is here; plug one in, or choose the control by its name")
        return self._desk.locked

    def _hear(self) -> None:
        """Take the first control that was moved; a pad of another operator is not heard where this one has one."""
        line = self.line
        if self._rest is None or line is None:
            return
        if why := self._why_not():
            self._stop()
            self.fault.tell(why)
            return
        own = {pad.row.pad for pad in self._pads} or set(self._watch.here)
        for number in own & self._watch.here.keys():
            now = self._watch.here[number]
            found = now.moved_since(self._rest.setdefault(number, now))
            if found is not None:
                self._stop()
                self.fault.tell(attempt(partial(self._take, line), found))
                return

    def _take(self, line: Line, found: tuple[str, bool]) -> None:
        control, left_or_down = found
        self._give(line, control, left_or_down)

    def _stop(self) -> None:
        self.learn.setChecked(False)

    def _give_up(self) -> None:
        self._stop()
        self.told.tell(translate("pads", "Nothing was moved far enough; all is as it was."))

    def keyPressEvent(self, event: QKeyEvent | None) -> None:
        if event is not None and event.key() == Qt.Key.Key_Escape and self.learning:
            self._stop()
        else:
            super().keyPressEvent(event)

    def hideEvent(self, event: QHideEvent | None) -> None:
        self._stop()
        super().hideEvent(event)


def _same(one: object, other: object) -> bool:
    """Whether two roles are one, with the modifier or without it."""
    if isinstance(one, Drives) and isinstance(other, Drives):
        return one.axis == other.axis
    return isinstance(one, Deed | Held) and one is other
