"""Make a movement larger, smaller or the other way round, about a value. It refuses to change a time.

What a repair drew goes with it where both keys of the leg are chosen; between a chosen key and one that stays, the
drawn part of the leg stays as it is.
"""

import math
from dataclasses import replace

from sequencer.errors import ProjectError
from sequencer.score.easing import Laws, settings_of
from sequencer.score.edits.selection import Selection, chosen, demand_place
from sequencer.score.edits.turns import opposite
from sequencer.score.move import Ease, Key, Move
from sequencer.timebase.instants import instant


def mirror(move: Move, selection: Selection, laws: Laws, *, about: float = 0.0) -> Move:
    """Return the move with the chosen keys on the other side of the value `about`, as far from it as they were."""
    return scale(move, selection, laws, factor=-1.0, about=about)


def scale(move: Move, selection: Selection, laws: Laws, *, factor: float, about: float = 0.0) -> Move:
    """Return the move with the chosen keys `factor` times as far from the value `about`.

    Error: ValueError for a factor that is no number, zero, or leads where no axis can be; ProjectError for a leg that
    says which way round it goes, unless the factor is 1 or -1: other factors would change what is the short way.
    """
    if not math.isfinite(factor) or factor == 0:
        raise ValueError(f"a movement cannot be scaled by {factor}; give a number other than zero")
    tracks = []
    for number, (track, numbers) in enumerate(zip(move.tracks, chosen(move, selection), strict=True)):
        keys, own = list(track.keys), set(numbers)
        for place in numbers:
            key = track.keys[place]
            keys[place] = replace(key, value=about + (key.value - about) * factor)
            demand_place(keys[place].value)
            if place + 1 in own:
                if key.turn is not None and abs(factor) != 1:
                    raise _round_about(number, place, track.axis, key)
                turn = opposite(key, track.keys[place + 1]) if factor == -1 else key.turn
                keys[place] = replace(keys[place], ease=_scaled(key.ease, laws, factor), turn=turn)
        tracks.append(replace(track, keys=tuple(keys)))
    return replace(move, tracks=tuple(tracks))


def _scaled(ease: Ease, laws: Laws, factor: float) -> Ease:
    kind, how = settings_of(ease, laws)
    return ease if kind.scaled is None else Ease(ease.law, kind.scaled(how, factor))


def _round_about(track: int, place: int, axis: str, key: Key) -> ProjectError:
    what = f"{axis} goes the way {key.turn!r} from {instant(key.at)}, and scaled that may be another way"
    mend = "write the next keys' values as they count, beyond a round, and remove the turn"
    return ProjectError(f"tracks[{track}].keys[{place}].turn", what, mend)
