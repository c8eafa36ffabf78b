"""Copy keys, and put the copy elsewhere in time or on other axes.

A pasted key takes the place of one that stands at the same instant; keys between pasted ones stay, unless the stretch
is cleared. It refuses to take a pinned key away, and to put two axes' keys on one.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from heapq import merge

from sequencer.errors import ProjectError
from sequencer.score.edits.selection import CLOSEST, Selection, chosen
from sequencer.score.move import Key, Move, Track
from sequencer.timebase.instants import instant


@dataclass(frozen=True, slots=True)
class Clip:
    """Keys that were copied, for each axis in order of time; the first of all stands at frame 0.

    Pins are not copied: they say where and when a key of the document is.
    """

    tracks: tuple[Track, ...]

    @property
    def lasts(self) -> Fraction:
        """The frames from the first key to the last."""
        return max(track.keys[-1].at for track in self.tracks)

    @property
    def count(self) -> int:
        """How many keys there are."""
        return sum(len(track.keys) for track in self.tracks)


def clip(move: Move, selection: Selection) -> Clip:
    """Return a copy of the chosen keys. Error: ValueError where none is chosen."""
    own = [(track, numbers) for track, numbers in zip(move.tracks, chosen(move, selection), strict=True) if numbers]
    if not own:
        raise ValueError("no key is chosen; choose the keys to copy first")
    begin = min(track.keys[numbers[0]].at for track, numbers in own)
    return Clip(
        tuple(
            Track(
                track.axis,
                tuple(replace(track.keys[number], at=track.keys[number].at - begin, pin=False) for number in numbers),
            )
            for track, numbers in own
        )
    )


def paste(
    move: Move, clip: Clip, at: Fraction, *, axes: Mapping[str, str] | None = None, clear: bool = False
) -> tuple[Move, Selection]:
    """Return the move with the copied keys, the first of them at frame `at`, and those keys as a choice.

    `axes` says which axis gets the keys of which copied one; what it leaves out goes to its own. With `clear`, each
    axis's keys from its first pasted one to its last are taken out. An axis without a track gets one, after the others.
    Error: ProjectError for a pinned key in the way; ValueError for two axes' keys on one axis, or an axis to rename
    that was not copied.
    """
    names = {track.axis: track.axis for track in clip.tracks}
    for copied, axis in (axes or {}).items():
        if copied not in names:
            raise ValueError(f"no keys of {copied!r} were copied; there are keys of {', '.join(names)}")
        names[copied] = axis
    if len(set(names.values())) < len(names):
        raise ValueError("keys of two axes would come to one; give each an axis of its own")
    tracks = list(move.tracks)
    places = {track.axis: number for number, track in enumerate(tracks)}
    selection: dict[str, frozenset[int]] = {}
    for copied_track in clip.tracks:
        axis = names[copied_track.axis]
        pasted = [replace(key, at=key.at + at) for key in copied_track.keys]
        number = places.get(axis)
        if number is None:
            tracks.append(Track(axis, tuple(pasted)))
            selection[axis] = frozenset(range(len(pasted)))
            continue
        kept = _kept(tracks[number], number, pasted, clear)
        whole = [*merge(((key.at, 0, key) for key in kept), ((key.at, 1, key) for key in pasted), key=_order)]
        tracks[number] = replace(tracks[number], keys=tuple(key for _, _, key in whole))
        selection[axis] = frozenset(place for place, (_, new, _) in enumerate(whole) if new)
    return replace(move, tracks=tuple(tracks)), selection


def _order(row: tuple[Fraction, int, Key]) -> tuple[Fraction, int]:
    return row[:2]


def _kept(track: Track, number: int, pasted: list[Key], clear: bool) -> list[Key]:
    """Return the keys of the track that stay. Error: ProjectError for a pinned one that would not."""
    begin, end = pasted[0].at - CLOSEST, pasted[-1].at + CLOSEST
    kept, following = [], 0
    for place, key in enumerate(track.keys):
        stays = not begin < key.at < end
        if not stays and not clear:
            while pasted[following].at <= key.at - CLOSEST:
                following += 1
            stays = pasted[following].at >= key.at + CLOSEST
        if stays:
            kept.append(key)
        elif key.pin:
            what = f"the key of {track.axis} at {instant(key.at)} is pinned, and a pasted one would take its place"
            raise ProjectError(f"tracks[{number}].keys[{place}]", what, "unpin it first, or paste elsewhere")
    return kept
