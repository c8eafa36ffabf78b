"""Unsaved edits on the disk: a journal for each editor that has a project open, and what a crash left of one.

Journals lie in the user's own state folder, so that a project on a stick or in a folder that cannot be written to is
kept as well, and no project folder is littered. It refuses to throw away what it cannot read: that is kept aside.
"""

import hashlib
import os
import shutil
import time
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from platformdirs import user_state_path

from sequencer.errors import ProjectError, SequencerError
from sequencer.project import files, paired
from sequencer.project.document import Project
from sequencer.project.flushed import flush_folder, make_folder
from sequencer.project.inside import content, opened
from sequencer.project.journal import (
    FORMAT,
    VERSION,
    Header,
    Reading,
    Record,
    framed,
    header,
    step,
    unframed,
    whole_bytes,
)
from sequencer.project.lock import Lock, owner
from sequencer.project.store import load
from sequencer.score.easing import Laws

_MOST_EDITORS = 16  # of one project at once
_MOST_ASIDE = 20
_TRIES, _TRY_EVERY_S = 5, 0.04
_COMPACT_BYTES = 4 * 2**20
_JOURNAL, _LOCK, _ASIDE, _COPIES = "journal", "lock", "aside", "saved-"
_SAVED = (files.PROJECT, files.RIG)


def state_folder() -> Path:
    """Return where this program keeps what is no project's, for this user."""
    return user_state_path("twintake", appauthor=False)


def fingerprint(folder: Path) -> tuple[str, str] | None:
    """Return the SHA-256 of project.json and rig.json, None where one of them cannot be read."""
    paired.complete(folder)
    try:
        both = (content(folder / name, folder, files.MAX_BYTES) for name in _SAVED)
        project, rig = (hashlib.sha256(data).hexdigest() for data in both)
    except OSError:
        return None
    return project, rig


@dataclass(slots=True)
class Journal:
    """Keeps what is edited in one project; nothing is on the disk before the first step.

    `base` is the project as the files have it, None for one that was never saved; `saved` is their fingerprint.
    `others` are the processes that have the project open as well.
    """

    folder: Path | None
    place: Path
    lock: Lock
    base: Project | None
    saved: tuple[str, str] | None
    others: tuple[int, ...] = ()
    _last: Project | None = None
    _file: BinaryIO | None = None
    _compact_at: int = _COMPACT_BYTES

    def record(self, project: Project) -> bool:
        """Write what changed since the last record, and wait until it is on the disk; return whether anything did.

        Error: OSError, ProjectError; then the next call writes all anew.
        """
        if self._file is None:
            if self.base is not None and project == self.base:
                return False
            self._begin(project)
            return True
        entry = step(self._last, project, time.time())
        if entry is None:
            return False
        try:
            self._append(self._file, entry)
            self._last = project
            if self._file.tell() > self._compact_at:
                self._begin(project)
        except OSError:
            self._close()
            raise
        return True

    def clear(self, base: Project | None, saved: tuple[str, str] | None) -> None:
        """Be told that the files hold `base` now: what was kept is not needed any more. Error: OSError."""
        self._close()
        _remove(self.place)
        self.base, self.saved = base, saved

    def rebase(self, base: Project | None, saved: tuple[str, str] | None, now: Project) -> None:
        """Be told that the files hold `base` now, while the project is `now`: at no instant is nothing on the disk.

        Error: OSError, ProjectError.
        """
        if base is not None and now == base:
            self.clear(base, saved)
        else:
            self.base, self.saved = base, saved
            self._begin(now)

    def end(self) -> None:
        """Close it, and let others have the place; a journal that is there stays."""
        self._close()
        self.lock.release()
        with suppress(OSError):
            self.place.rmdir()
            self.place.parent.rmdir()

    def _begin(self, project: Project) -> None:
        """Write the journal anew, as one step from the saved files; the old one is there until it is whole."""
        self._close()
        base, saved = self.base, self._copies()
        if saved is None:
            base = None  # the files it begins at are gone or others: the journal holds the whole project
        sha = saved or ("", "")
        first = Header(FORMAT, VERSION, str(self.folder or ""), *sha, time.time())
        entry = step(base, project, time.time())
        waiting = self.place / f"{_JOURNAL}.new"
        with open(waiting, "wb") as file:
            file.write(framed(first) + (framed(entry) if entry else b""))
            file.flush()
            os.fsync(file.fileno())
        os.replace(waiting, self.place / _JOURNAL)
        flush_folder(self.place)
        _forget_copies(self.place, keep=_copy_of(self.place, sha))
        self._file = open(self.place / _JOURNAL, "ab")  # noqa: SIM115 - it stays open for the next step
        self._last = project
        self._compact_at = max(_COMPACT_BYTES, 4 * self._file.tell())

    def _copies(self) -> tuple[str, str] | None:
        """Keep the saved files beside the journal, since another program may change them; return which they are."""
        if self.folder is None or self.base is None or self.saved is None:
            return None
        there = _copy_of(self.place, self.saved)
        if fingerprint(there) != self.saved:
            make_folder(there)
            with suppress(OSError):
                for name in _SAVED:
                    _copy(self.folder / name, there / name)
                flush_folder(there)
        return self.saved if fingerprint(there) == self.saved else None

    @staticmethod
    def _append(file: BinaryIO, entry: Record) -> None:
        file.write(framed(entry))
        file.flush()
        os.fsync(file.fileno())

    def _close(self) -> None:
        if self._file is not None:
            with suppress(OSError):
                self._file.close()
            self._file = None
        self._last = None


