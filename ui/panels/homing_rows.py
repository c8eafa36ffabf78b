"""What setpoints of an axis are taken against, and the switch by which it learns where it stands: rows of its form."""

from collections.abc import Callable
from dataclasses import replace
from functools import partial

from PyQt6.QtWidgets import QVBoxLayout, QWidget

from sequencer.rig.axis import ENDS, REFERENCES, Axis, End, Homing
from ui.acts.written import decimal
from ui.desk import Desk
from ui.language import translate
from ui.panels.fields import Field, Pull
from ui.panels.typed import typed_number
from ui.theme import GAP_PX

_PART = 1 / 20  # of the axis's speed, for a switch that is new. Source: common practice, no source
_TURNING = ("pan", "tilt", "roll")


class HomingRows(QWidget):
    """`axis` is the one that is shown; `put` has another in its place, and says in the history what was changed."""

    def __init__(self, desk: Desk, axis: Callable[[], Axis], put: Callable[[str, Axis], None]) -> None:
        super().__init__()
        self._axis, self._put = axis, put
        means = translate(
            "setup", "What a stabilised head takes setpoints against: the world, or the base that carries it."
        )
        said = (translate("setup", "not said"), translate("setup", "the world"), translate("setup", "the base"))
        self.reference = Pull(desk, translate("setup", "Setpoints against"), said, self._take_reference, means)
        means = translate("setup", "A homing switch, at one end of the way. The axis learns from it where it stands.")
        ends = (translate("setup", "none"), translate("setup", "at the low end"), translate("setup", "at the high end"))
        self.switch = Pull(desk, translate("setup", "Switch"), ends, self._take_switch, means)
        self.speed = Field(
            desk,
            translate("setup", "Homing speed"),
            partial(self._take, "speed"),
            translate("setup", "How fast it goes to the switch: a speed that hurts nobody."),
        )
        self.at = Field(
            desk,
            translate("setup", "Switch opens at"),
            partial(self._take, "at"),
            translate("setup", "Where it opens as the axis comes off it; up to a tenth of the travel outside of it."),
        )
        self.simulated = Field(
            desk,
            translate("setup", "Simulated: switch"),
            self._take_simulated,
            translate("setup", "Only the simulated rig: where its switch truly closes; empty for a rig without one."),
        )
        lines = QVBoxLayout(self)
        lines.setContentsMargins(0, 0, 0, 0)
        lines.setSpacing(GAP_PX)
        for row in (self.reference, self.switch, self.speed, self.at, self.simulated):
            lines.addWidget(row)

    def follow(self, *, anew: bool = False) -> None:
        """Show what the document has; `anew` forgets what was typed and refused."""
        axis, homing = self._axis(), self._axis().homing
        self.reference.setVisible(axis.kind in _TURNING or axis.reference is not None)
        self.reference.show_place(0 if axis.reference is None else 1 + REFERENCES.index(axis.reference))
        self.switch.show_place(0 if homing is None else 1 + ENDS.index(homing.towards))
        closes_at = axis.simulated.switch_at
        for field, text, unit in (
            (self.speed, "" if homing is None else decimal(homing.speed), f"{axis.unit}/s"),
            (self.at, "" if homing is None else decimal(homing.at), axis.unit),
            (self.simulated, "" if closes_at is None else decimal(closes_at), axis.unit),
        ):
            field.setVisible(homing is not None)
            field.unit.setText(unit)
            if anew:
                field.show_anew(text)
            else:
                field.show_text(text)

    def _take_reference(self, place: int) -> None:
        reference = REFERENCES[place - 1] if place else None
        self._put(translate("setup", "setpoints against"), replace(self._axis(), reference=reference))

    def _take_switch(self, place: int) -> None:
        axis = self._axis()
        try:
            changed = _with_switch(axis, ENDS[place - 1] if place else None)
            if changed != axis:
                self._put(translate("setup", "switch"), changed)
        except ValueError:
            self.follow()  # what was refused is not so
            raise

    def _take(self, name: str, text: str) -> None:
        axis = self._axis()
        if axis.homing is None:
            return
        if name == "speed":
            speed = typed_number(text.removesuffix(f"{axis.unit}/s").strip(), axis.unit)
            if speed > axis.speed:
                words = translate("setup", "it homes no faster than its own speed, {speed}; a twentieth of it is usual")
                raise ValueError(words.format(speed=decimal(axis.speed)))
            self._put(translate("setup", "homing speed"), replace(axis, homing=replace(axis.homing, speed=speed)))
        else:
            homing = replace(axis.homing, at=typed_number(text, axis.unit))
            self._put(translate("setup", "place of the switch"), replace(axis, homing=homing))

    def _take_simulated(self, text: str) -> None:
        axis = self._axis()
        closes_at = typed_number(text, axis.unit) if text.strip() else None
        simulated = replace(axis.simulated, switch_at=closes_at)
        self._put(translate("setup", "simulated switch"), replace(axis, simulated=simulated))


def _with_switch(axis: Axis, end: End | None) -> Axis:
    """Return the axis with its switch at this end, or without one. Error: ValueError where it has no ends."""
    homing = axis.homing
    if homing is not None and homing.towards == end:
        return axis
    elsewhere = replace(axis.simulated, switch_at=None)
    if end is None:
        return replace(axis, homing=None, simulated=elsewhere)
    if axis.travel is None:
        words = translate("setup", "{axis} has no travel, so there is no end for a switch; give it a travel first")
        raise ValueError(words.format(axis=axis.name))
    speed = axis.speed * _PART if homing is None else homing.speed
    new = Homing(towards=end, speed=speed, at=axis.travel[ENDS.index(end)])
    return replace(axis, homing=new, simulated=elsewhere)
