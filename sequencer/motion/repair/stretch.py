"""Slow a whole move down by one factor until its motors can do it, as it is drawn or smoothed at the same time.

It refuses to cure a step of speed or acceleration: that takes endless force however slow the move is (`soften` gives
such legs another law). Markers belong to the music and stay; a cue goes with the keys inside it, and what it holds
before the first key and after the last keeps its length.
"""

import math
from bisect import bisect_right
from collections.abc import Callable, Mapping
from dataclasses import replace
from fractions import Fraction
from itertools import accumulate

import numpy as np

from sequencer.motion.compile import compile_legs
from sequencer.motion.legs import Legs, legs
from sequencer.motion.repair.load import Load, load, place_of, reason, said
from sequencer.motion.repair.outcome import AS_IT_IS, Impossible, Reason, Repaired, Tell, Unrepaired, unforeseen
from sequencer.rig.axis import Rig
from sequencer.score.easing import Laws
from sequencer.score.move import Move
from sequencer.timebase.instants import instant
from sequencer.timebase.rate import Rate

Solve = Callable[[Move], Repaired | Impossible]

# factors are whole multiples of these, so that keys on whole frames stay exact in a project file
_FINE = 10**6
_COARSE = 1000
_MOST = 64
_BILLION = 10**9


def stretch(rig: Rig, move: Move, rate: Rate, laws: Laws, *, about: Fraction | None = None) -> Repaired | Impossible:
    """Multiply all times by the least factor, rounded up to a millionth, at which the curve keeps every limit.

    `about` stays where it is: the frame of the pinned keys, or of the first key where none is pinned. Pinned keys at
    any other frame refuse it.
    Error: ProjectError as in `compile_move`; Unrepaired where a law's shape runs away from every factor, or a leg is
    endless.
    """
    about = anchor(move) if about is None else about
    whole, found, reasons = judged(rig, move, rate, laws)
    if not found.over.any() and not reasons:
        return Repaired(move=move, words=(AS_IT_IS,))
    if reasons := reasons + _pinned(move, about):
        return Impossible(reasons=reasons)
    high = _FINE
    while found.over.any():
        high = math.floor(high * max(float(found.factor.max()), 1.0)) + 1
        if high > _MOST * _FINE * _FINE:
            raise _endless(move, whole, found)
        _, found, _ = judged(rig, _stretched(move, Fraction(high, _FINE), about), rate, laws)
    # a law that takes its shape from the limits is another one at each factor, and a smaller one may do
    suited = any(laws[key.ease.law].suited is not None for track in move.tracks for key in track.keys)
    low = _FINE if suited else high - 1
    while high - low > 1:
        middle = (low + high) // 2
        _, found, _ = judged(rig, _stretched(move, Fraction(middle, _FINE), about), rate, laws)
        low, high = (middle, high) if found.over.any() else (low, middle)
    factor = Fraction(high, _FINE)
    return Repaired(move=_stretched(move, factor, about), words=(_said(move, factor, about),))


def _endless(move: Move, whole: Legs, found: Load) -> Unrepaired:
    """Return what to say where the worst leg asks for more time at every factor, or for far too much."""
    _, number, key = place_of(whole, int(found.factor.argmax()))
    track = move.tracks[number]
    begin = track.keys[key]
    return Unrepaired(
        f"no factor suffices for the leg of {track.axis} from {instant(begin.at)}, be it that {begin.ease.law} takes "
        "another shape at each, or that it goes much too far; soften it, or mend the values of its keys, then stretch"
    )


def stretch_and_smooth(
    rig: Rig,
    move: Move,
    rate: Rate,
    laws: Laws,
    solve: Solve,
    *,
    about: Fraction | None = None,
    tell: Tell | None = None,
) -> Repaired | Impossible:
    """Return what `solve` makes of the move at the least factor, to a thousandth, at which it can.

    `solve` is the smoothing repair; a curve that it may bend needs much less time than the curve as drawn.
    Error: Cancelled when `tell` says so; Unrepaired where `solve` raises it even at the largest factor tried, 64.
    """
    about = anchor(move) if about is None else about
    step = unforeseen(tell)

    def tried(thousandths: int) -> Repaired | Impossible:
        step()
        try:
            return solve(_stretched(move, Fraction(thousandths, _COARSE), about))
        except Unrepaired:
            if thousandths == _MOST * _COARSE:
                raise
            return Impossible(reasons=())

    low, high = _COARSE, _first_guess(rig, move, rate, laws)
    if isinstance(answer := tried(low), Repaired):
        return answer
    if pinned := _pinned(move, about):
        return Impossible(reasons=pinned)
    while isinstance(answer := tried(high), Impossible):
        if high == _MOST * _COARSE:
            return answer
        low, high = high, min(2 * high - _COARSE + 1, _MOST * _COARSE)
    while high - low > 1:
        middle = (low + high) // 2
        if isinstance(slower := tried(middle), Repaired):
            high, answer = middle, slower
        else:
            low = middle
    return replace(answer, words=(_said(move, Fraction(high, _COARSE), about), *answer.words))