@dataclass(slots=True)
class Recovered:
    """The project as it was, shortly before an editor ended without a word.

    `at_s`: when its last step was written. `moved_on`: the saved files are others now than those it was made from.
    `lines` say what is missing from it. It is kept until one of the three ways to part with it is taken.
    """

    project: Project
    at_s: float
    moved_on: bool
    lines: tuple[str, ...]
    place: Path
    lock: Lock

    def done(self) -> None:
        """Remove it: it is kept elsewhere now, or saved."""
        _remove(self.place)
        self.later()

    def set_aside(self) -> Path:
        """Keep it, where it is not offered any more; return where."""
        kept = _aside(self.place)
        self.later()
        return kept

    def later(self) -> None:
        """Leave it as it is, to be offered again."""
        self.lock.release()
        with suppress(OSError):
            self.place.rmdir()


@dataclass(frozen=True, slots=True)
class Refused:
    """Unsaved edits that cannot be used: why, and where they are kept."""

    words: str
    kept: Path


def hold(folder: Path | None, base: Project | None, saved: tuple[str, str] | None, root: Path | None = None) -> Journal:
    """Return a journal of one's own for the project in `folder`.

    Error: OSError, or ProjectError where no place is left.
    """
    home = _home(folder, root)
    others = []
    for place in _places(home):
        if (place / _JOURNAL).exists() and not _is_held(place):
            continue
        lock = Lock.take(place / _LOCK)
        if lock is None:
            if (other := owner(place / _LOCK)) not in others:
                others.append(other)
        elif (place / _JOURNAL).exists():
            lock.release()
        else:
            living = [one for one in _others(home, place) if one not in others]
            return Journal(folder, place, lock, base, saved, (*others, *living))
    what = f"there are {_MOST_EDITORS} records of unsaved edits already"
    raise ProjectError("", what, f"recover them, or remove {home}", file="journal")


def recover(folder: Path | None, laws: Laws, root: Path | None = None) -> Recovered | Refused | None:
    """Return what an editor that is no more left of unsaved edits, the newest first; None where there is nothing.

    What is refused is moved aside, so that it is told once and never lost. Error: OSError.
    """
    home = _home(folder, root)
    left = [place for place in _places(home) if (place / _JOURNAL).exists()]
    for place in sorted(left, key=lambda one: (one / _JOURNAL).stat().st_mtime_ns, reverse=True):
        lock = _patiently(place / _LOCK)
        if lock is None:
            continue  # a living editor writes there
        try:
            found = _read(folder, laws, place, lock)
        except SequencerError as fault:
            kept = _aside(place)
            lock.release()
            return Refused(str(fault), kept)
        if found is not None:
            return found
        _remove(place)
        lock.release()
    return None


