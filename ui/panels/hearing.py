"""Listens to the playback for its beat, in a thread of its own that may be told to stop; what was heard is kept.

It refuses to fail aloud: what cannot be read or has no beat is one sentence for the operator.
"""

from collections import OrderedDict
from dataclasses import dataclass, replace
from pathlib import Path
from threading import Thread

from PyQt6.QtCore import QObject, QTimer, pyqtSignal

from sequencer.errors import SequencerError
from sequencer.music.beats import Beats, NoBeat, beats
from sequencer.music.onsets import Onsets, Stopped, Strength, one_voice, onsets, strength
from sequencer.music.waveform import Reading, Waveform
from sequencer.project.audiofile import info, load
from ui.acts.disk import plain
from ui.desk import Desk
from ui.language import translate

LOWEST = 0.5  # threshold of onsets: all above it are kept
_KEPT = 3  # files
_LOOK_MS = 30
Print = tuple[str, int, int]  # path, size, time of change: other bytes have another one


@dataclass(frozen=True, slots=True, eq=False)
class Heard:
    """What was heard in a file. Unit: seconds from its first sample. `onsets` are those above the lowest threshold."""

    waveform: Waveform
    grown: Strength
    onsets: Onsets
    beats: Beats | NoBeat


class _Listen(Thread):
    """Reads and hears one file, unless nobody wants it any more. No object of Qt's is touched in it.

    `over` is set when `heard`, or else `fault`, is what came of it.
    """

    def __init__(self, path: Path, print_: Print, bpm: float | None, before: Heard | None) -> None:
        super().__init__(name="listening")
        self.print = print_
        self.bpm = bpm
        self.wanted, self.over = True, False
        self.heard: Heard | None = None
        self.fault = ""
        self.bug: Exception | None = None
        self._path, self._before = path, before

    def run(self) -> None:
        try:
            self.heard = self._hear()
        except Stopped:
            return
        except (SequencerError, OSError) as fault:
            self.fault = plain(fault)
        except MemoryError:
            self.fault = translate("music", "{file}: there is not enough memory to hear all of it; cut it").format(
                file=self._path.name
            )
        except Exception as bug:
            self.bug = bug  # raised in the window's thread
        self.over = True

    def _hear(self) -> Heard:
        rate_hz = info(self._path).rate_hz
        samples = load(self._path)
        if not self.wanted:
            raise Stopped
        before = self._before
        mono = one_voice(samples)
        if before is None:
            reading = Reading(rate_hz)
            reading.add(samples)
            grown = strength(mono, rate_hz, lambda: self.wanted)
            begun = onsets(mono, rate_hz, LOWEST, grown)
            before = Heard(reading.done(), grown, begun, NoBeat(""))
        found = beats(mono, rate_hz, self.bpm, found=before.grown, wanted=lambda: self.wanted)
        return replace(before, beats=found)


class Hearing(QObject):
    """`changed`: what is heard, or that it is being listened for, is another.

    `heard` is what the playback of the desk was heard to be, if it was; `words` say what goes on, or why there is
    nothing.
    """

    changed = pyqtSignal()

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self.heard: Heard | None = None
        self.words = ""
        self._desk = desk
        self._kept: OrderedDict[Print, Heard] = OrderedDict()
        self._thread: _Listen | None = None
        self._of: tuple[Path | None, str] = self._place()
        self._look = QTimer(self)
        self._look.setInterval(_LOOK_MS)
        self._look.timeout.connect(self._take)
        desk.changed.connect(self._follow)
        desk.opened.connect(self._follow)

    @property
    def listening(self) -> bool:
        """Whether a file is being heard now."""
        return self._thread is not None

    def find(self, bpm: float | None = None) -> None:
        """Listen for the beat, at a tempo near `bpm` if one is given."""
        self._stop()
        folder, name = self._of = self._place()
        if not name:
            self._say(
                translate("music", "this project has no playback; drop an audio file on the window to give it one")
            )
            return
        if folder is None:
            self._say(translate("music", "save the project first, so that its playback has a place"))
            return
        path = folder / name
        try:
            facts = path.stat()
        except OSError:
            words = translate("music", "{file} is not there; copy it into {folder}, or drop another on the window")
            self.heard = None
            self._say(words.format(file=name, folder=folder))
            return
        print_ = (str(path), facts.st_size, facts.st_mtime_ns)
        before = self._kept.get(print_)
        if before is not None and bpm is None:
            self.heard = before
            self._say("")
            return
        self._thread = _Listen(path, print_, bpm, before)
        self._thread.start()
        self._look.start()
        self._say(translate("music", "listening to {file} …").format(file=path.name))

    def cancel(self) -> None:
        """Let go of what is being heard; what was heard before stays."""
        if self._thread is not None:
            self._stop()
            self._say(translate("music", "stopped; nothing was changed"))

    def _place(self) -> tuple[Path | None, str]:
        playback = self._desk.project.playback
        return self._desk.folder, playback.file if playback else ""

    def _follow(self) -> None:
        if self._place() != self._of:
            self._of = self._place()
            self._stop()
            self.heard = None
            self._say("")

    def _stop(self) -> None:
        if self._thread is not None:
            self._thread.wanted = False
            self._thread = None
            self._look.stop()

    def _say(self, words: str) -> None:
        self.words = words
        self.changed.emit()

    def _take(self) -> None:
        done = self._thread
        if done is None or not done.over:
            return
        self._stop()
        if done.bug is not None:
            raise done.bug
        if done.heard is None:
            self.heard = None
            self._say(done.fault)
            return
        self.heard = done.heard
        if done.bpm is None:
            self._kept[done.print] = done.heard
            while len(self._kept) > _KEPT:
                self._kept.popitem(last=False)
        found = done.heard.beats
        self._say(found.why if isinstance(found, NoBeat) else "")
