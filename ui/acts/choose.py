"""Choosing keys: all, none, those of a cue or an axis, the next one. It changes no document."""

from bisect import bisect_left
from fractions import Fraction

from sequencer.score.edits.selection import between, everything
from sequencer.score.move import Track
from ui.acts.view import reveal
from ui.desk import Desk
from ui.language import translate


def choose_all(desk: Desk) -> None:
    """Choose every key of every axis."""
    desk.select(everything(desk.project.move))


def choose_none(desk: Desk) -> None:
    """Choose no key."""
    desk.select({})


def choose_axis(desk: Desk) -> None:
    """Choose all keys of the axes of which one is chosen."""
    if _some(desk):
        all_keys = everything(desk.project.move)
        desk.select({axis: all_keys[axis] for axis in desk.selection})


def choose_in_cue(desk: Desk, name: str | None = None) -> None:
    """Choose the keys in the cue `name`; without it, in the cue under the playhead."""
    cues = desk.project.move.cues
    for cue in cues:
        if cue.name == name or (name is None and cue.start <= desk.playhead <= cue.end):
            desk.select(between(desk.project.move, cue.start, cue.end))
            return
    if name is None:
        words = translate("acts", "the playhead is in no cue; move it into one, or choose a cue by its name")
    else:
        words = translate("acts", "there is no cue {name}").format(name=name)
    desk.note(words, "refused")


def choose_key(desk: Desk, axis: str, number: int, *, extend: bool = False) -> None:
    """Choose one key and bring it in sight; with `extend`, beside those that are chosen."""
    before = desk.selection if extend else {}
    desk.select({**before, axis: frozenset(before.get(axis, frozenset())) | {number}})
    track = desk.track(axis)
    if track is not None and 0 <= number < len(track.keys):
        reveal(desk, track.keys[number].at)


def choose_next(desk: Desk, axis: str, step: int, *, extend: bool = False) -> None:
    """Choose the key `step` keys after the chosen ones of `axis`, or before; else that nearest to the playhead."""
    track = desk.track(axis)
    if track is None or not track.keys:
        desk.note(translate("acts", "{axis} has no keys").format(axis=axis))
        return
    own = desk.selection.get(axis)
    if own:
        number = (max(own) if step > 0 else min(own)) + step
        number = min(max(number, 0), len(track.keys) - 1)
    else:
        number = nearest_key(track, desk.playhead)
    choose_key(desk, axis, number, extend=extend)


def choose_beside(desk: Desk, axis: str, *, extend: bool = False) -> None:
    """Choose the key of `axis` that is nearest in time to the chosen ones, or to the playhead."""
    track = desk.track(axis)
    if track is None or not track.keys:
        if not extend:
            desk.select({})
        return
    there = [key.at for _, _, key in desk.chosen_keys()[:1]]
    choose_key(desk, axis, nearest_key(track, there[0] if there else desk.playhead), extend=extend)


def nearest_key(track: Track, at: Fraction) -> int:
    """Return the number of the key nearest to `at`."""
    after = bisect_left(track.keys, at, key=lambda key: key.at)
    beside = [number for number in (after - 1, after) if 0 <= number < len(track.keys)]
    return min(beside, key=lambda number: abs(track.keys[number].at - at))


def _some(desk: Desk) -> bool:
    if not desk.selection:
        desk.note(translate("acts", "no key is chosen; choose one first"), "refused")
    return bool(desk.selection)
