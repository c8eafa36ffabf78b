"""Keeps unsaved edits on the disk as they are made, and sees when another program changes the project's files.

It refuses to make the window wait: a thread of its own writes, another one reads.
"""

import os
import threading
import time
from collections import deque
from collections.abc import Callable
from pathlib import Path

from PyQt6.QtCore import QFileSystemWatcher, QObject, QTimer, pyqtSignal

from sequencer.errors import SequencerError
from sequencer.project import files
from sequencer.project.document import Project
from sequencer.project.recovery import Journal, Recovered, fingerprint, hold
from ui.acts.working import Worker
from ui.beside import Inbox
from ui.desk import Desk
from ui.language import translate

EVERY_S = 0.5  # at most so long an edit waits before it is written
_AGAIN_S = 5.0  # after a fault
_CALM_MS = 250
_LOOK_EVERY_MS = 3000  # folders of other machines tell nobody that they changed
_PATIENCE_S = 5.0
_LOOK_MS = 100
Print = tuple[str, str] | None


class Keeper(QObject):
    """Follows the desk and writes what changed into a journal.

    `troubled`: why edits are not kept at the moment, told once; `kept_again`: that they are, after that.
    `shared`: the numbers of other processes that have the project open as well.
    """

    troubled = pyqtSignal(str)
    shared = pyqtSignal(object)
    kept_again = pyqtSignal()

    def __init__(self, desk: Desk, root: Path | None = None) -> None:
        super().__init__()
        self._desk, self._root = desk, root
        self._journal: Journal | None = None
        self._wake = threading.Condition()
        self._due: Project | None = None
        self._due_age = self._age = self._journal_age = 0  # which project on the desk it is, counted
        self._written: Project | None = None
        self._jobs: deque[Callable[[], object]] = deque()
        self._ended = False
        self._in_trouble = False
        # what the thread has to tell: words of trouble, that it is over, or who else has the project open
        self._told: Inbox[str | tuple[int, ...] | None] = Inbox(self._pass_on, self, _LOOK_MS)
        self._told.open()
        self._thread = threading.Thread(target=self._run, name="keeper", daemon=True)
        self._thread.start()
        desk.changed.connect(self.follow)

    def begin(self, folder: Path | None, base: Project | None, saved: Print) -> None:
        """Keep edits of the project in `folder` from the next change on; call it right before it is put on the desk.

        What was kept of the project before is forgotten: it is saved, or was given up.
        """
        with self._wake:
            self._age += 1
            age = self._age
        self._do(lambda: self._change(age, folder, base, saved))

    def saved(self, base: Project, saved: Print) -> None:
        """Be told that `base` is what the files hold now."""
        now = self._desk.history.now
        self._do(lambda: self._clear(base, saved, now))
        self.follow()

    def adopt(self, recovered: Recovered) -> None:
        """Let what was recovered go as soon as the desk's project is on the disk here; the desk has it already."""
        self.follow()

        def done() -> None:
            # jobs come before what is due, so that it is written here and now
            due = self._desk.history.now
            if self._journal is not None and self._write(due):
                recovered.done()
            else:
                recovered.later()

        self._do(done)

    def forget(self) -> None:
        """Let the journal go: its edits are saved, or not wanted."""
        self._do(self._drop)

    def flush(self) -> bool:
        """Wait until all that was edited is on the disk; return whether it is."""
        if not self._thread.is_alive():
            return not self._in_trouble
        seen = threading.Event()
        self._do(self._write_due)
        self._do(seen.set)
        return seen.wait(_PATIENCE_S) and not self._in_trouble

    def end(self) -> None:
        """End; a journal with unsaved edits stays, to be offered at the next start."""
        self.flush()
        with self._wake:
            self._ended = True
            self._wake.notify()
        self._thread.join(_PATIENCE_S)

    def follow(self) -> None:
        """Look what the document is now; a gesture that goes on is no edit yet."""
        now = self._desk.history.now
        with self._wake:
            if now is not self._due or self._due_age != self._age:
                self._due, self._due_age = now, self._age
                self._wake.notify()

    def _pass_on(self, told: str | tuple[int, ...] | None) -> None:
        if isinstance(told, str):
            self.troubled.emit(told)
        elif told is None:
            self.kept_again.emit()
        else:
            self.shared.emit(told)

    def _do(self, job: Callable[[], object]) -> None:
        with self._wake:
            self._jobs.append(job)
            self._wake.notify()

    # in the keeper's own thread

    def _run(self) -> None:
        try:
            self._keep()
        except Exception as bug:
            self._tell(bug)  # the thread ends, and nobody may believe that edits are still kept
            raise
        finally:
            if self._journal is not None:
                self._journal.end()

    def _keep(self) -> None:
        next_s = 0.0
        while True:
            with self._wake:
                while not self._jobs and not self._ended:
                    wait_s = next_s - time.monotonic() if self._is_due() else None
                    if wait_s is not None and wait_s <= 0:
                        break
                    self._wake.wait(wait_s)
                job = self._jobs.popleft() if self._jobs else None
                if job is None and self._ended:
                    break
            if job is not None:
                job()
            else:
                next_s = time.monotonic() + (EVERY_S if self._write_due() else _AGAIN_S)

    def _is_due(self) -> bool:
        mine = self._journal is not None and self._due_age == self._journal_age
        return mine and self._due is not None and self._due is not self._written

    def _write_due(self) -> bool:
        due = self._due
        return not self._is_due() or due is None or self._write(due)

    def _write(self, due: Project) -> bool:
        assert self._journal is not None
        try:
            self._journal.record(due)
        except (OSError, SequencerError) as fault:
            self._tell(fault)
            return False
        self._written = due
        if self._in_trouble:
            self._in_trouble = False
            self._told.put(None)
        return True

    def _change(self, age: int, folder: Path | None, base: Project | None, saved: Print) -> None:
        self._drop()
        try:
            self._journal = hold(folder, base, saved, self._root)
        except (OSError, SequencerError) as fault:
            self._tell(fault)
            return
        self._journal_age, self._written = age, base
        if self._journal.others:
            self._told.put(self._journal.others)

    def _drop(self) -> None:
        if self._journal is not None:
            self._clear(self._journal.base, self._journal.saved)
            self._journal.end()
        self._journal = self._written = None

    def _clear(self, base: Project | None, saved: Print, now: Project | None = None) -> None:
        if self._journal is None:
            return
        try:
            if now is None:
                self._journal.clear(base, saved)
            else:
                self._journal.rebase(base, saved, now)
            self._written = now or base
        except (OSError, SequencerError) as fault:
            self._tell(fault)

    def _tell(self, fault: Exception) -> None:
        if not self._in_trouble:
            self._in_trouble = True
            words = translate("keeping", "Unsaved edits are not kept against a crash now ({why}). Save often.")
            self._told.put(words.format(why=fault))