def _read(folder: Path | None, laws: Laws, place: Path, lock: Lock) -> Recovered | None:
    data = (place / _JOURNAL).read_bytes()
    origin = header(data)
    sha = (origin.project_sha256, origin.rig_sha256)
    base = None
    if any(sha):
        copies = _copy_of(place, sha)
        if fingerprint(copies) != sha:
            what = "the saved files that it begins at are not beside it as they were"
            raise ProjectError("", what, "go on from what is saved", "journal")
        base = load(copies, laws)  # its audio is not there, and not asked for
    reading = Reading(laws, base)
    records = list(unframed(data))[1:]
    for one in records:
        if not reading.feed(one):
            break
    if whole_bytes(data) < len(data):
        reading.troubles.append("its last step was being written when the editor ended, and is left out")
    if not records:
        return None
    project = reading.newest()
    if project is None:
        raise ProjectError("", "; ".join(reading.troubles) or "no step of it can be used", file="journal")
    if project == base and not reading.troubles:
        return None  # all was undone
    now = fingerprint(folder) if folder is not None else None
    moved_on = any(sha) and now != sha
    if moved_on and folder is not None and _holds(folder, project, laws):
        return None  # it ended right after it had saved
    return Recovered(project, reading.at_s, moved_on, tuple(reading.troubles), place, lock)


def _home(folder: Path | None, root: Path | None) -> Path:
    where = "" if folder is None else os.path.realpath(folder)
    name = "".join(one if one.isalnum() or one in "-_" else "-" for one in Path(where).name)[:40] or "unnamed"
    return (root or state_folder()) / "unsaved" / f"{name}-{hashlib.sha256(where.encode()).hexdigest()[:12]}"


def _places(home: Path) -> Iterator[Path]:
    return (home / str(number) for number in range(_MOST_EDITORS))


def _others(home: Path, own: Path) -> Iterator[int]:
    return (owner(place / _LOCK) for place in _places(home) if place != own and _is_held(place))


def _is_held(place: Path) -> bool:
    if not (place / _LOCK).exists():
        return False
    lock = Lock.take(place / _LOCK)
    if lock is not None:
        lock.release()
    return lock is None


def _patiently(path: Path) -> Lock | None:
    """Take a lock, which another editor that starts right now may have for an instant to see whether it is free."""
    for _ in range(_TRIES):
        if (lock := Lock.take(path)) is not None:
            return lock
        time.sleep(_TRY_EVERY_S)
    return None


def _holds(folder: Path, project: Project, laws: Laws) -> bool:
    try:
        return load(folder, laws) == project
    except SequencerError:
        return False


def _copy_of(place: Path, sha: tuple[str, str]) -> Path:
    """Return where the saved files with this fingerprint are kept."""
    return place / f"{_COPIES}{sha[0][:16]}{sha[1][:16]}"


def _forget_copies(place: Path, keep: Path | None = None) -> None:
    for there in place.glob(f"{_COPIES}*"):
        if there != keep:
            shutil.rmtree(there, ignore_errors=True)


def _copy(path: Path, to: Path) -> None:
    with opened(path, path.parent) as file, to.open("wb") as copy:
        shutil.copyfileobj(file, copy)
        copy.flush()
        os.fsync(copy.fileno())


def _remove(place: Path) -> None:
    if (place / _JOURNAL).exists():
        (place / _JOURNAL).unlink(missing_ok=True)
        flush_folder(place)  # never a journal without the saved files that it begins at
    _forget_copies(place)


def _aside(place: Path) -> Path:
    """Move a journal and its saved files where nothing looks for them; of very many the oldest go."""
    home = place.parent / _ASIDE
    make_folder(home)
    kept = home / time.strftime("%Y-%m-%d-%H%M%S")
    number = 1
    while kept.exists():
        number += 1
        kept = kept.with_name(f"{kept.name.partition('.')[0]}.{number}")
    kept.mkdir()
    flush_folder(home)  # before anything has its only name in it
    for there in (place / _JOURNAL, *place.glob(f"{_COPIES}*")):
        os.replace(there, kept / there.name)
    for old in sorted(home.iterdir(), key=lambda one: one.stat().st_mtime_ns)[:-_MOST_ASIDE]:
        shutil.rmtree(old, ignore_errors=True)
    return kept
