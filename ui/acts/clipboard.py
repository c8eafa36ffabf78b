"""Copy, cut and paste of keys; what was copied is also text for other programs. It refuses to read such text back."""

from weakref import WeakKeyDictionary

from PyQt6.QtGui import QGuiApplication

from sequencer.project.document import Project
from sequencer.score.edits.clip import Clip, clip, paste
from sequencer.score.edits.selection import Selection
from sequencer.score.move import Move
from ui.acts.doing import do
from ui.acts.keys import delete_keys, many, some
from ui.acts.rest import without_jumps
from ui.acts.written import decimal, written
from ui.desk import Desk
from ui.language import translate

_COPIED: WeakKeyDictionary[Desk, Clip] = WeakKeyDictionary()


def copy_keys(desk: Desk) -> bool:
    """Keep a copy of the chosen keys, and put them as a table of text on the system's clipboard."""
    if not some(desk):
        return False
    _COPIED[desk] = clip(desk.project.move, desk.selection)
    board = QGuiApplication.clipboard()
    if board is not None:
        board.setText(_table(desk))
    desk.note(translate("acts", "copied: {keys}").format(keys=many(desk)), "done")
    return True


def cut_keys(desk: Desk) -> bool:
    """Copy the chosen keys and take them out."""
    if not some(desk):
        return False
    if desk.locked:
        desk.note(desk.locked, "refused")
        return False
    kept = _COPIED.get(desk)
    words = translate("acts", "cut {keys}").format(keys=many(desk))
    if not copy_keys(desk) or not delete_keys(desk, words):
        if kept is not None:
            _COPIED[desk] = kept
        return False
    return True


def paste_keys(desk: Desk, axis: str | None = None) -> bool:
    """Put the copied keys at the playhead and choose them; those of one axis go to `axis`, if it is given.

    A key that stands at the very same instant is replaced.
    """
    copied = _COPIED.get(desk)
    if copied is None:
        desk.note(translate("acts", "nothing was copied; choose keys and copy them first"), "refused")
        return False
    own = copied.tracks[0].axis
    renamed = {own: axis} if axis is not None and len(copied.tracks) == 1 else None
    chosen: list[Selection] = []

    def edit(project: Project) -> Move:
        for track in copied.tracks:
            project.rig.index((renamed or {}).get(track.axis, track.axis))
        if renamed and own in project.rig.names:
            _refuse_units(project, own, renamed[own])
        move, selection = paste(project.move, copied, desk.playhead, axes=renamed)
        chosen.append(selection)
        return without_jumps(project.move, move, desk.laws)[0]

    words = translate("acts", "paste {count} keys").format(count=copied.count)
    if not do(desk, words, edit):
        return False
    desk.select(chosen[-1])
    return True


def _refuse_units(project: Project, *axes: str) -> None:
    one, other = (project.rig.axes[project.rig.index(axis)] for axis in axes)
    if one.unit != other.unit:
        words = translate("acts", "keys of {one} are in {unit}, and {other} is in {others}; paste onto an axis like it")
        raise ValueError(words.format(one=one.name, unit=one.unit, other=other.name, others=other.unit))


def _table(desk: Desk) -> str:
    timebase, tempo = desk.project.timebase, desk.project.tempo
    rows = [
        f"{axis}\t{written(key.at, desk.counted, timebase, tempo)}\t{decimal(key.value)}\t{key.ease.law}"
        for axis, _, key in desk.chosen_keys()
    ]
    return "\n".join(rows)
