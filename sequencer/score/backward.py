"""Cues run backward, each within its own span; from one to the next an axis goes as gently as there is time for.

It refuses a cue that does not rest at its ends: what leads there is not part of the cue, and would be missing.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import numpy as np

from sequencer.errors import ProjectError
from sequencer.score.easing import Drawn, Laws, NoCurve, UnitCurve, curve_of, settings_of
from sequencer.score.edits.offset import offset
from sequencer.score.edits.reverse import reverse
from sequencer.score.edits.selection import CLOSEST, everything
from sequencer.score.edits.turns import way
from sequencer.score.move import Cue, Ease, Key, Move, Track
from sequencer.timebase.instants import instant

_STAYS, _GOES = Ease("hold"), Ease("poly345")
_SLOW = 1e-9  # of the axis's unit in the whole leg: what rounding leaves of no speed


def backward(move: Move, cues: Sequence[Cue], place: str, laws: Laws) -> tuple[Track, ...]:
    """Return the tracks in which each of these cues runs backward; the whole move where there is none.

    Error: ProjectError at `place` for cues that overlap, or do not rest at their ends.
    """
    spans = sorted(cues, key=lambda cue: cue.start) or list(_whole(move))
    for before, after in pairwise(spans):
        if after.start < before.end:
            what = f"the cues {before.name} and {after.name} overlap, and each is to run backward in its own span"
            raise ProjectError(f"{place}.of", what, "say which cue the pass belongs to")
    parts = [_one(move, cue, place, laws) for cue in spans]
    return tuple(
        Track(track.axis, _joined(track.axis, [part.tracks[number].keys for part in parts], spans, place))
        for number, track in enumerate(move.tracks)
    )


def _whole(move: Move) -> Iterator[Cue]:
    keys = [key.at for track in move.tracks for key in track.keys]
    if keys and min(keys) < max(keys):
        yield Cue("the move", min(keys), max(keys))


def _one(move: Move, cue: Cue, place: str, laws: Laws) -> Move:
    """Return a cue backward: keys at both ends of its span, on every track, and those between."""
    inside = Move(tracks=tuple(_inside(track, cue, place, laws) for track in move.tracks))
    done = reverse(inside, everything(inside), laws)
    at = [key.at for track in inside.tracks for key in track.keys]
    # keys that stand hardly beside an end of the span take its place, and leave the middle elsewhere by as little
    shift = cue.start + cue.end - min(at) - max(at)
    return offset(done, everything(done), frames=shift) if shift else done


def _inside(track: Track, cue: Cue, place: str, laws: Laws) -> Track:
    """Return the part of a track in a cue, with keys at both ends. Error: ProjectError where it moves there."""
    keys = [key for key in track.keys if cue.start <= key.at <= cue.end]
    first, last = (_standing(track, cue, at, place, laws) for at in (cue.start, cue.end))
    if not keys or keys[0].at - cue.start >= CLOSEST:
        keys.insert(0, Key(cue.start, first, _STAYS))
    if cue.end - keys[-1].at >= CLOSEST:
        keys[-1] = replace(keys[-1], ease=_STAYS, turn=None)
        keys.append(Key(cue.end, last, _STAYS))
    return replace(track, keys=tuple(keys))


def _standing(track: Track, cue: Cue, at: Fraction, place: str, laws: Laws) -> float:
    """Return where an axis rests at an end of a cue. Error: ProjectError where it does not, with its nearest rests."""
    keys = track.keys
    here = max((number for number, key in enumerate(keys) if key.at <= at), default=0)
    if keys[here].at >= at:
        rests = _rests_at(keys, here, laws)
    else:
        rests = here == len(keys) - 1 or not _moves(keys, here, laws)
    if rests:
        return keys[here].value
    there = [key.at for number, key in enumerate(keys) if _rests_at(keys, number, laws)]
    near = (max((one for one in there if one <= at), default=None), min(one for one in there if one >= at))
    where = " or ".join(instant(one) for one in near if one is not None)
    end = "begin" if at == cue.start else "end"
    what = f"{track.axis} moves at {instant(at)}, where {cue.name} {end}s, so the cue cannot be run backward"
    raise ProjectError(f"{place}.reversed", what, f"let it {end} where {track.axis} rests: {where}")


def _rests_at(keys: Sequence[Key], number: int, laws: Laws) -> bool:
    """Whether an axis rests at a key. Where only one leg has speed there, it jumps from rest: the check says so."""
    if number in (0, len(keys) - 1):
        return True
    both = [settings_of(keys[leg].ease, laws)[0].curve is NoCurve.RUN for leg in (number - 1, number)]
    if any(both):
        run = all(both) and all(_moves(keys, leg, laws) for leg in (number - 1, number))
        return not run or keys[number].passing == "hold"
    return not all(_has_speed(keys, leg, u, laws) for leg, u in ((number - 1, 1.0), (number, 0.0)))


def _moves(keys: Sequence[Key], leg: int, laws: Laws) -> bool:
    return way(keys[leg], keys[leg + 1]) != 0 or isinstance(_curve(keys[leg], laws), Drawn)


def _has_speed(keys: Sequence[Key], leg: int, u: float, laws: Laws) -> bool:
    """Whether a leg that is no run has speed at the part `u` of its time."""
    curve, far = _curve(keys[leg], laws), way(keys[leg], keys[leg + 1])
    if isinstance(curve, NoCurve):
        return False
    slope = float(UnitCurve(curve.breaks, curve.coeffs).sample(np.array([u]), 1)[0])
    return abs(far + slope if isinstance(curve, Drawn) else far * slope) > _SLOW


def _curve(key: Key, laws: Laws) -> UnitCurve | Drawn | NoCurve:
    return curve_of(key.ease, laws)


def _joined(axis: str, parts: Sequence[Sequence[Key]], spans: Sequence[Cue], place: str) -> tuple[Key, ...]:
    """Return the keys of all cues, with a way from each to the next. Error: ProjectError where there is no time."""
    keys: list[Key] = []
    for number, part in enumerate(parts):
        if keys and part[0].at - keys[-1].at < CLOSEST:
            if keys[-1].value != part[0].value:
                before, after = spans[number - 1].name, spans[number].name
                what = f"{axis} would jump from {keys[-1].value:g} to {part[0].value:g} where {before} meets {after}"
                raise ProjectError(f"{place}.of", what, "say which of them the pass belongs to")
            # two smooth runs that meet there would be one
            keys[-1:] = [replace(part[0], passing="hold"), *part[1:]]
            continue
        if keys:
            ease = _STAYS if keys[-1].value == part[0].value else _GOES
            keys[-1] = replace(keys[-1], ease=ease, passing="pass", turn=None)
        keys += part
    return tuple(keys)
