"""From many keys, as a live performance leaves them, to the few through which a smooth run is near enough.

What lies between two keys at which the axis rests becomes a smooth run as a whole, or stays as it is where no key of it
goes. It refuses to judge a curve anywhere but at the keys that it takes out, and to touch a key that says something:
the first and the last chosen one, pinned keys, keys that do not just pass, keys that choose a way round.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sequencer.errors import ProjectError
from sequencer.motion.compile import compile_legs
from sequencer.motion.legs import legs
from sequencer.motion.trajectory import Trajectory
from sequencer.rig.axis import Rig
from sequencer.score.easing import Laws
from sequencer.score.edits.selection import Selection, chosen
from sequencer.score.move import Ease, Move, Track
from sequencer.timebase.instants import instant
from sequencer.timebase.rate import Rate

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# of the largest speed of a leg or at a key: more is no rest
_REST = 1e-6
# what is felt of a key that far away is a few thousandths: so many are tried at once
_APART = 4


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Performance:
    """One track of a move, and the keys `first` to `last` of it that are thinned.

    Shape: `at_s`, `value` (N,), of all keys; `stretch` (N,), counted up at every key at which the axis rests. `rig` has
    the track's axis only.
    """

    rig: Rig
    rate: Rate
    laws: Laws
    track: Track
    first: int
    last: int
    at_s: Floats
    value: Floats
    stretch: Ints

    def through(self, kept: Bools) -> Track:
        """Return the track with the kept keys, and smooth runs where keys go."""
        gone = np.flatnonzero(~kept)
        # a key that goes belongs to the stretches on both of its sides
        thinned = np.isin(self.stretch, self.stretch[np.append(gone - 1, gone)])
        thinned[: self.first] = thinned[self.last :] = False
        run = Ease("through")
        keys = [(place, self.track.keys[place]) for place in np.flatnonzero(kept).tolist()]
        return replace(self.track, keys=tuple(replace(key, ease=run) if thinned[place] else key for place, key in keys))

    def far(self, kept: Bools) -> Floats:
        """Return how far from each key that is not kept the axis then stands; 0 at those kept. Shape: (N,)."""
        whole = legs(self.rig, Move(tracks=(self.through(kept),)), self.rate, self.laws)
        stands = compile_legs(self.rig, whole).sample(self.at_s)[:, 0]
        return np.where(kept, 0.0, np.abs(stands - self.value))


def thin(rig: Rig, move: Move, rate: Rate, laws: Laws, selection: Selection, tolerance: float) -> Move:
    """Return the move with few of the chosen keys, joined by smooth runs where keys went.

    At every key that is taken out, the axis stands within `tolerance` of where it stood. The search begins with the
    keys at which the axis turns by more than that, adds the worst of each leg until no key is too far, and takes out
    again what the later ones made needless. It may be that fewer would do.
    Unit: `tolerance` in each axis's own.
    Error: ValueError for a tolerance that is not above zero; ProjectError as in `compile_move`, and for a gap between
    the chosen keys of an axis.
    """
    if not tolerance > 0:
        raise ValueError(f"keys cannot be thinned to within {tolerance}; give a distance above zero")
    before = legs(rig, move, rate, laws)
    trajectory = compile_legs(rig, before)
    tracks = list(move.tracks)
    for number, own in enumerate(chosen(move, selection)):
        if len(own) < 3:
            continue
        _refuse_gaps(number, move.tracks[number], own)
        axis = before.track.index(number)
        keys = before.keys(axis)
        at_s = before.at_s[keys]
        performance = _Performance(
            rig=Rig(name=rig.name, axes=(rig.axes[axis],)),
            rate=rate,
            laws=laws,
            track=move.tracks[number],
            first=own[0],
            last=own[-1],
            at_s=at_s,
            value=before.value[keys],
            stretch=np.cumsum(_rests(trajectory, axis, at_s, before.value[keys])),
        )
        tracks[number] = performance.through(_kept(performance, tolerance))
    return replace(move, tracks=tuple(tracks))


def _rests(trajectory: Trajectory, axis: int, at_s: Floats, value: Floats) -> Bools:
    """Return at which of its keys the axis rests, both before and after. Shape: all (N,)."""
    # where two pieces meet, the later one is looked at
    before, after = (np.abs(trajectory.sample(t_s, 1)[:, axis]) for t_s in (np.nextafter(at_s, -np.inf), at_s))
    fastest = np.maximum(before, after)
    rests: Bools = fastest <= _REST * max(fastest.max(), np.abs(np.diff(value) / np.diff(at_s)).max())
    return rests


def _refuse_gaps(number: int, track: Track, own: list[int]) -> None:
    gap = next(iter(sorted(set(range(own[0], own[-1])) - set(own))), None)
    if gap is not None:
        what = f"the key of {track.axis} at {instant(track.keys[gap].at)} is between chosen ones"
        raise ProjectError(f"tracks[{number}].keys[{gap}]", what, "choose it too")


def _kept(performance: _Performance, tolerance: float) -> Bools:
    """Return which keys stay."""
    needed = _needed(performance, tolerance)
    kept = needed.copy()
    while len(added := _worst(kept, performance.far(kept), tolerance)):
        kept[added] = True
    for phase in range(_APART):
        out = np.flatnonzero(kept & ~needed)[phase::_APART]
        while len(out):
            trial = kept.copy()
            trial[out] = False
            wrong = np.flatnonzero(performance.far(trial) > tolerance)
            if not len(wrong):
                kept = trial
                break
            # the key nearest to each place that is now wrong was needed after all
            out = np.delete(out, np.unique(np.abs(out[:, None] - wrong).argmin(axis=0)))
    return kept


def _needed(performance: _Performance, tolerance: float) -> Bools:
    """Return which keys stay in any case: those that were not chosen, that say something, or where the axis turns."""
    first, last = performance.first, performance.last
    kept = np.ones(len(performance.value), np.bool_)
    kept[first + 1 : last] = False
    for place, key in enumerate(performance.track.keys):
        if key.pin or key.passing != "pass":
            kept[place] = True
        if key.turn is not None:
            kept[place : place + 2] = True
    kept[[first + place for place in _turns(performance.value[first : last + 1], tolerance)]] = True
    return kept


def _turns(values: Floats, tolerance: float) -> list[int]:
    """Return where values turn back by more than `tolerance`: the highest and lowest of each swing."""
    found: list[int] = []
    low = high = 0
    way = 0
    for place, value in enumerate(values.tolist()):
        low = place if value < values[low] else low
        high = place if value > values[high] else high
        if way >= 0 and value < values[high] - tolerance:
            found.append(high)
            way, low = -1, place
        elif way <= 0 and value > values[low] + tolerance:
            found.append(low)
            way, high = 1, place
    return found


def _worst(kept: Bools, far: Floats, tolerance: float) -> Ints:
    """Return the key that is furthest off in each leg, where that is too far."""
    begins = np.flatnonzero(kept)[:-1]
    most = np.maximum.reduceat(far, begins)
    leg = np.cumsum(kept) - 1
    there = np.flatnonzero((far == most[np.minimum(leg, len(begins) - 1)]) & (far > tolerance))
    return there[np.unique(leg[there], return_index=True)[1]]
