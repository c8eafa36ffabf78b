"""What is done on the disk for the operator, in a worker's thread, and its faults in plain words with their mend.

It refuses to touch the desk.
"""

import errno
import filecmp
import glob
import os
import shutil
import time
from contextlib import suppress
from datetime import datetime
from pathlib import Path

from sequencer.errors import LinkError, ProjectError
from sequencer.project import files, store
from sequencer.project.differ import differences
from sequencer.project.document import Project
from sequencer.project.flushed import flush_folder, make_folder
from sequencer.project.inside import demand_inside
from sequencer.project.recovery import Recovered, fingerprint
from sequencer.score.easing import Laws
from ui.acts.keeping import Print
from ui.language import translate

_MOST_BYTES = 4 * 2**30  # of an audio file that is copied
_STALE_S = 60.0  # since it last grew: no copy that goes on stands still for so long


def read(folder: Path, laws: Laws) -> tuple[Project, Print]:
    """Return the project and the fingerprint of the files it was read from, or of a moment before."""
    # taken first: a change in between is then seen as one
    saved = fingerprint(folder)
    return store.load(folder, laws), saved


def compared(folder: Path, ours: Project, laws: Laws) -> tuple[Project, Print, tuple[str, ...]]:
    """Return what the files hold, their fingerprint, and what differs there."""
    theirs, saved = read(folder, laws)
    return theirs, saved, differences(ours, theirs)


def write(folder: Path, before: Path | None, project: Project, laws: Laws) -> Print:
    """Save the project, and copy its playback from the folder `before` where it is another; return the fingerprint."""
    moved = before is not None and not same(folder, before)
    store.save(folder, project, laws)
    if before is not None and moved and project.playback is not None:
        audio, there = before / project.playback.file, folder / project.playback.file
        if audio.is_file() and not there.exists():
            demand_inside(there, folder)
            make_folder(there.parent)
            _copy(audio, there)
    return fingerprint(folder)


def copied(path: Path, folder: Path) -> str:
    """Copy an audio file into a project folder, whole or not at all, and return its name there.

    A file of that name with other content keeps it; the new one gets a number. Error: OSError, ProjectError.
    """
    if path.parent.resolve() == folder.resolve():
        return path.name
    size = path.stat().st_size
    if size > _MOST_BYTES:
        raise ProjectError("", "is larger than 4 GB", "cut it to what is needed", path.name)
    there, number = folder / path.name, 1
    while there.exists() and not filecmp.cmp(path, there, shallow=False):
        number += 1
        there = folder / f"{path.stem}-{number}{path.suffix}"
    if not there.exists():
        _copy(path, there)
    return there.name


def _copy(path: Path, there: Path) -> None:
    """Copy a file, which has its name only once it is on the disk whole. Error: OSError; then nothing is there."""
    _sweep(there)
    waiting = there.with_name(f".{there.name}.new")
    waiting.unlink(missing_ok=True)  # it may be a link, which would be written through
    try:
        with path.open("rb") as file, waiting.open("xb") as copy:
            shutil.copyfileobj(file, copy)
            copy.flush()
            os.fsync(copy.fileno())
        os.replace(waiting, there)
        flush_folder(there.parent)
    finally:
        waiting.unlink(missing_ok=True)


def _sweep(there: Path) -> None:
    """Remove what copies of such files left that were broken off long ago: they are large, and hidden."""
    with suppress(OSError):
        for path in there.parent.glob(f".*{glob.escape(there.suffix)}.new"):
            if time.time() - path.stat().st_mtime > _STALE_S:
                path.unlink()


def same(one: Path, other: Path) -> bool:
    """Return whether two paths lead to one folder."""
    return os.path.realpath(one) == os.path.realpath(other)


def occupied(folder: Path) -> bool:
    """Return whether a project's files are there already."""
    return any(os.path.lexists(folder / name) for name in (files.PROJECT, files.RIG))


def plain(fault: Exception) -> str:
    """Return the fault in words for the operator."""
    if isinstance(fault, ProjectError):
        place = " ".join(part for part in (fault.file if fault.file != "journal" else "", fault.path) if part)
        words = f"{place}: {fault.what}" if place else fault.what
        mend = fault.mend or (_MENDS[errno.EACCES] if "Permission denied" in fault.what else "")
        return f"{words}; {mend}." if mend else f"{words}."
    if isinstance(fault, OSError):
        where = f"{fault.filename}: " if fault.filename else ""
        mend = _MENDS.get(fault.errno or 0, "")
        return f"{where}{fault.strerror or fault}{f'; {mend}' if mend else ''}."
    return str(fault) if isinstance(fault, LinkError) else f"{fault}"


_MENDS = {
    errno.EACCES: "this user may not; change the folder's permissions, or copy it to a place of your own",
    errno.EROFS: "the disk is write-protected; save elsewhere",
    errno.ENOSPC: "the disk is full; free some of it, or save elsewhere",
    errno.ENOENT: "it is gone; bring it back, or choose another",
}


def not_opened(folder: Path, fault: Exception) -> str:
    """Say that a folder was not opened, why, and how to mend that."""
    if folder.is_file():
        words = translate(
            "files", "{name} is a file. Open the project's folder, which holds project.json and rig.json."
        )
        return words.format(name=folder.name)
    return translate("files", "{name} was not opened. {why}").format(name=folder.name or folder, why=plain(fault))


def without_axes(folder: Path, missing: tuple[tuple[str, int], ...]) -> str:
    """Say which axes the rig of a project does not have, each with its number of keys, and what can be done."""
    tracks = ", ".join(
        translate("files", "{axis} ({count} keys)").format(axis=axis, count=count) for axis, count in missing
    )
    words = translate(
        "files",
        "{name} has tracks for axes that its rig does not have: {tracks}. Add the axes with limits that are guesses, "
        "or open it without these tracks; then it is saved elsewhere, and these files stay as they are.",
    )
    return words.format(name=folder.name, tracks=tracks)


def ended_without_saving(recovered: Recovered) -> str:
    """Say what an editor left that ended without saving, and what is missing from it."""
    when = datetime.fromtimestamp(recovered.at_s).strftime("%H:%M:%S, %Y-%m-%d")
    words = translate("files", "The editor ended without saving. Its edits up to {when} are here.").format(when=when)
    if recovered.moved_on:
        words += " " + translate("files", "The files were changed since then: compare before you save.")
    return " ".join((words, *(f"{line}." for line in recovered.lines)))


def gone(folder: Path) -> str:
    """Say that a project's files are not there any more, and what can be done."""
    words = translate(
        "files",
        "The files of {folder} are gone or cannot be read: unplugged, moved or removed? Your edits are safe here. "
        "Bring the folder back, or save elsewhere.",
    )
    return words.format(folder=folder)
