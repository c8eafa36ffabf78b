"""One track, compiled and judged, as columns: for drawing it, and for judging it again while a few keys change.

It refuses to fail: a track that cannot be compiled says why, and has straight lines between its keys.
"""

import math
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import partial
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from sequencer.errors import ProjectError
from sequencer.motion.changed import Change, change_of
from sequencer.motion.check import Check, LegCheck, check, judged
from sequencer.motion.compile import Pieces, compile_pieces
from sequencer.motion.extremes import Extremes
from sequencer.motion.legs import Legs, legs
from sequencer.motion.peaks import TOLERANCE, Extreme, Peak, against, worst
from sequencer.motion.program import Unsolved
from sequencer.motion.through import PIECES_A_LEG, smooth_run
from sequencer.rig.axis import Axis, Rig
from sequencer.score.easing import Laws, NoCurve
from sequencer.score.move import Ease, Move, Track
from sequencer.timebase.rate import Rate

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
T = TypeVar("T", np.float64, np.bool_)

# Legs of a smooth run that are solved anew on either side of a change, at first and where that is not enough: what is
# further away moves by less than _LEFT of the run's range.
_REACHES = (16, 64, 10**9)
_LEFT = 1e-8
# the rows of what legs ask for, as in Extremes
_ASKED = (("low", 0), ("high", 1), ("low_at", 2), ("high_at", 3), ("peak", slice(5, 8)), ("peak_at", slice(8, 11)))
_EXCESS, _ROWS = 4, 11


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Shape:
    """What the motor of one axis is asked to do by its track, when it is run at `speed`.

    Shape: `place` (N,): leg k, from key k to the next, has the pieces `place[k]` up to `place[k + 1]`; `runs` (N-1,)
    says which legs belong to a smooth run. What has a name of its own is a row of `keys`, `pieces` or `legs`: three
    arrays are copied sooner than many, which is most of the work while one key of thousands is dragged.
    Unit: seconds from the project's start as the move is written, whatever the speed; the axis's own unit.
    `fault` says why the track cannot be compiled, else it is empty.
    """

    axis: Axis
    track: Track
    rate: Rate
    speed: Fraction
    keys: Floats
    place: Ints
    pieces: Floats
    legs: Floats
    runs: Bools
    fault: str = ""

    @property
    def at_s(self) -> Floats:
        """When each key is. Shape: (N,)."""
        return self.keys[0, :]

    @property
    def value(self) -> Floats:
        """Where each key is; values of an axis that goes round count its turns. Shape: (N,)."""
        return self.keys[1, :]

    @property
    def from_s(self) -> Floats:
        """Where each piece begins. Shape: (P,)."""
        return self.pieces[0, :]

    @property
    def coeffs(self) -> Floats:
        """The pieces in PPoly's layout. Shape: (K, P)."""
        return self.pieces[1:]

    @property
    def low(self) -> Floats:
        """Each leg's lowest position. Shape: (N-1,)."""
        return self.legs[0, :]

    @property
    def high(self) -> Floats:
        """Each leg's highest position. Shape: (N-1,)."""
        return self.legs[1, :]

    @property
    def low_at(self) -> Floats:
        """When each leg is lowest. Shape: (N-1,)."""
        return self.legs[2, :]

    @property
    def high_at(self) -> Floats:
        """When each leg is highest. Shape: (N-1,)."""
        return self.legs[3, :]

    @property
    def excess(self) -> Floats:
        """How much more each leg asks than its axis can do, as a part of the limit that it breaks most. Shape: (N-1,).

        Below zero it is what is left.
        """
        return self.legs[_EXCESS, :]

    @property
    def peak(self) -> Floats:
        """Each leg's largest speed, acceleration and jerk, infinite from a jump on. Shape: (3, N-1)."""
        return self.legs[5:8]

    @property
    def peak_at(self) -> Floats:
        """When each peak is reached. Shape: (3, N-1)."""
        return self.legs[8:]

    def sample(self, t_s: Floats, order: int = 0) -> Floats:
        """Return positions, or their derivative of `order` (1 speed, 2 acceleration, 3 jerk), at the instants `t_s`.

        Before the first key and from the last one on the axis holds. Derivatives are those of the move as it is
        written, whatever the speed. Shape: `t_s` (T,), result (T,).
        """
        if not 0 <= order <= 3:
            raise ValueError(f"there are derivatives of the order 0 to 3, not {order}")
        moves = (t_s >= self.at_s[0]) & (t_s < self.at_s[-1])
        ends = self.value[[0, -1]] if order == 0 else np.zeros(2)
        values: Floats = np.where(t_s < self.at_s[0], ends[0], ends[1])
        piece = np.searchsorted(self.from_s, t_s[moves], "right") - 1
        since_s, found = t_s[moves] - self.from_s[piece], np.zeros(len(piece))
        for row in range(len(self.coeffs) - order):
            power = len(self.coeffs) - 1 - row
            found = found * since_s + self.coeffs[row, piece] * float(math.perm(power, order))
        values[moves] = found
        return values

    def leg(self, key: int) -> LegCheck:
        """Return what the leg from this key on asks."""
        speed, acceleration, jerk = map(Extreme, self.peak[:, key].tolist(), self.peak_at[:, key].tolist())
        peak = Peak(
            axis=self.axis.name,
            speed=speed,
            acceleration=acceleration,
            jerk=jerk,
            low=Extreme(float(self.low[key]), float(self.low_at[key])),
            high=Extreme(float(self.high[key]), float(self.high_at[key])),
        )
        return LegCheck(
            axis=self.axis.name,
            key=key,
            from_s=float(self.at_s[key]),
            to_s=float(self.at_s[min(key + 1, len(self.at_s) - 1)]),
            peak=peak,
            worst=worst(against(peak, self.axis)),
        )

    def over(self) -> tuple[LegCheck, ...]:
        """Return the legs that ask too much, the worst first."""
        broken = np.flatnonzero(self.excess > TOLERANCE)
        return tuple(self.leg(key) for key in broken[np.argsort(-self.excess[broken], kind="stable")].tolist())


