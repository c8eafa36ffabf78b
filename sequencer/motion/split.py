"""Put a key into the middle of a leg without changing the curve. It refuses to do so where that cannot be.

A leg at rest or of even speed keeps its law on both sides. Any other leg, and the whole run where it is a smooth one,
becomes drawn legs: exactly, or within fit.TOLERANCE of the way where a law's pieces are above the fifth degree.
"""

from dataclasses import replace
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from sequencer.errors import ProjectError
from sequencer.motion.compile import compile_legs, places
from sequencer.motion.extremes import shifted
from sequencer.motion.legs import Legs, legs
from sequencer.motion.repair.written import drawn
from sequencer.motion.trajectory import Trajectory
from sequencer.rig.axis import Rig
from sequencer.score.easing import Laws, NoCurve, UnitCurve
from sequencer.score.edits.selection import CLOSEST
from sequencer.score.edits.turns import way
from sequencer.score.fit import TOLERANCE
from sequencer.score.move import Key, Move
from sequencer.timebase.instants import instant
from sequencer.timebase.rate import Rate

Floats = NDArray[np.float64]

# of the leg's speed and acceleration: more is a jump, which no drawn leg has inside
_JUMP = 1e-6
# of the shortest leg
_NEAR = 1e-9
_DRAWN_DEGREE = 5


def split(rig: Rig, move: Move, rate: Rate, laws: Laws, axis: str, at: Fraction) -> Move:
    """Return the move with a key of `axis` at frame `at`, where the curve is at that instant.

    Error: ValueError where the axis has no leg there, or one with a jump inside, which two drawn legs could not have;
    ProjectError as in `compile_move`, and for a key that stands there already, or nearer than keys may stand.
    """
    whole = legs(rig, move, rate, laws)
    number = whole.track[rig.index(axis)]
    keys = move.tracks[number].keys if number >= 0 else ()
    if not keys or not keys[0].at < at < keys[-1].at:
        raise ValueError(f"{axis} has no leg at {instant(at)}; a key there would be a new end of its track")
    place = sum(key.at <= at for key in keys) - 1
    for near in (place, place + 1):
        if abs(keys[near].at - at) < CLOSEST:
            what = f"a key of {axis} stands at {instant(keys[near].at)} already"
            raise ProjectError(f"tracks[{number}].keys[{near}]", what, "choose another instant")
    leg = int(whole.first[rig.index(axis)]) + 1 + place
    at_s = float(rate.seconds(at))
    trajectory = compile_legs(rig, whole)
    position = float(trajectory.at(at_s)[0][rig.index(axis)])
    own = whole.curves[whole.law[leg]]
    new = _between(axis, keys[place], keys[place + 1], at, position - whole.value[leg])
    before = replace(keys[place], turn=None)
    track = replace(move.tracks[number], keys=(*keys[:place], before, new, *keys[place + 1 :]))
    if whole.law[leg] != 0 and not (isinstance(own, UnitCurve) and _even(own)):
        first, last = _run(whole, leg) if own is NoCurve.RUN else (leg, leg + 1)
        nodes_s, state = _nodes(whole, trajectory, first, last, at_s)
        keys_s = np.insert(whole.at_s[first : last + 1], leg + 1 - first, at_s)
        begin = place - (leg - first)
        track = drawn(track, begin, begin + last - first + 1, keys_s, nodes_s, state)
    tracks = [*move.tracks]
    tracks[number] = track
    return replace(move, tracks=tuple(tracks))


def _between(axis: str, key: Key, following: Key, at: Fraction, gone: float) -> Key:
    """Return the new key, from which the axis goes on the way round that it was going."""
    new = Key(at, key.value + float(gone), key.ease)
    if key.turn is None:
        return new
    rest = way(key, following) - float(gone)
    new = replace(new, turn="up" if rest >= 0 else "down")
    if abs(way(new, following) - rest) > TOLERANCE:
        what = f"{axis} swings beyond its own keys by a whole round at {instant(at)}, which no turn can say"
        raise ValueError(f"{what}; split nearer to the end of the leg")
    return new


def _even(curve: UnitCurve) -> bool:
    return curve.coeffs.shape[1] == 1 and not curve.coeffs[:-2].any()


def _run(whole: Legs, leg: int) -> tuple[int, int]:
    """Return the first leg of the smooth run, and the leg after its last."""
    running = [curve is NoCurve.RUN for curve in whole.curves]
    first, last = leg, leg + 1
    while running[whole.law[first - 1]]:
        first -= 1
    while running[whole.law[last]]:
        last += 1
    return first, last


def _nodes(whole: Legs, trajectory: Trajectory, first: int, last: int, at_s: float) -> tuple[Floats, Floats]:
    """Return the instants and states (N,), (N, 3) at which pieces of the fifth degree make the curve of these legs.

    Error: ValueError where the acceleration jumps between them.
    """
    place = places(whole)
    span = slice(place[first], place[last])
    from_s, coeffs = trajectory.from_s[span], trajectory.coeffs[:, span]
    end_s = whole.at_s[last]
    way, lasts_s = np.abs(whole.way[first:last]), whole.lasts_s[first:last]
    cuts_s = [np.array([at_s])]
    for begin_s, until_s, column in zip(from_s, np.append(from_s[1:], end_s), coeffs.T, strict=True):
        parts = _parts(column, until_s - begin_s, float(way.max()))
        cuts_s.append(np.linspace(begin_s, until_s, parts + 1)[:-1])
    cut_s = np.unique(np.concatenate(cuts_s))
    # a piece that ends at the new key but for rounding ends there
    near = (np.abs(cut_s - at_s) < _NEAR * lasts_s.min()) & (cut_s != at_s)
    nodes_s = np.append(cut_s[~near], end_s)
    piece = np.searchsorted(from_s, nodes_s, "right") - 1
    state = _states(coeffs[:, piece], nodes_s - from_s[piece])
    ends = _states(coeffs, np.append(from_s[1:], end_s) - from_s)
    jump = np.abs(_states(coeffs, np.zeros(len(from_s)))[1:] - ends[:-1])
    size = np.maximum([(way / lasts_s).max(), (way / lasts_s**2).max()], np.abs(state[:, 1:]).max(axis=0))
    if (jump[:, 1:] > _JUMP * size).any():
        raise ValueError("the acceleration jumps inside this leg, which two drawn legs could not do; soften it first")
    return nodes_s, state


def _parts(coeffs: Floats, lasts_s: float, way: float) -> int:
    """Return into how many parts a piece is cut, so that quintics through the ends of each are near enough.

    Source: textbook (error of the Hermite interpolation: sixth derivative / 6! times (length / 2)**6).
    """
    above = coeffs[: -_DRAWN_DEGREE - 1]
    if not above.any():
        return 1
    powers = np.arange(len(coeffs) - 1, _DRAWN_DEGREE, -1)
    rise = np.array([np.prod(np.arange(power - _DRAWN_DEGREE, power + 1)) for power in powers])
    sixth = float((np.abs(above) * rise * lasts_s ** (powers - _DRAWN_DEGREE - 1)).sum())
    return int(np.ceil(lasts_s / 2 * (sixth / (720 * TOLERANCE * way)) ** (1 / 6)))


def _states(coeffs: Floats, since_s: Floats) -> Floats:
    """Return position, speed and acceleration so long after each piece's begin. Shape: (K, N), (N,), result (N, 3)."""
    padded = np.pad(coeffs, ((max(3 - len(coeffs), 0), 0), (0, 0)))
    moved = shifted(padded, since_s)
    return np.stack((moved[-1], moved[-2], 2 * moved[-3]), axis=1)
