"""Spread the time between pinned keys, so that every leg gets what it needs and the pins stay where they are.

Keys at one instant stay together, on all axes. A leg of a law gets the time that the law needs, exactly; what is drawn
as one curve over several keys keeps one factor, since its speed would jump otherwise; a smooth run is solved anew with
the new times, and its legs get more until it keeps the limits, which need not be the least change for it. It refuses
to change a value, a law or a pinned key.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.optimize import linprog

from sequencer.motion.legs import Legs
from sequencer.motion.repair.load import KEPT, Load, place_of, reason, said
from sequencer.motion.repair.need import least_s
from sequencer.motion.repair.outcome import AS_IT_IS, Impossible, Reason, Repaired, Tell, Unrepaired, unforeseen
from sequencer.motion.repair.stretch import anchor, billionth, instants, judged, retimed
from sequencer.rig.axis import Rig
from sequencer.score.easing import Laws, NoCurve
from sequencer.score.move import Move
from sequencer.timebase.instants import instant
from sequencer.timebase.rate import Rate

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Matrix = sparse.csr_matrix[np.float64]
Least = Literal["total", "largest"]

_BILLION = 10**9
# what rounding both ends of a leg to a billionth of a frame may take from it
_ROUNDING = Fraction(2, _BILLION)
# how much more than it seems to need a leg gets whose curve changes with its neighbours
_MORE = 1.003
_ROUNDS = 60
_INFEASIBLE = 2
# stretching refuses to move a pinned key, and turns about a single one
_STRETCH = "unpin all but one key, and stretch the whole move"
_FAR_OFF = f"mend values that are far off, or {_STRETCH}"


@dataclass(frozen=True, slots=True)
class _Span:
    """A leg between two of the move's instants: it lasts `gap` frames and needs `need`. A `bound` leg keeps one factor
    with the leg before it.
    """

    leg: int
    begin: int
    end: int
    gap: Fraction
    need: Fraction
    bound: bool


def spread(
    rig: Rig, move: Move, rate: Rate, laws: Laws, *, least: Least = "total", tell: Tell | None = None
) -> Repaired | Impossible:
    """Move the instants of keys that are not pinned, by the least in `total` or by the least `largest` one.

    Where nothing is pinned the first key stays. A stay may become as short as a frame; no key passes another one of
    its axis.
    Error: ProjectError as in `compile_move`; Unrepaired where a smooth run does not settle; Cancelled.
    """
    whole, found, reasons = judged(rig, move, rate, laws)
    if reasons:
        return Impossible(reasons=reasons)
    if not found.over.any():
        return Repaired(move=move, words=(AS_IT_IS,))
    at = instants(move)
    spans = _spans(rig, move, rate, laws, whole, found)
    pins = frozenset(key.at for track in move.tracks for key in track.keys if key.pin) or frozenset({anchor(move)})
    fixed = [when in pins for when in at]
    step = unforeseen(tell)
    for _ in range(_ROUNDS):
        step()
        if reasons := _conflicts(move, whole, spans, at, fixed):
            return Impossible(reasons=reasons)
        new = _solved(at, spans, fixed, least)
        if new is None:
            return Impossible(reasons=_tied(move, whole, spans))
        changed = retimed(move, dict(zip(at, new, strict=True)))
        _, found, reasons = judged(rig, changed, rate, laws)
        if reasons:
            return Impossible(reasons=reasons)
        if not found.over.any():
            return Repaired(move=changed, words=_said(move, dict(zip(at, new, strict=True))))
        spans = [_grown(span, new, found) for span in spans]
    axes = " and ".join(dict.fromkeys(rig.names[place_of(whole, int(leg))[0]] for leg in np.flatnonzero(found.over)))
    raise Unrepaired(f"the smooth runs of {axes} do not settle between these pins; {_STRETCH}")


def _spans(rig: Rig, move: Move, rate: Rate, laws: Laws, whole: Legs, found: Load) -> list[_Span]:
    """Return every leg between two keys, with the time that it needs as far as one knows before any is changed."""
    at = instants(move)
    place = {when: number for number, when in enumerate(at)}
    running = np.array([curve is NoCurve.RUN for curve in whole.curves])[whole.law]
    bound = found.moving & ~(running & np.roll(running, 1))
    # what moves on from leg to leg needs what its worst leg needs
    first = np.flatnonzero(~bound)
    factor = np.repeat(np.maximum.reduceat(found.factor, first), np.diff(first, append=len(bound)))
    spans = []
    for axis, track in enumerate(whole.track):
        keys = move.tracks[track].keys if track >= 0 else ()
        for leg, (key, following) in enumerate(pairwise(keys), int(whole.first[axis]) + 1):
            gap, part = following.at - key.at, float(factor[leg])
            if laws[key.ease.law].suited is not None and whole.law[leg] != 0:
                part = least_s(key.ease, laws, rig.axes[axis], float(whole.way[leg])) / float(rate.seconds(gap))
            need = max(_needed(gap, part), min(gap, Fraction(1)))
            spans.append(_Span(leg, place[key.at], place[following.at], gap, need, bool(bound[leg])))
    return spans


def _needed(gap: Fraction, factor: float) -> Fraction:
    need = billionth(gap * Fraction(factor)) + _ROUNDING
    return min(need, gap) if factor <= 1 + KEPT else need


def _grown(span: _Span, new: Sequence[Fraction], found: Load) -> _Span:
    """Give a leg that is over with its new time more than it seems to need: its neighbours get more as well."""
    if not found.over[span.leg]:
        return span
    gap = new[span.end] - new[span.begin]
    return replace(span, need=max(span.need, _needed(gap, _MORE * float(found.factor[span.leg]))))


def _conflicts(
    move: Move, whole: Legs, spans: list[_Span], at: Sequence[Fraction], fixed: Sequence[bool]
) -> tuple[Reason, ...]:
    """Return the pinned keys between which the legs need more time than there is; none, where all legs find theirs.

    Source: textbook (longest paths: differences of instants can be kept where no path between pins is too long).
    """
    into: list[list[_Span]] = [[] for _ in at]
    for span in spans:
        into[span.end].append(span)
    earliest: list[Fraction | None] = [when if pin else None for when, pin in zip(at, fixed, strict=True)]
    by: list[_Span | None] = [None] * len(at)
    reasons = []
    for place, pin in enumerate(fixed):
        for span in into[place]:
            begin, known = earliest[span.begin], earliest[place]
            if begin is None or (known is not None and begin + span.need <= known):
                continue
            by[place] = span
            if not pin:
                earliest[place] = begin + span.need
        if pin and by[place] is not None:
            reasons.append(_conflict(move, whole, at, fixed, _path(by, fixed, place)))
    return tuple(reasons)


def _path(by: Sequence[_Span | None], fixed: Sequence[bool], place: int) -> list[_Span]:
    path: list[_Span] = []
    while not path or not fixed[place]:
        span = by[place]
        assert span is not None
        path.insert(0, span)
        place = span.begin
    return path


def _conflict(move: Move, whole: Legs, at: Sequence[Fraction], fixed: Sequence[bool], path: list[_Span]) -> Reason:
    places = [place_of(whole, span.leg) for span in path]
    _, track, last = places[-1]
    keys = [key for _, own, key in places if own == track]
    begin, end = at[path[0].begin], at[path[-1].end]
    need = sum((span.need for span in path), Fraction(0))
    names = " and ".join(dict.fromkeys(move.tracks[own].axis for _, own, _ in places))
    words = (
        f"between the pinned keys at {instant(begin)} and {instant(end)} there are {said(end - begin)} frames, and the "
        f"legs of {names} need {said(need)}; unpin one of these keys, or soften the legs between them"
    )
    return reason(move, track, (*keys, last + 1), words)


def _tied(move: Move, whole: Legs, spans: list[_Span]) -> tuple[Reason, ...]:
    """Return what is drawn over several keys, where nothing but its one factor can be the reason."""
    reasons = []
    for track in sorted({place_of(whole, span.leg)[1] for span in spans if span.bound}):
        keys = [key for span in spans for _, own, key in [place_of(whole, span.leg)] if own == track and span.bound]
        words = "these legs are drawn as one curve, which pins inside or at both its ends let no factor change"
        reasons.append(reason(move, track, (keys[0] - 1, keys[-1] + 1), f"{words}; smooth it anew, or unpin keys"))
    return tuple(reasons)


def _solved(at: Sequence[Fraction], spans: list[_Span], fixed: Sequence[bool], least: Least) -> list[Fraction] | None:
    """Return the new instants, or None where a common factor cannot be kept.

    Source: textbook (least sum of absolute values, least largest one, as linear programs).
    """
    count = len(at)
    begin, end = np.array([span.begin for span in spans]), np.array([span.end for span in spans])
    more = np.array([float(span.need - span.gap) for span in spans])
    gap = np.array([float(span.gap) for span in spans])
    apart = _differences(begin, end, np.ones(len(spans)), count)
    bound = np.flatnonzero([span.bound for span in spans])
    same = _differences(begin, end, 1 / gap, count)
    tied = same[bound] - same[bound - 1]
    most = np.where(fixed, 0.0, np.inf)
    if least == "largest":
        largest = _least(apart, more, tied, most, together=True)
        if largest is None:
            return None
        most = np.minimum(most, np.abs(largest).max() * (1 + 1e-9) + 1e-9)
    moved = _least(apart, more, tied, most)
    if moved is None:
        return None
    new = [when + billionth(Fraction(by)) for when, by in zip(at, moved.tolist(), strict=True)]
    if any(new[span.end] - new[span.begin] < min(span.need - _ROUNDING, span.gap) for span in spans):
        raise Unrepaired(
            f"the program of the times, where a leg lacks {more.max():g} frames, was not solved well; {_FAR_OFF}"
        )
    return new


def _differences(begin: Ints, end: Ints, size: Floats, count: int) -> Matrix:
    """Return the matrix that gives, for each leg, how much longer it becomes, times its `size`."""
    row = np.arange(len(begin))
    values, rows, columns = np.append(size, -size), np.append(row, row), np.append(end, begin)
    return sparse.csr_matrix((values, (rows, columns)), shape=(len(begin), count))


def _least(apart: Matrix, more: Floats, tied: Matrix, most: Floats, together: bool = False) -> Floats | None:
    """Return by how much each instant moves: the sum is least, or `together` the largest; None where nothing will do.

    Each is the difference of two amounts that are not below zero, later and earlier.
    """
    count = len(most)
    cost = np.append(np.zeros(2 * count), 1.0) if together else np.append(np.ones(2 * count), 0.0)
    none = sparse.csr_matrix((apart.shape[0], 1))
    rows, limits = [sparse.hstack((-apart, apart, none))], [-more]
    if together:
        each = sparse.identity(count, format="csr")
        rows.append(sparse.hstack((each, each, sparse.csr_matrix(-np.ones((count, 1))))))
        limits.append(np.zeros(count))
    found = linprog(
        cost,
        A_ub=sparse.vstack(rows, format="csr"),
        b_ub=np.concatenate(limits),
        A_eq=sparse.hstack((tied, -tied, sparse.csr_matrix((tied.shape[0], 1))), format="csr"),
        b_eq=np.zeros(tied.shape[0]),
        bounds=[(0.0, limit) for limit in (*most.tolist(), *most.tolist(), np.inf)],
        method="highs-ds",
    )
    # with nothing tied there is a solution, since no pins are in conflict: then the arithmetic has failed
    if found.status == _INFEASIBLE and tied.shape[0]:
        return None
    if found.status != 0:
        what = f"the program of the times, where a leg lacks {more.max():g} frames, ended with: {found.message}"
        raise Unrepaired(f"{what}; {_FAR_OFF}")
    later, earlier = np.split(np.asarray(found.x)[:-1], 2)
    moved: Floats = later - earlier
    return moved


def _said(move: Move, new: Mapping[Fraction, Fraction]) -> tuple[str, ...]:
    names: dict[Fraction, list[str]] = {at: [] for at in sorted(new)}
    for track in move.tracks:
        for key in track.keys:
            names[key.at].append(track.axis)
    return tuple(
        f"{', '.join(own)}: the key at {instant(at)} goes to {instant(new[at])}"
        for at, own in names.items()
        if at != new[at]
    )
