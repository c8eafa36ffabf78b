"""Distances as a lens scale has them: metres, or feet and inches, and infinity. It refuses a number without a unit.

A comma counts as the decimal mark too. Source: 1 ft = 0.3048 m, 1 in = 0.0254 m exactly (international yard and pound
agreement of 1959).
"""

import math
import re
from fractions import Fraction
from typing import Literal

Scale = Literal["m", "ft"]
INFINITY = "inf"
EXAMPLES = '"2.4 m", "8 ft", "7\' 6\\"" or "inf"'
_FOOT_M = Fraction(3048, 10000)
_METRES = {
    **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), Fraction(1)),
    "cm": Fraction(1, 100),
    "mm": Fraction(1, 1000),
    **dict.fromkeys(("ft", "foot", "feet", "'", "′"), _FOOT_M),
    **dict.fromkeys(("in", "inch", "inches", '"', "″"), _FOOT_M / 12),
}
_IMPERIAL = frozenset(word for word, long_m in _METRES.items() if long_m in (_FOOT_M, _FOOT_M / 12))
_NUMBER = r"\d{1,9}(?:[.,]\d{1,9})?"
_ONE = re.compile(rf"(?P<number>{_NUMBER})\s*(?P<word>[a-z]+|['\"′″])", re.ASCII)
_BOTH = re.compile(
    rf"(?P<feet>\d{{1,6}})\s*(?:ft|foot|feet|'|′)\s*(?P<inches>{_NUMBER})\s*(?:in|inch|inches|\"|″)?", re.ASCII
)
_ENDLESS = frozenset((INFINITY, "infinity", "∞"))


def metres(text: str) -> float:
    """Return the distance that is written: `2.4 m`, `240cm`, `8 ft`, `7'6"`, `inf`. Unit: metres.

    Error: ValueError in plain words for anything else, a bare number too.
    """
    plain = " ".join(text.lower().split())
    if plain in _ENDLESS:
        return math.inf
    if found := _BOTH.fullmatch(plain):
        return _above_zero(text, (Fraction(found["feet"]) + _exact(found["inches"]) / 12) * _FOOT_M)
    found = _ONE.fullmatch(plain)
    if found is None or found["word"] not in _METRES:
        raise ValueError(f"{text!r} is no distance; write {EXAMPLES}")
    return _above_zero(text, _exact(found["number"]) * _METRES[found["word"]])


def is_distance(text: str) -> bool:
    """Tell whether the text is a distance: a number with a unit of length, or infinity."""
    try:
        metres(text)
    except ValueError:
        return False
    return True


def scale_of(text: str) -> Scale:
    """Return in what a distance is written: feet where it has feet or inches, else metres."""
    plain = " ".join(text.lower().split())
    found = _ONE.fullmatch(plain)
    return "ft" if _BOTH.fullmatch(plain) or (found is not None and found["word"] in _IMPERIAL) else "m"


def distance_text(distance_m: float, scale: Scale = "m") -> str:
    """Say a distance to a tenth of an inch, or in three figures and more: `2.4 m`, `18.25 m`, `7' 6"`, `infinity`."""
    if math.isinf(distance_m):
        return "infinity"
    if scale == "m":
        decimals = 3 if distance_m < 10 else 2 if distance_m < 100 else 1
        return f"{distance_m:.{decimals}f}".rstrip("0").rstrip(".") + " m"
    tenths = round(distance_m / float(_FOOT_M) * 120)
    feet, rest = divmod(tenths, 120)
    return f"{feet}' {rest / 10:g}\"" if feet else f'{rest / 10:g}"'


def _exact(written: str) -> Fraction:
    return Fraction(written.replace(",", "."))


def _above_zero(text: str, exact_m: Fraction) -> float:
    if exact_m <= 0:
        raise ValueError(f"{text!r} is no distance; it must be above zero")
    return float(exact_m)
