"""Opening, saving and giving up projects, and what to do about files that changed or do not load.

It refuses to decide where edits could be lost: then it asks, and the answer that harms nothing is one key away.
"""

from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from PyQt6.QtCore import pyqtSignal

from sequencer.errors import ProjectError, SequencerError
from sequencer.project import files
from sequencer.project.document import Project
from sequencer.project.partly import Partly, load_guessed, load_partly, without_axis
from sequencer.project.recovery import Recovered, Refused, fingerprint, recover
from ui.acts import disk, recent
from ui.acts.asking import Ask, Choice, Pick, nothing
from ui.acts.audio import Audio
from ui.acts.drops import Taker, dropped
from ui.acts.keeping import DiskWatch, Keeper, Print
from ui.acts.working import Worker
from ui.desk import Desk
from ui.language import translate

Then = Callable[[], None]
_SHOWN = 4  # differences in one sentence


class Files(Taker):
    """The desk's way to the disk.

    `asked`: an Ask that waits for an answer. `picking`: a Pick. `opened`: the folder of the project that is on the
    desk now, None for one that was recovered and never saved. `wanted_new`: the operator wants to begin a new one.
    `busy`: what is being done, empty when done. `root` is the state folder, where it is not the user's own.
    """

    asked = pyqtSignal(object)
    picking = pyqtSignal(object)
    opened = pyqtSignal(object)
    wanted_new = pyqtSignal()
    busy = pyqtSignal(str)

    def __init__(self, desk: Desk, root: Path | None = None) -> None:
        super().__init__()
        self._desk, self._root = desk, root
        self._elsewhere = ""  # why the project must not be saved where it came from
        self._leaves = self._thrown = False
        self.keeper = Keeper(desk, root)
        self.watch = DiskWatch()
        self._worker = Worker(self)
        self.audio = Audio(desk, self._worker, self.asked.emit, self.picking.emit)
        self._worker.busy.connect(self.busy)
        self.watch.moved.connect(self._moved)
        self.keeper.troubled.connect(lambda words: desk.note(words, "refused"))
        self.keeper.kept_again.connect(
            lambda: desk.note(translate("files", "Unsaved edits are kept against a crash again."), "told")
        )
        self.keeper.shared.connect(self._shared)

    # opening

    def begin(self, saved: Print) -> None:
        """Take up the project that the desk was made with; `saved` is the fingerprint of its files, if it has any."""
        desk = self._desk
        self.keeper.begin(desk.folder, desk.project, saved)
        self.keeper.follow()
        self._settled(desk.folder, saved)

    def new(self) -> None:
        """Begin a new project; what is on the desk stays there until another is."""
        self.wanted_new.emit()

    def choose(self) -> None:
        """Have a project folder chosen, and open it."""
        start = self._desk.folder.resolve().parent if self._desk.folder else Path.home()
        self.picking.emit(Pick(translate("files", "Open a project folder"), "project", self.open, start))

    def open(self, path: Path) -> None:
        """Open the project in a folder, or the folder of one of its files; unsaved edits are asked about.

        The one that is on the desk is only shown, with its edits.
        """
        folder = path.parent if path.name in (files.PROJECT, files.RIG) and not path.is_dir() else path
        there = self._desk.folder
        if there is not None and not self._elsewhere and disk.same(folder, there):
            self.opened.emit(there)
        else:
            self._part(lambda: self._open(folder))

    def reload(self) -> None:
        """Read the files again, as one step that can be undone."""
        if (folder := self._desk.folder) is None:
            self._desk.note(translate("files", "This project has no folder yet; save it first."), "refused")
            return
        words = translate("files", "reading {name}").format(name=folder.name)
        self._worker.do(words, lambda: disk.read(folder, self._desk.laws), self._take_theirs, self._failed)

    def _open(self, folder: Path) -> None:
        if not self._free():
            return
        words = translate("files", "opening {name}").format(name=folder.name)

        def failed(fault: Exception) -> None:
            self._not_opened(folder, fault)

        self._worker.do(words, lambda: disk.read(folder, self._desk.laws), lambda got: self._put(folder, *got), failed)

    def _put(
        self, folder: Path, project: Project, saved: Print, why_elsewhere: str = "", base: Project | None = None
    ) -> bool:
        """Put it on the desk; what it has beyond `base` is unsaved. Return whether that may be now."""
        if not self._free():
            return False
        self._elsewhere = why_elsewhere
        # what is not as the files have it is kept whole: the files alone would not lead to it again
        self.keeper.begin(folder, base or project, None if why_elsewhere or base else saved)
        self._desk.note(translate("files", "Opened {folder}.").format(folder=folder), "done")
        self._desk.open(project, folder)
        if base is not None:
            self._desk.saved(base)
        self._settled(folder, saved)
        return True

    def _free(self) -> bool:
        if self._desk.locked:
            self._desk.note(self._desk.locked, "refused")
        return not self._desk.locked

    def _settled(self, folder: Path | None, saved: Print) -> None:
        self.watch.watch(folder, saved)
        if folder is not None:
            recent.opened(folder, self._root)
            self.opened.emit(folder)
        self._worker.do("", lambda: recover(folder, self._desk.laws, self._root), self._offer, self._failed)

    def _not_opened(self, folder: Path, fault: Exception) -> None:
        found: tuple[tuple[str, int], ...] = ()
        if isinstance(fault, ProjectError) and fault.path.endswith(".axis"):
            with suppress(SequencerError):
                found = without_axis(folder)
        if not found:
            self._desk.note(disk.not_opened(folder, fault), "refused")
            return
        axes = " and ".join(axis for axis, _ in found)
        self._ask(
            "open",
            disk.without_axes(folder, found),
            (translate("files", "Add {axes}").format(axes=axes), lambda: self._open_guessed(folder)),
            (translate("files", "Open without {axes}").format(axes=axes), lambda: self._open_partly(folder)),
            (translate("files", "Leave it"), nothing),
        )

    def _open_guessed(self, folder: Path) -> None:
        laws = self._desk.laws

        def done(got: tuple[Partly, Partly, Print]) -> None:
            whole, partly, saved = got
            words = translate("files", "The limits of {axes} are guesses: measure them, and write them in Setup.")
            if self._put(folder, whole.project, saved, base=partly.project):
                self._desk.note(words.format(axes=", ".join(whole.left_out)), "told")

        def read() -> tuple[Partly, Partly, Print]:
            saved = fingerprint(folder)
            return load_guessed(folder, laws), load_partly(folder, laws), saved

        self._worker.do("", read, done, lambda fault: self._not_opened(folder, fault))

    def _open_partly(self, folder: Path) -> None:
        def done(got: tuple[Partly, Print]) -> None:
            partly, saved = got
            why = translate("files", "It was opened without the tracks of {axes}; saved here, they would be lost.")
            if self._put(folder, partly.project, saved, why.format(axes=", ".join(partly.left_out))):
                self._desk.note(self._elsewhere, "told")

        def read() -> tuple[Partly, Print]:
            saved = fingerprint(folder)
            return load_partly(folder, self._desk.laws), saved

        self._worker.do("", read, done, lambda fault: self._not_opened(folder, fault))

    # recovery

    def _offer(self, found: Recovered | Refused | None) -> None:
        if isinstance(found, Refused):
            words = translate(
                "files", "Unsaved edits of an earlier run cannot be used: {why}. They are kept in {kept}."
            )
            self._desk.note(words.format(why=found.words, kept=found.kept), "refused")
        if not isinstance(found, Recovered):
            return
        recovered = found
        self._ask(
            "recover",
            disk.ended_without_saving(recovered),
            (translate("files", "Recover them"), lambda: self._recover(recovered)),
            (translate("files", "Set them aside"), lambda: self._set_aside(recovered)),
            (translate("files", "Not now"), recovered.later),
        )

    def _recover(self, recovered: Recovered) -> None:
        if not self._free():
            recovered.later()
            return
        self._desk.edit(translate("files", "recover unsaved edits"), recovered.project)
        self.keeper.adopt(recovered)
        self.opened.emit(self._desk.folder)
        self._desk.note(translate("files", "Recovered. Save them, or undo to have what the files hold."), "done")

    def _set_aside(self, recovered: Recovered) -> None:
        kept = recovered.set_aside()
        self._desk.note(translate("files", "The unsaved edits are kept in {kept}.").format(kept=kept), "done")

    def _shared(self, others: tuple[int, ...]) -> None:
        numbers = ", ".join(str(number) for number in others)
        words = translate(
            "files",
            "This project is open in another editor as well (process {numbers}). Whoever saves last overwrites the "
            "other: close one of the two.",
        )
        self._desk.note(words.format(numbers=numbers), "refused")

    # saving

    def save(self, then: Then = nothing, otherwise: Then = nothing) -> None:
        """Write the project into its folder, then go on, or do `otherwise`; without a folder, have one chosen."""
        folder = self._desk.folder
        if folder is None or self._elsewhere:
            if self._elsewhere:
                self._desk.note(self._elsewhere, "told")
            self.save_as(then)
        else:
            self._save(folder, then, otherwise)

    def save_as(self, then: Then = nothing) -> None:
        """Have a folder chosen, and write the project there; its playback is copied as well."""
        start = self._desk.folder.resolve().parent if self._desk.folder else Path.home()
        title = translate("files", "Save the project in a folder (a new one, or an empty one)")
        self.picking.emit(Pick(title, "folder", lambda folder: self.save_in(folder, then), start))

    def save_in(self, folder: Path, then: Then = nothing) -> None:
        """Write the project into this folder; another project that is there is asked about."""
        if self._desk.folder is not None and not self._elsewhere and disk.same(folder, self._desk.folder):
            self._save(folder, then)
        elif disk.occupied(folder):
            if self._elsewhere and self._desk.folder is not None and disk.same(folder, self._desk.folder):
                words = self._elsewhere
            else:
                words = translate("files", "There is a project in {name} already.").format(name=folder.name)
            words += " " + translate("files", "Its files would stay beside the new ones, as .bak.")
            self._ask(
                "replace",
                words,
                (translate("files", "Replace it"), lambda: self._save(folder, then)),
                (translate("files", "Choose another folder"), lambda: self.save_as(then)),
                (translate("files", "Leave it"), nothing),
            )
        else:
            self._save(folder, then)

    def _save(self, folder: Path, then: Then, otherwise: Then = nothing) -> None:
        desk = self._desk
        project, old, laws = desk.history.now, desk.folder, desk.laws
        self.watch.pause()

        def done(saved: Print) -> None:
            self._elsewhere = ""
            if old is not None and disk.same(old, folder):
                self.keeper.saved(project, saved)
            else:
                self.keeper.begin(folder, project, saved)
                desk.folder = folder
                recent.opened(folder, self._root)
            self.watch.watch(folder, saved)
            desk.saved(project)
            self.keeper.follow()
            desk.note(translate("files", "Saved in {folder}.").format(folder=folder), "done")
            if old is None or not disk.same(old, folder):
                self.opened.emit(folder)
            then()

        def failed(fault: Exception) -> None:
            self.watch.watch(old, fingerprint(old) if old else None)
            self._failed(fault)
            otherwise()

        words = translate("files", "saving {name}").format(name=folder.name)
        self._worker.do(words, lambda: disk.write(folder, old, project, laws), done, failed)

    def _part(self, then: Then, thrown: Then | None = None) -> None:
        """Go on at once where nothing is unsaved, else ask. What is thrown away is gone when another is there."""
        if not self._desk.dirty:
            then()
            return
        words = translate("files", "{name} has edits that are not saved.").format(name=self._desk.project.name)
        self._ask(
            "unsaved",
            words,
            (translate("files", "Save them, then go on"), lambda: self.save(then)),
            (translate("files", "Throw them away"), thrown or then),
            (translate("files", "Stay here"), nothing),
        )

    def may_leave(self, leave: Then) -> bool:
        """Return whether the window may close now; else ask, and have `leave` close it when that is answered."""
        if self._leaves or not self._desk.dirty:
            return True

        def go() -> None:
            self._leaves = True
            leave()

        def throw() -> None:
            self._thrown = True
            go()

        self._part(go, throw)
        return False

    def end(self) -> None:
        """The window is closed: what is saved or thrown away needs no journal any more."""
        self._worker.wait()
        if self._thrown or not self._desk.dirty:
            self.keeper.forget()
        self.watch.watch(None, None)
        self.keeper.end()

    # what others do to the files

    def _moved(self, saved: Print) -> None:
        folder = self._desk.folder
        if folder is None:
            return
        if saved is None:
            elsewhere = (translate("files", "Save elsewhere"), self.save_as)
            self._ask("disk", disk.gone(folder), elsewhere, (translate("files", "Wait"), nothing))
            return
        ours, laws = self._desk.history.now, self._desk.laws

        def done(got: tuple[Project, Print, tuple[str, ...]]) -> None:
            if self._desk.folder == folder:  # else another project came onto the desk meanwhile
                self._compare(*got)

        self._worker.do("", lambda: disk.compared(folder, ours, laws), done, self._theirs_do_not_load)

    def _compare(self, theirs: Project, saved: Print, lines: tuple[str, ...]) -> None:
        if not lines:
            self._desk.saved(theirs)
            self.keeper.saved(theirs, saved)
            return
        what = ", ".join(lines[:_SHOWN]) + (translate("files", " and more") if len(lines) > _SHOWN else "")
        words = translate("files", "Another program changed the files. Different there: {what}.").format(what=what)
        if self._desk.dirty:
            words += " " + translate("files", "You have unsaved edits; reading the files can be undone.")
        # ours is unsaved from now on, whatever it was
        self._desk.saved(theirs)
        self.keeper.saved(theirs, saved)
        self._ask(
            "disk",
            words,
            (translate("files", "Read the files"), lambda: self._take_theirs((theirs, saved))),
            (translate("files", "Keep mine"), nothing),
        )

    def _take_theirs(self, got: tuple[Project, Print]) -> None:
        theirs, saved = got
        self._desk.edit(translate("files", "read the files again"), theirs)
        if self._desk.history.now == theirs:
            self._desk.saved(theirs)
            self.keeper.saved(theirs, saved)
            self.watch.watch(self._desk.folder, saved)
            self._desk.note(translate("files", "Read again. Undo brings back what was here."), "done")

    def _theirs_do_not_load(self, fault: Exception) -> None:
        words = translate(
            "files",
            "Another program changed the files, and they do not load as they are: {why} Yours stays on the desk.",
        )
        self._desk.note(words.format(why=disk.plain(fault)), "refused")

    # dropped files and playback

    def drop(self, paths: list[Path]) -> None:
        """Open a project folder that was dropped, offer audio as the playback, and name anything else."""
        found = dropped(paths)
        if found.what == "project":
            self.open(found.path)
        elif found.what == "audio":
            self.audio.offer(found.path)
        else:
            self._desk.note(found.words, "refused")

    def _failed(self, fault: Exception) -> None:
        self._desk.note(disk.plain(fault), "refused")

    def _ask(self, about: str, words: str, *choices: tuple[str, Then]) -> None:
        self.asked.emit(Ask(words, tuple(Choice(label, do) for label, do in choices), about))
