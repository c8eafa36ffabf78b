"""Put a key in, take keys out, move one, and say how the axis moves from it and what it does there.

It refuses two keys at one instant, a value that is no number, and to take out a pinned key.
"""

from bisect import bisect_left
from dataclasses import replace
from fractions import Fraction

from sequencer.errors import ProjectError
from sequencer.score.easing import Laws, NoCurve, curve_of, settings_of
from sequencer.score.edits.selection import Selection, chosen, close, demand_place, in_order, numbered, rekeyed
from sequencer.score.edits.turns import way
from sequencer.score.move import PASSINGS, TURNS, Ease, Key, Move, Passing, Track, Turn
from sequencer.timebase.instants import instant


def put(move: Move, axis: str, key: Key) -> Move:
    """Return the move with one key more; where no track moves `axis`, the key begins one, after the others.

    Error: ValueError for a value that is no number; ProjectError where a key of the axis stands already.
    """
    demand_place(key.value)
    for number, track in enumerate(move.tracks):
        if track.axis == axis:
            place = bisect_left(track.keys, key.at, key=_when)
            for near in (place - 1, place):
                if 0 <= near < len(track.keys) and _same(track.keys[near].at, key.at):
                    path = f"tracks[{number}].keys[{near}].at"
                    raise ProjectError(path, f"{axis} has a key at {instant(key.at)} already", "move that one")
            return _with(move, number, replace(track, keys=(*track.keys[:place], key, *track.keys[place:])))
    return replace(move, tracks=(*move.tracks, Track(axis, (key,))))


def removed(move: Move, selection: Selection) -> Move:
    """Return the move without the chosen keys, and without tracks that have none left; what stays does not change.

    Error: ProjectError for a pinned key.
    """
    tracks = []
    for number, (track, places) in enumerate(zip(move.tracks, chosen(move, selection), strict=True)):
        if not places:
            tracks.append(track)
            continue
        keys = list(track.keys)
        for place in places:
            if keys[place].pin:
                what = f"the key of {track.axis} at {instant(keys[place].at)} is pinned"
                raise ProjectError(f"tracks[{number}].keys[{place}]", what, "unpin it first")
        for place in reversed(places):
            del keys[place]
        if keys:
            tracks.append(replace(track, keys=tuple(keys)))
    return replace(move, tracks=tuple(tracks))


def placed(move: Move, axis: str, number: int, *, at: Fraction | None = None, value: float | None = None) -> Move:
    """Return the move with key `number` of `axis` at frame `at` and `value`; what is left out stays.

    Error: ValueError for a value that is no number, or a key that is not there; ProjectError for keys out of order.
    """
    place = numbered(move, axis)
    track = move.tracks[place]
    if not 0 <= number < len(track.keys):
        raise ValueError(f"{axis} has no key {number}; it has {len(track.keys)}, counted from 0")
    key = track.keys[number]
    if value is not None:
        demand_place(value)
        key = replace(key, value=value)
    if at is not None:
        key = replace(key, at=at)
    after = _with(move, place, replace(track, keys=(*track.keys[:number], key, *track.keys[number + 1 :])))
    return in_order(move, after, [[number] if one == place else [] for one in range(len(move.tracks))])


def shaped(move: Move, selection: Selection, ease: Ease, laws: Laws) -> Move:
    """Return the move in which the legs that begin at the chosen keys have the law `ease`.

    Error: ValueError for a law that there is not, or settings that it cannot use; ProjectError for a leg that should
    stay where it is and does not.
    """
    curve_of(ease, laws)
    if settings_of(ease, laws)[0].curve is NoCurve.STILL:
        for number, (track, places) in enumerate(zip(move.tracks, chosen(move, selection), strict=True)):
            for place in places:
                if place + 1 < len(track.keys) and way(*track.keys[place : place + 2]):
                    key, following = track.keys[place : place + 2]
                    what = f"{track.axis} would {ease.law} from {instant(key.at)} on, but goes from {key.value:g}"
                    mend = "give both keys the same value first"
                    path = f"tracks[{number}].keys[{place}].ease"
                    raise ProjectError(path, f"{what} to {following.value:g}", mend)
    return rekeyed(move, selection, lambda key: replace(key, ease=ease))


def passing(move: Move, selection: Selection, how: Passing) -> Move:
    """Return the move in which a smooth run does `how` at the chosen keys. Error: ValueError for another word."""
    if how not in PASSINGS:
        raise ValueError(f"there is no passing {how!r}; there are {', '.join(PASSINGS)}")
    return rekeyed(move, selection, lambda key: replace(key, passing=how))


def turning(move: Move, selection: Selection, turn: Turn | None) -> Move:
    """Return the move in which the legs that begin at the chosen keys go that way round; None: as values are written.

    Whether the axis can go round is for the loader and the compiler to say. Error: ValueError for another word.
    """
    if turn is not None and turn not in TURNS:
        raise ValueError(f"there is no turn {turn!r}; there are {', '.join(TURNS)}")
    return rekeyed(move, selection, lambda key: replace(key, turn=turn))


def pinned(move: Move, selection: Selection, pin: bool) -> Move:
    """Return the move with the chosen keys pinned, or free."""
    return rekeyed(move, selection, lambda key: replace(key, pin=pin))


def _when(key: Key) -> Fraction:
    return key.at


def _same(one: Fraction, other: Fraction) -> bool:
    return close(one, other) and close(other, one)


def _with(move: Move, number: int, track: Track) -> Move:
    return replace(move, tracks=(*move.tracks[:number], track, *move.tracks[number + 1 :]))