def _first_guess(rig: Rig, move: Move, rate: Rate, laws: Laws) -> int:
    """Return the factor, in thousandths, at which the curve as drawn keeps the limits, or one to begin with."""
    _, found, _ = judged(rig, move, rate, laws)
    drawn = float(found.factor.max())
    known = drawn < _MOST and not found.jolting.any()
    return max(math.ceil(_COARSE * drawn), _COARSE + 1) if known else _COARSE + 100


def anchor(move: Move) -> Fraction:
    """Return the frame that stays when all else is stretched: the first pinned key, or the first key of all."""
    keys = [key for track in move.tracks for key in track.keys]
    return min((key.at for key in keys if key.pin), default=min((key.at for key in keys), default=Fraction(0)))


def retimed(move: Move, new: Mapping[Fraction, Fraction]) -> Move:
    """Return `move` with the keys at each frame moved to the `new` one, and the cues with them.

    Between keys a cue's end keeps its part of the way in time, before the first and after the last its distance.
    """
    tracks = [replace(track, keys=tuple(replace(key, at=new[key.at]) for key in track.keys)) for track in move.tracks]
    old = sorted(new)
    # keys of different axes may pass each other, a cue's ends may not
    moved = list(accumulate((new[at] for at in old), max))

    def carried(at: Fraction) -> Fraction:
        place = bisect_right(old, at)
        if place == 0 or place == len(old):
            edge = min(place, len(old) - 1)
            return at - old[edge] + moved[edge]
        before, after = old[place - 1 : place + 1]
        part = (at - before) / (after - before)
        return billionth(moved[place - 1] + part * (moved[place] - moved[place - 1]))

    cues = [replace(cue, start=carried(cue.start), end=carried(cue.end)) for cue in move.cues]
    return replace(move, tracks=tuple(tracks), cues=tuple(cues))


def billionth(at: Fraction) -> Fraction:
    """Return the frame rounded as fine as a project file keeps it."""
    return Fraction(round(at * _BILLION), _BILLION)


def instants(move: Move) -> list[Fraction]:
    """Return the frames at which a key stands, in order, each once."""
    return sorted({key.at for track in move.tracks for key in track.keys})


def _stretched(move: Move, factor: Fraction, about: Fraction) -> Move:
    return retimed(move, {at: billionth(about + (at - about) * factor) for at in instants(move)})


def judged(rig: Rig, move: Move, rate: Rate, laws: Laws) -> tuple[Legs, Load, tuple[Reason, ...]]:
    """Return the legs, what they ask for, and what no stretching cures: jolts, and positions beyond the travel."""
    whole = legs(rig, move, rate, laws)
    found = load(rig, whole, compile_legs(rig, whole))
    reasons = []
    for leg in np.flatnonzero(found.jolting | found.outside):
        _, track, key = place_of(whole, int(leg))
        if found.jolting[leg]:
            law = move.tracks[track].keys[key].ease.law
            words = f"{law} changes speed or acceleration at once, which no slower move cures; soften it first"
        else:
            words = "the axis leaves its travel, which no slower move cures; move its keys, or choose another ease"
        last = len(move.tracks[track].keys) - 1
        reasons.append(reason(move, track, tuple(dict.fromkeys((key, min(key + 1, last)))), words))
    return whole, found, tuple(reasons)


def _pinned(move: Move, about: Fraction) -> tuple[Reason, ...]:
    """Return a reason for the first pinned key of each track that stretching would move."""
    reasons = []
    for number, track in enumerate(move.tracks):
        key = next((place for place, key in enumerate(track.keys) if key.pin and key.at != about), None)
        if key is not None:
            words = f"the key is pinned, and stretching all about {instant(about)} would move it"
            reasons.append(reason(move, number, (key,), f"{words}; unpin it, or spread the time between the pins"))
    return tuple(reasons)


def _said(move: Move, factor: Fraction, about: Fraction) -> str:
    at = instants(move)
    lasts = (at[-1] - at[0]) * factor
    times = f"{float(factor):.6f}".rstrip("0").rstrip(".")
    how = f"all times are {times} times as long about {instant(about)}"
    return f"{how}: the move lasts {said(lasts)} frames instead of {said(at[-1] - at[0])}"
