"""An audio file becomes the project's playback: looked at, asked about, copied into the folder, put in its place.

It refuses audio that cannot be read, and never takes one that lies outside the project folder.
"""

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from functools import partial
from pathlib import Path

from PyQt6.QtCore import QObject

from sequencer.project import audiofile
from sequencer.project.document import Playback, Project
from ui.acts.asking import Ask, Choice, Pick
from ui.acts.disk import copied, plain
from ui.acts.working import Worker
from ui.desk import Desk
from ui.language import translate


class Audio(QObject):
    """Gives the project its playback. `ask` and `pick` bring a question, or a choice of files, before the operator."""

    def __init__(self, desk: Desk, worker: Worker, ask: Callable[[Ask], None], pick: Callable[[Pick], None]) -> None:
        super().__init__()
        self._desk, self._worker = desk, worker
        self._ask, self._pick = ask, pick

    def choose(self) -> None:
        """Have an audio file chosen, and offer it."""
        start = self._desk.folder or Path.home()
        self._pick(Pick(translate("files", "Choose the playback"), "audio", self.offer, start))

    def offer(self, path: Path) -> None:
        """Look whether it is audio, and ask whether and where it is to be the playback."""
        if self._desk.folder is None:
            words = translate("files", "Save the project first: the audio is copied into its folder.")
            self._desk.note(words, "refused")
            return
        self._worker.do("", lambda: audiofile.info(path), lambda info: self._offer(path, info), self._failed)

    def _offer(self, path: Path, info: audiofile.AudioInfo) -> None:
        project = self._desk.project
        words = translate(
            "files", "Use {name} ({seconds:.1f} s) as the playback? It is copied into the project folder."
        )
        words = words.format(name=path.name, seconds=info.frames / info.rate_hz)
        starts = {} if project.playback is None else {_label(project, project.playback.at): project.playback.at}
        if info.reference is not None:
            timebase = project.timebase
            recorded = timebase.wrap(timebase.rate.frames(Fraction(info.reference, info.rate_hz)))
            starts.setdefault(_label(project, recorded), recorded)
            told = translate("files", "It says that it begins at {label}.")
            words = f"{words} {told.format(label=_label(project, recorded))}"
        starts.setdefault(_label(project, Fraction(0)), Fraction(0))
        use = translate("files", "Use it from {label}")
        choices = [Choice(use.format(label=label), partial(self._copy, path, at)) for label, at in starts.items()]
        self._ask(Ask(words, (*choices, Choice(translate("files", "Leave it"))), "playback"))

    def _copy(self, path: Path, at: Fraction) -> None:
        folder = self._desk.folder
        if folder is None:
            return

        def done(name: str) -> None:
            playback = Playback(file=name, at=at)
            self._desk.attempt(translate("files", "playback"), lambda now: replace(now, playback=playback))
            project = self._desk.project
            self._worker.do("", lambda: audiofile.place(project, folder / name), self._placed, self._failed)

        words = translate("files", "copying {name}").format(name=path.name)
        self._worker.do(words, lambda: copied(path, folder), done, self._failed)

    def _placed(self, placed: audiofile.Placed) -> None:
        if placed.warning:
            self._desk.note(placed.warning, "told")

    def _failed(self, fault: Exception) -> None:
        self._desk.note(plain(fault), "refused")


def _label(project: Project, at: Fraction) -> str:
    return str(project.timebase.label(round(at, 2)))
