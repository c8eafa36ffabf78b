"""The cells of an order to the camera: what it shall do, at which point, how long after it, and the camera's lead."""

from dataclasses import replace
from fractions import Fraction

from sequencer.score.camera import DOINGS, POINTS, CameraCue, Doing
from ui.acts.written import decimal, written
from ui.desk import Desk
from ui.panels.cell import Cell
from ui.panels.typed import Mistyped, Times, typed_instant, typed_number


def _with_doing(one: CameraCue, text: str, _: Desk) -> CameraCue:
    doing: Doing | None = next((each for each in DOINGS if each == text), None)
    if doing is None:
        raise Mistyped("write one of {names} instead of “{text}”", names=", ".join(DOINGS), text=text)
    return replace(one, do=doing)


def point_text(one: CameraCue, decimals: int, desk: Desk) -> str:
    """Return at which point it is: an end of the cue, or an instant as time is counted."""
    if isinstance(one.at, str):
        return one.at
    return written(one.at, desk.counted, desk.project.timebase, desk.project.tempo, decimals)


def _with_point(one: CameraCue, text: str, desk: Desk) -> CameraCue:
    for point in POINTS:
        if text == point:
            return replace(one, at=point)
    here = None if isinstance(one.at, str) else one.at
    project = desk.project
    times = Times(timebase=project.timebase, tempo=project.tempo, counted=desk.counted, here=here)
    return replace(one, at=typed_instant(text, times))


def _seconds(value: float, decimals: int) -> str:
    return f"{decimal(Fraction(value), decimals)} s"


CELLS: tuple[Cell[CameraCue], ...] = (
    Cell("do", lambda one, *_: one.do, _with_doing),
    Cell("at", point_text, _with_point),
    Cell(
        "after it",
        lambda one, decimals, _: _seconds(one.after_s, decimals),
        lambda one, text, _: replace(one, after_s=typed_number(text, "s")),
    ),
    Cell(
        "camera's lead",
        lambda one, decimals, _: _seconds(one.lead_s, decimals),
        lambda one, text, _: replace(one, lead_s=typed_number(text, "s")),
    ),
)
