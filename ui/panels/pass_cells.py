"""The cells of a pass as they are read and typed: speed, the camera's rate, cue, direction, offset, scale, note.

It refuses axes and cues that are not there, and says which are.
"""

import re
from dataclasses import replace
from fractions import Fraction

from sequencer.score.move import Pass, Scaled
from sequencer.score.pace import frame_for_frame, model_rate
from sequencer.score.passes import LENGTHS
from ui.acts.written import decimal
from ui.desk import Desk
from ui.language import translate
from ui.panels.cell import Cell
from ui.panels.typed import Mistyped, typed_factor, typed_number

_VALUE = re.compile(r"(?P<axis>\S+)\s+(?P<value>\S.*)")
_YES, _NO = ("yes", "y", "true", "1"), ("no", "n", "false", "0", "")


def _speed(one: Pass, decimals: int, _: Desk) -> str:
    exact = (one.speed * 100 * 10**decimals).denominator == 1
    return f"{decimal(one.speed * 100, decimals)} %" if exact else str(one.speed)


def _with_rate(one: Pass, text: str, desk: Desk) -> Pass:
    """The speed follows: the camera sees the frames of the move, one after the other."""
    if not text:
        return replace(one, rate=None)
    shot = typed_factor(text.removesuffix("fps").strip())
    return replace(one, rate=shot, speed=frame_for_frame(desk.project.timebase.rate, shot))


def _with_cue(one: Pass, text: str, desk: Desk) -> Pass:
    names = [cue.name for cue in desk.project.move.cues]
    if text and text not in names:
        raise Mistyped("there is no cue “{text}”; there are {names}", text=text, names=", ".join(names) or "none")
    return replace(one, of=text or None)


def _with_direction(one: Pass, text: str, _: Desk) -> Pass:
    if text.lower() not in (*_YES, *_NO):
        raise Mistyped("write yes, or nothing, instead of “{text}”", text=text)
    return replace(one, reversed=text.lower() in _YES)


def _pairs(values: tuple[tuple[str, float], ...], decimals: int) -> str:
    return ", ".join(f"{name} {decimal(Fraction(value), decimals)}" for name, value in values)


def _values(text: str, desk: Desk, kinds: tuple[str, ...] = ()) -> tuple[tuple[str, float], ...]:
    """Return the values of axes that are written: `slide 65, tilt -2`."""
    found: dict[str, float] = {}
    for part in filter(None, (each.strip() for each in text.split(","))):
        fields = _VALUE.fullmatch(part)
        if fields is None:
            raise Mistyped("write an axis and a number, as in “slide 65”, instead of “{text}”", text=part)
        axes = [one for one in desk.project.rig.axes if not kinds or one.kind in kinds]
        axis = next((one for one in axes if one.name == fields["axis"]), None)
        if axis is None:
            names = ", ".join(one.name for one in axes) or "none"
            raise Mistyped("“{text}” is no axis; there are {names}", text=fields["axis"], names=names)
        found[axis.name] = typed_number(fields["value"], axis.unit)
    return tuple(found.items())


def _scale(one: Pass, decimals: int, _: Desk) -> str:
    scale = one.scale
    if scale is None:
        return ""
    about = f" about {_pairs(scale.about, decimals)}" if scale.about else ""
    return f"{scale.factor}{' with time' if scale.time else ''}{about}"


def _with_scale(one: Pass, text: str, desk: Desk) -> Pass:
    """`1/6`, `1/6 about slide 300`, `1/6 with time about slide 300, lift 0`; with time, rate and speed follow."""
    if not text:
        return replace(one, scale=None)
    size, _, about = text.partition(" about ")
    factor, time = typed_factor(size.removesuffix(" with time")), size.endswith(" with time")
    scaled = replace(one, scale=Scaled(factor, _values(about, desk, LENGTHS), time))
    if not time:
        return scaled
    rate = desk.project.timebase.rate
    shot = model_rate(rate, factor)
    return replace(scaled, rate=shot, speed=frame_for_frame(rate, shot))


CELLS: tuple[Cell[Pass], ...] = (
    Cell("name", lambda one, *_: one.name, lambda one, text, _: replace(one, name=text)),
    Cell("speed", _speed, lambda one, text, _: replace(one, speed=typed_factor(text))),
    Cell("camera fps", lambda one, *_: "" if one.rate is None else str(one.rate), _with_rate),
    Cell("of cue", lambda one, *_: one.of or "", _with_cue),
    Cell("backward", lambda one, *_: translate("marks", "yes") if one.reversed else "", _with_direction),
    Cell(
        "offset",
        lambda one, decimals, _: _pairs(one.offset, decimals),
        lambda one, text, desk: replace(one, offset=_values(text, desk)),
    ),
    Cell("scale", _scale, _with_scale),
    Cell("note", lambda one, *_: one.note, lambda one, text, _: replace(one, note=text)),
)