def shape(axis: Axis, track: Track, rate: Rate, laws: Laws, speed: Fraction = Fraction(1)) -> Shape:
    """Compile and judge the track of `axis`."""
    rig = Rig(name="", axes=(axis,))
    try:
        return _of(check(rig, Move(tracks=(track,)), rate, laws, speed), axis, track, rate)
    except ProjectError as fault:
        straight = replace(track, keys=tuple(replace(key, ease=Ease("linear"), turn=None) for key in track.keys))
        found = check(rig, Move(tracks=(straight,)), rate, laws, speed)
        return replace(_of(found, axis, track, rate), fault=fault.what)


def reshaped(before: Shape, track: Track, rate: Rate, laws: Laws) -> Shape:
    """Return the shape of `track`, of which `before` was an earlier value: only what changed is worked out anew.

    That is the changed legs, those beside them, which are judged with them, and the smooth runs they belong to.
    Error: of a run of more than some hundred legs only what is near is solved anew, to 1e-9 of the run's range.
    """
    if track is before.track and rate == before.rate:
        return before
    change = None
    if not before.fault and rate == before.rate:
        change = change_of(before.track.keys, track.keys, before.runs, laws)
    if change is not None:
        try:
            for reach in _REACHES:
                after = _spliced(before, track, rate, laws, change, reach)
                if after is not None:
                    return after
        except ProjectError:
            pass  # the whole track's fault has the words
    return shape(before.axis, track, rate, laws, before.speed)


def _of(done: Check, axis: Axis, track: Track, rate: Rate) -> Shape:
    whole = done.whole
    keys, rows = whole.keys(0), slice(1, len(track.keys))  # the first leg is the rest before the track
    from_s, coeffs = done.trajectory.of(0)
    pieces = np.concatenate((from_s[None, :-1], coeffs))
    place = np.searchsorted(done.trajectory.from_s[1:-1], whole.at_s[keys], "left")
    return Shape(
        axis=axis,
        track=track,
        rate=rate,
        speed=done.speed,
        keys=_keyed(whole, keys),
        place=place,
        pieces=pieces,
        legs=_judged(done.found, done.excess, rows),
        runs=_running(whole)[rows],
    )


