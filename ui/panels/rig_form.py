"""The rig as forms: its axes in order, each with what it can do, and how one finds these numbers.

It refuses a limit that no motor has, and one that the keys there are would break; it says so at the field.
"""

from collections.abc import Callable
from dataclasses import replace
from functools import partial

from PyQt6.QtGui import QResizeEvent, QShowEvent
from PyQt6.QtWidgets import QBoxLayout, QVBoxLayout, QWidget

from sequencer.project import amend
from sequencer.project.begin import GUESSES, guess, is_guessed
from sequencer.project.document import Project
from sequencer.rig.axis import KINDS, UNITS, Axis
from sequencer.rig.geometry import WAYS
from ui.acts.asking import Ask, Choice
from ui.acts.written import decimal
from ui.desk import Desk
from ui.language import translate
from ui.panels.fields import Field, Heading, Pull, Row, Tick, Told, attempt, change
from ui.panels.homing_rows import HomingRows
from ui.panels.ordered import Ordered
from ui.panels.typed import typed_number
from ui.theme import GAP_PX

_LIST_PX, _LIST_HIGH_PX = 130, 220
_BESIDE_PX = 570  # of a form with its list beside it
_PER = {"speed": "/s", "acceleration": "/s²", "jerk": "/s³", "noise": ""}


class AxesForm(QWidget):
    """All axes beside the form of one. `ask` brings a question before the operator."""

    def __init__(self, desk: Desk, ask: Callable[[Ask], None]) -> None:
        super().__init__()
        self._desk, self._ask = desk, ask
        self._shown: object = None
        lines = QVBoxLayout(self)
        lines.setContentsMargins(0, 0, 0, 0)
        lines.addWidget(Heading(translate("setup", "Axes")))
        lines.addWidget(
            Told(desk, translate("setup", "One line for each motor, in the order in which they are shown and sent."))
        )
        self._row = QBoxLayout(QBoxLayout.Direction.LeftToRight)
        self._row.setSpacing(2 * GAP_PX)
        self._left = self._list_and_buttons()
        self._row.addLayout(self._left)
        self.form = AxisForm(desk, lambda: self.number)
        self._row.addWidget(self.form, 1)
        lines.addLayout(self._row)
        self.fault = Told(desk, fault=True)
        self.fault.hide()
        lines.addWidget(self.fault)
        desk.changed.connect(self._changed)
        self.follow()

    def _changed(self) -> None:
        if self.isVisible():
            self.follow()

    def showEvent(self, event: QShowEvent | None) -> None:
        self.follow()
        super().showEvent(event)

    @property
    def number(self) -> int:
        """The place of the chosen axis."""
        return max(0, min(self.list.currentRow(), len(self._desk.project.rig.axes) - 1))

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        """Put the list above the form where there is no room for both beside each other."""
        super().resizeEvent(event)
        is_narrow = self.width() < _BESIDE_PX
        beside, above = QBoxLayout.Direction.LeftToRight, QBoxLayout.Direction.TopToBottom
        self._row.setDirection(above if is_narrow else beside)
        self._left.setDirection(beside if is_narrow else above)

    def _list_and_buttons(self) -> QBoxLayout:
        ordered = Ordered(
            translate("setup", "Axes of the rig"),
            translate("setup", "axes"),
            translate("setup", "Add an axis"),
            (_LIST_PX, _LIST_HIGH_PX),
            chosen=self._chosen,
            add=self.add,
            remove=self.remove,
            shift=self.shift,
        )
        self.list, self.buttons = ordered.list, ordered.buttons
        return ordered.layout

    def follow(self) -> None:
        """Show what the document has."""
        if self._desk.project.rig is self._shown:
            return
        self._shown = self._desk.project.rig
        row, names = self.number, list(self._desk.project.rig.names)
        if names != self.list.texts():
            self.list.blockSignals(True)
            self.list.clear()
            self.list.addItems(names)
            self.list.setCurrentRow(min(row, len(names) - 1))
            self.list.blockSignals(False)
        self.fault.tell("")
        self.form.follow()

    def _chosen(self) -> None:
        self.form.follow(anew=True)

    def add(self) -> None:
        """Add an axis: of a kind that is not there yet, with limits that are guesses."""
        rig = self._desk.project.rig
        kind = next((kind for kind in GUESSES if kind not in {axis.kind for axis in rig.axes}), KINDS[0])
        name, number = str(kind), 1
        while name in rig.names:
            number += 1
            name = f"{kind}-{number}"
        words = translate("setup", "add axis {name}").format(name=name)
        if self._do(words, lambda project: amend.with_new_axis(project, guess(kind, name))):
            self.list.setCurrentRow(len(rig.axes))

    def remove(self) -> None:
        """Remove the chosen axis; where a track needs it, ask whether that goes too."""
        number = self.number
        name = self._desk.project.rig.axes[number].name
        words = translate("setup", "remove axis {name}").format(name=name)
        if self._do(words, lambda project: amend.without_axis(project, number)):
            return
        why = self.fault.text()
        if len(self._desk.project.rig.axes) == 1 or self._desk.locked:
            return

        def all_of_it() -> None:
            self._do(words, lambda project: amend.without_axis(project, project.rig.index(name), with_track=True))

        both = Choice(translate("setup", "Remove {name} and these").format(name=name), all_of_it)
        self._ask(Ask(why, (both, Choice(translate("setup", "Keep {name}").format(name=name))), "axis"))

    def shift(self, by: int) -> None:
        """Move the chosen axis up or down."""
        number = self.number
        place = number + by
        if 0 <= place < len(self._desk.project.rig.axes):
            self._do(translate("setup", "order of the axes"), lambda project: amend.axis_at(project, number, place))
            self.list.setCurrentRow(place)

    def _do(self, words: str, edit: Callable[[Project], Project]) -> bool:
        why = attempt(lambda edit: change(self._desk, words, edit), edit)
        self.fault.tell(why)
        return not why


