"""Take keys out, so that the legs beside them become one. It refuses to take out a pinned key, or one at an end.

Legs in a row that a repair drew become one drawn leg with the very same curve. Else the one leg has the law of the
first.
"""

from dataclasses import replace
from itertools import pairwise

from sequencer.errors import ProjectError
from sequencer.score.easing import Laws, NoCurve, settings_of
from sequencer.score.edits.selection import Selection, chosen
from sequencer.score.edits.turns import way
from sequencer.score.laws.spline import Node, Spline
from sequencer.score.move import Ease, Key, Move, Track, Turn
from sequencer.timebase.instants import instant

# of the largest slope at a joint, and of the largest bend: nearer than that two drawn legs meet without a jolt
_SMOOTH = 1e-6
# degrees; what rounding leaves of the same way
_NEAR = 1e-9


def join(move: Move, selection: Selection, laws: Laws, *, ease: Ease | None = None) -> Move:
    """Return the move without the chosen keys; each joined leg has the law `ease`, or else what the module says.

    Error: ProjectError for a pinned key, a key at an end of its track, legs that go round further than one leg
    can, or a drawn first leg among legs of which not all are drawn.
    """
    tracks = []
    for number, (track, numbers) in enumerate(zip(move.tracks, chosen(move, selection), strict=True)):
        for place in numbers:
            _refuse(f"tracks[{number}].keys[{place}]", track, place)
        kept = sorted(set(range(len(track.keys))) - set(numbers))
        keys = []
        for first, last in zip(kept, [*kept[1:], kept[-1] + 1] if kept else (), strict=True):
            key = track.keys[first]
            if last - first > 1:
                legs = track.keys[first : last + 1]
                key = _joined(f"tracks[{number}].keys[{first}]", track.axis, legs, laws, ease)
            keys.append(key)
        tracks.append(replace(track, keys=tuple(keys)))
    return replace(move, tracks=tuple(tracks))


def _refuse(path: str, track: Track, place: int) -> None:
    where = f"the key of {track.axis} at {instant(track.keys[place].at)}"
    if track.keys[place].pin:
        raise ProjectError(path, f"{where} is pinned", "unpin it first")
    if place in (0, len(track.keys) - 1):
        raise ProjectError(path, f"{where} is at the end of the track, where it joins no legs", "choose keys inside")


def _joined(path: str, axis: str, keys: tuple[Key, ...], laws: Laws, ease: Ease | None) -> Key:
    """Return the first of `keys`, from which one leg now goes to the last."""
    first, last = replace(keys[0], turn=_turn(path, axis, keys)), keys[-1]
    if ease is None:
        splines = [key.ease.how for key in keys[:-1] if isinstance(key.ease.how, Spline)]
        if len(splines) == len(keys) - 1:
            return replace(first, ease=Ease(first.ease.law, _merged(path, axis, keys, splines)))
        if isinstance(first.ease.how, Spline):
            what = f"the leg of {axis} from here is drawn, and the others are not"
            raise ProjectError(f"{path}.ease", what, "say which law the joined leg has")
        ease = first.ease
    if settings_of(ease, laws)[0].curve is NoCurve.STILL and first.value != last.value:
        what = f"the joined leg of {axis} would {ease.law}, but goes from {first.value:g} to {last.value:g}"
        raise ProjectError(f"{path}.ease", what, "say which law the joined leg has")
    return replace(first, ease=ease)


def _turn(path: str, axis: str, keys: tuple[Key, ...]) -> Turn | None:
    """Return the turn with which one leg goes as far as the legs of `keys`. Error: ProjectError where there is none."""
    whole = sum(way(*pair) for pair in pairwise(keys))
    turns: tuple[Turn | None, ...] = (keys[0].turn, None, "up", "down")
    for turn in turns:
        if abs(way(replace(keys[0], turn=turn), keys[-1]) - whole) <= _NEAR:
            return turn
    what = f"{axis} goes {whole:.9g} deg over these keys, which is further than one leg goes round"
    raise ProjectError(f"{path}.turn", what, "keep a key between, or write the last value as it counts")


def _merged(path: str, axis: str, keys: tuple[Key, ...], splines: list[Spline]) -> Spline:
    """Return the one curve that drawn legs make. Error: ProjectError where one begins with a jolt."""
    begin, lasts = keys[0].at, keys[-1].at - keys[0].at
    total = sum(way(*pair) for pair in pairwise(keys))
    rows: list[Node] = []
    gone = 0.0
    for (key, following), spline in zip(pairwise(keys), splines, strict=True):
        # part of the whole time, and how the leg's own straight line lies beside the whole's
        at, part = float((key.at - begin) / lasts), float((following.at - key.at) / lasts)
        own = way(key, following)
        legs: list[Node] = [
            (
                at + u * part,
                gone + u * own + off - total * (at + u * part),
                (own + slope) / part - total,
                bend / part**2,
            )
            for u, off, slope, bend in spline.nodes
        ]
        if rows and not _meets(rows, legs):
            what = f"the speed or acceleration of {axis} jumps at {instant(key.at)}, where legs would be joined"
            raise ProjectError(path, what, "say which law the joined leg has")
        rows += legs[1:] if rows else legs
        gone += own
    rows[0], rows[-1] = (0.0, 0.0, *rows[0][2:]), (1.0, 0.0, *rows[-1][2:])
    return Spline(tuple(rows))


def _meets(before: list[Node], after: list[Node]) -> bool:
    return all(
        abs(before[-1][place] - after[0][place]) <= _SMOOTH * max(abs(row[place]) for row in (*before, *after))
        for place in (2, 3)
    )
