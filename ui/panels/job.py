"""Work that takes longer than a frame, in a thread beside the window, whose answer comes as a signal.

It refuses to be waited for: who no longer wants the answer cancels, and the answer never comes.
"""

import threading
from collections.abc import Callable
from queue import SimpleQueue

from PyQt6.QtCore import QCoreApplication, QObject, QTimer, pyqtSignal

from sequencer.errors import SequencerError
from ui.language import translate

Tell = Callable[[float], bool]
_LOOK_MS = 15


class Job(QObject):
    """One piece of work. `done` brings what it returned, `failed` the words of what went wrong; `told` how far it is.

    The work is given a function that it tells how much is done, from 0 to 1, and that returns whether to go on.
    Exactly one of `done` and `failed` comes, and neither after `cancel`.
    """

    done = pyqtSignal(object)
    failed = pyqtSignal(str)
    told = pyqtSignal(float)

    def __init__(self, work: Callable[[Tell], object], parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._work = work
        self._wanted = threading.Event()
        self._wanted.set()
        self._over = False
        # the thread touches nothing of Qt: a window that is being closed would go from under its hands
        self._said: SimpleQueue[float | tuple[object, str]] = SimpleQueue()
        self._look = QTimer(self)
        self._look.setInterval(_LOOK_MS)
        self._look.timeout.connect(self._take_in)
        self._thread = threading.Thread(target=self._run, name="job")
        app = QCoreApplication.instance()
        if app is not None:
            # a window that closes waits for no answer
            app.aboutToQuit.connect(self.cancel)

    @property
    def running(self) -> bool:
        """Whether an answer is still to come."""
        return self._thread.ident is not None and self._wanted.is_set() and not self._over

    def start(self) -> "Job":
        self._thread.start()
        self._look.start()
        return self

    def cancel(self) -> None:
        """Have no answer come any more; the work ends the next time it tells how far it is."""
        self._wanted.clear()

    def join(self, timeout_s: float) -> bool:
        """Wait until the thread is no more; return whether it is."""
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def _tell(self, share: float) -> bool:
        self._said.put(share)
        return self._wanted.is_set()

    def _run(self) -> None:
        try:
            answer, fault = self._work(self._tell), ""
        except SequencerError as wrong:
            answer, fault = None, str(wrong)
        except Exception as wrong:  # whatever it is, the operator must not wait for ever
            words = translate("job", "a fault of this program, {name}: {words}; your document is as it was")
            answer, fault = None, words.format(name=type(wrong).__name__, words=wrong)
        self._said.put((answer, fault))

    def _take_in(self) -> None:
        """Pass on what the thread has said since the last look."""
        while not self._said.empty():
            said = self._said.get()
            if isinstance(said, tuple):
                self._look.stop()
                self._deliver(*said)
                return
            if self._wanted.is_set():
                self.told.emit(said)

    def _deliver(self, answer: object, fault: str) -> None:
        self.deleteLater()
        if not self._wanted.is_set():
            return
        self._over = True
        if fault:
            self.failed.emit(fault)
        else:
            self.done.emit(answer)
