"""The disk door: a project folder is read whole or not at all, and written so that no crash leaves half of it.

It refuses to overwrite what a newer version of the program wrote, and never writes a project that would not load.
"""

import errno
import hashlib
import os
from collections import deque
from pathlib import Path
from typing import Any, TypeVar

from sequencer.errors import ProjectError
from sequencer.project import files, inside, paired, rig_file, text
from sequencer.project.build import build, build_rig, check, plain
from sequencer.project.document import Project
from sequencer.project.flushed import flush_folder
from sequencer.project.uncollected import uncollected
from sequencer.rig.axis import Rig
from sequencer.score.easing import Laws

MAX_BYTES = files.MAX_BYTES
T = TypeVar("T")
_FORMATS = {files.PROJECT: files.PROJECT_FORMAT, files.RIG: files.RIG_FORMAT}
# Digests of the last files that were found to load, with the laws that they load with. What is on the disk is mostly
# what was read or written last: whether it loads need not be found again, which takes as long as loading it.
_SOUND: deque[tuple[bytes, Laws]] = deque(maxlen=4)


def load(folder: Path, laws: Laws) -> Project:
    """Return the project in `folder`; nothing there is touched, but that a save which a crash broke off is completed.

    Error: ProjectError, and no other, with the file, the place in it, what is wrong and how to mend it.
    """
    project = _parse(_there(folder), laws)
    _check_playback(folder, project)
    return project


def documents(folder: Path) -> tuple[files.ProjectFile, rig_file.RigFile]:
    """Return what both files say, field by field, before anything is made of it. Error: ProjectError."""
    return _documents(_there(folder))


def load_rig(folder: Path) -> Rig:
    """Return the rig of the project in `folder`, whatever its project file says. Error: ProjectError."""
    paired.complete(folder)
    return build_rig(_read(_bytes(folder, files.RIG), files.RIG, rig_file.RigFile))


def save(folder: Path, project: Project, laws: Laws) -> None:
    """Write `project` into `folder`, which is made if it is not there; files that would not change are left alone.

    The file that was there stays as `project.json.bak` (`rig.json.bak`); if it was one that does not load, the last
    good one stays there and the other is kept as `project.json.broken`. A link is replaced, not written through.
    A crash or a power cut leaves both files as they were, or both as they are wanted (see `paired`).
    Error: ProjectError; then both files are as they were.
    """
    check(project.move, project.rig, laws)
    try:
        with uncollected():
            wanted = {name: written.encode() for name, written in dump(project).items()}
    except ValueError as error:
        raise ProjectError("", f"cannot be written as JSON: {error}", "correct the name or the number") from error
    _parse(wanted, laws)
    try:
        if not folder.is_dir():
            folder.mkdir(exist_ok=True)
            flush_folder(folder.parent)
        paired.complete(folder)
        # a link that leads out is replaced as if nothing were there: what it leads to is no file of this project
        named = [name for name in _FORMATS if os.path.lexists(folder / name)]
        before = {name: _bytes(folder, name) for name in named if not inside.leads_out(folder / name, folder)}
        changed = {name: data for name, data in wanted.items() if before.get(name) != data}
        sound = _is_known(before, laws)
        if not sound:
            for name, there in before.items():
                _refuse_newer(name, there)
        paired.put(folder, changed, before, ".bak" if sound or _loads(before, laws) else ".broken")
    except OSError as error:
        what = f"cannot be saved in {folder}: {error.strerror or error}"
        raise ProjectError("", what, "the files there are as they were; free the disk or save elsewhere") from error


def dump(project: Project) -> dict[str, str]:
    """Return the text of each file of the project folder, by the file's name."""
    return dict(zip((files.PROJECT, files.RIG), (text.lay_out(tree) for tree in plain(project)), strict=True))


def _parse(there: dict[str, bytes], laws: Laws) -> Project:
    with uncollected():
        project = build(*_documents(there), laws)
    _SOUND.append((_digest(there), dict(laws)))
    return project


