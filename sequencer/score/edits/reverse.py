"""Run a part of the move backward: keys, laws and turns. It refuses a choice of keys with a gap in it."""

from dataclasses import replace

from sequencer.errors import ProjectError
from sequencer.score.easing import Laws, settings_of
from sequencer.score.edits.selection import Selection, chosen, in_order
from sequencer.score.edits.turns import opposite
from sequencer.score.move import Ease, Move
from sequencer.timebase.instants import instant


def reverse(move: Move, selection: Selection, laws: Laws) -> Move:
    """Return the move with the chosen keys in the opposite order, within the frames from the first to the last of them.

    What a key says of itself (value, passing, pin) goes with it; what shapes the way to the next key stays with the
    leg, run backward. The legs before and after the chosen keys keep their law. Where an axis goes round and round,
    what follows may stand whole rounds away from where it stood.
    Error: ProjectError for a gap between the chosen keys of an axis, or keys out of order.
    """
    numbers = chosen(move, selection)
    at = [track.keys[number].at for track, own in zip(move.tracks, numbers, strict=True) for number in own]
    if not at:
        return move
    ends = min(at) + max(at)
    tracks = []
    for number, (track, own) in enumerate(zip(move.tracks, numbers, strict=True)):
        if not own:
            tracks.append(track)
            continue
        first, last = own[0], own[-1]
        if last - first + 1 != len(own):
            gap = next(place for place in range(first, last) if place not in own)
            what = f"the key of {track.axis} at {instant(track.keys[gap].at)} is between chosen ones"
            raise ProjectError(f"tracks[{number}].keys[{gap}]", f"{what} and would stay", "choose it too")
        keys = track.keys[first : last + 1]
        back = [replace(key, at=ends - key.at) for key in reversed(keys)]
        for place in range(len(keys) - 1):
            # the leg that was the way to the key now begins there
            led, key = keys[-2 - place], keys[-1 - place]
            back[place] = replace(back[place], ease=_backward(led.ease, laws), turn=opposite(led, key))
        back[-1] = replace(back[-1], ease=keys[-1].ease, turn=keys[-1].turn)
        tracks.append(replace(track, keys=(*track.keys[:first], *back, *track.keys[last + 1 :])))
    return in_order(move, replace(move, tracks=tuple(tracks)))


def _backward(ease: Ease, laws: Laws) -> Ease:
    kind, how = settings_of(ease, laws)
    return ease if kind.reversed is None else Ease(ease.law, kind.reversed(how))
