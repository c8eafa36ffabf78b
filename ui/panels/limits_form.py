"""The limits that tie axes together, each with its numbers. It refuses a limit of nothing."""

from collections.abc import Callable
from dataclasses import replace
from functools import partial

from PyQt6.QtWidgets import QFrame, QPushButton, QVBoxLayout, QWidget

from sequencer.project import amend
from sequencer.rig.limits import Combined, SumLimit, WhileLimit
from ui.acts.written import decimal
from ui.desk import Desk
from ui.language import translate
from ui.panels.fields import Field, Row, Told, attempt
from ui.panels.setup_forms import Form
from ui.panels.typed import Mistyped, typed_number

_LIMITS = ("speed", "acceleration", "jerk")


class LimitsForm(Form):
    """All combined limits, and buttons for a new one of each kind."""

    def __init__(self, desk: Desk) -> None:
        words = translate(
            "setup",
            "Beside each axis's own limits: what a weighted sum of axes may do (a pan on a slide that swings past a "
            "wall), or one axis while another is in a range (no fast tilt while the lift is high).",
        )
        super().__init__(desk, translate("setup", "Combined limits"), words)
        self.cards: list[LimitCard] = []
        self._place = QVBoxLayout()
        self._lines.addLayout(self._place)
        self.add_sum = self._button(translate("setup", "Add a limit of a sum"), self._add_sum)
        self.add_while = self._button(translate("setup", "Add a limit while another is in a range"), self._add_while)
        self.fault = Told(desk, fault=True)
        self.fault.hide()
        self.put(self.add_sum, self.add_while, self.fault)
        self.follow()

    def _button(self, words: str, do: Callable[[None], None]) -> QPushButton:
        button = QPushButton(words)
        button.setAccessibleName(words)
        button.setAutoDefault(False)
        button.clicked.connect(lambda _: self.fault.tell(attempt(do, None)))
        return button

    def follow(self) -> None:
        combined = self.desk.project.rig.combined
        kinds = [type(limit) for limit in combined]
        if kinds != [card.kind for card in self.cards] or any(
            card.axes != limit.axes for card, limit in zip(self.cards, combined, strict=True)
        ):
            for card in self.cards:
                self._place.removeWidget(card)
                card.deleteLater()
            self.cards = [LimitCard(self, number) for number in range(len(combined))]
            for card in self.cards:
                self._place.addWidget(card)
        for card in self.cards:
            card.follow()
        several = len(self.desk.project.rig.axes) > 1
        self.add_sum.setEnabled(several)

    def _free_name(self) -> str:
        taken = {limit.name for limit in self.desk.project.rig.combined}
        number = 1
        while f"limit {number}" in taken:
            number += 1
        return f"limit {number}"

    def _add_sum(self, _: None) -> None:
        one, other = self.desk.project.rig.axes[:2]
        speed = one.speed + other.speed
        limit = SumLimit(name=self._free_name(), sum=((one.name, 1.0), (other.name, 1.0)), speed=speed)
        self.edit(translate("setup", "add a combined limit"), lambda now: amend.with_limit(now, None, limit))

    def _add_while(self, _: None) -> None:
        axes = self.desk.project.rig.axes
        one, other = axes[0], axes[min(1, len(axes) - 1)]
        limit = WhileLimit(
            name=self._free_name(),
            axis=one.name,
            other=other.name,
            between=other.travel or (0.0, 90.0),
            speed=one.speed,
        )
        self.edit(translate("setup", "add a combined limit"), lambda now: amend.with_limit(now, None, limit))