class AxisForm(QWidget):
    """One axis, field by field; `which` says its place in the rig."""

    def __init__(self, desk: Desk, which: Callable[[], int]) -> None:
        super().__init__()
        self._desk, self._which = desk, which
        self._lines = QVBoxLayout(self)
        self._lines.setContentsMargins(0, 0, 0, 0)
        self._lines.setSpacing(GAP_PX)
        self.guessed = Told(desk, fault=True)
        self._lines.addWidget(self.guessed)
        self.fields: dict[str, Field] = {}
        self._add_name()
        for name, label, means in self._numbers():
            self.fields[name] = Field(desk, label, partial(self._take, name), means)
            self._lines.addWidget(self.fields[name])
            if name == "home":
                self.homing = HomingRows(desk, lambda: self.axis, self._put)
                self._lines.addWidget(self.homing)
            if name == "high":
                why = translate("setup", "An axis that turns on and on, such as a pan with slip rings: no travel.")
                self.endless = Tick(desk, translate("setup", "Without end"), self._take_endless, why)
                self._lines.addWidget(self.endless)
        self._lines.addStretch(1)

    def _add_name(self) -> None:
        desk = self._desk
        means = translate("setup", "A word without spaces or slashes. Tracks and messages to the rig use it.")
        self.fields["name"] = Field(desk, translate("setup", "Name"), self._take_name, means)
        means = translate("setup", "What it moves. The lens view and new keys go by it.")
        self.kind = Pull(desk, translate("setup", "Kind"), KINDS, self._take_kind, means)
        means = translate("setup", "Degrees, millimetres, or a part of the way from 0 to 1 for lens motors.")
        self.unit = Pull(desk, translate("setup", "Unit"), UNITS, self._take_unit, means)
        rows: tuple[Row, ...] = (self.fields["name"], self.kind, self.unit)
        for row in rows:
            self._lines.addWidget(row)
        means = translate("setup", "As its position grows; rolls as seen from behind the camera.")
        self.way = Pull(desk, translate("setup", "Goes"), (), self._take_way, means)
        means = translate("setup", "Where the slide goes as its position grows: 0 forward, 90 left, -90 right.")
        self.heading = Field(desk, translate("setup", "Heading"), self._take_heading, means, "deg")
        self._lines.addWidget(self.way)
        self._lines.addWidget(self.heading)

    @staticmethod
    def _numbers() -> tuple[tuple[str, str, str], ...]:
        return (
            ("low", translate("setup", "Travel from"), translate(
                "setup", "Where it may go, at its lower end. Find it slowly by hand; stay clear of the stop.")),
            ("high", translate("setup", "Travel to"), translate(
                "setup", "And at its upper end. Every key and every curve stays between the two.")),
            ("speed", translate("setup", "Speed"), translate(
                "setup", "The most it does with the camera on it. Time a long way; take off a fifth.")),
            ("acceleration", translate("setup", "Acceleration"), translate(
                "setup", "Raise it until the motor loses steps or the picture shakes, then halve it.")),
            ("jerk", translate("setup", "Jerk"), translate(
                "setup", "How fast acceleration may change. Four times the acceleration is a careful begin.")),
            ("latency_s", translate("setup", "Latency"), translate(
                "setup", "How long after a setpoint is due the rig stands there. Playback leads by it.")),
            ("backlash", translate("setup", "Backlash"), translate(
                "setup", "Play of the gear: how far it can be turned by hand while the motor holds.")),
            ("resolution", translate("setup", "Resolution"), translate(
                "setup", "One step of its encoder or motor; 0 where it is too fine to matter.")),
            ("home", translate("setup", "Home"), translate(
                "setup", "Where it stands when nothing else is known; inside the travel.")),
            ("lag_s", translate("setup", "Simulated: lag"), translate(
                "setup", "Only the simulated rig: how slowly its motor follows (time constant).")),
            ("transport_s", translate("setup", "Simulated: delay"), translate(
                "setup", "Only the simulated rig: from receipt of a setpoint to its effect.")),
            ("noise", translate("setup", "Simulated: noise"), translate(
                "setup", "Only the simulated rig: how far measured positions scatter.")),
        )  # fmt: skip

    @property
    def axis(self) -> Axis:
        return self._desk.project.rig.axes[self._which()]

    def follow(self, *, anew: bool = False) -> None:
        """Show what the document has; `anew` forgets what was typed and refused."""
        axis = self.axis
        for name, field in self.fields.items():
            shown = axis.name if name == "name" else _written(axis, name)
            if anew:
                field.show_anew(shown)
            else:
                field.show_text(shown)
            field.unit.setText(_unit(axis, name))
        for end in ("low", "high"):
            self.fields[end].editor.setEnabled(axis.travel is not None)
        self.endless.show_tick(axis.travel is None)
        self.kind.show_place(KINDS.index(axis.kind))
        self.unit.show_place(UNITS.index(axis.unit))
        self._follow_geometry(axis, anew=anew)
        self.homing.follow(anew=anew)
        words = translate(
            "setup", "Speed, acceleration and jerk are guesses still: measure them before anything real moves."
        )
        self.guessed.tell(words if is_guessed(axis) else "")

    def _follow_geometry(self, axis: Axis, *, anew: bool) -> None:
        geometry, ways = self._desk.project.rig.geometry, WAYS.get(axis.kind, ())
        self.way.show_texts(ways)
        self.way.setVisible(bool(ways))
        if ways:
            self.way.show_place(geometry.sign(axis.name, axis.kind) < 0)
        self.heading.setVisible(axis.kind == "slide")
        show = self.heading.show_anew if anew else self.heading.show_text
        show(decimal(geometry.heading(axis.name)))

    def _put(self, what: str, axis: Axis) -> None:
        words = translate("setup", "{what} of {axis}").format(what=what, axis=self.axis.name)
        number = self._which()
        change(self._desk, words, lambda project: amend.with_axis(project, number, axis))

    def _take(self, name: str, text: str) -> None:
        axis, unit = self.axis, _unit(self.axis, name)
        if name in _PER:
            text, unit = text.removesuffix(unit).strip() if unit else text, axis.unit
        value = typed_number(text, "s" if name in ("latency_s", "lag_s", "transport_s") else unit)
        if name in ("low", "high"):
            low, high = axis.travel or (0.0, 0.0)
            changed = replace(axis, travel=(value, high) if name == "low" else (low, value))
        elif name in ("lag_s", "transport_s", "noise"):
            changed = replace(axis, simulated=replace(axis.simulated, **{name: value}))
        else:
            changed = _with(axis, name, value)
        self._put(self.fields[name].line.accessibleName().partition(",")[0].lower(), changed)

    def _take_name(self, text: str) -> None:
        self._put(translate("setup", "name"), replace(self.axis, name=text.strip()))

    def _take_kind(self, place: int) -> None:
        self._put(translate("setup", "kind"), replace(self.axis, kind=KINDS[place]))

    def _take_unit(self, place: int) -> None:
        self._put(translate("setup", "unit"), replace(self.axis, unit=UNITS[place]))

    def _take_way(self, place: int) -> None:
        number, axis = self._which(), self.axis
        words = translate("setup", "{what} of {axis}").format(what=translate("setup", "way"), axis=axis.name)
        way = WAYS[axis.kind][place]
        change(self._desk, words, lambda project: amend.with_way(project, number, way))

    def _take_heading(self, text: str) -> None:
        number, heading_deg = self._which(), typed_number(text, "deg")
        words = translate("setup", "{what} of {axis}")
        words = words.format(what=translate("setup", "heading"), axis=self.axis.name)
        change(self._desk, words, lambda project: amend.with_heading(project, number, heading_deg))

    def _take_endless(self, ticked: bool) -> None:
        axis = self.axis
        travel = None if ticked else self._around(axis)
        self._put(translate("setup", "travel"), replace(axis, travel=travel))

    def _around(self, axis: Axis) -> tuple[float, float]:
        """Return a first travel that holds home and every key."""
        track = self._desk.track(axis.name)
        values = [axis.home, *(key.value for key in (track.keys if track else ()))]
        low, high = GUESSES[axis.kind].travel or (-1.0, 1.0)
        return min(low, *values), max(high, *values)


def _with(axis: Axis, name: str, value: float) -> Axis:
    match name:
        case "speed":
            return replace(axis, speed=value)
        case "acceleration":
            return replace(axis, acceleration=value)
        case "jerk":
            return replace(axis, jerk=value)
        case "latency_s":
            return replace(axis, latency_s=value)
        case "backlash":
            return replace(axis, backlash=value)
        case "resolution":
            return replace(axis, resolution=value)
        case _:
            return replace(axis, home=value)


def _written(axis: Axis, name: str) -> str:
    if name in ("low", "high"):
        return "" if axis.travel is None else decimal(axis.travel[name == "high"])
    holder: object = axis.simulated if name in ("lag_s", "transport_s", "noise") else axis
    return decimal(getattr(holder, name))


def _unit(axis: Axis, name: str) -> str:
    if name == "name":
        return ""
    if name.endswith("_s"):
        return "s"
    return f"{axis.unit}{_PER.get(name, '')}"
