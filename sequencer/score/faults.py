"""Everything that makes a move unusable, with its place in the document. It refuses to judge what the motors can do.

The project's loader and the compiler ask here, so that a move from a file and a move from code meet the same rules.
"""

from collections.abc import Iterator

import numpy as np

from sequencer.errors import ProjectError
from sequencer.rig.axis import FARTHEST, Rig
from sequencer.score.columns import Columns, columns
from sequencer.score.easing import Laws, NoCurve, curve_of, settings_of
from sequencer.score.move import PASSINGS, TURNS, Ease, Key, Move

# frames; below it two keys are one instant to everything that counts in float seconds
_CLOSEST = 1e-6


def faults(move: Move, rig: Rig, laws: Laws, read: Columns | None = None) -> Iterator[ProjectError]:
    """Yield what is wrong with `move`, track after track; nothing where it can be compiled.

    Paths begin at the document's root: `tracks[2].keys[7].at`. `read` is the move's columns where they are at hand.
    """
    seen: dict[str, int] = {}
    for number, track in enumerate(move.tracks):
        path = f"tracks[{number}]"
        if track.axis not in rig.names:
            yield ProjectError(
                f"{path}.axis", f"the rig has no axis {track.axis!r}", f"its axes are {', '.join(rig.names)}"
            )
        elif track.axis in seen:
            yield ProjectError(
                f"{path}.axis",
                f"tracks[{seen[track.axis]}] moves the axis {track.axis!r} already",
                "put all its keys in one track",
            )
        seen.setdefault(track.axis, number)
        if not track.keys:
            yield ProjectError(f"{path}.keys", "the track has no keys", "give it a key, or remove the track")
    read = columns(move) if read is None else read
    yield from _choice_faults(move, rig, read)
    yield from _key_faults(move, read, laws)


def _choice_faults(move: Move, rig: Rig, read: Columns) -> Iterator[ProjectError]:
    """Look at the few keys that choose something."""
    round_about = {axis.name for axis in rig.axes if axis.travel is None and axis.unit == "deg"}
    for place, field in [*((place, "passing") for place in read.passing), *((place, "turn") for place in read.turn)]:
        number = int(np.searchsorted(read.first, place, "right")) - 1
        track, key_number = move.tracks[number], int(place - read.first[number])
        key, path = track.keys[key_number], f"tracks[{number}].keys[{key_number}].{field}"
        if field == "passing" and key.passing not in PASSINGS:
            yield ProjectError(path, f"there is no {key.passing!r}", f"write one of {', '.join(PASSINGS)}")
        elif field == "turn" and key.turn not in TURNS:
            yield ProjectError(path, f"there is no {key.turn!r}", f"write one of {', '.join(TURNS)}")
        elif field == "turn" and track.axis not in round_about:
            what = f"{track.axis} cannot go round: it is no axis in degrees without ends of travel"
            yield ProjectError(path, what, "remove it, or set the axis's travel to null in rig.json")


def _key_faults(move: Move, read: Columns, laws: Laws) -> Iterator[ProjectError]:
    """Look at all keys at once, and at each one only where something is wrong: a move has thousands."""
    frames, value, count = read.frames, read.value, len(read.value)
    # from here on without numpy's comforts: while a key is dragged, this looks at a few keys a hundred times a second
    leads = np.ones(count, np.bool_)  # to a next key of its track
    leads[read.first[1:][read.first[1:] > read.first[:-1]] - 1] = False
    wrong = {place: why for place, ease in enumerate(read.eases) if (why := _why_wrong(ease, laws))}
    still = [ease.law in laws and laws[ease.law].curve is NoCurve.STILL for ease in read.eases]
    bad_at, bad_value = ~np.isfinite(frames), ~(np.abs(value) < FARTHEST)
    bad_ease, jumps = np.zeros(count, np.bool_), np.zeros(count, np.bool_)
    with np.errstate(invalid="ignore", over="ignore"):
        bad_at[1:] |= leads[:-1] & ~(frames[1:] - frames[:-1] >= _CLOSEST)
        if any(still):
            jumps[:-1] = leads[:-1] & np.array(still)[read.ease[:-1]] & (value[1:] != value[:-1])
    if wrong:
        bad_ease = np.isin(read.ease, list(wrong))
    for place in (bad_at | bad_value | bad_ease | jumps).nonzero()[0].tolist():
        track = int(np.searchsorted(read.first, place, "right")) - 1
        number = int(place - read.first[track])
        keys, path = move.tracks[track].keys, f"tracks[{track}].keys[{number}]"
        if bad_at[place]:
            yield _out_of_order(f"{path}.at", keys[max(number - 1, 0)], keys[number])
        if bad_value[place]:
            mend = "give it a number in the axis's unit, below ten million either way"
            yield ProjectError(f"{path}.value", f"the value is {keys[number].value}", mend)
        if bad_ease[place]:
            yield ProjectError(f"{path}.ease", wrong[read.ease[place]])
        elif jumps[place] and np.isfinite(read.value[place : place + 2]).all():
            yield _jump(f"{path}.ease", keys[number], keys[number + 1])


def _why_wrong(ease: Ease, laws: Laws) -> str:
    try:
        if settings_of(ease, laws)[0].curves is None:
            curve_of(ease, laws)
    except ValueError as error:
        return str(error)
    return ""


def _out_of_order(path: str, before: Key, key: Key) -> ProjectError:
    gap = key.at - before.at
    if before is key or abs(gap) > 10**12:
        return ProjectError(path, "the key stands further away than any clock counts", "move it to the others")
    if gap < 0:
        return ProjectError(
            path, f"the key stands {-float(gap):.9g} frames before the one before it", "put the keys in order"
        )
    if gap == 0:
        return ProjectError(path, "the key stands at the same instant as the one before it", "move or remove one")
    return ProjectError(
        path, "the key stands less than a millionth of a frame after the one before it", "move or remove one"
    )


def _jump(path: str, key: Key, following: Key) -> ProjectError:
    return ProjectError(
        path,
        f"the axis should {key.ease.law} at {key.value:g}, but the next key is at {following.value:g}",
        "no motor can jump: give both keys one value, or the leg a law that moves",
    )
