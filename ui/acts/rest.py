"""Legs at rest while keys change: both keys of one have the same value. It refuses to let an edit break that.

Keys that a leg at rest joins move together in value. Where keys come or go, a leg that would have to jump takes the law
of the leg after it.
"""

from collections.abc import Iterable
from dataclasses import replace

from sequencer.score.easing import Laws, NoCurve
from sequencer.score.edits.turns import way
from sequencer.score.laws.spline import Spline
from sequencer.score.move import Ease, Key, Move, Track

_PLAIN = ("poly345", "linear")  # for a leg that has none after it


def still_laws(laws: Laws) -> frozenset[str]:
    """Return the names of the laws under which an axis stays where it is."""
    return frozenset(name for name, kind in laws.items() if kind.curve is NoCurve.STILL)


def together(track: Track, numbers: Iterable[int], laws: Laws) -> list[list[int]]:
    """Return the chosen keys, each with those that legs at rest join it to; in order, none twice."""
    still = still_laws(laws)
    groups: list[list[int]] = []
    for number in sorted(numbers):
        if groups and number <= groups[-1][-1]:
            continue
        first = last = number
        while first > 0 and track.keys[first - 1].ease.law in still:
            first -= 1
        while last + 1 < len(track.keys) and track.keys[last].ease.law in still:
            last += 1
        groups.append(list(range(first, last + 1)))
    return groups


def without_jumps(before: Move, after: Move, laws: Laws) -> tuple[Move, int]:
    """Return `after` with another law for legs at rest that would jump, and how many those are."""
    still = still_laws(laws)
    was = {track.axis: track for track in before.tracks}
    tracks, count = [], 0
    for track in after.tracks:
        jumps = [] if was.get(track.axis) is track else _jumps(track, still)
        keys = list(track.keys) if jumps else []
        for number in jumps:
            keys[number] = replace(keys[number], ease=_ease_after(track.keys[number + 1 :], still, laws))
        tracks.append(replace(track, keys=tuple(keys)) if jumps else track)
        count += len(jumps)
    return (replace(after, tracks=tuple(tracks)) if count else after), count


def _jumps(track: Track, still: frozenset[str]) -> list[int]:
    return [
        number
        for number in range(len(track.keys) - 1)
        if track.keys[number].ease.law in still and way(*track.keys[number : number + 2])
    ]


def _ease_after(keys: tuple[Key, ...], still: frozenset[str], laws: Laws) -> Ease:
    for key in keys:
        if key.ease.law not in still and not isinstance(key.ease.how, Spline):
            return key.ease
    return Ease(next(name for name in (*_PLAIN, *sorted(laws)) if name in laws))
