"""Chosen keys as a whole: stretched, run backward, mirrored, snapped, joined, thinned; legs split. It asks for nothing:
numbers are arguments.
"""

from fractions import Fraction
from typing import Literal

from sequencer.errors import SequencerError
from sequencer.motion.thin import thin
from sequencer.project.document import Project
from sequencer.score.edits.join import join
from sequencer.score.edits.reverse import reverse
from sequencer.score.edits.scale import scale
from sequencer.score.edits.snap import snap
from sequencer.score.edits.stretch import stretch
from sequencer.score.move import Move
from ui.acts.doing import do
from ui.acts.grids import lines
from ui.acts.keys import joined, many, refuse_pinned, some, some_stay_words, split_track
from ui.acts.laws import plain_ease
from ui.desk import Desk
from ui.language import translate

About = Literal["first", "playhead"]


def stretch_keys(desk: Desk, factor: Fraction, about: About = "first") -> bool:
    """Stretch the chosen keys in time, about the first of them or about the playhead."""
    if not some(desk):
        return False
    selection = desk.selection
    fixed = desk.playhead if about == "playhead" else min(key.at for _, _, key in desk.chosen_keys())

    def edit(project: Project) -> Move:
        after = stretch(project.move, selection, factor, fixed)
        moved = {
            track.axis: {number for number in selection.get(track.axis, ()) if track.keys[number].at != fixed}
            for track in project.move.tracks
        }
        refuse_pinned(desk, project.move, moved)
        return after

    return do(desk, translate("acts", "stretch {keys}").format(keys=many(desk)), edit)


def reverse_keys(desk: Desk) -> bool:
    """Run the chosen keys backward, from their last to their first."""
    if not some(desk):
        return False
    selection = desk.selection

    def edit(project: Project) -> Move:
        refuse_pinned(desk, project.move, selection)
        return reverse(project.move, selection, desk.laws)

    return do(desk, translate("acts", "reverse {keys}").format(keys=many(desk)), edit)


def mirror_keys(desk: Desk, about: float = 0.0) -> bool:
    """Put the chosen keys on the other side of the value `about`."""
    return scale_keys(desk, -1.0, about, translate("acts", "mirror {keys}"))


def scale_keys(desk: Desk, factor: float, about: float = 0.0, words: str = "") -> bool:
    """Put the chosen keys `factor` times as far from the value `about`."""
    if not some(desk):
        return False
    selection = desk.selection

    def edit(project: Project) -> Move:
        refuse_pinned(desk, project.move, selection)
        return scale(project.move, joined(desk, project.move, selection), desk.laws, factor=factor, about=about)

    return do(desk, (words or translate("acts", "scale {keys}")).format(keys=many(desk)), edit)


def snap_keys(desk: Desk) -> bool:
    """Move the chosen keys onto the nearest lines of what keys snap onto. Pinned ones stay."""
    if not some(desk):
        return False
    selection = desk.selection

    def edit(project: Project) -> Move:
        move = project.move
        for axis, numbers in selection.items():
            grid = lines(desk, axis)
            if grid is None:
                raise ValueError(translate("acts", "keys snap onto nothing now; choose frames, beats, markers or keys"))
            move = snap(move, {axis: numbers}, grid)
        return move

    stay = sum(key.pin for _, _, key in desk.chosen_keys())
    done = do(desk, translate("acts", "snap {keys}").format(keys=many(desk)), edit)
    if done and stay:
        desk.note(some_stay_words().format(count=stay))
    return done


def join_keys(desk: Desk, law: str | None = None) -> bool:
    """Take the chosen keys out so that the legs beside them become one; `law` of that leg, or as the first one's."""
    if not some(desk):
        return False
    selection = desk.selection

    def edit(project: Project) -> Move:
        ease = None if law is None else plain_ease(desk, law)
        return join(project.move, selection, desk.laws, ease=ease)

    if not do(desk, translate("acts", "join legs at {keys}").format(keys=many(desk)), edit):
        return False
    desk.select({})
    return True


def thin_keys(desk: Desk, tolerance: float) -> bool:
    """Take out the chosen keys that are not needed to stay within `tolerance`, in each axis's own unit."""
    if not some(desk):
        return False
    selection = desk.selection

    def edit(project: Project) -> Move:
        return thin(project.rig, project.move, project.timebase.rate, desk.laws, selection, tolerance)

    before = sum(len(track.keys) for track in desk.project.move.tracks)
    if not do(desk, translate("acts", "thin {keys}").format(keys=many(desk)), edit):
        return False
    desk.select({})
    gone = before - sum(len(track.keys) for track in desk.project.move.tracks)
    desk.note(translate("acts", "{count} keys taken out").format(count=gone), "done")
    return True


def split_legs(desk: Desk, at: Fraction | None = None) -> bool:
    """Put a key on the curve of every axis that has a leg at frame `at`, else at the playhead."""
    at = desk.playhead if at is None else at
    lost: list[str] = []

    def edit(project: Project) -> Move:
        move, done = project.move, False
        for track in project.move.tracks:
            try:
                move = split_track(desk, project, move, track, at)
                done = True
            except SequencerError:
                pass  # a key stands there already
            except ValueError:
                if track.keys[0].at < at < track.keys[-1].at:
                    lost.append(track.axis)
        if not done:
            words = translate("acts", "no leg can be split here; put the playhead between two keys")
            raise ValueError(words)
        return move

    if not do(desk, translate("acts", "split legs"), edit):
        return False
    number_at = {
        track.axis: frozenset(number for number, key in enumerate(track.keys) if key.at == at)
        for track in desk.project.move.tracks
    }
    desk.select(number_at)
    if lost:
        words = translate("acts", "not split, since the curve could not be kept: {axes}")
        desk.note(words.format(axes=", ".join(lost)))
    return True
