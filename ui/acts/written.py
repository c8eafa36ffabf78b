"""Instants and values as the operator reads them, in the way in which time is counted. It refuses to know a widget.

What it writes, `panels.typed` reads.
"""

from fractions import Fraction
from typing import Literal

from sequencer.timebase.tempo import TempoMap
from sequencer.timebase.timecode import Timebase

Counted = Literal["timecode", "frames", "seconds", "bars"]
UNIT_SIGNS = {"deg": "°", "mm": "mm", "part": ""}
_MOST_DECIMALS = 9


def written(
    at: Fraction, counted: Counted, timebase: Timebase, tempo: TempoMap | None = None, decimals: int = _MOST_DECIMALS
) -> str:
    """Return the instant `at` as text, its last count to so many `decimals`; without a tempo, bars become timecode.

    `10:00:05:12.25`, `frame 137.25`, `5.49 s`, `bar 3 beat 2.5`. Unit: `at` frames from the project's start.
    """
    if counted == "frames":
        return f"frame {decimal(at, decimals)}"
    if counted == "seconds":
        return f"{'at ' if at < 0 else ''}{decimal(timebase.rate.seconds(at), decimals)} s"
    if counted == "bars" and tempo is not None:
        return _in_bar(timebase.rate.seconds(at), tempo, decimals)
    return str(timebase.label(round(at, decimals)))


def _in_bar(at_s: Fraction, tempo: TempoMap, decimals: int) -> str:
    # rounded before it is put into its bar, so that no beat is a whole bar long
    bar, beat = tempo.in_bar(round(tempo.beat(at_s), decimals))
    return f"bar {bar + 1} beat {decimal(beat + 1, decimals)}"


def decimal(number: Fraction | float, decimals: int = _MOST_DECIMALS) -> str:
    """Return the number with at most so many decimals, and none that say nothing."""
    whole, part = divmod(abs(round(Fraction(number) * 10**decimals)), 10**decimals)
    text = f"{whole}.{part:0{decimals}}".rstrip("0").rstrip(".") if part else str(whole)
    return f"-{text}" if number < 0 and (whole or part) else text


def value_text(value: float, unit: str, decimals: int = 6) -> str:
    """Return a value of an axis with its unit: `12.5 °`, `340 mm`, `0.25`."""
    sign = UNIT_SIGNS.get(unit, unit)
    number = decimal(value, decimals)
    return f"{number} {sign}" if sign else number