class LimitCard(QWidget):
    """One combined limit, the one with this number."""

    def __init__(self, form: LimitsForm, number: int) -> None:
        super().__init__()
        self._form, self._number = form, number
        self.kind, self.axes = type(self._limit), self._limit.axes
        lines = QVBoxLayout(self)
        lines.setContentsMargins(0, 0, 0, 0)
        line = QFrame()
        line.setFrameShape(QFrame.Shape.HLine)
        lines.addWidget(line)
        self.fields: dict[str, Field] = {}
        desk = form.desk
        named = translate("setup", "limit {number}").format(number=number + 1)
        for name, label, means in self._rows():
            field = Field(desk, label, partial(self._take, name), means)
            field.line.setAccessibleName(f"{label}, {named}")
            self.fields[name] = field
            lines.addWidget(field)
        self.remove = QPushButton(translate("setup", "Remove"))
        row = Row(desk, "", self.remove, "", "")
        self.remove.setAccessibleName(translate("setup", "Remove {named}").format(named=named))
        self.remove.clicked.connect(lambda _: row.fail(attempt(self._remove, None)))
        lines.addWidget(row)

    @property
    def _limit(self) -> Combined:
        return self._form.desk.project.rig.combined[self._number]

    def _rows(self) -> list[tuple[str, str, str]]:
        rows = [("name", translate("setup", "Name"), translate("setup", "What messages call it."))]
        if self.kind is SumLimit:
            means = translate("setup", "Axes with their weights, such as pan + 0.05 slide.")
            rows.append(("sum", translate("setup", "Sum"), means))
        else:
            rows.append(("axis", translate("setup", "Limits of"), translate("setup", "The axis that is held back.")))
            rows.append(("other", translate("setup", "While"), translate("setup", "The axis that says when.")))
            means = translate("setup", "From and to, in its own unit, with the word “to” between: 45 to 90.")
            rows.append(("between", translate("setup", "Is in"), means))
        means = translate("setup", "From and to, such as -20 to 80; empty where it does not count.")
        rows.append(("travel", translate("setup", "Travel"), means))
        empty = translate("setup", "Empty where it does not count.")
        labels = (translate("setup", "Speed"), translate("setup", "Acceleration"), translate("setup", "Jerk"))
        return [*rows, *((name, label, empty) for name, label in zip(_LIMITS, labels, strict=True))]

    def follow(self) -> None:
        """Show what the document has."""
        for name, field in self.fields.items():
            field.show_text(_shown(self._limit, name))

    def _take(self, name: str, text: str) -> None:
        limit, text = self._limit, text.strip()
        value: object = text
        if name == "sum":
            value = typed_sum(text)
        elif name in ("between", "travel"):
            value = typed_range(text) if text or name == "between" else None
        elif name in _LIMITS:
            value = typed_number(text) if text else None
        changes: dict[str, object] = {name: value}
        # the kind of each field is that of the value that was read for it
        changed: Combined = replace(limit, **changes)  # type: ignore[arg-type]  # fields of many types
        words = translate("setup", "combined limit {name}").format(name=limit.name)
        self._form.edit(words, lambda now: amend.with_limit(now, self._number, changed))

    def _remove(self, _: None) -> None:
        words = translate("setup", "remove combined limit {name}").format(name=self._limit.name)
        self._form.edit(words, lambda now: amend.with_limit(now, self._number, None))


def typed_range(text: str) -> tuple[float, float]:
    """Return both ends: `45 to 90`, `-20..80`. Error: Mistyped."""
    parts = text.replace("..", " to ").split(" to ")
    if len(parts) != 2:
        raise Mistyped("write both ends with “to” between them, such as 45 to 90")
    return typed_number(parts[0]), typed_number(parts[1])


def typed_sum(text: str) -> tuple[tuple[str, float], ...]:
    """Return axes and weights: `pan + 0.05 slide`, `pan - 2 tilt`. Error: Mistyped."""
    found = []
    for term in text.replace("−", "-").replace(" - ", " + -").split(" + "):
        *number, name = term.strip().split() or [""]
        sign = 1.0
        if not number and name.startswith("-"):
            sign, name = -1.0, name[1:]
        if not name or len(number) > 1:
            raise Mistyped("write axes with their weights, such as pan + 0.05 slide")
        found.append((name, typed_number(number[0]) if number else sign))
    return tuple(found)


def _shown(limit: Combined, name: str) -> str:
    if name == "sum":
        return limit.words
    value = getattr(limit, name)
    if name in ("between", "travel"):
        return "" if value is None else f"{decimal(value[0])} to {decimal(value[1])}"
    if name in _LIMITS:
        return "" if value is None else decimal(value)
    return str(value)
