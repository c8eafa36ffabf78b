"""Repair by smoothing: every key stays when and where it is, and the curve between them keeps the limits.

It refuses to touch what is within limits: other axes, and other stretches of the same axis, stay as they are written.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.compile import compile_legs, compile_move
from sequencer.motion.legs import Legs, legs
from sequencer.motion.peaks import TOLERANCE, over
from sequencer.motion.program import Unsolved
from sequencer.motion.repair.chain import limits
from sequencer.motion.repair.excess import KEPT, broken, hulls
from sequencer.motion.repair.outcome import Cancelled, Impossible, Offer, Reason, Repaired, Tell, Unrepaired
from sequencer.motion.repair.run import Refused, Run, Solved, solved
from sequencer.motion.repair.written import drawn_legs, read_back, table
from sequencer.motion.trajectory import Trajectory
from sequencer.rig.axis import Axis, Rig
from sequencer.score.easing import Laws
from sequencer.score.move import Key, Move
from sequencer.timebase.rate import Rate

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# of a run that has no curve: (rig, move, rate, laws, the axis's number, its first and last key, the legs' first keys
# that were kept within limits); every other run of the move keeps its limits already
Explain = Callable[[Rig, Move, Rate, Laws, int, int, int, tuple[int, ...]], Impossible]

_STRETCH = "stretching the move still works, and so does moving keys that stand very close together apart"


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """A run between two rests and where it lies: keys `first` to `last` of the track of axis number `axis`."""

    axis: int
    first: int
    last: int
    run: Run


def stretches(whole: Legs, axis: int, *, overshoot: bool = True) -> Iterator[Stretch]:
    """Yield the runs of an axis: what lies between flat legs and keys that hold, in order of time."""
    keys = whole.keys(axis)
    passing = whole.passing_at(keys)
    moving = whole.law[keys][:-1] != 0
    holds = np.array([how == "hold" for how in passing], np.bool_)
    begins = moving & (np.append(True, ~moving[:-1])[: len(moving)] | holds[:-1])
    ends = moving & (np.append(~moving[1:], True)[: len(moving)] | holds[1:])
    for first, last in zip(np.flatnonzero(begins).tolist(), (np.flatnonzero(ends) + 1).tolist(), strict=True):
        own = slice(keys.start + first, keys.start + last)
        run = Run(
            lasts_s=whole.lasts_s[own],
            values=whole.value[own.start : own.stop + 1],
            passing=passing[first : last + 1],
            overshoot=overshoot,
        )
        yield Stretch(axis=axis, first=first, last=last, run=run)


def smooth(
    rig: Rig,
    move: Move,
    rate: Rate,
    laws: Laws,
    *,
    axes: Sequence[str] | None = None,
    overshoot: bool = True,
    tell: Tell | None = None,
    explain: Explain | None = None,
) -> Repaired | Impossible:
    """Return the move with every run that breaks a limit drawn anew: the least integral of squared jerk within limits.

    Every key keeps its time and value, and what a smooth run does there; flat legs stay at rest. `axes` are the only
    ones looked at. Without `overshoot` no leg leaves its two keys' values, but beside a `free` key. Limits of axes
    together are not what the curves are solved for; the words say which of them are still broken. `tell` hears of each
    run. `explain` says why a run has no curve; without it nothing is proven and nothing offered.
    Error: ProjectError as in `compile_move`; Unrepaired; Cancelled.
    """
    whole = legs(rig, move, rate, laws)
    compiled = compile_legs(rig, whole)
    looked_at = [n for n, axis in enumerate(rig.axes) if whole.track[n] >= 0 and (axes is None or axis.name in axes)]
    outside = [reason for number in looked_at for reason in _outside(rig.axes[number], number, whole, move)]
    if outside:
        return Impossible(reasons=tuple(outside))
    bad = [
        each
        for number in looked_at
        for each in _broken(list(stretches(whole, number, overshoot=overshoot)), compiled, whole, rig.axes[number])
    ]
    found, refused = _redrawn(rig, move, whole, bad, tell)
    if refused:
        return _explained(rig, found, rate, laws, refused, explain or _unproven)
    words = [_words(each, rig.axes[each.axis]) for each in bad]
    # each axis is solved by itself
    after = over(compile_move(rig, found, rate, laws), rig) if rig.combined else ()
    together = {each.combined.name for each in after if each.combined is not None}
    words += [f"{name} is still over its limit; stretch the move as well" for name in sorted(together)]
    return Repaired(move=found, words=tuple(words))


def _outside(axis: Axis, number: int, whole: Legs, move: Move) -> Iterator[Reason]:
    """Yield the keys that no curve can reach."""
    if axis.travel is None:
        return
    low, high = axis.travel
    slack, values = KEPT * (high - low), whole.value[whole.keys(number)]
    for key in np.flatnonzero((values < low - slack) | (values > high + slack)).tolist():
        at = move.tracks[whole.track[number]].keys[key].at
        words = f"{axis.name} should stand at {values[key]:g}, outside its travel [{low:g}, {high:g}]"
        yield Reason(axis=axis.name, keys=(key,), at=(at,), proven=True, words=words)


def _broken(runs: list[Stretch], compiled: Trajectory, whole: Legs, axis: Axis) -> list[Stretch]:
    """Return the runs of an axis in which something is over a limit, or jumps, there and at both ends."""
    if not runs:
        return []
    key_s = whole.at_s[whole.keys(runs[0].axis)]
    breaks_s, coeffs = compiled.of(runs[0].axis)
    width_s, coeffs = np.diff(breaks_s), np.concatenate((np.zeros((max(4 - len(coeffs), 0), coeffs.shape[1])), coeffs))
    ends = np.searchsorted(breaks_s, [(key_s[each.first], key_s[each.last]) for each in runs])
    first = np.unique(np.concatenate(([0], ends.ravel(), [len(width_s)])))
    own = _too_much(coeffs, width_s, first, axis)[np.searchsorted(first, ends[:, 0])]
    return [each for each, wrong in zip(runs, own.tolist(), strict=True) if wrong]


def _too_much(coeffs: Floats, width_s: Floats, first: Ints, axis: Axis) -> Bools:
    """Return which stretches of pieces break a limit, jump between two pieces, or move at an end. Shape: as `broken`"""
    low, high = limits(axis)
    begin, end = (np.stack([hull[place] for hull in hulls(coeffs, width_s)[:3]]) for place in (0, -1))
    jump = high[[1, 1, 2], None] * TOLERANCE
    knock = np.abs(begin - np.roll(end, 1, axis=1)) > jump
    knock[:, first[:-1]] = False
    moves = np.maximum(np.abs(begin[1:, first[:-1]]), np.abs(end[1:, first[1:] - 1])) > jump[1:]
    jolts: Bools = np.logical_or.reduceat(knock.any(axis=0), first[:-1]) | moves.any(axis=0)
    return jolts | broken(coeffs, width_s, first, low, high)


def _redrawn(
    rig: Rig, move: Move, whole: Legs, broken: list[Stretch], tell: Tell | None
) -> tuple[Move, list[tuple[Stretch, Refused]]]:
    """Return the move with those stretches drawn anew that can be, and the others."""
    total, done = sum(each.last - each.first for each in broken), 0
    keys = {each.axis: list(move.tracks[whole.track[each.axis]].keys) for each in broken}
    refused = []
    for each in broken:
        axis = rig.axes[each.axis]
        try:
            answer = solved(each.run, *limits(axis))
        except Refused as error:
            refused.append((each, error))
        except Unsolved as error:
            where = f"keys {each.first + 1} to {each.last + 1} of {axis.name}"
            raise Unrepaired(f"the smoothest curve through {where} cannot be solved ({error}); {_STRETCH}") from error
        else:
            span = slice(each.first, each.last)
            keys[each.axis][span] = _drawn(keys[each.axis][span], each.run, answer, axis)
        done += each.last - each.first
        if tell is not None and not tell(done / total):
            raise Cancelled
    tracks = list(move.tracks)
    for number, own in keys.items():
        place = whole.track[number]
        tracks[place] = replace(tracks[place], keys=tuple(own))
    return replace(move, tracks=tuple(tracks)), refused


def _drawn(keys: list[Key], run: Run, answer: Solved, axis: Axis) -> list[Key]:
    """Return the keys with their legs as they were solved. Error: Unrepaired where what is written is not as good."""
    grid = answer.chain
    nodes = table(grid.lasts_s, grid.pieces, grid.part, answer.state)
    width_s, coeffs = read_back(nodes, grid.lasts_s, run.values, grid.pieces)
    if _too_much(coeffs, width_s, np.array([0, len(width_s)]), axis).any():
        raise Unrepaired(f"the curve of {axis.name} is lost in rounding; {_STRETCH}")
    return drawn_legs(keys, grid.pieces, nodes)


def _explained(
    rig: Rig, move: Move, rate: Rate, laws: Laws, refused: list[tuple[Stretch, Refused]], explain: Explain
) -> Impossible:
    """Return why these runs cannot be kept. With more than one, an offer mends them all, one after the other."""
    reasons: list[Reason] = []
    words: list[str] = []
    current: Move | None = move
    for each, error in refused:
        hot = tuple((each.first + error.legs).tolist())
        why = explain(rig, move if current is None else current, rate, laws, each.axis, each.first, each.last, hot)
        if len(refused) == 1:
            return why
        reasons += why.reasons
        current = why.offers[0].move if current is not None and why.offers else None
        words += [offer.words for offer in why.offers[:1]]
    offers = () if current is None else (Offer(move=current, words="; ".join(words)),)
    return Impossible(reasons=tuple(reasons), offers=offers)


def _unproven(
    rig: Rig, move: Move, rate: Rate, laws: Laws, axis: int, first_key: int, last_key: int, hot_legs: tuple[int, ...]
) -> Impossible:
    """Say where no curve was found, and no more."""
    name = rig.names[axis]
    keys = tuple(sorted({key for leg in hot_legs for key in (leg, leg + 1)})) or (first_key, last_key)
    track = next(track for track in move.tracks if track.axis == name)
    words = f"no curve was found through keys {keys[0] + 1} to {keys[-1] + 1} of {name} that keeps its limits"
    at = tuple(track.keys[key].at for key in keys)
    return Impossible(reasons=(Reason(axis=name, keys=keys, at=at, proven=False, words=words),))


def _words(stretch: Stretch, axis: Axis) -> str:
    return (
        f"{axis.name}: keys {stretch.first + 1} to {stretch.last + 1} have the smoothest curve that keeps every limit"
    )
