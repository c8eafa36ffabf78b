"""The cells of a point of the set: its name, and how far to the right, ahead and above the ground it is."""

from dataclasses import replace
from fractions import Fraction

from sequencer.score.points import Point
from ui.acts.written import decimal
from ui.desk import Desk
from ui.language import translate
from ui.panels.cell import Cell
from ui.panels.typed import typed_number


def _place(column: str, number: int) -> Cell[Point]:
    def text(one: Point, decimals: int, _: Desk) -> str:
        return f"{decimal(Fraction(one.at_m[number]), decimals)} m"

    def changed(one: Point, typed: str, _: Desk) -> Point:
        # typed in millimetres, centimetres or metres; a number alone is metres
        plain = typed.strip()
        value = typed_number(plain, "mm") / 1000 if plain[-1:].isalpha() else typed_number(plain)
        at = [value if place == number else other for place, other in enumerate(one.at_m)]
        # what was measured by hand is no estimate any more
        return replace(one, at_m=(at[0], at[1], at[2]), sigma_m=None)

    return Cell(column, text, changed)


def _sure(one: Point, decimals: int, _: Desk) -> str:
    if one.sigma_m is None:
        return translate("marks", "measured")
    return f"±{decimal(Fraction(one.sigma_m), max(decimals, 3))} m"


def _unchanged(one: Point, _: str, desk: Desk) -> Point:
    raise ValueError(translate("marks", "how sure a point is follows from how it was found; it is not typed"))


CELLS: tuple[Cell[Point], ...] = (
    Cell("name", lambda one, *_: one.name, lambda one, text, _: replace(one, name=text)),
    _place("to the right", 0),
    _place("ahead", 1),
    _place("up", 2),
    Cell("how sure", _sure, _unchanged),
)
