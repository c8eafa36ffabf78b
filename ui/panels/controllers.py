"""How game controllers drive the rig: which pads are here, and for each operator what its controls do and how it feels.

It drives nothing; what is changed is the project's, one step each, and counts from the next connection on.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

from PyQt6.QtWidgets import QPushButton

from sequencer.live.handling import MANNERS, RANGES_DEG, SPARE, Handling, default_handlings
from sequencer.project.document import Project
from ui.acts.pads import PadWatch, assigned, operator
from ui.acts.written import decimal
from ui.desk import Desk
from ui.language import translate
from ui.panels.controllers_here import PadsHere
from ui.panels.controllers_roles import Change, Roles
from ui.panels.fields import Field, Pull, Told, attempt
from ui.panels.setup_forms import Form
from ui.panels.typed import typed_number

_OPERATORS = 2  # at least


@dataclass(frozen=True, slots=True)
class Feel:
    """A number of how a pad feels: its field in the handling, and from where to where it goes, as it is shown."""

    name: str
    label: str
    unit: str
    shown: float  # for each one of the field's own
    low: float
    high: float
    means: str


class ControllersForm(Form):
    """The pads, then the operator's."""

    def __init__(self, desk: Desk, in_hand: Callable[[], bool] = lambda: False, watch: PadWatch | None = None) -> None:
        words = translate(
            "pads",
            "Any pad with two sticks drives without being told. What is changed here counts from the next connection "
            "on; the limits of the axes are kept whatever is set.",
        )
        super().__init__(desk, translate("pads", "Controllers"), words)
        self.watch = watch or PadWatch(self)
        self.here = PadsHere(desk, self.watch)
        self._there: tuple[tuple[int, str, tuple[str, ...]], ...] = ()  # the pads that were here last
        means = translate("pads", "Two may drive at once, each its own axes.")
        self.operator = Pull(desk, translate("pads", "Operator"), (), self._turn, means)
        means = translate("pads", "The one with this name; or any, in the order in which they come.")
        self.pad = Pull(desk, translate("pads", "Pad"), (), self._take_pad, means)
        self.roles = Roles(desk, self.watch, self._edit, in_hand)
        texts = [translate("pads", "rate: how fast"), translate("pads", "spring-back: how far")]
        means = translate(
            "pads", "A stick says how fast an axis goes; or how far from where it was, and let go the axis returns."
        )
        self.manner = Pull(desk, translate("pads", "A stick says"), texts, self._take_manner, means)
        means = translate("pads", "Of spring-back, both sides together.")
        self.range = Pull(desk, translate("pads", "Range"), (), self._take_range, means)
        means = translate("pads", "Any other range.")
        self.typed_range = Field(desk, translate("pads", "Range, typed"), self._type_range, means, "deg")
        self.feels = {one.name: (one, self._field(one)) for one in feels()}
        means = translate("pads", "Of two pads that push one axis, the higher number has it.")
        self.priority = Field(desk, translate("pads", "Priority"), self._take_priority, means)
        self.defaults = QPushButton(translate("pads", "Back to the defaults"))
        self.defaults.setAccessibleName(translate("pads", "Handle all controllers as the defaults say"))
        self.defaults.setAutoDefault(False)
        self.defaults.clicked.connect(self._to_defaults)
        self.fault = Told(desk, fault=True)
        self.fault.hide()
        self.put(self.here, self.operator, self.pad, self.roles, self.manner, self.range, self.typed_range)
        self.put(*(field for _, field in self.feels.values()), self.priority, self.defaults, self.fault)
        self.watch.seen.connect(self._seen)
        self.follow()

    def _field(self, feel: Feel) -> Field:
        return Field(self.desk, feel.label, partial(self._take_feel, feel), feel.means, feel.unit)

    @property
    def place(self) -> int:
        """Which operator is shown, from 0."""
        return max(0, self.operator.box.currentIndex())

    @property
    def handling(self) -> Handling:
        """How the shown operator's pad is handled."""
        return _at(_hands(self.desk.project), self.place)

    def follow(self) -> None:
        hands = _hands(self.desk.project)
        place = self.place
        self.operator.show_texts([operator(at) for at in range(max(_OPERATORS, len(hands)))])
        self.operator.show_place(min(place, self.operator.box.count() - 1))
        handling = self.handling
        self._show_pads(handling)
        self.manner.show_place(MANNERS.index(handling.manner))
        ranges = _ranges(handling)
        self.range.show_texts([f"{decimal(one)} °" for one in ranges])
        self.range.show_place(ranges.index(handling.range_deg))
        self.typed_range.show_text(decimal(handling.range_deg))
        for feel, field in self.feels.values():
            field.show_text(decimal(getattr(handling, feel.name) * feel.shown, 3))
        self.priority.show_text(str(handling.priority))
        self.defaults.setEnabled(bool(self.desk.project.hands))
        self.here.follow()

    def _show_pads(self, handling: Handling) -> None:
        """Show whose pads are here."""
        project = self.desk.project
        found = assigned(project.rig, _hands(project), self.watch.here)
        self.roles.show_handling(handling, tuple(one.pad for one in found if one.place == self.place))
        names = [translate("pads", "any pad"), *self._names(handling)]
        self.pad.show_texts(names)
        self.pad.show_place(names.index(handling.pad) if handling.pad else 0)

    def _names(self, handling: Handling) -> list[str]:
        here = [one.row.name for one in self.watch.here.values() if one.row.name]
        return list(dict.fromkeys([*([handling.pad] if handling.pad else []), *here]))

    def _seen(self) -> None:
        """Follow where other pads are here; what they say shows itself."""
        there = tuple((number, pad.name, pad.controls) for number, pad in self.watch.here.items())
        if self.isVisible() and there != self._there:
            self._there = there
            self._show_pads(self.handling)

    # what changes the document

    def _edit(self, words: str, change: Change) -> None:
        place = self.place
        if change(self.handling) == self.handling:
            return

        def edit(now: Project) -> Project:
            hands = list(_hands(now))
            hands += [SPARE] * (place + 1 - len(hands))
            hands[place] = change(hands[place])
            return replace(now, hands=tuple(hands))

        self.edit(words, edit)

    def _set(self, words: str, **what: object) -> None:
        self._edit(words, lambda now: replace(now, **what))  # type: ignore[arg-type]  # one dict of many types

    def _turn(self, _: int) -> None:
        self.follow()

    def _take_pad(self, place: int) -> None:
        self._set(translate("pads", "pad of an operator"), pad="" if place == 0 else self.pad.box.itemText(place))

    def _take_manner(self, place: int) -> None:
        self._set(translate("pads", "what a stick says"), manner=MANNERS[place])

    def _take_range(self, place: int) -> None:
        self._set(translate("pads", "range of spring-back"), range_deg=_ranges(self.handling)[place])

    def _type_range(self, text: str) -> None:
        range_deg = typed_number(text, "deg")
        if not range_deg > 0:
            raise ValueError(translate("pads", "that is no range; write a number above zero"))
        self._set(translate("pads", "range of spring-back"), range_deg=range_deg)

    def _take_feel(self, feel: Feel, text: str) -> None:
        value = typed_number(text, feel.unit)
        if not feel.low <= value <= feel.high:
            words = translate("pads", "write a number from {low} to {high} {unit}")
            raise ValueError(words.format(low=decimal(feel.low), high=decimal(feel.high), unit=feel.unit))
        self._set(feel.label.lower(), **{feel.name: value / feel.shown})

    def _take_priority(self, text: str) -> None:
        value = typed_number(text)
        if value != int(value):
            raise ValueError(translate("pads", "a priority is a whole number; write one, such as 2"))
        self._set(translate("pads", "priority of a pad"), priority=int(value))

    def _to_defaults(self) -> None:
        words = translate("pads", "controllers as the defaults say")
        self.fault.tell(attempt(lambda _: self.edit(words, lambda now: replace(now, hands=())), None))