def _keyed(whole: Legs, keys: slice) -> Floats:
    """Return some keys as `Shape.keys`."""
    table = np.empty((2, keys.stop - keys.start))
    table[0], table[1] = whole.at_s[keys], whole.value[keys]
    return table


def _judged(found: Extremes, excess: Floats, rows: slice) -> Floats:
    """Return what some legs ask for, as the rows of `Shape.legs`."""
    table = np.empty((_ROWS, rows.stop - rows.start))
    for name, row in _ASKED:
        table[row] = getattr(found, name)[..., rows]
    table[_EXCESS] = excess[rows]
    return table


def _running(whole: Legs) -> Bools:
    """Return which legs belong to a smooth run."""
    kinds = np.array([curve is NoCurve.RUN for curve in whole.curves])
    return kinds[whole.law]


class _TooNear(Exception):
    """A change is still felt at the end of the stretch that was solved anew."""


@dataclass(frozen=True, slots=True)
class _Stretch:
    """The stretch of a track that is compiled anew, as places of legs in the track as it is now.

    A smooth run that the change is in goes from `run` up to `ran`; legs `solved` up to `until` are new; those from
    `judged` up to `over` are judged with them; all legs from `begin` up to `end` are looked at for that.
    """

    run: int
    ran: int
    solved: int
    until: int
    judged: int
    over: int
    begin: int
    end: int


def _stretch(before: Shape, change: Change, count: int, reach: int) -> _Stretch:
    run, ran = change.legs, change.until
    if change.joins[0] and run > 0 and before.runs[run - 1]:
        still = np.flatnonzero(~before.runs[:run])
        run = int(still[-1]) + 1 if len(still) else 0
    if change.joins[1] and ran < count and before.runs[ran - change.more]:
        still = np.flatnonzero(~before.runs[ran - change.more :])
        ran = ran + int(still[0]) if len(still) else count
    solved, until = max(run, change.legs - reach), min(ran, change.until + reach)
    # what a leg is charged for depends on the leg beside it
    judged, over = max(solved - 1, 0), min(until + 1, count)
    return _Stretch(run, ran, solved, until, judged, over, max(judged - 1, 0), min(over + 1, count))


def _spliced(before: Shape, track: Track, rate: Rate, laws: Laws, change: Change, reach: int) -> Shape | None:
    """Return the new shape; None where the change reaches further than `reach`, or turns what follows.

    Error: ProjectError where the track cannot be compiled.
    """
    count, more = len(track.keys) - 1, change.more
    own = _stretch(before, change, count, reach)
    rig = Rig(name="", axes=(before.axis,))
    whole = legs(rig, Move(tracks=(Track(track.axis, track.keys[own.begin : own.end + 1]),)), rate, laws)
    if own.begin < change.first:  # what is written there may be whole rounds away
        whole.value[:] += before.value[own.begin] - whole.value[1]
    if change.last <= count:
        turned = whole.value[1 + change.last - own.begin] - before.value[change.last - more]
        if abs(turned) > 1:
            return None
    try:
        new = compile_pieces(rig, whole, partial(_run, before, change, own))
    except _TooNear:
        return None
    found, excess = judged(rig, whole, new, before.speed)
    rows = slice(1 + own.judged - own.begin, 1 + own.over - own.begin)
    keys = slice(1 + change.first - own.begin, 1 + change.last - own.begin)
    place, pieces = _pieced(before, new, own, more)
    judged_were, keys_were = (own.judged, own.over - more), (change.first, change.last - more)
    return Shape(
        axis=before.axis,
        track=track,
        rate=rate,
        speed=before.speed,
        keys=_patched(before.keys, _keyed(whole, keys), keys_were),
        place=place,
        pieces=pieces,
        legs=_patched(before.legs, _judged(found, excess, rows), judged_were),
        runs=_patched(before.runs, _running(whole)[rows], judged_were),
    )


