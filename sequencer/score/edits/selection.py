"""Which keys an edit is for, and the rules that every edit keeps: key after key in order, nothing lost on the way.

It refuses to guess: an axis or a key that is not there is an error, and so are keys that an edit puts out of order.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence, Set
from dataclasses import replace
from fractions import Fraction

from sequencer.errors import ProjectError
from sequencer.rig.axis import is_place
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


def followed(before: Move, after: Move, selection: Selection) -> dict[str, frozenset[int]]:
    """Return the chosen keys of `before` as they are numbered in `after`, and no axis without any.

    Where a track has more or fewer keys than before, they are known by their instants.
    """
    was = {track.axis: track for track in before.tracks}
    found: dict[str, frozenset[int]] = {}
    for track in after.tracks:
        numbers, old = selection.get(track.axis), was.get(track.axis)
        if not numbers or old is None:
            continue
        if len(track.keys) == len(old.keys):
            own = frozenset(numbers)
        else:
            at = {old.keys[number].at for number in numbers}
            own = frozenset(number for number, key in enumerate(track.keys) if key.at in at)
        if own:
            found[track.axis] = own
    return found


def brought(before: Move, after: Move) -> dict[str, frozenset[int]]:
    """Return the keys of `after` that are no objects of `before`: what an undo brings back."""
    was = {track.axis: track for track in before.tracks}
    found: dict[str, frozenset[int]] = {}
    for track in after.tracks:
        old = was.get(track.axis)
        if old is track:
            continue
        there = set() if old is None else set(map(id, old.keys))
        own = frozenset(number for number, key in enumerate(track.keys) if id(key) not in there)
        if own:
            found[track.axis] = own
    return found


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


def numbered(move: Move, axis: str) -> int:
    """Return the number of the track that moves `axis`. Error: ValueError where none does."""
    for number, track in enumerate(move.tracks):
        if track.axis == axis:
            return number
    there = ", ".join(track.axis for track in move.tracks)
    raise ValueError(f"no track moves {axis!r}; there are tracks for {there or 'no axis'}")


def rekeyed(move: Move, selection: Selection, change: Callable[[Key], Key]) -> Move:
    """Return the move with each chosen key changed; a track without chosen keys stays the same object.

    Error: as in `chosen` and `in_order`.
    """
    numbers = chosen(move, selection)
    tracks = []
    for track, own in zip(move.tracks, numbers, strict=True):
        keys = list(track.keys) if own else []
        for number in own:
            keys[number] = change(keys[number])
        tracks.append(replace(track, keys=tuple(keys)) if own else track)
    return in_order(move, replace(move, tracks=tuple(tracks)), numbers)


def demand_place(value: float) -> None:
    """Error: ValueError where no axis can be at `value`."""
    if not is_place(value):
        mend = "give a number in the axis's unit, below ten million either way"
        raise ValueError(f"a key cannot stand at {value}; {mend}")


def in_order(before: Move, after: Move, changed: Sequence[Sequence[int]] | None = None) -> Move:
    """Return `after`, in which each key of `before` has its number still.

    `changed` are the numbers, in order, of the keys in each track that may stand elsewhere; all, if it is left out.
    Error: ProjectError naming the first two keys that an edit of `before` put out of order.
    """
    for number, (old, new) in enumerate(zip(before.tracks, after.tracks, strict=True)):
        if old is new:
            continue
        keys = new.keys
        for place in range(len(keys) - 1) if changed is None else _beside(changed[number], len(keys)):
            at, following = keys[place].at, keys[place + 1].at
            if close(at, following):
                path = f"tracks[{number}].keys[{place + 1}].at"
                how = "at the same instant as" if close(following, at) else "before"
                was, other = (instant(old.keys[at].at) for at in (place + 1, place))
                what = f"the key of {new.axis} at {was} would come {how} the one at {other}"
                raise ProjectError(path, what, "choose both keys, or change them by less")
    return after


def close(at: Fraction, following: Fraction) -> bool:
    """Whether `following` is not after `at` by as much as keys must be apart."""
    # without the greatest common divisor that a difference of fractions looks for: this is asked for thousands of keys
    below, later_below = at.denominator, following.denominator
    apart = following.numerator * below - at.numerator * later_below
    return apart * CLOSEST.denominator < CLOSEST.numerator * below * later_below


def _beside(numbers: Sequence[int], count: int) -> Iterator[int]:
    """Yield each key, in order, that has one of `numbers` or comes just before one, and is not the last."""
    done = -1
    for number in numbers:
        for place in (number - 1, number):
            if done < place < count - 1:
                yield place
                done = place
