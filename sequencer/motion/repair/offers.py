"""Small changes that make a move possible, each solved before it is offered. It refuses to move a pinned key."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.legs import Legs
from sequencer.motion.program import Unsolved
from sequencer.motion.repair.least_times import Instants, Part, least_times
from sequencer.motion.repair.least_values import least_values
from sequencer.motion.repair.load import said
from sequencer.motion.repair.outcome import Offer, Repaired, Unrepaired
from sequencer.motion.repair.proof import Wanted, wanted
from sequencer.motion.repair.relaxation import Aim
from sequencer.motion.repair.run import Run
from sequencer.motion.repair.smooth import smooth, stretches
from sequencer.motion.repair.stretch import instants, retimed
from sequencer.motion.repair.written import frame_at
from sequencer.rig.axis import Rig
from sequencer.score.easing import Laws
from sequencer.score.move import Move, Passing, Track
from sequencer.timebase.instants import instant
from sequencer.timebase.rate import Rate

Floats = NDArray[np.float64]

# a changed move, the runs that must be solved in it (axis, first and last key), and what to say
_Candidate = tuple[Move, Sequence[tuple[int, int, int]], str]

# how far inside the limits the moved keys leave a curve, ever more until it is solved
_MARGINS = (1e-5, 1e-4, 1e-3, 1e-2)
# how much further than seems enough keys go in time, ever more until the curve is solved
_FURTHER = (1.0, 1.002, 1.005, 1.02, 1.1)
# keys on each side of one that moves in time, on its axis and on others
_NEAR = 6
# how near a key that stays may be approached, in parts of the gap
_ROOM = 0.9
_UNITS = {"deg": " deg", "mm": " mm", "part": ""}
_AIMS: tuple[tuple[Aim, str], ...] = (
    ("total", "the smallest total change of values"),
    ("largest", "the smallest largest change of a value"),
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spot:
    """Keys in a row of a run that cannot be kept: `run` and `keys` are first and last, by their places in the track."""

    rig: Rig
    move: Move
    rate: Rate
    laws: Laws
    whole: Legs
    axis: int
    run: tuple[int, int]
    keys: tuple[int, int]
    overshoot: bool = True

    @property
    def name(self) -> str:
        return self.rig.names[self.axis]

    @property
    def unit(self) -> str:
        return _UNITS[self.rig.axes[self.axis].unit]

    @property
    def track(self) -> Track:
        return self.move.tracks[self.whole.track[self.axis]]

    def wanted(self) -> Wanted:
        """Return what these keys want of the axis; a key stays that is pinned, or that a rest beyond the run shares."""
        keys = self.track.keys
        shared = [key for key in self.run if 0 < key < len(keys) - 1]
        fixed = [keys[key].pin or key in shared for key in range(self.keys[0], self.keys[1] + 1)]
        return self.wanted_of(self.axis, self.keys, self.run, fixed)

    def wanted_of(self, axis: int, keys: tuple[int, int], run: tuple[int, int], fixed: Sequence[bool]) -> Wanted:
        """Return what keys of any axis want, which are part of a run of it between two rests."""
        first, last = keys
        place = int(self.whole.first[axis]) + 1
        values = self.whole.value[place + first : place + last + 1].tolist()
        at = [self.rate.seconds(key.at) for key in self.move.tracks[self.whole.track[axis]].keys[first : last + 1]]
        return wanted(self.rig.axes[axis], at, values, (first == run[0], last == run[1]), fixed)

    def passing(self, axis: int, keys: tuple[int, int]) -> tuple[Passing, ...]:
        """Return what a smooth run does at keys of an axis, first and last."""
        place = int(self.whole.first[axis]) + 1
        return self.whole.passing_at(slice(place + keys[0], place + keys[1] + 1))

    def ways(self, axis: int, keys: tuple[int, int]) -> Floats:
        """Return the sign of the speed that each leg between keys of an axis keeps, 0 where it may overshoot."""
        place = int(self.whole.first[axis]) + 1
        own = slice(place + keys[0], place + keys[1] + 1)
        lasts_s, values = self.whole.lasts_s[own.start : own.stop - 1], self.whole.value[own]
        return Run(lasts_s=lasts_s, values=values, passing=self.passing(axis, keys), overshoot=self.overshoot).ways()


def offers(spots: Sequence[Spot], step: Callable[[], None]) -> Iterator[Offer]:
    """Yield the changes that mend all spots, which are of one run: of values in two ways, of times in one.

    Each is solved; what cannot be solved is not offered. `step` is called before each piece of the work.
    """
    for aim, title in _AIMS:
        yield from _first_solved(spots[0], _valued(spots, aim, title), step)
    yield from _first_solved(spots[0], _timed(spots, step), step)


def _first_solved(spot: Spot, candidates: Iterator[_Candidate], step: Callable[[], None]) -> Iterator[Offer]:
    """Yield the first of ever larger changes that is solved."""
    step()
    try:
        for move, runs, words in candidates:
            step()
            solved = _solved(spot, move, runs)
            if solved is not None:
                yield Offer(move=solved, words=words)
                return
    except Unsolved:
        return  # no change of this kind is enough, or none is found


def _solved(spot: Spot, move: Move, runs: Sequence[tuple[int, int, int]]) -> Move | None:
    """Return the move with these runs smoothed, each alone with its own keys, or None."""
    tracks = list(move.tracks)
    for axis, first, last in runs:
        number = spot.whole.track[axis]
        part = replace(tracks[number], keys=tracks[number].keys[first : last + 1])
        try:
            answer = smooth(
                spot.rig, Move(tracks=(part,)), spot.rate, spot.laws, axes=(part.axis,), overshoot=spot.overshoot
            )
        except Unrepaired:
            return None
        if not isinstance(answer, Repaired):
            return None
        keys = tracks[number].keys
        drawn = answer.move.tracks[0].keys[:-1]
        tracks[number] = replace(tracks[number], keys=(*keys[:first], *drawn, *keys[last:]))
    return replace(move, tracks=tuple(tracks))


def _valued(spots: Sequence[Spot], aim: Aim, title: str) -> Iterator[_Candidate]:
    """Yield the least moves of values, ever further inside the limits. Error: Unsolved where none is enough."""
    track, run = spots[0].track, spots[0].run
    for margin in _MARGINS:
        keys, said_of = list(track.keys), []
        for spot in spots:
            asked = spot.wanted()
            found = least_values(
                asked, spot.passing(spot.axis, spot.keys), aim, margin, spot.ways(spot.axis, spot.keys)
            )
            for key, change in enumerate((found - asked.values).tolist(), spot.keys[0]):
                if change != 0:
                    keys[key] = replace(keys[key], value=keys[key].value + change)
                    said_of.append(f"key {key + 1} at {instant(keys[key].at)} by {change:+.4g}{spot.unit}")
        if not said_of:
            continue  # what this program can keep, the smoothing could not: further inside it may
        changed = _with_track(spots[0], replace(track, keys=tuple(keys)))
        yield changed, [(spots[0].axis, *run)], f"{title}: {spots[0].name} {', '.join(said_of)}"


def _with_track(spot: Spot, track: Track) -> Move:
    number = spot.whole.track[spot.axis]
    return replace(spot.move, tracks=(*spot.move.tracks[:number], track, *spot.move.tracks[number + 1 :]))


def _timed(spots: Sequence[Spot], step: Callable[[], None]) -> Iterator[_Candidate]:
    """Yield small moves of times, ever further. Error: Unsolved where none is found."""
    moved: dict[Fraction, float] = {}
    runs = {(spots[0].axis, *spots[0].run)}
    for spot in spots:
        frames, asked, others = _question(spot)
        found = least_times(asked, step) if frames else None
        if found is None:
            raise Unsolved("no small move of the times is enough")
        moved |= dict(zip(frames, (found - asked.at_s).tolist(), strict=True))
        runs |= others
    if not any(moved.values()):
        raise Unsolved("no keys need to move in time, and yet the curve was not solved")
    for size in _FURTHER:
        new = {at: at + frame_at(size * by_s, spots[0].rate) for at, by_s in moved.items()}
        changed = retimed(spots[0].move, {at: new.get(at, at) for at in instants(spots[0].move)})
        yield changed, sorted(runs), _timing_words(spots[0], new)


def _timing_words(spot: Spot, new: Mapping[Fraction, Fraction]) -> str:
    parts = []
    for at, to in sorted(new.items()):
        if at != to:
            by = to - at
            names = [
                f"{track.axis} key {number}"
                for track in spot.move.tracks
                for number, key in enumerate(track.keys, 1)
                if key.at == at
            ]
            when = "later" if by > 0 else "earlier"
            by_s = float(abs(spot.rate.seconds(by)))
            parts.append(f"{' with '.join(names)} at {instant(at)} {when} by {said(abs(by))} frames ({by_s:.3f} s)")
    return f"a small change of times that works: {', '.join(parts)}"


def _question(spot: Spot) -> tuple[list[Fraction], Instants, set[tuple[int, int, int]]]:
    """Return the frames that may move, the same as a question, and the runs of other axes that have keys there."""
    frames = _movable(spot)
    place = {at: number for number, at in enumerate(frames)}
    origin = spot.track.keys[spot.keys[0]].at
    parts = [_part(spot, spot.axis, spot.keys, spot.run, place, origin)]
    others = set()
    room_s = np.full(len(frames), np.inf)
    for axis, number in enumerate(spot.whole.track):
        if number < 0:
            continue
        keys = spot.move.tracks[number].keys
        touched = [key for key, each in enumerate(keys) if each.at in place]
        for key in touched:
            for beside in keys[max(key - 1, 0) : key] + keys[key + 1 : key + 2]:
                if beside.at not in place:
                    gap_s = float(spot.rate.seconds(abs(beside.at - keys[key].at)))
                    room_s[place[keys[key].at]] = min(room_s[place[keys[key].at]], _ROOM * gap_s)
        for run in stretches(spot.whole, axis) if axis != spot.axis else ():
            own = [key for key in touched if run.first <= key <= run.last]
            if own:
                near = max(own[0] - _NEAR, run.first), min(own[-1] + _NEAR, run.last)
                parts.append(_part(spot, axis, near, (run.first, run.last), place, origin))
                others.add((axis, run.first, run.last))
    at_s = np.array([float(spot.rate.seconds(at - origin)) for at in frames])
    return frames, Instants(parts=tuple(parts), at_s=at_s, room_s=room_s), others


def _movable(spot: Spot) -> list[Fraction]:
    """Return the frames of the spot's keys that no pin holds on any axis, and no leg beyond the run."""
    keys, (first, last) = spot.track.keys, spot.keys
    law = spot.whole.law[spot.whole.keys(spot.axis)]
    held = {key.at for track in spot.move.tracks for key in track.keys if key.pin}
    held |= {keys[key].at for key, end in zip(spot.keys, spot.run, strict=True) if key != end}
    if first > 0 and law[first - 1] != 0:
        held.add(keys[first].at)
    if last < len(keys) - 1 and law[last] != 0:
        held.add(keys[last].at)
    return [key.at for key in keys[first : last + 1] if key.at not in held]


def _part(
    spot: Spot,
    axis: int,
    keys: tuple[int, int],
    run: tuple[int, int],
    place: Mapping[Fraction, int],
    origin: Fraction,
) -> Part:
    frames = [key.at for key in spot.move.tracks[spot.whole.track[axis]].keys[keys[0] : keys[1] + 1]]
    return Part(
        wanted=spot.wanted_of(axis, keys, run, [False] * len(frames)),
        at_s=np.array([float(spot.rate.seconds(at - origin)) for at in frames]),
        passing=spot.passing(axis, keys),
        ways=spot.ways(axis, keys),
        instant=np.array([place.get(at, -1) for at in frames]),
    )
