"""From the way of each axis to few keys in its track, and how near the move that is then compiled comes to it.

Between samples a smooth curve leads through them all, and the keys keep to that. It refuses to follow the shake of a
file from frame to frame, unless it is told to, since motors would rattle. What it says of nearness is measured on the
compiled move, at the samples themselves.
Source: de Boor, A Practical Guide to Splines (cubic interpolation); the noise by differences of the fourth order, of
which smooth movement leaves next to nothing and independent noise the square root of 70 (binomial coefficients).
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil

import numpy as np
from numpy.typing import NDArray

from sequencer.live.capture import Captured, capture
from sequencer.live.filmed import Way
from sequencer.live.performed import Path
from sequencer.live.set_in import set_in
from sequencer.motion.compile import compile_move
from sequencer.rig.axis import Axis, Rig
from sequencer.score.easing import Laws
from sequencer.score.move import Move, Track
from sequencer.timebase.rate import Rate

Floats = NDArray[np.float64]

_PACE_S, _LEAST_S = 0.02, 0.001  # between instants that keys are fitted to
_BENT = 1 / 10  # of the tolerance: what an axis may bend away between two of them
_MOST = 400_000  # instants
_SHAKEN = 3.0  # standard deviations of noise: less room than that, and keys must follow it
_ENOUGH = 4.0  # standard deviations that a thousand samples hardly ever leave
_FOURTH = 70**0.5
_MIDDLE = 0.6745  # standard deviations, within which half of all normal values are. Source: any table of them
_LEAST = 1 / 4  # of the tolerance: calming ends is not worth more
_FELT = 1 / 50  # of the tolerance: less shake is not felt
_MOST_SHAKEN = 3.0
_ENDS = (15, 11, 7)  # samples at an end through which a parabola is laid
_FEW = 12  # samples: of fewer nothing is said of noise


@dataclass(frozen=True, slots=True)
class Shaken:
    """An axis whose file shakes from sample to sample, by a standard deviation `by`, and the room that takes it in."""

    axis: str
    by: float
    within: float
    room: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """What became of one axis: what the fit says, how many keys went for it, and its track with the new keys alone."""

    captured: Captured
    replaced: int
    alone: Track
    within: float


def shaken(one: Way, rig: Rig, within: Mapping[str, float]) -> tuple[Shaken, ...]:
    """Return the axes whose samples shake by more than keys within the tolerance could leave out."""
    found = []
    for name, room in within.items():
        values = one.positions[:, rig.index(name)]
        by = _shake(values)
        if by * _SHAKEN > room:
            found.append(Shaken(name, by, room, _rounded_up(by * _ENOUGH)))
    return tuple(found)


def fitted(
    rig: Rig,
    move: Move,
    rate: Rate,
    laws: Laws,
    one: Way,
    span: tuple[Fraction, Fraction],
    within: Mapping[str, float],
    known: Mapping[str, Fitted],
) -> tuple[Move, tuple[Fitted, ...]]:
    """Return the move in which each axis goes its way in the span, to within a tolerance of its own, and how.

    Keys of these axes in the span are replaced; legs from and to the keys beside it begin and end at rest. Where an
    axis is in motion at an end of the span, a key beyond it leads there or away. `known` is what was fitted before:
    it stays where its tolerance is the same.
    Error: ValueError in words with instants where a tolerance makes no sense or cannot be kept; ProjectError for a
    pinned key.
    """
    found = []
    for name, room in within.items():
        axis = rig.axes[rig.index(name)]
        before = known.get(name)
        if before is not None and before.within == room:
            alone, said = before.alone, before.captured
        else:
            alone, said = _kept(axis, rate, laws, one.at_s, one.positions[:, rig.index(name)], span, room)
        number = next((place for place, track in enumerate(move.tracks) if track.axis == name), len(move.tracks))
        old = move.tracks[number] if number < len(move.tracks) else Track(name, ())
        track, count = set_in(old, alone.keys, axis, rate, laws, number, "the camera")
        move = replace(move, tracks=(*move.tracks[:number], track, *move.tracks[number + 1 :]))
        found.append(Fitted(captured=said, replaced=count, alone=alone, within=room))
    return move, tuple(found)


def _kept(
    axis: Axis, rate: Rate, laws: Laws, at_s: Floats, values: Floats, span: tuple[Fraction, Fraction], within: float
) -> tuple[Track, Captured]:
    """Return the track of one axis alone, and what the fit says of it. Error: ValueError, as in `capture`.

    Where its ends are calmed, the samples themselves decide whether that was too much.
    """
    alone = Rig(name=axis.name, axes=(axis,))
    calm, spent = _calmed(at_s, values, within)
    for wanted, room in ((calm, within), (calm, within - spent), (values, within)):
        if room < within * _LEAST:
            continue
        made, said = capture(
            alone, Move(tracks=()), rate, laws, axis.name, _between(at_s, wanted, axis, room), span, room
        )
        if not spent or wanted is values:
            break
        if np.abs(compile_move(alone, made, rate, laws).sample(at_s)[:, 0] - values).max() <= within:
            break
    return made.tracks[0], said


def _shake(values: Floats) -> float:
    """Return the standard deviation of what shakes from sample to sample; of few samples nothing is known."""
    if len(values) < _FEW:
        return 0.0
    return float(np.median(np.abs(np.diff(values, 4)))) / _MIDDLE / _FOURTH


def _calmed(at_s: Floats, values: Floats, within: float) -> tuple[Floats, float]:
    """Return the samples without their shake at both ends, and by how much that moved any.

    What shakes at an end would be read as speed, and a run would have to come to it and leave it with that.
    """
    by = _shake(values)
    if by * _MOST_SHAKEN < within * _FELT:
        return values, 0.0
    calm = values.copy()
    for ways in (slice(None), slice(None, None, -1)):
        own_s, own = at_s[ways], values[ways]
        for count in _ENDS:
            if 2 * count > len(own):
                continue
            near = own_s[:count] - own_s[0]
            line = np.polynomial.Polynomial.fit(near, own[:count], 2)(near)
            if np.abs(line - own[:count]).max() <= by * _ENOUGH:
                share = 1 - np.arange(count) / count
                calm[ways][:count] += share * (line - own[:count])
                break
    return calm, float(np.abs(calm - values).max())


def _between(at_s: Floats, values: Floats, axis: Axis, within: float) -> Path:
    """Return the smooth curve through the samples, at instants so close that an axis cannot leave it by much."""
    from scipy.interpolate import CubicSpline  # half a second of a start, which most never need

    pace_s = max(_LEAST_S, min(_PACE_S, float(np.sqrt(8 * _BENT * within / axis.acceleration))))
    steps = max(4, min(ceil(float(np.diff(at_s).max()) / pace_s), _MOST // len(at_s)))
    count = np.arange((len(at_s) - 1) * steps + 1)
    fine_s = np.interp(count / steps, np.arange(len(at_s)), at_s)
    # few samples, or far apart: a cubic would swing out between them
    fine = CubicSpline(at_s, values)(fine_s) if len(at_s) > 3 else np.interp(fine_s, at_s, values)
    return Path(fine_s, np.asarray(fine, np.float64))


def _rounded_up(value: float) -> float:
    """Return the next larger number of two figures."""
    digits = 10.0 ** (1 - int(np.floor(np.log10(value))))
    return float(np.ceil(value * digits) / digits)
