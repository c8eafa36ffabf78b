"""Which keys an edit is for, and the rules that every edit keeps: key after key in order, nothing lost on the way.

It refuses to guess: an axis or a key that is not there is an error, and so are keys that an edit puts out of order.
"""

from collections.abc import Callable, Mapping, Set
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

from sequencer.errors import ProjectError
from sequencer.score.move import Key, Move
from sequencer.timebase.instants import instant

# the numbers of the chosen keys in each axis's track, counted from 0
Selection = Mapping[str, Set[int]]

# frames; nearer than that two keys are one instant (as in `faults`)
CLOSEST = Fraction(1, 10**6)


def everything(move: Move) -> Selection:
    """Return all keys of all tracks."""
    return {track.axis: frozenset(range(len(track.keys))) for track in move.tracks}


def between(move: Move, start: Fraction, end: Fraction, axes: Set[str] | None = None) -> Selection:
    """Return the keys at frames from `start` to `end`, both included, of these axes, or of all."""
    return {
        track.axis: frozenset(number for number, key in enumerate(track.keys) if start <= key.at <= end)
        for track in move.tracks
        if axes is None or track.axis in axes
    }


def chosen(move: Move, selection: Selection) -> list[list[int]]:
    """Return the chosen keys' numbers, in order, for each track. Error: ValueError that names what is not there."""
    counts = {track.axis: len(track.keys) for track in move.tracks}
    for axis, numbers in selection.items():
        if axis not in counts:
            raise ValueError(f"no track moves {axis!r}; there are tracks for {', '.join(counts) or 'no axis'}")
        for number in numbers:
            if not 0 <= number < counts[axis]:
                raise ValueError(f"{axis} has no key {number}; it has {counts[axis]}, counted from 0")
    return [sorted(selection.get(track.axis, ())) for track in move.tracks]


def rekeyed(move: Move, selection: Selection, change: Callable[[Key], Key]) -> Move:
    """Return the move with each chosen key changed. Error: as in `chosen` and `in_order`."""
    tracks = []
    for track, numbers in zip(move.tracks, chosen(move, selection), strict=True):
        keys = list(track.keys)
        for number in numbers:
            keys[number] = change(keys[number])
        tracks.append(replace(track, keys=tuple(keys)))
    return in_order(move, replace(move, tracks=tuple(tracks)))


def in_order(before: Move, after: Move) -> Move:
    """Return `after`. Error: ProjectError naming the first two keys that an edit of `before` put out of order."""
    for number, (old, new) in enumerate(zip(before.tracks, after.tracks, strict=True)):
        for place, (key, following) in enumerate(pairwise(new.keys)):
            if following.at - key.at < CLOSEST:
                path = f"tracks[{number}].keys[{place + 1}].at"
                how = "at the same instant as" if abs(following.at - key.at) < CLOSEST else "before"
                was, other = (instant(old.keys[at].at) for at in (place + 1, place))
                what = f"the key of {new.axis} at {was} would come {how} the one at {other}"
                raise ProjectError(path, what, "choose both keys, or change them by less")
    return after