def _pieced(before: Shape, new: Pieces, own: _Stretch, more: int) -> tuple[Ints, Floats]:
    """Return `place` and `pieces` of the new shape; pieces of fewer powers have noughts for the highest."""
    place = new.place[1 + own.solved - own.begin : 2 + own.until - own.begin]
    span, began, ended = slice(place[0], place[-1]), before.place[own.solved], before.place[own.until - more]
    was, powers = before.pieces, len(new.coeffs)
    short = powers + 1 - len(was)
    if short > 0:
        was = np.concatenate((was[:1], np.zeros((short, was.shape[1])), was[1:]))
    table = np.zeros((len(was), span.stop - span.start))
    table[0], table[len(was) - powers :] = new.from_s[span], new.coeffs[:, span]
    pieces = _patched(was, table, (began, ended))
    own_place = place[:-1] + (began - place[0])
    if more == 0 and pieces.shape[1] == was.shape[1] and (own_place == before.place[own.solved : own.until]).all():
        return before.place, pieces
    later = before.place[own.until - more :] + (pieces.shape[1] - was.shape[1])
    return np.concatenate((before.place[: own.solved], own_place, later)), pieces


def _patched(was: NDArray[T], new: NDArray[T], span: tuple[int, int]) -> NDArray[T]:
    """Return `was` with `new` in the place of its columns from the one up to the other."""
    begin, end = span
    if new.shape[-1] != end - begin:
        return np.concatenate((was[..., :begin], new, was[..., end:]), axis=-1)
    after = was.copy()
    after[..., begin:end] = new
    return after


def _run(before: Shape, change: Change, own: _Stretch, whole: Legs, keys: slice) -> tuple[Floats, Floats]:
    """Return a smooth run in the stretch: what did not change as it was, and the rest solved."""
    begin, end = keys.start - 1 + own.begin, keys.stop - 2 + own.begin
    solved, until = max(begin, own.solved), min(end, own.until)
    if solved >= until:
        return _known(before, change, begin, end)
    span = slice(solved - own.begin + 1, until - own.begin + 2)
    at_s, value, passing = whole.at_s[span], whole.value[span], whole.passing_at(span)
    cut = solved > begin, until < end
    if not any(cut):
        return smooth_run(at_s, value, passing)
    states = np.zeros((2, 2))
    for side, leg in ((0, solved), (1, until - change.more)):
        if cut[side]:
            states[:, side] = before.coeffs[[-2, -3], before.place[leg]] * [1.0, 2.0]
    more = change.more
    all_values = np.concatenate(
        (before.value[own.run : solved], value, before.value[until - more + 1 : own.ran - more + 1])
    )
    lowest, highest = float(all_values.min()), float(all_values.max())
    try:
        breaks_s, pieces = smooth_run(at_s, value, passing, ends=states, span=(lowest, highest))
    except Unsolved as error:
        raise _TooNear from error
    lasts_s = np.diff(breaks_s) ** np.arange(len(pieces) - 1, -1, -1.0)[:, None]
    for side, first, last in ((0, solved, solved + 1), (1, until - 1, until)):
        if cut[side]:
            new = slice(0, PIECES_A_LEG) if side == 0 else slice(-PIECES_A_LEG, None)
            _, known = _known(before, change, first, last)
            if np.abs((pieces[:, new] - known) * lasts_s[:, new]).max() > _LEFT * (highest - lowest):
                raise _TooNear
    left, right = _known(before, change, begin, solved), _known(before, change, until, end)
    return (
        np.concatenate((left[0][:-1], breaks_s[:-1], right[0])),
        np.concatenate((left[1], pieces, right[1]), axis=1),
    )


def _known(before: Shape, change: Change, begin: int, end: int) -> tuple[Floats, Floats]:
    """Return the breaks and the pieces of legs of a smooth run as they were before the change."""
    shift = change.more if begin >= change.until else 0
    pieces = slice(before.place[begin - shift], before.place[end - shift])
    end_s = before.at_s[end - shift]
    return np.append(before.from_s[pieces], end_s), before.coeffs[-6:, pieces]
