"""From beats that were found, tapped or typed to a tempo map, and corrections of one by hand; all exact.

It refuses to move a beat more than it says: each fit tells how far the map's beats lie from those it was made of.

A tempo is kept as a whole number where the beats do not tell it from one: where its line leaves them by no more than
they scatter, or 1 ms, at the far ends. Else it is rounded to a thousandth. Instants are rounded to a thousandth of a
frame, which a project file holds exactly.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from sequencer.music.beats import Beats, line
from sequencer.timebase.rate import Rate
from sequencer.timebase.tempo import QUARTER, Change, TempoMap

Floats = NDArray[np.float64]

WITHIN_S = 0.010
_FINEST = 1000  # a beat a minute, a frame
_LEAST_SLIP_S = 0.001
_FEWEST_TAPS = 4
_NEAREST_TAPS_S = 0.1
_UNEVEN = 0.2  # of a period
_SLOWEST, _FASTEST = Fraction(1), Fraction(1000)


@dataclass(frozen=True, slots=True)
class Metre:
    """Beats in a bar, and which note the beat is."""

    beats_per_bar: int = 4
    beat_note: int = QUARTER


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """A tempo map, and how far its beats lie from those it was made of: the farthest, and 95 of 100 at most."""

    tempo: TempoMap
    worst_s: float
    p95_s: float


@dataclass(frozen=True, slots=True)
class Tapped:
    """What taps say. Unit: `at_s` a beat on the clock of the taps, `residual_s` their median distance."""

    bpm: Fraction
    at_s: float
    residual_s: float


def tidy(bpm: float, off_bpm: float) -> Fraction:
    """Return a tempo exactly: the whole number if that is within `off_bpm`, else to a thousandth."""
    whole = round(bpm)
    if whole > 0 and abs(bpm - whole) <= off_bpm:
        return Fraction(whole)
    return Fraction(max(1, round(bpm * _FINEST)), _FINEST)


def instant(seconds: float, rate: Rate) -> Fraction:
    """Return an instant exactly, to a thousandth of a frame. Unit: seconds."""
    return rate.seconds(Fraction(round(Fraction(seconds) * rate.fraction * _FINEST), _FINEST))


def one_tempo(found: Beats, start_s: Fraction, rate: Rate, metre: Metre | None = None, one: int = 0) -> Fit:
    """Return a steady tempo through all beats; bars begin at the beat number `one`, counted from 0.

    Unit: `start_s`, where the audio begins, in seconds from the project's start.
    """
    fit = line(found.at_s)
    span = float(fit.number[-1])
    slip_s = max(found.residual_s, _LEAST_SLIP_S)
    bpm = tidy(60 / fit.period_s, 60 / fit.period_s * slip_s / (fit.period_s * max(span, 1.0) / 2))
    # through the middle, so that what was rounded shows at both ends alike
    middle_s = fit.first_s + fit.period_s * span / 2
    counted = float(fit.number[one]) % (metre or Metre()).beats_per_bar
    first_s = middle_s - float(60 / bpm) * (span / 2 - counted)
    return _fit(_steady(bpm, float(start_s) + first_s, rate, metre), found.at_s + float(start_s))


def stepped(
    found: Beats, start_s: Fraction, rate: Rate, metre: Metre | None = None, one: int = 0, within_s: float = WITHIN_S
) -> Fit:
    """Return as few tempi as keep all beats `within_s`, each for whole bars; where a bar alone leaves it, that is said.

    Unit, and `one`: as in `one_tempo`.
    """
    bar = (metre or Metre()).beats_per_bar
    at_s = found.at_s + float(start_s)
    first = one % bar
    if len(at_s) < first + bar + 1:
        return one_tempo(found, start_s, rate, metre, one)
    knots = np.arange(first, len(at_s), bar)
    knot_s = np.array([_smooth(at_s, int(knot), bar) for knot in knots])
    tempo = _steady(Fraction(1), float(knot_s[0]), rate, metre)
    now_s, changes, begin = float(tempo.at_s), [], 0
    while begin < len(knots) - 1:
        end = _farthest(at_s, knots, knot_s, begin, within_s * 0.8)
        beats = int(knots[end] - knots[begin])
        bpm = Fraction(round(60 * beats / (float(knot_s[end]) - now_s) * _FINEST), _FINEST)
        changes.append(Change(beat=Fraction(int(knots[begin]) - first), bpm=bpm))
        now_s += float(60 * beats / bpm)  # from where the map really is, so that no rounding adds up
        begin = end
    steps = [changes[0], *(now for before, now in pairwise(changes) if now.bpm != before.bpm)]
    tempo = replace(tempo, bpm=steps[0].bpm or Fraction(1), changes=tuple(steps[1:]))
    return _fit(tempo, at_s)


def _smooth(at_s: Floats, knot: int, reach: int) -> float:
    """Return the instant of a beat, as the beats around it have it: on a parabola through them."""
    low, high = max(0, knot - reach), min(len(at_s), knot + reach + 1)
    if high - low < 4:
        return float(at_s[knot])
    return float(np.polynomial.Polynomial.fit(np.arange(low, high) - knot, at_s[low:high], 2)(0.0))


def _farthest(at_s: Floats, knots: NDArray[np.int64], knot_s: Floats, begin: int, within_s: float) -> int:
    """Return the last bar line to which one tempo goes from the bar line `begin`; the next one at least."""
    best = begin + 1
    for end in range(begin + 1, len(knots)):
        number = np.arange(knots[begin], knots[end] + 1)
        even_s = np.interp(number, [knots[begin], knots[end]], [knot_s[begin], knot_s[end]])
        far_s = float(np.abs(even_s - at_s[number]).max())
        if far_s <= within_s:
            best = end
        elif far_s > 4 * within_s:
            break
    return best


def _steady(bpm: Fraction, at_s: float, rate: Rate, metre: Metre | None) -> TempoMap:
    how = metre or Metre()
    return TempoMap(bpm, how.beats_per_bar, instant(at_s, rate), how.beat_note)


def _fit(tempo: TempoMap, at_s: Floats) -> Fit:
    away = np.array([abs(float(tempo.nearest(Fraction(float(at)))) - float(at)) for at in at_s])
    return Fit(tempo=tempo, worst_s=float(away.max()), p95_s=float(np.quantile(away, 0.95)))


def doubled(tempo: TempoMap) -> TempoMap:
    """Return two beats for each; all instants and the number of beats in a bar stay."""
    return _times(tempo, 2)


def halved(tempo: TempoMap) -> TempoMap:
    """Return one beat for two, the first one among them; all instants and the number of beats in a bar stay."""
    return _times(tempo, Fraction(1, 2))


def _times(tempo: TempoMap, times: Fraction | int) -> TempoMap:
    changes = tuple(
        replace(one, beat=one.beat * times, bpm=None if one.bpm is None else _within(one.bpm * times))
        for one in tempo.changes
    )
    return replace(tempo, bpm=_within(tempo.bpm * times), changes=changes)


def _within(bpm: Fraction) -> Fraction:
    if not _SLOWEST <= bpm <= _FASTEST:
        raise ValueError(f"{float(bpm):.6g} BPM is no tempo; it lies from {_SLOWEST} to {_FASTEST}")
    return bpm


def one_here(tempo: TempoMap, at_s: Fraction, *, onto_beat: bool = False) -> TempoMap:
    """Return the map with a bar that begins at `at_s`: all beats move by the least that brings a bar line there.

    With `onto_beat` no beat moves: the beat nearest to `at_s` becomes the first of its bar.
    Error: ValueError where a metre that begins later on decides the bars there.
    """
    if not onto_beat:
        bar = tempo.in_bar(tempo.beat(at_s)).bar
        lines = [tempo.seconds(tempo.beat_of(number)) for number in (bar, bar + 1)]
        return nudged(tempo, at_s - min(lines, key=lambda each: abs(at_s - each)))
    beat = tempo.beat(tempo.nearest(at_s))
    metre = next((one for one in tempo.changes if one.metre and one.beat <= beat), None)
    if metre is not None:
        raise ValueError(f"the metre that begins at {tempo.in_bar(metre.beat)} decides the bars here; move that one")
    place = tempo.in_bar(beat).beat
    if place == 0:
        return tempo
    later = tempo.beats_per_bar - place  # beats that the count begins earlier
    changes = tuple(replace(one, beat=one.beat + later) for one in tempo.changes)
    return replace(tempo, at_s=tempo.at_s - later * tempo.stretches[0].beat_s, changes=changes)


def nudged(tempo: TempoMap, by_s: Fraction) -> TempoMap:
    """Return the map with all beats later by `by_s`."""
    return replace(tempo, at_s=tempo.at_s + by_s)


def at_tempo(tempo: TempoMap, bpm: Fraction) -> TempoMap:
    """Return the map at one tempo from its first beat on; metres stay at their beats. Error: ValueError for none."""
    changes = tuple(replace(one, bpm=None) for one in tempo.changes if one.metre)
    return replace(tempo, bpm=_within(bpm), changes=changes)


def in_metre(tempo: TempoMap, beats_per_bar: int) -> TempoMap:
    """Return the map with so many beats in its bars, from the first on. Error: ValueError for none."""
    return replace(tempo, beats_per_bar=beats_per_bar)


def tapped(taps_s: Sequence[float]) -> Tapped:
    """Return the tempo and a beat of taps, by a line that single bad or missing taps do not bend.

    Error: ValueError for fewer than four, for such as are no taps at an even pace.
    """
    if len(taps_s) < _FEWEST_TAPS:
        raise ValueError(f"a tempo takes {_FEWEST_TAPS} taps at least; there are {len(taps_s)}")
    at_s = np.array(taps_s, float)
    if not np.isfinite(at_s).all() or (np.diff(at_s) < _NEAREST_TAPS_S).any():
        raise ValueError("two taps are too near to each other; tap once a beat")
    fit = line(at_s)
    if fit.far_s > _UNEVEN * fit.period_s:
        raise ValueError("the taps are too uneven to tell a tempo; tap again, once a beat")
    bpm = 60 / fit.period_s
    exact = _within(tidy(bpm, bpm * fit.error_s / fit.period_s))
    middle = round(float(fit.number.mean()))
    return Tapped(exact, fit.first_s + fit.period_s * middle, fit.residual_s)


def from_taps(tempo: TempoMap, taps: Tapped, rate: Rate, *, phase: bool = True) -> TempoMap:
    """Return the map at the tempo of taps; with a beat at theirs where, by `phase`, their clock is the project's."""
    found = at_tempo(tempo, taps.bpm)
    if not phase:
        return found
    at_s = instant(taps.at_s, rate)
    return nudged(found, at_s - found.nearest(at_s))


def storable(tempo: TempoMap, rate: Rate) -> TempoMap:
    """Return the map with its first beat to a billionth of a frame, as a project file holds it."""
    return replace(tempo, at_s=rate.seconds(Fraction(round(rate.frames(tempo.at_s) * 10**9), 10**9)))
