"""A solved curve, written back into a track as drawn legs between its keys. It refuses to move a key by itself."""

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from sequencer.score.fit import hermite
from sequencer.score.laws.spline import Spline
from sequencer.score.move import Ease, Key, Track
from sequencer.timebase.rate import Rate

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_BILLION = 10**9


def drawn(track: Track, first: int, last: int, keys_s: Floats, nodes_s: Floats, state: Floats) -> Track:
    """Return `track` with its legs from key `first` to key `last` as the quintic pieces between node states.

    Shape: `keys_s` (last - first + 1,), the instants of those keys, each of which is a node; `nodes_s` (N,), `state`
    (N, 3) position, speed and acceleration. The position at a key is the key's own, unwound like the nodes: what is
    written is the distance from the straight line between the two keys.
    Unit: seconds; the axis's own, that a second, a second squared.
    """
    place = np.minimum(np.searchsorted(nodes_s, keys_s), len(nodes_s) - 1)
    if not np.array_equal(nodes_s[place], keys_s):
        raise ValueError("every key must be a node")
    lasts_s, pieces = np.diff(keys_s), np.diff(place)
    since_s = nodes_s[place[0] : place[-1]] - np.repeat(keys_s[:-1], pieces)
    part, own = since_s / np.repeat(lasts_s, pieces), state[place[0] : place[-1] + 1]
    keys = list(track.keys)
    keys[first:last] = drawn_legs(keys[first:last], pieces, table(lasts_s, pieces, part, own))
    return replace(track, keys=tuple(keys))


def table(lasts_s: Floats, pieces: Ints, part: Floats, state: Floats) -> Floats:
    """Return the rows of `Spline.nodes` of L legs in a row, leg after leg: a key's node is the last of one and the
    first of the next.

    Shape: `lasts_s`, `pieces` (L,); `part` (P,), at what part of its leg's time each piece begins; `state` (P+1, 3)
    position, speed and acceleration; result (P+L, 4).
    """
    leg = np.repeat(np.arange(len(pieces)), pieces + 1)
    node, last = np.arange(len(leg)) - leg, np.cumsum(pieces + 1) - 1
    u = np.append(part, 1.0)[node]
    u[last] = 1.0
    position, speed, acceleration = state[node].T
    begin, lasts = position[last - pieces], lasts_s[leg]
    way = (position[last] - begin)[leg]
    off = position - begin[leg] - u * way
    off[last] = 0.0
    return np.stack((u, off, speed * lasts - way, acceleration * lasts**2), axis=1)


def read_back(nodes: Floats, lasts_s: Floats, values: Floats, pieces: Ints) -> tuple[Floats, Floats]:
    """Return how long each piece lasts, and its polynomial, as they will be compiled from a `table`.

    Shape: `nodes` (P+L, 4), `lasts_s`, `pieces` (L,), `values` (L+1,), those of the keys; result (P,), (6, P).
    """
    begins = np.delete(np.arange(len(nodes)), np.cumsum(pieces + 1) - 1)
    u, lasts, way = nodes[:, 0], np.repeat(lasts_s, pieces), np.repeat(np.diff(values), pieces)
    coeffs = hermite(*nodes.T)[:, begins] / lasts ** np.arange(5, -1, -1)[:, None]
    coeffs[-1] += np.repeat(values[:-1], pieces) + way * u[begins]
    coeffs[-2] += way / lasts
    return (u[begins + 1] - u[begins]) * lasts, coeffs


def drawn_legs(keys: Sequence[Key], pieces: Ints, nodes: Floats) -> list[Key]:
    """Return the keys that begin L legs with these drawn as a `table` says. Shape: `pieces` (L,), `nodes` (P+L, 4)."""
    rows = list(zip(*nodes.T.tolist(), strict=True))
    end = np.cumsum(pieces + 1)
    return [
        replace(key, ease=Ease("spline", Spline(tuple(rows[begin:end]))))
        for key, begin, end in zip(keys, (end - pieces - 1).tolist(), end.tolist(), strict=True)
    ]


def frame_at(t_s: float, rate: Rate) -> Fraction:
    """Return the instant in frames, as fine as a project file keeps it: a billionth of a frame."""
    return Fraction(round(Fraction(t_s) * rate.fraction * _BILLION), _BILLION)
