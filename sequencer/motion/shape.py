"""One track, compiled and judged, as columns: for drawing it, and for judging it again while a few keys change.

It refuses to fail: a track that cannot be compiled says why, and has straight lines between its keys.
"""

import math
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sequencer.errors import ProjectError
from sequencer.motion.check import Check, LegCheck, check, judged
from sequencer.motion.compile import compile_legs, places
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

# how many keys are compared at once
_BLOCK = 256
# Legs of a smooth run that are solved anew on either side of a change, at first and where that is not enough: what is
# further away moves by less than _LEFT of the run's range.
_REACHES = (16, 64, 10**9)
_LEFT = 1e-8
# the columns of what legs ask for, as in Extremes
_ASKED = ("low", "high", "low_at", "high_at", "peak", "peak_at")


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Shape:
    """What the motor of one axis is asked to do by its track, when it is run at `speed`.

    Shape: `at_s`, `value` (N,), the keys; values of an axis that goes round count its turns. `from_s` (P,), where a
    piece begins, and `coeffs` (K, P) in PPoly's layout; leg k, from key k to the next, has the pieces `place[k]` up
    to `place[k + 1]`, `place` (N,). Each leg's `low` and `high` (N-1,) position, and `peak` speed, acceleration and
    jerk, each reached at `peak_at` (3, N-1), infinite from a jump on. `excess` (N-1,) is how much more it asks than
    its axis can do, as a part of the limit that it breaks most, or what is left where that is below zero. `runs`
    (N-1,) says which legs belong to a smooth run.
    Unit: seconds from the project's start as the move is written, whatever the speed; the axis's own unit.
    `fault` says why the track cannot be compiled, else it is empty.
    """

    axis: Axis
    track: Track
    rate: Rate
    speed: Fraction
    at_s: Floats
    value: Floats
    place: Ints
    from_s: Floats
    coeffs: Floats
    low: Floats
    high: Floats
    low_at: Floats
    high_at: Floats
    peak: Floats
    peak_at: Floats
    excess: Floats
    runs: Bools
    fault: str = ""

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
    change = None if before.fault or rate != before.rate else _change(before, track, laws)
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
    place = np.searchsorted(done.trajectory.from_s[1:-1], whole.at_s[keys], "left")
    return Shape(
        axis=axis,
        track=track,
        rate=rate,
        speed=done.speed,
        at_s=whole.at_s[keys],
        value=whole.value[keys],
        place=place,
        from_s=from_s[:-1],
        coeffs=coeffs,
        excess=done.excess[rows],
        runs=_running(whole)[rows],
        **{name: getattr(done.found, name)[..., rows] for name in _ASKED},
    )


def _running(whole: Legs) -> Bools:
    """Return which legs belong to a smooth run."""
    kinds = np.array([curve is NoCurve.RUN for curve in whole.curves])
    return kinds[whole.law]


@dataclass(frozen=True, slots=True)
class _Change:
    """What is another in a track of `count` keys than it was: the keys `first` up to `last`, which were those up to
    `last - more`; so the legs `legs` up to `until` are others. Before and after them are legs of the same smooth run,
    or not.
    """

    first: int
    last: int
    more: int
    legs: int
    until: int
    joins: tuple[bool, bool]


def _change(before: Shape, track: Track, laws: Laws) -> _Change | None:
    """Return what changed; None where nothing stayed."""
    old, new = before.track.keys, track.keys
    most = min(len(old), len(new))
    head = 0
    while head < most and old[head : head + _BLOCK] == new[head : head + _BLOCK]:
        head += _BLOCK
    head = min(head, most)
    while head < most and (old[head] is new[head] or old[head] == new[head]):
        head += 1
    left, tail = most - head, 0
    while (
        tail + _BLOCK <= left
        and old[len(old) - tail - _BLOCK : len(old) - tail] == new[len(new) - tail - _BLOCK : len(new) - tail]
    ):
        tail += _BLOCK
    while tail < left and (old[-1 - tail] is new[-1 - tail] or old[-1 - tail] == new[-1 - tail]):
        tail += 1
    if most < 2 or head + tail == 0:
        return None
    last, more = len(new) - tail, len(new) - len(old)
    legs, until = max(head - 1, 0), min(last, len(new) - 1)
    was = before.runs[legs : min(last - more, len(old) - 1)]
    runs = [laws[key.ease.law].curve is NoCurve.RUN if key.ease.law in laws else False for key in new[legs:until]]
    joins = (
        bool((len(was) and was[0]) or (runs and runs[0])),
        bool((len(was) and was[-1]) or (runs and runs[-1])),
    )
    return _Change(head, last, more, legs, until, joins)


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


def _stretch(before: Shape, change: _Change, count: int, reach: int) -> _Stretch:
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


def _spliced(before: Shape, track: Track, rate: Rate, laws: Laws, change: _Change, reach: int) -> Shape | None:
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
        trajectory = compile_legs(rig, whole, partial(_run, before, change, own))
    except _TooNear:
        return None
    found, excess = judged(rig, whole, trajectory, before.speed)
    place = places(whole)[1 + own.solved - own.begin : 2 + own.until - own.begin]
    rows = slice(1 + own.judged - own.begin, 1 + own.over - own.begin)
    keys = slice(1 + change.first - own.begin, 1 + change.last - own.begin)
    pieces, began, ended = slice(place[0], place[-1]), before.place[own.solved], before.place[own.until - more]

    def keyed(name: str, new: Floats) -> Floats:
        was = getattr(before, name)
        return np.concatenate((was[: change.first], new[keys], was[change.last - more :]))

    def legged(name: str, new: NDArray[Any]) -> Any:
        was = getattr(before, name)
        return np.concatenate((was[..., : own.judged], new[..., rows], was[..., own.over - more :]), axis=-1)

    coeffs = _stacked(before.coeffs[:, :began], trajectory.coeffs[:, pieces], before.coeffs[:, ended:])
    return Shape(
        axis=before.axis,
        track=track,
        rate=rate,
        speed=before.speed,
        at_s=keyed("at_s", whole.at_s),
        value=keyed("value", whole.value),
        place=np.concatenate(
            (
                before.place[: own.solved],
                place[:-1] - place[0] + began,
                before.place[own.until - more :] + (began + place[-1] - place[0] - ended),
            )
        ),
        from_s=np.concatenate((before.from_s[:began], trajectory.from_s[pieces], before.from_s[ended:])),
        coeffs=coeffs,
        excess=legged("excess", excess),
        runs=legged("runs", _running(whole)),
        **{name: legged(name, getattr(found, name)) for name in _ASKED},
    )


def _stacked(*parts: Floats) -> Floats:
    """Put pieces in a row, those of fewer powers with noughts for the highest."""
    rows = max(map(len, parts))
    if any(len(part) < rows for part in parts):
        parts = tuple(np.concatenate((np.zeros((rows - len(part), part.shape[1])), part)) for part in parts)
    return np.concatenate(parts, axis=1)


def _run(before: Shape, change: _Change, own: _Stretch, whole: Legs, keys: slice) -> tuple[Floats, Floats]:
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


def _known(before: Shape, change: _Change, begin: int, end: int) -> tuple[Floats, Floats]:
    """Return the breaks and the pieces of legs of a smooth run as they were before the change."""
    shift = change.more if begin >= change.until else 0
    pieces = slice(before.place[begin - shift], before.place[end - shift])
    end_s = before.at_s[end - shift]
    return np.append(before.from_s[pieces], end_s), before.coeffs[-6:, pieces]
