"""The least time along the path that a move draws, through the same keys, within speed, acceleration and jerk.

It refuses to round corners: where the drawn curve steps in speed or acceleration, gentler laws come first (`soften`).
All axes share one clock along the path, so that what arrives together stays together. The path is cut where every axis
rests: rests keep their length, and each part between them is run in its own least time. Cues and markers stay.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import partial

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.compile import compile_legs, compile_move
from sequencer.motion.legs import Legs, legs
from sequencer.motion.peaks import over
from sequencer.motion.repair.outcome import Cancelled, Impossible, Reason, Repaired, Tell, Unrepaired
from sequencer.motion.repair.pathgrid import STILL, Part, moving, parts_of, path_of
from sequencer.motion.repair.pathspeed import Path, lasts, least_time, rate_along
from sequencer.motion.repair.projection import Nodes, Refused, projected
from sequencer.motion.repair.written import drawn, frame_at
from sequencer.motion.trajectory import Trajectory
from sequencer.rig.axis import Rig
from sequencer.score.easing import Laws
from sequencer.score.fit import hermite
from sequencer.score.move import Key, Move, Track
from sequencer.timebase.rate import Rate

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# how much longer than the grid's least time a part may take, tried in this order
_STRETCHES = (1.002, 1.005, 1.01, 1.02, 1.05, 1.1)
_MANY_KEYS = 40
# of an axis's unit, all axes together
DEVIATION = 0.02
_STEP = 1e-6
_SHORTER = 1e-3
_PROBES = (0.25, 0.5, 0.75)


@dataclass(frozen=True, slots=True, eq=False)
class _Run:
    """What one axis does in a part, from key `first` to key `last` of its track: nodes and states of the legal curve.

    Shape: `nodes` slice of the part's nodes; `state` (N, 3).
    """

    axis: int
    first: int
    last: int
    nodes: slice
    state: Floats


@dataclass(frozen=True, slots=True, eq=False)
class _Done:
    """A part in its new time. Shape: `since_s` (N,) of its nodes, after its begin. `deviation` is from the path."""

    part: Part
    since_s: Floats
    runs: tuple[_Run, ...]
    deviation: float


def earliest(rig: Rig, move: Move, rate: Rate, laws: Laws, *, tell: Tell | None = None) -> Repaired | Impossible:
    """Return the move whose keys stand as early as its motors can follow the drawn path, and its curve.

    A part of the path after which a pinned key stands is left as it is.
    Error: ProjectError as in `compile_move`; Cancelled; Unrepaired where the arithmetic does not suffice.
    """
    whole = legs(rig, move, rate, laws)
    path = compile_legs(rig, whole)
    if reasons := _steps(rig, whole, path) + _beyond(rig, path):
        return Impossible(reasons=reasons)
    parts = parts_of(rig, whole, path)
    pinned_s = max(
        (float(rate.seconds(key.at)) for track in move.tracks for key in track.keys if key.pin), default=-np.inf
    )
    kept = [part for part in parts if part.at_s[0] < pinned_s - STILL]
    if reasons := tuple(reason for part in kept for reason in _too_fast(rig, path, part)):
        return Impossible(reasons=reasons)
    done = _solved(rig, whole, path, parts[len(kept) :], rate, tell)
    words = (
        []
        if not kept
        else [
            f"{len(kept)} of {len(parts)} stretches between rests stay as they are, since a pinned key "
            "stands after them; unpin it to shorten them"
        ]
    )
    found = _written(move, whole, rate, done, words)
    if rig.combined:
        for each in over(compile_move(rig, found.move, rate, laws), rig):
            raise Unrepaired(
                f"along this path {each.axis} would break its {each.of} limit at {each.at_s:.3f} s, since "
                "limits that tie axes together are not planned here; stretch still works"
            )
    return found


def grid_of(rig: Rig, move: Move, rate: Rate, laws: Laws) -> Path:
    """Return the derivatives of the drawn path on the grid that `earliest` solves on, part after part."""
    whole = legs(rig, move, rate, laws)
    path = compile_legs(rig, whole)
    return path_of(rig, path, parts_of(rig, whole, path))


def _steps(rig: Rig, whole: Legs, path: Trajectory) -> tuple[Reason, ...]:
    """Return where the drawn curve steps in speed or acceleration: no clock can run along such a path."""
    reasons = []
    for number, axis in enumerate(rig.axes):
        span = slice(path.first[number], path.first[number + 1])
        from_s, coeffs = path.from_s[span], path.coeffs[:, span]
        before = np.diff(from_s)
        values = []
        for _ in range(3):
            end, most = np.zeros(len(before)), np.zeros(len(before))
            for row in coeffs[:, :-1]:
                end, most = end * before + row, most * before + np.abs(row)
            values.append((end, coeffs[-1, 1:], float(most.max())))
            coeffs = coeffs[:-1] * np.arange(len(coeffs) - 1, 0, -1)[:, None] if len(coeffs) > 1 else 0 * coeffs
        for name, (left, right, size) in zip(("speed", "acceleration"), values[1:], strict=True):
            jumps = np.flatnonzero(np.abs(left - right) > _STEP * size)
            if len(jumps):
                keys = whole.keys(number)
                key = int(np.searchsorted(whole.at_s[keys], from_s[jumps[0] + 1], "right")) - 1
                what = f"{axis.name} steps in {name} at or after key {key + 1}, at {from_s[jumps[0] + 1]:.3f} s"
                reasons.append(
                    Reason(
                        axis=axis.name,
                        keys=(max(key, 0),),
                        at=(),
                        proven=True,
                        words=f"{what}; soften its laws first, then ask for the earliest",
                    )
                )
                break
    return tuple(reasons)


def _beyond(rig: Rig, path: Trajectory) -> tuple[Reason, ...]:
    """Return which axes leave their travel: no clock mends that."""
    return tuple(
        Reason(
            axis=each.axis,
            keys=(),
            at=(),
            proven=True,
            words=f"{each.axis} goes to {each.value:.3f} at {each.at_s:.3f} s, its travel ends at {each.limit:g}; "
            "move the key inside the travel",
        )
        for each in over(path, rig)
        if each.of == "travel"
    )


def _too_fast(rig: Rig, path: Trajectory, part: Part) -> tuple[Reason, ...]:
    return tuple(
        Reason(
            axis=each.axis,
            keys=(),
            at=(),
            proven=True,
            words=f"{each.axis} asks too much {each.of} at {each.at_s:.3f} s, and a pinned key after it "
            "holds its time; unpin that key, or move it",
        )
        for each in over(path.between(part.at_s[0], part.at_s[-1]), rig)
    )


def _solved(rig: Rig, whole: Legs, path: Trajectory, parts: list[Part], rate: Rate, tell: Tell | None) -> list[_Done]:
    """Return the parts that can be shortened, or must be lengthened, in their new time."""
    if not parts:
        return []

    def told(done: float) -> None:
        if tell is not None and not tell(done):
            raise Cancelled

    along = path_of(rig, path, parts)
    b = least_time(along, told=lambda done: told(0.7 * done))
    speed, pull = np.sqrt(b), rate_along(along, b)
    shares = [lasts(along, b, share) for share in (*_PROBES, 1.0)]
    position = path.sample(along.at).T
    wanted = np.stack((position, along.slope * speed, along.bend * b + along.slope * pull), axis=2)
    done = []
    for number, (part, first) in enumerate(zip(parts, along.first, strict=True)):
        told(0.7 + 0.3 * number / len(parts))
        span = slice(int(first), int(first) + len(part.at_s))
        own = [share[span.start : span.stop - 1] for share in shares]
        least_s, drawn_s = float(own[-1].sum()), float(np.ptp(part.at_s))
        if least_s * _STRETCHES[0] > drawn_s * (1 - _SHORTER) and not _too_fast(rig, path, part):
            continue
        done.append(
            _legal(rig, whole, path, part, rate, (own, wanted[:, span]), partial(told, 0.7 + 0.3 * number / len(parts)))
        )
    return done


def _legal(
    rig: Rig,
    whole: Legs,
    path: Trajectory,
    part: Part,
    rate: Rate,
    law: tuple[list[Floats], Floats],
    look: Callable[[], None],
) -> _Done:
    """Return the part at the least stretch at which its curve can be kept within limits and by the path."""
    own, wanted = law
    why = ""
    # through many keys the first is mostly refused, after much work
    for stretch in _STRETCHES[int(part.key.sum() > _MANY_KEYS) :]:
        since_s = np.append(0.0, np.cumsum(own[-1] * stretch))
        since_s[part.key] = [float(rate.seconds(frame_at(each, rate))) for each in since_s[part.key].tolist()]
        state = wanted / np.array([1.0, stretch, stretch**2])
        try:
            runs = tuple(_runs(rig, whole, part, since_s, state, look))
        except Refused as error:
            why = str(error)
            continue
        deviation = _deviation(path, part, runs, since_s, [share * stretch for share in own])
        if deviation <= DEVIATION:
            return _Done(part, since_s, runs, deviation)
        why = f"the nearest curve is {deviation:.3f} off the path"
    raise Unrepaired(
        f"from {part.at_s[0]:.3f} s to {part.at_s[-1]:.3f} s no legal curve close to the path was found ({why}); "
        "stretch still works"
    )


def _runs(rig: Rig, whole: Legs, part: Part, since_s: Floats, state: Floats, look: Callable[[], None]) -> list[_Run]:
    """Return each axis's legal curve, from rest to rest. Error: Refused."""
    runs = []
    for number, axis in enumerate(rig.axes):
        look()
        keys = whole.keys(number)
        at_s, moves = whole.at_s[keys], moving(whole)[keys]
        moves = moves & (at_s >= part.at_s[0]) & (at_s < part.at_s[-1])
        edges = np.flatnonzero(np.diff(moves, prepend=False, append=False))
        low, high = (-np.inf, np.inf) if axis.travel is None else axis.travel
        rates = np.array([axis.speed, axis.acceleration, axis.jerk])
        for begin, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
            place = np.searchsorted(part.at_s, at_s[begin : end + 1])
            span = slice(int(place[0]), int(place[-1]) + 1)
            own = state[number, span].copy()
            own[[0, -1], 1:] = 0.0
            key = np.zeros(len(own), np.bool_)
            key[place - place[0]] = True
            own[key, 0] = whole.value[keys][begin : end + 1]
            nodes = Nodes(since_s[span], key, np.array([low, *-rates]), np.array([high, *rates]))
            runs.append(_Run(number, begin, end, span, projected(nodes, own)))
    return runs