class DiskWatch(QObject):
    """Watches the two files of a project folder.

    `moved`: another program changed them; the new fingerprint, or None where they are gone or cannot be read.
    """

    moved = pyqtSignal(object)

    def __init__(self) -> None:
        super().__init__()
        self._folder: Path | None = None
        self._known: Print = None
        self._stats: object = None
        self._paused = False
        self._age = 0  # what was read before the files were known anew says nothing
        self._watcher = QFileSystemWatcher(self)
        self._watcher.directoryChanged.connect(self._stir)
        self._watcher.fileChanged.connect(self._stir)
        self._calm = QTimer(self)
        self._calm.setSingleShot(True)
        self._calm.setInterval(_CALM_MS)
        self._calm.timeout.connect(self.look)
        self._poll = QTimer(self)
        self._poll.setInterval(_LOOK_EVERY_MS)
        self._poll.timeout.connect(self._glance)
        self._worker = Worker(self)

    def watch(self, folder: Path | None, known: Print) -> None:
        """Watch this folder, whose files have that fingerprint now."""
        self._folder, self._known, self._stats = folder, known, None
        if there := [*self._watcher.files(), *self._watcher.directories()]:
            self._watcher.removePaths(there)
        self._paused = False
        self._age += 1
        if folder is None:
            self._poll.stop()
            return
        self._poll.start()
        self._follow()
        self.look()  # for what happened since they were read

    def pause(self) -> None:
        """Look away while the program itself writes; `watch` looks again."""
        self._paused = True
        self._age += 1

    def look(self) -> None:
        """Compare the files with what is known of them."""
        folder = self._folder
        if folder is None or self._paused:
            return
        age = self._age
        self._worker.do("", lambda: fingerprint(folder), lambda found: self._compare(age, found), self._unseen)

    def _stir(self, _: str = "") -> None:
        self._calm.start()

    def _glance(self) -> None:
        """Look whether anything about the files is other than before, without reading them."""
        folder = self._folder
        if folder is not None and not self._paused and not self._worker.at_work:
            self._worker.do("", lambda: _stats(folder), self._compare_stats, self._unseen)

    def _compare_stats(self, found: object) -> None:
        if found != self._stats:
            first, self._stats = self._stats is None, found
            if not first:
                self.look()

    def _compare(self, age: int, found: Print) -> None:
        if age != self._age:
            return
        self._follow()
        if found != self._known:
            self._known = found
            self.moved.emit(found)

    def _follow(self) -> None:
        """Watch the files that are there now: one that was replaced is another one."""
        assert self._folder is not None
        paths = [str(self._folder), *(str(self._folder / name) for name in (files.PROJECT, files.RIG))]
        watched = {*self._watcher.files(), *self._watcher.directories()}
        if missing := [path for path in paths if path not in watched and os.path.exists(path)]:
            self._watcher.addPaths(missing)

    def _unseen(self, fault: Exception) -> None:
        """A folder that cannot be looked at has no fingerprint either; the next look tells."""


def _stats(folder: Path) -> object:
    found: list[tuple[int, ...] | None] = []
    for name in (files.PROJECT, files.RIG):
        try:
            stat = (folder / name).stat()
        except OSError:
            found.append(None)
        else:
            found.append((stat.st_mtime_ns, stat.st_size, stat.st_ino))
    return tuple(found)
