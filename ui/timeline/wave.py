"""The playback's waveform, read in a worker so that the window never waits for a disk.

It refuses to fail aloud: what cannot be read is one sentence for the operator, and the editor goes on.
"""

from collections import OrderedDict
from pathlib import Path
from threading import Thread

from PyQt6.QtCore import QCoreApplication, QObject, QTimer, pyqtSignal

from sequencer.errors import SequencerError
from sequencer.music.waveform import Reading, Waveform
from sequencer.project.audiofile import info, pieces
from ui.desk import Desk
from ui.language import translate

_KEPT = 4
_LOOK_MS = 40
Print = tuple[str, int, int]  # path, size, time of change: other bytes have another one


class _Read(Thread):
    """Reads one file to its end, unless nobody wants it any more. No object of Qt's is touched in it.

    `over` is set when `waveform`, or else `fault`, is what came of it.
    """

    def __init__(self, path: Path, print_: Print) -> None:
        # a program must not end while a thread is in the sound library: whoever closes it says that nobody wants this
        super().__init__()
        self.print = print_
        self.wanted, self.over = True, False
        self.waveform: Waveform | None = None
        self.fault = ""
        self._path = path

    def run(self) -> None:
        try:
            reading = Reading(info(self._path).rate_hz)
            for piece in pieces(self._path):
                if not self.wanted:
                    return
                reading.add(piece)
            self.waveform = reading.done()
        except (SequencerError, OSError) as fault:
            self.fault = str(fault)
        self.over = True


class Sound(QObject):
    """The waveform of the desk's playback: `waveform`, or words about why there is none (yet). `heard`: it changed."""

    heard = pyqtSignal()

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self.waveform: Waveform | None = None
        self.words = ""
        self._desk = desk
        self._kept: OrderedDict[Print, Waveform] = OrderedDict()
        self._reader: _Read | None = None
        self._place: tuple[Path | None, str] | None = None
        self._look = QTimer(self)
        self._look.setInterval(_LOOK_MS)
        self._look.timeout.connect(self._take)
        desk.changed.connect(self._follow)
        desk.opened.connect(self._anew)
        app = QCoreApplication.instance()
        if app is not None:
            app.aboutToQuit.connect(self.stop)
        self._anew()

    @property
    def reading(self) -> bool:
        """Whether a file is being read now."""
        return self._reader is not None

    def stop(self) -> None:
        """Let go of what is being read."""
        if self._reader is not None:
            self._reader.wanted = False
            self._reader = None
            self._look.stop()

    def _follow(self) -> None:
        playback = self._desk.project.playback
        place = (self._desk.folder, playback.file if playback else "")
        if place != self._place:
            self._place = place
            self._begin(place)

    def _anew(self) -> None:
        self._place = None
        self._follow()

    def _begin(self, place: tuple[Path | None, str]) -> None:
        self.stop()
        folder, name = place
        self.waveform, self.words = None, ""
        if name and folder is not None:
            path = folder / name
            try:
                facts = path.stat()
                print_ = (str(path), facts.st_size, facts.st_mtime_ns)
            except OSError:
                print_ = (str(path), -1, -1)
            if print_ in self._kept:
                self.waveform = self._kept[print_]
            else:
                self.words = translate("timeline", "reading {file} …").format(file=path.name)
                self._reader = _Read(path, print_)
                self._reader.start()
                self._look.start()
        self.heard.emit()

    def _take(self) -> None:
        done = self._reader
        if done is None or not done.over:
            return
        self.stop()
        self.waveform, self.words = done.waveform, ""
        if done.waveform is not None:
            self._kept[done.print] = done.waveform
            while len(self._kept) > _KEPT:
                self._kept.popitem(last=False)
        else:
            self.words = translate("timeline", "the playback cannot be shown: {fault}").format(fault=done.fault)
            self._desk.note(self.words, "told")
        self.heard.emit()
