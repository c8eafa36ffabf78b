"""What is to become of one axis's performance: the band that its run must keep, where it stays, and what it joins.

It refuses to choose a key: that is for the fit.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil, floor

import numpy as np
from numpy.typing import NDArray

from sequencer.live.joints import Old, Side, after, before, rests, speed
from sequencer.live.performed import Path
from sequencer.motion.compile import compile_legs
from sequencer.motion.legs import legs
from sequencer.rig.axis import Axis, Rig
from sequencer.score.easing import Laws
from sequencer.score.move import Move, Track
from sequencer.timebase.rate import Rate

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Point = tuple[Fraction, float]

REST_S = 0.2  # an axis that stays where it is for so long is meant to: it gets two keys, between which it rests
STILL = 1 / 50  # of the tolerance: what is no movement
ROUNDED = 1e-5  # of the tolerance: what values are rounded to; more is felt in the jerk between close keys
_CLOSER = 0.8
_NOTHING = Path(np.empty(0), np.empty(0))


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Work:
    """One axis's performance from frame `start` to frame `end`, and what it is to become.

    Shape: over N samples, `at_s`; `heard`, where the axis was; `target` and `room`, what the run is to be near, and how
    near; `inner`, which are the performance's own: the others are of the old curve beside it. `stays`: where the axis
    stays within the performance, from a frame to a frame, at a value. `ends`: where it begins and ends. `sides`: what
    the run takes in before and after, None where it rests there.
    """

    rig: Rig
    rate: Rate
    old: Old
    start: Fraction
    end: Fraction
    within: float
    at_s: Floats
    heard: Floats
    target: Floats
    room: Floats
    inner: Bools
    stays: tuple[tuple[Fraction, Fraction, float], ...]
    ends: tuple[float, float]
    sides: tuple[Side | None, Side | None]

    def runs(self) -> list[tuple[Point, Point]]:
        """Return where each run begins and ends; between them the axis stays."""
        early, late = self.sides
        here = early.known[0] if early else (self.start, self.ends[0])
        found = []
        for begin, end, value in self.stays:
            if here[0] < begin:
                found.append((here, (begin, value)))
            here = end, value
        last = late.known[-1] if late else (self.end, self.ends[1])
        return [*found, (here, last)] if here[0] < last[0] else found

    def closer(self, where: Bools) -> "Work":
        """Return the work with less room at some samples, and nearer to what was performed. Shape: `where` (N,)."""
        part = np.where(where, _CLOSER, 1.0)
        return replace(self, target=self.heard + (self.target - self.heard) * part, room=self.room * part)


def prepared(
    axis: Axis,
    track: Track,
    rate: Rate,
    laws: Laws,
    path: Path,
    span: tuple[Fraction, Fraction],
    within: float,
    still: float = STILL,
) -> Work:
    """Return the work, with what the performance joins on both sides; `still`, of the tolerance, is no movement.

    Error: ProjectError as in `compile_move`.
    """
    rig = Rig(name=axis.name, axes=(axis,))
    old = Old(axis=axis, rate=rate, values=np.empty(0))
    if track.keys:
        whole = legs(rig, Move(tracks=(track,)), rate, laws)
        curve = compile_legs(rig, whole)
        old = replace(old, keys=track.keys, values=whole.value[whole.keys(0)], curve=curve)
    own = _cut(path, *(float(rate.seconds(at)) for at in span))
    # what a curve may bend away between two samples, and what rounding the values does
    lost = float(np.median(np.diff(own.at_s))) ** 2 / 8 * axis.acceleration + within * ROUNDED
    room = max(within - lost, within / 2)
    target, rooms = _inside_travel(axis, own.position, room)
    stays = _stays(axis, own, target, rate, span, within, still)
    moves = [not rests(axis, speed(own, float(rate.seconds(at))), room) for at in span]
    stayed = [bool(stays) and stays[0][0] == span[0], bool(stays) and stays[-1][1] == span[1]]
    early = before(old, span[0], own, room) if moves[0] and not stayed[0] else None
    late = after(old, span[1], own, room) if moves[1] and not stayed[1] else None
    work = Work(
        rig=rig,
        rate=rate,
        old=old,
        start=span[0],
        end=span[1],
        within=within,
        at_s=own.at_s,
        heard=own.position,
        target=target,
        room=rooms,
        inner=np.ones(len(own.at_s), np.bool_),
        stays=stays,
        ends=(float(target[0]), float(target[-1])),
        sides=(None, None),
    )
    return beside(replace(_snapped(work, (early, late)), sides=(early, late)))


def beside(work: Work) -> Work:
    """Return the work with the old curve on its sides, as far as they still have it."""
    early, late = (side.old if side else _NOTHING for side in work.sides)
    own = {name: getattr(work, name)[work.inner] for name in ("at_s", "heard", "target", "room")}
    widest = float(own["room"].max())
    return replace(
        work,
        at_s=np.concatenate((early.at_s, own["at_s"], late.at_s)),
        heard=np.concatenate((early.position, own["heard"], late.position)),
        target=np.concatenate((early.position, own["target"], late.position)),
        room=np.concatenate((np.full(len(early.at_s), widest), own["room"], np.full(len(late.at_s), widest))),
        inner=np.repeat([False, True, False], [len(early.at_s), len(own["at_s"]), len(late.at_s)]),
    )


def _cut(path: Path, begin_s: float, end_s: float) -> Path:
    inside = (path.at_s > begin_s) & (path.at_s < end_s)
    at_s = np.concatenate(([begin_s], path.at_s[inside], [end_s]))
    return Path(at_s, np.interp(at_s, path.at_s, path.position))


def _inside_travel(axis: Axis, position: Floats, room: float) -> tuple[Floats, Floats]:
    """Return a band about the performance that ends where the travel does: its middle, and half its width.

    Where the axis was performed outside, that is left to the check. Shape: (N,) each.
    """
    if axis.travel is None:
        return position, np.full(len(position), room)
    low, high = axis.travel
    target = np.clip(position, low + room / 2, high - room / 2)
    left = np.minimum(room - np.abs(position - target), np.minimum(target - low, high - target))
    outside = (position < low - room / 4) | (position > high + room / 4)
    return np.where(outside, position, target), np.where(outside, room, left)


def _stays(
    axis: Axis,
    path: Path,
    target: Floats,
    rate: Rate,
    span: tuple[Fraction, Fraction],
    within: float,
    still: float,
) -> tuple[tuple[Fraction, Fraction, float], ...]:
    """Return where the axis stays: from the first frame to the last one of each stay, and at what value.

    Beside a movement a stay is a little shorter than it was: with the jerk that the axis can do, a run may set off so
    much earlier and stop so much later, and needs to where the hands used all there was.
    """
    at_s, still = path.at_s, within * still
    early = ceil(rate.frames(Fraction((3 * within / axis.jerk) ** (1 / 3))))
    # a stay is made of short steps
    short = np.append(np.abs(np.diff(path.position)) <= still, False)
    edges = np.flatnonzero(np.diff(short, prepend=False, append=False)).reshape(-1, 2)
    found = []
    for begin, end in edges[at_s[edges[:, 1]] - at_s[edges[:, 0]] >= REST_S].tolist():
        for first, last in _level(path.position, at_s, begin, end, still):
            from_at = span[0] if first == 0 else Fraction(ceil(rate.frames(Fraction(float(at_s[first])))))
            to_at = span[1] if last == len(at_s) - 1 else Fraction(floor(rate.frames(Fraction(float(at_s[last])))))
            spare = max(0, min(early, floor((to_at - from_at - 1) / 2)))
            from_at, to_at = from_at + spare * (first > 0), to_at - spare * (last < len(at_s) - 1)
            if from_at < to_at:
                own = target[first : last + 1]
                found.append((from_at, to_at, float(own.max() + own.min()) / 2))
    return tuple(found)


def _level(position: Floats, at_s: Floats, begin: int, end: int, still: float) -> Iterator[tuple[int, int]]:
    """Yield stretches, each as long as can be, in which all positions are within `still` of each other."""
    place = begin
    while at_s[end] - at_s[place] >= REST_S:
        ahead = position[place : end + 1]
        spread = np.maximum.accumulate(ahead) - np.minimum.accumulate(ahead)
        last = place + int(np.searchsorted(spread, still, "right")) - 1
        if at_s[last] - at_s[place] >= REST_S:
            yield place, last
            place = last + 1
        else:
            place += max(1, (last - place) // 4)
        if place >= end:
            return


def _snapped(work: Work, sides: tuple[Side | None, Side | None]) -> Work:
    """Return the work whose ends, where the axis rests there, are at the old key beside them if they are as good as."""
    keys, ends, stays = work.old.keys, list(work.ends), list(work.stays)
    beside_it = sum(key.at < work.start for key in keys) - 1, sum(key.at <= work.end for key in keys)
    for which, number in enumerate(beside_it):
        if sides[which] is not None or not 0 <= number < len(keys):
            continue
        value = float(work.old.values[number])
        if abs(value - float(work.heard[-which])) > work.within * STILL:
            continue
        ends[which] = value
        if stays and stays[-which][which] == (work.start, work.end)[which]:
            stays[-which] = (stays[-which][0], stays[-which][1], value)
    return replace(work, ends=(ends[0], ends[1]), stays=tuple(stays))
