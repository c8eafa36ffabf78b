"""Put time in, or take time out, and let everything later follow. It refuses to take out time in which a key stands."""

from collections.abc import Callable, Set
from dataclasses import replace
from fractions import Fraction

from sequencer.errors import ProjectError
from sequencer.score.edits.selection import in_order
from sequencer.score.move import Cue, Move
from sequencer.timebase.instants import instant


def ripple(
    move: Move,
    at: Fraction,
    frames: Fraction,
    *,
    axes: Set[str] | None = None,
    cues: bool = True,
    markers: bool = False,
) -> Move:
    """Return the move with everything from frame `at` on later by `frames`, or earlier where that is below zero.

    Time is taken out before `at`: `ripple(move, 100, -20)` takes out the frames 80 to 100. `axes` are the only ones
    whose keys move, if given; `cues` and `markers` follow too if asked. A cue that lasts over `at` becomes longer or
    shorter.
    Error: ProjectError naming the first key, cue or marker that stands in the time that is taken out; ValueError for an
    axis without a track.
    """
    there = {track.axis for track in move.tracks}
    if axes is not None and (lost := sorted(axes - there)):
        raise ValueError(f"no track moves {', '.join(lost)}; there are tracks for {', '.join(sorted(there))}")

    def moved(when: Fraction, path: str, name: str) -> Fraction:
        if at + frames < when < at:
            what = f"{name} stands at {instant(when)}, in the time that is taken out"
            raise ProjectError(path, what, "remove or move it first")
        return when + frames if when >= at else when

    tracks = []
    for number, track in enumerate(move.tracks):
        if axes is not None and track.axis not in axes:
            tracks.append(track)
            continue
        path = f"tracks[{number}].keys"
        keys = [
            replace(key, at=moved(key.at, f"{path}[{place}].at", f"a key of {track.axis}"))
            for place, key in enumerate(track.keys)
        ]
        tracks.append(replace(track, keys=tuple(keys)))
    rippled = in_order(move, replace(move, tracks=tuple(tracks)))
    if cues:
        rippled = replace(rippled, cues=tuple(_cue(move, number, moved) for number in range(len(move.cues))))
    if markers:
        kept = [
            replace(marker, at=moved(marker.at, f"markers[{number}].at", f"the marker {marker.name}"))
            for number, marker in enumerate(move.markers)
        ]
        rippled = replace(rippled, markers=tuple(kept))
    return rippled


def _cue(move: Move, number: int, moved: Callable[[Fraction, str, str], Fraction]) -> Cue:
    cue, path = move.cues[number], f"cues[{number}]"
    start = moved(cue.start, f"{path}.start", f"the begin of the cue {cue.name}")
    end = moved(cue.end, f"{path}.end", f"the end of the cue {cue.name}")
    if start == end != cue.end:
        raise ProjectError(path, f"the whole cue {cue.name} is in the time that is taken out", "remove the cue first")
    return replace(cue, start=start, end=end)