def _is_known(there: dict[str, bytes], laws: Laws) -> bool:
    """Whether these very files were found to load before."""
    digest = _digest(there)
    return any(digest == known and laws == of for known, of in tuple(_SOUND))


def _digest(there: dict[str, bytes]) -> bytes:
    return b"".join(name.encode() + hashlib.sha256(data).digest() for name, data in sorted(there.items()))


def _there(folder: Path) -> dict[str, bytes]:
    if not os.path.isdir(folder):
        raise ProjectError("", f"there is no folder {folder}", "give the folder that holds the project")
    paired.complete(folder)
    return {name: _bytes(folder, name) for name in _FORMATS}


def _documents(there: dict[str, bytes]) -> tuple[files.ProjectFile, rig_file.RigFile]:
    document = _read(there[files.PROJECT], files.PROJECT, files.ProjectFile)
    return document, _read(there[files.RIG], files.RIG, rig_file.RigFile)


def _read(data: bytes, name: str, into: type[T]) -> T:
    tree = text.read(data, name)
    _check_version(tree, name)
    return text.convert(tree, into, name)


def _check_version(tree: dict[str, Any], name: str) -> None:
    if tree.get("format") != _FORMATS[name]:
        raise ProjectError("format", f'is not "{_FORMATS[name]}"', "this is a file of another kind", name)
    version = tree.get("version")
    if isinstance(version, bool) or not isinstance(version, int) or version < 1:
        raise ProjectError("version", "is not a version that there ever was", f"write {files.VERSION}", name)
    if version > files.VERSION:
        fault = f"written by a newer version of this program ({version}; this one reads {files.VERSION})"
        raise ProjectError("version", fault, "update the program", name)


def _refuse_newer(name: str, there: bytes) -> None:
    try:
        tree = text.read(there, name)
    except ProjectError:
        return  # unreadable by any version; it is kept aside
    version = tree.get("version")
    if tree.get("format") == _FORMATS[name] and isinstance(version, int) and version > files.VERSION:
        _check_version(tree, name)


def _loads(there: dict[str, bytes], laws: Laws) -> bool:
    try:
        return there.keys() == _FORMATS.keys() and bool(_parse(there, laws))
    except ProjectError:
        return False


def _bytes(folder: Path, name: str) -> bytes:
    """Return what the file holds. Error: ProjectError, for what leads out of the folder or is no file, too."""
    try:
        with inside.opened(folder / name, folder) as file:
            data = file.read(MAX_BYTES + 1)
    except FileNotFoundError as error:
        mend = f"a project folder holds {files.PROJECT} and {files.RIG}"
        raise ProjectError("", f"there is none in {folder}", mend, name) from error
    except OSError as error:
        if error.strerror == inside.NO_FILE:
            raise ProjectError("", inside.NO_FILE, "put a file of that name there", name) from error
        if error.errno == errno.EXDEV:
            raise ProjectError("", inside.LEADS_OUT, "put the file itself there, and no link", name) from error
        raise ProjectError("", f"cannot be read: {error.strerror or error}", "check who may read it", name) from error
    if len(data) > MAX_BYTES:
        raise ProjectError("", f"larger than {MAX_BYTES // 2**20} MB", "this program never wrote it", name)
    return data


def _check_playback(folder: Path, project: Project) -> None:
    """Refuse audio that a link leads out of the folder, or nowhere. Audio that is not there yet is no fault."""
    if project.playback is None:
        return
    path = folder / project.playback.file
    fault = ""
    if inside.leads_out(path, folder):
        fault = inside.LEADS_OUT
    elif os.path.islink(path):
        try:
            path.stat()
        except OSError as error:
            fault = f"is a link that leads nowhere: {error.strerror}"
    if fault:
        what = f"{project.playback.file!r} {fault}"
        raise ProjectError("playback.file", what, "copy the audio into the folder and write its name alone")
