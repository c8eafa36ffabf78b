"""Sizes, places and a picture's shape as an operator types them: comma or point, with a unit or in metres.

It refuses to guess what `typed` refuses to guess, and a unit that is no length.
"""

import re
from fractions import Fraction

from sequencer.project.values import exact_text
from sequencer.rig.lens import ASPECTS
from ui.acts.written import decimal
from ui.panels.typed import Mistyped, typed_factor, typed_number

ASPECT_CHOICES = ("16/9", "17/9", "1.85", "2", "2.39", "3/2", "4/3", "1", "4/5", "9/16")  # in use; no source
_FOOT_M = 0.3048
_METRES = {
    **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), 1.0),
    "cm": 0.01,
    **dict.fromkeys(("mm", "millimetre", "millimetres"), 0.001),
    **dict.fromkeys(("ft", "foot", "feet", "'"), _FOOT_M),
    **dict.fromkeys(("in", "inch", "inches", '"'), _FOOT_M / 12),
}
_WORD = re.compile(r"(?P<number>.*?)\s*(?P<word>[a-z]+|['\"])", re.ASCII)
_FEET = re.compile(
    r"(?P<feet>[+-]?\d+)\s*(?:ft|feet|foot|')\s*(?P<inches>\d+(?:[.,]\d+)?)\s*(?:in|inch|inches|\")?", re.ASCII
)
_PAIR = re.compile(r"(?P<width>[\d.,]+)\s*[:/x]\s*(?P<height>[\d.,]+)", re.ASCII)


def typed_metres(text: str) -> float:
    """Return a length: `1.72`, `1,72 m`, `172 cm`, `5 ft 8 in`, `300 mm`. Unit: metres. Error: Mistyped."""
    plain = " ".join(text.lower().split())
    if found := _FEET.fullmatch(plain):
        feet = int(found["feet"])
        whole = abs(feet) + typed_number(found["inches"]) / 12
        return round((-whole if found["feet"].startswith("-") else whole) * _FOOT_M, 6)
    found = _WORD.fullmatch(plain)
    if found is None or not found["number"]:
        return typed_number(plain)
    if found["word"] not in _METRES:
        words = "“{word}” is no length; write metres, or a number with m, cm, mm, ft or in"
        raise Mistyped(words, word=found["word"])
    return round(typed_number(found["number"]) * _METRES[found["word"]], 9)


def typed_aspect(text: str) -> Fraction | None:
    """Return a picture's width for its height: `16:9`, `16/9`, `2,39`, `2.39:1`; None for nothing. Error: Mistyped."""
    plain = " ".join(text.lower().split())
    if not plain:
        return None
    if found := _PAIR.fullmatch(plain):
        aspect = typed_factor(found["width"]) / typed_factor(found["height"])
    else:
        aspect = typed_factor(plain)
    low, high = ASPECTS
    if not low <= aspect <= high:
        words = "a picture is from {low} to {high} times as wide as it is tall; {aspect} is not"
        raise Mistyped(words, low=exact_text(low), high=exact_text(high), aspect=exact_text(aspect))
    return aspect


def metres_text(value_m: float) -> str:
    """Write a length as `typed_metres` reads it."""
    return f"{decimal(value_m, 6)} m"
