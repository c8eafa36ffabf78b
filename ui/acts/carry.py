"""Chosen keys on their way in time and value: how far they may go, and the move as it is then.

It refuses to put keys out of order, outside of the axis's travel, or half a day away, to move a pinned one, and to
break a leg at rest.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from sequencer.project.document import Project
from sequencer.score.easing import Laws
from sequencer.score.edits.selection import Selection
from sequencer.score.move import Key, Move, Track
from ui.acts.rest import together

# frames: how near a key may be brought to one that stays
BESIDE = Fraction(1)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Carry:
    """The keys `timed` move in time, the keys `valued` in value: by axis, their numbers in order.

    `frames` and `values` are the least and the most by which they may move. `stays` counts chosen keys that are pinned,
    or joined at rest to one that is.
    """

    move: Move
    timed: Mapping[str, list[int]]
    valued: Mapping[str, list[int]]
    frames: tuple[Fraction, Fraction]
    values: tuple[float, float]
    travels: Mapping[str, tuple[float, float] | None]
    stays: int

    def within(self, frames: Fraction, value: float) -> tuple[Fraction, float]:
        """Return the nearest that they may move."""
        least, most = self.frames
        low, high = self.values
        return min(max(frames, least), most), min(max(value, low), high)

    def moved(self, frames: Fraction, value: float) -> Move:
        """Return the move with these keys so much later and higher."""
        return replace(self.move, tracks=tuple(self._carried(track, frames, value) for track in self.move.tracks))

    def _carried(self, track: Track, frames: Fraction, value: float) -> Track:
        timed = self.timed.get(track.axis, ()) if frames else ()
        valued = self.valued.get(track.axis, ()) if value else ()
        if not timed and not valued:
            return track
        keys = list(track.keys)
        for number in timed:
            key = keys[number]
            keys[number] = Key(key.at + frames, key.value, key.ease, key.passing, key.turn, key.pin)
        travel = self.travels[track.axis] if valued else None
        for number in valued:
            key = keys[number]
            stands = key.value + value
            if travel is not None and travel[0] <= key.value <= travel[1]:
                stands = min(max(stands, travel[0]), travel[1])  # what rounding left outside
            keys[number] = Key(key.at, stands, key.ease, key.passing, key.turn, key.pin)
        return Track(track.axis, tuple(keys))


def carry(project: Project, selection: Selection, laws: Laws, valued: Iterable[str] | None = None) -> Carry:
    """Return the chosen keys ready to be moved; only the axes `valued` change their values, or all of them."""
    axes = None if valued is None else frozenset(valued)
    timed: dict[str, list[int]] = {}
    higher: dict[str, list[int]] = {}
    half = Fraction(project.timebase.counting.day, 2)
    least, most = -2 * half, 2 * half
    low, high = -math.inf, math.inf
    stays = 0
    for track in project.move.tracks:
        chosen = selection.get(track.axis, ())
        own = [number for number in sorted(chosen) if not track.keys[number].pin]
        stays += len(chosen) - len(own)
        if own:
            timed[track.axis] = own
            down, up = _room(track, own, half)
            least, most = max(least, down), min(most, up)
        if own and (axes is None or track.axis in axes):
            numbers, bound = _free(track, own, laws)
            stays += bound
            if numbers:
                higher[track.axis] = numbers
                below, above = _travel(project, track, numbers)
                low, high = max(low, below), min(high, above)
    return Carry(
        move=project.move,
        timed=timed,
        valued=higher,
        frames=(least, most),
        values=(low, high),
        travels=project.rig.travels,
        stays=stays,
    )


def _free(track: Track, own: list[int], laws: Laws) -> tuple[list[int], int]:
    """Return the keys whose values move with these, and how many of these rest beside a pinned key."""
    numbers: list[int] = []
    bound, chosen = 0, set(own)
    for group in together(track, own, laws):
        if any(track.keys[number].pin for number in group):
            bound += len(chosen.intersection(group))
        else:
            numbers += group
    return numbers, bound


def _room(track: Track, own: list[int], half: Fraction) -> tuple[Fraction, Fraction]:
    """Return by how many frames these keys may go earlier, and later."""
    keys = track.keys
    chosen = set(own)
    down = [BESIDE - (keys[number].at - keys[number - 1].at) for number in own if number and number - 1 not in chosen]
    up = [
        keys[number + 1].at - keys[number].at - BESIDE
        for number in own
        if number + 1 < len(keys) and number + 1 not in chosen
    ]
    down.append(-half - keys[own[0]].at)
    up.append(half - BESIDE - keys[own[-1]].at)
    return min(Fraction(0), max(down)), max(Fraction(0), min(up))


def _travel(project: Project, track: Track, numbers: list[int]) -> tuple[float, float]:
    travel = project.rig.axes[project.rig.index(track.axis)].travel
    if travel is None:
        return -math.inf, math.inf
    values = [track.keys[number].value for number in numbers]
    return min(0.0, travel[0] - min(values)), max(0.0, travel[1] - max(values))