def feels() -> tuple[Feel, ...]:
    """Return the numbers of how a pad feels."""
    return (
        Feel("dead_band", translate("pads", "Dead band"), "%", 100.0, 0.0, 90.0,
             translate("pads", "Of a stick's way, that does nothing. Widen it where a stick does not centre.")),
        Feel("response", translate("pads", "Response"), "%", 100.0, 0.0, 100.0,
             translate("pads", "How much softer the middle is: 0 is even, 100 the cube.")),
        Feel("smoothing_s", translate("pads", "Smoothing"), "ms", 1000.0, 0.0, 2000.0,
             translate("pads", "In which an axis takes up what the hand says.")),
        Feel("top", translate("pads", "Top speed"), "%", 100.0, 0.1, 100.0,
             translate("pads", "Of each axis's own limit, that a stick can ask for.")),
        Feel("fine", translate("pads", "Fine"), "%", 100.0, 0.1, 100.0,
             translate("pads", "Of the top speed, that is left where it is switched to fine.")),
    )  # fmt: skip


def _hands(project: Project) -> tuple[Handling, ...]:
    return project.hands or default_handlings(project.rig)


def _at(hands: tuple[Handling, ...], place: int) -> Handling:
    return hands[place] if place < len(hands) else SPARE


def _ranges(handling: Handling) -> list[float]:
    """Return the ranges that are offered, and the one that is set."""
    return sorted({*RANGES_DEG, handling.range_deg})
