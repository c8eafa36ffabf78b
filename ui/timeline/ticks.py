"""Where the ruler has lines, and what is written at them: in timecode, frames or seconds (bars and beats: `beats`).

It refuses to know Qt, and to write one label over another.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from math import ceil, floor
from typing import TypeVar

from sequencer.timebase.timecode import Timebase, count

GAP_PX = 14.0  # between two labels, at least
LINE_PX = 7.0  # between two lines, at least
_TENS = (1, 2, 5)
_MOST = 4000  # lines in sight


@dataclass(frozen=True, slots=True)
class Ticks:
    """Lines with a label (`labelled`: instant and words), and finer ones between them. Unit: seconds."""

    labelled: tuple[tuple[float, str], ...]
    finer_s: tuple[float, ...]


def timecode(
    timebase: Timebase, begin_s: float, end_s: float, px_a_s: float, width_px: Callable[[str], float]
) -> Ticks:
    """Return lines at whole labels of the timecode, at steps that divide seconds, minutes or hours."""
    nominal = timebase.rate.nominal
    seconds = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 21600, 43200, 86400)
    parts = [step for step in range(1, nominal) if nominal % step == 0 or (step in (2, 5, 10) and step < nominal / 2)]
    steps = [*parts, *(nominal * each for each in seconds)]
    px_a_frame = px_a_s / (timebase.rate.num / timebase.rate.den)
    start = count(timebase.start, timebase.counting)
    return _stepped(
        steps,
        _Span(timebase, begin_s, end_s, start, timebase.counting.dropped),
        px_a_frame,
        width_px("00:00:00:00"),
        lambda frames: _label(timebase, frames),
    )


@lru_cache(maxsize=2048)
def _label(timebase: Timebase, frames: Fraction) -> str:
    return str(timebase.label(frames))


def frames(timebase: Timebase, begin_s: float, end_s: float, px_a_s: float, width_px: Callable[[str], float]) -> Ticks:
    """Return lines at whole frames from the project's start."""
    rate = timebase.rate.num / timebase.rate.den
    steps = [unit * 10**power for power in range(9) for unit in _TENS]
    widest = max((str(floor(begin_s * rate)), str(ceil(end_s * rate))), key=len)
    span = _Span(timebase, begin_s, end_s)
    return _stepped(steps, span, px_a_s / rate, width_px(widest), lambda frames: str(frames.__floor__()))


def seconds(begin_s: float, end_s: float, px_a_s: float, width_px: Callable[[str], float]) -> Ticks:
    """Return lines at seconds from the project's start, and at decimal parts of them."""
    steps = [Fraction(unit) * Fraction(10) ** power for power in range(-3, 7) for unit in _TENS]
    for step in steps:
        decimals = max(0, next(each for each in range(4) if (step * 10**each).denominator == 1))
        words = [f"{each:.{decimals}f} s" for each in (begin_s, end_s)]
        if float(step) * px_a_s >= max(map(width_px, words)) + GAP_PX:
            break
    finer = _finer(steps, step, lambda each: float(each) * px_a_s)
    numbers = range(ceil(begin_s / float(step)), floor(end_s / float(step)) + 1)
    labelled = tuple((float(number * step), f"{float(number * step):.{decimals}f} s") for number in numbers)
    return Ticks(labelled, _between(finer, begin_s, end_s, {at_s for at_s, _ in labelled}))


@dataclass(frozen=True, slots=True)
class _Span:
    """Unit: `start` frames from where labels count to the project's start; `dropped` labels a minute."""

    timebase: Timebase
    begin_s: float
    end_s: float
    start: Fraction = Fraction(0)
    dropped: int = 0


def _stepped(
    steps: list[int], span: _Span, px_a_frame: float, widest_px: float, words: Callable[[Fraction], str]
) -> Ticks:
    step = next((each for each in steps if each * px_a_frame >= widest_px + GAP_PX), steps[-1])
    finer = _finer(steps, step, lambda each: each * px_a_frame)
    labelled = tuple((at_s, words(frame - span.start)) for at_s, frame in _at(span, step))
    there = {at_s for at_s, _ in labelled}
    return Ticks(labelled, tuple(at_s for at_s, _ in _at(span, finer) if at_s not in there))


def _at(span: _Span, step: int) -> list[tuple[float, int]]:
    """Return the instants whose labels, counted as if none were dropped, are whole steps; and those labels' frames."""
    nominal, dropped = span.timebase.rate.nominal, span.dropped
    minute = nominal * 60
    rate = span.timebase.rate.fraction
    begin, end = (Fraction(each) * rate + span.start for each in (span.begin_s, span.end_s))
    found: list[tuple[float, int]] = []
    number = ceil(begin / step)
    if dropped:  # labels run ahead of frames, by a tenth of a percent: begin where they surely have not come to yet
        number = floor(begin * minute / (minute - dropped * Fraction(9, 10)) / step) - ceil(Fraction(minute, step))
    start, first, last = float(span.start), ceil(begin), floor(end)
    a_frame_s = span.timebase.rate.den / span.timebase.rate.num
    while len(found) < _MOST:
        frame = number * step
        if dropped:
            minutes, rest = divmod(frame, minute)
            frame -= dropped * (minutes - minutes // 10)
            if minutes % 10 and rest < dropped:
                if step < nominal:  # that label is left out, and the next line is near
                    number += 1
                    continue
                frame += dropped - rest
        if frame > last:
            break
        if frame >= first:
            found.append(((frame - start) * a_frame_s, frame))
        number += 1
    return found


Step = TypeVar("Step", int, Fraction)


def _finer(steps: Sequence[Step], step: Step, px: Callable[[Step], float]) -> Step:
    return next(each for each in steps if each == step or (px(each) >= LINE_PX and step % each == 0))


def _between(step: Fraction, begin_s: float, end_s: float, labelled: set[float]) -> tuple[float, ...]:
    numbers = range(ceil(begin_s / float(step)), floor(end_s / float(step)) + 1)
    return tuple(at_s for number in numbers if (at_s := float(number * step)) not in labelled)