def _deviation(path: Trajectory, part: Part, runs: tuple[_Run, ...], since_s: Floats, shares: list[Floats]) -> float:
    """Return how far the runs are from the path, all axes together: from its nearest point, to first order."""
    worst = 0.0
    for share, lasts_s in zip((*_PROBES, 1.0), shares, strict=True):
        at_s = part.at_s[:-1] + share * np.diff(part.at_s)
        off, along = np.zeros((len(at_s), len(path.axes))), path.sample(at_s, 1)
        true = path.sample(at_s)
        for run in runs:
            pieces = slice(run.nodes.start, run.nodes.stop - 1)
            coeffs = hermite(since_s[run.nodes], *run.state.T)
            value = np.zeros(coeffs.shape[1])
            for row in coeffs:
                value = value * lasts_s[pieces] + row
            off[pieces, run.axis] = value - true[pieces, run.axis]
        length = (along**2).sum(axis=1)
        part_along = (off * along).sum(axis=1) / np.where(length > 0, length, 1.0)
        worst = max(worst, float(np.sqrt(((off - part_along[:, None] * along) ** 2).sum(axis=1)).max()))
    return worst


def _written(move: Move, whole: Legs, rate: Rate, done: list[_Done], words: list[str]) -> Repaired:
    """Return the move with the parts in their new time, and everything after a part as much earlier or later."""
    if not done:
        return Repaired(move=move, words=(*words, "the move is as early as its motors can follow: it stays as it is"))
    begins_s = [float(each.part.at_s[0]) for each in done]
    ends_s = [float(each.part.at_s[-1]) for each in done]
    tracks = list(move.tracks)
    for each in done:
        for run in each.runs:
            number = whole.track[run.axis]
            at_s = whole.at_s[whole.keys(run.axis)][run.first : run.last + 1]
            keys_s = each.since_s[np.searchsorted(each.part.at_s, at_s)]
            tracks[number] = drawn(tracks[number], run.first, run.last, keys_s, each.since_s[run.nodes], run.state)
    shift, new_begin = [Fraction(0)], []
    frames = {float(rate.seconds(key.at)): key.at for track in move.tracks for key in track.keys}
    for each, begin_s, end_s in zip(done, begins_s, ends_s, strict=True):
        begin = frames[begin_s] + shift[-1]
        new_begin.append(begin)
        shift.append(begin + frame_at(float(each.since_s[-1]), rate) - frames[end_s])

    def moved(key: Key) -> Key:
        at_s = float(rate.seconds(key.at))
        part = int(np.searchsorted(begins_s, at_s, "right")) - 1
        if part < 0:
            return key
        if at_s >= ends_s[part]:
            return replace(key, at=key.at + shift[part + 1])
        own = done[part]
        place = int(np.searchsorted(own.part.at_s, at_s))
        if own.part.at_s[place] == at_s:
            return replace(key, at=new_begin[part] + frame_at(float(own.since_s[place]), rate))
        # a key at which its axis rests while others move
        since_s = float(np.interp(at_s, own.part.at_s, own.since_s))
        return replace(key, at=new_begin[part] + frame_at(since_s, rate))

    shifted = tuple(Track(track.axis, tuple(moved(key) for key in track.keys)) for track in tracks)
    gained_s = -float(rate.seconds(shift[-1]))
    worst = max(each.deviation for each in done)
    words = [
        f"the move is {abs(gained_s):.3f} s {'shorter' if gained_s >= 0 else 'longer'}; rests keep their length, "
        "and cues and markers stay where they are",
        f"it keeps to the drawn path within {max(worst, 0.0001):.4f} of the axes' units",
        *words,
    ]
    return Repaired(move=replace(move, tracks=shifted), words=tuple(words))
