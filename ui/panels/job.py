"""Work that takes longer than a frame, in a thread beside the window, whose answer comes as a signal.

It refuses to be waited for: who no longer wants the answer cancels, and the answer never comes.
"""

import threading
from collections.abc import Callable

from PyQt6.QtCore import QCoreApplication, QObject, pyqtSignal

from sequencer.errors import SequencerError
from ui.beside import Inbox
from ui.language import translate

Tell = Callable[[float], bool]
Said = float | tuple[object, str]  # how far it is; at the end the answer, or the words of what went wrong


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
        self._wanted = threading.Event()
        self._wanted.set()
        self._over = False
        self._said: Inbox[Said] = Inbox(self._take, self)
        self._thread = threading.Thread(target=_run, args=(work, self._wanted, self._said.put), name="job")
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
        self._said.open()
        return self

    def cancel(self) -> None:
        """Have no answer come any more; the work ends the next time it tells how far it is."""
        self._wanted.clear()

    def join(self, timeout_s: float) -> bool:
        """Wait until the thread is no more; return whether it is."""
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def _take(self, said: Said) -> None:
        if isinstance(said, tuple):
            self._said.close()
            self._deliver(*said)
        elif self._wanted.is_set():
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


def _run(work: Callable[[Tell], object], wanted: threading.Event, say: Callable[[Said], None]) -> None:
    def tell(share: float) -> bool:
        say(share)
        return wanted.is_set()

    try:
        answer, fault = work(tell), ""
    except SequencerError as wrong:
        answer, fault = None, str(wrong)
    except Exception as wrong:  # whatever it is, the operator must not wait for ever
        words = translate("job", "a fault of this program, {name}: {words}; your document is as it was")
        answer, fault = None, words.format(name=type(wrong).__name__, words=wrong)
    say((answer, fault))
