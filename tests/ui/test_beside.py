"""Threads beside the window: what they say is taken in by the window's, and they collect nothing of Qt's."""

import gc
import threading
import weakref
from collections.abc import Callable, Iterator

import pytest
from PyQt6.QtCore import QObject, QTimer
from PyQt6.sip import delete, isdeleted
from pytestqt.qtbot import QtBot

from ui.beside import Inbox, Sweep


def elsewhere(work: Callable[[], object]) -> None:
    thread = threading.Thread(target=work)
    thread.start()
    thread.join()


@pytest.fixture
def collected_by() -> Iterator[list[int]]:
    """The thread of each collection of Python's, as it begins."""
    threads: list[int] = []

    def note(phase: str, _: dict[str, int]) -> None:
        if phase == "start":
            threads.append(threading.get_ident())

    gc.callbacks.append(note)
    yield threads
    gc.callbacks.remove(note)


def make_much() -> None:
    kept = [[number] for number in range(100 * gc.get_threshold()[0])]
    del kept


def test_what_a_thread_says_is_taken_in_order_by_the_windows_own(qtbot: QtBot) -> None:
    taken: list[tuple[str, int]] = []
    inbox: Inbox[str] = Inbox(lambda said: taken.append((said, threading.get_ident())))
    inbox.open()
    elsewhere(lambda: [inbox.put(word) for word in ("band", "plate", "lanterns")])
    assert taken == []
    qtbot.waitUntil(lambda: len(taken) == 3)
    assert taken == [(word, threading.get_ident()) for word in ("band", "plate", "lanterns")]


def test_what_is_said_to_a_closed_inbox_lies_there_until_it_is_opened(qtbot: QtBot) -> None:
    taken: list[int] = []

    def take(said: int) -> None:
        taken.append(said)
        inbox.close()

    inbox = Inbox(take)
    elsewhere(lambda: [inbox.put(number) for number in (1, 2)])
    inbox.look()
    assert taken == []
    inbox.open()
    inbox.look()
    assert taken == [1]
    inbox.open()
    qtbot.waitUntil(lambda: taken == [1, 2])


def test_a_thread_may_speak_to_a_window_that_is_gone(qtbot: QtBot) -> None:
    window = QObject()
    taken: list[str] = []
    inbox = Inbox(taken.append, window)
    inbox.open()
    other: Inbox[str] = Inbox(taken.append)
    other.open()
    delete(window)
    elsewhere(lambda: (inbox.put("late"), other.put("heard")))
    qtbot.waitUntil(lambda: bool(taken))
    assert taken == ["heard"]


def test_one_that_ends_the_window_by_what_it_takes_in_is_looked_into_no_more(qtbot: QtBot) -> None:
    window = QObject()
    taken: list[str] = []

    def take(said: str) -> None:
        taken.append(said)
        inbox.close()
        delete(window)

    inbox = Inbox(take, window)
    inbox.open()
    inbox.put("last")
    inbox.put("too late")
    inbox.look()
    assert taken == ["last"]
    assert isdeleted(window)


def test_no_thread_but_the_windows_collects(sweep: Sweep, collected_by: list[int]) -> None:
    class Cycle:
        def __init__(self) -> None:
            self.itself, self.timer = self, QTimer()

    lost = weakref.ref(Cycle())
    elsewhere(make_much)
    assert collected_by == []
    assert lost() is not None
    gc.enable()
    elsewhere(make_much)  # as Python would: where this finds nothing, the test shows nothing
    gc.disable()
    assert set(collected_by) - {threading.get_ident()}
    del collected_by[:]
    lost = weakref.ref(Cycle())
    kept = [[number] for number in range(100 * gc.get_threshold()[0])]
    sweep.look()
    assert lost() is None
    assert set(collected_by) == {threading.get_ident()}
    assert kept


def test_while_the_window_is_there_it_looks_by_itself(qtbot: QtBot, collected_by: list[int]) -> None:
    kept = [[number] for number in range(2 * gc.get_threshold()[0])]
    qtbot.waitUntil(lambda: bool(collected_by))
    assert kept


def test_in_the_end_all_is_collected_and_python_does_it_again_as_before(qtbot: QtBot) -> None:
    class Cycle:
        def __init__(self) -> None:
            self.itself = self

    gc.enable()
    with Sweep() as sweep:
        assert not gc.isenabled()
        with Sweep():
            lost = weakref.ref(Cycle())
            gc.freeze()
        assert lost() is None
        assert not gc.isenabled()
    assert gc.isenabled()
    gc.disable()  # as the editor's tests have it
    sweep.look()


@pytest.mark.parametrize(
    ("counts", "through"),
    [
        ((700, 30, 30), []),
        ((701, 0, 0), [0]),
        ((701, 10, 0), [1]),
        ((7_700, 0, 0), [1]),
        ((701, 10, 10), [2]),
        ((80_000, 0, 0), [2]),
    ],
)
def test_it_looks_through_as_much_as_python_would(
    qtbot: QtBot, monkeypatch: pytest.MonkeyPatch, counts: tuple[int, int, int], through: list[int]
) -> None:
    """Source: the documentation of Python's module gc, set_threshold; thresholds of CPython 3.11."""
    done: list[int] = []
    monkeypatch.setattr(gc, "get_count", lambda: counts)
    monkeypatch.setattr(gc, "get_threshold", lambda: (700, 10, 10))
    monkeypatch.setattr(gc, "collect", done.append)
    Sweep().look()
    assert done == through


def test_all_are_looked_through_again_only_when_a_quarter_more_are_old(
    qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Source: the documentation of Python's module gc, set_threshold: long_lived_pending, long_lived_total."""
    done: list[int] = []
    old = [100]
    monkeypatch.setattr(gc, "get_count", lambda: (701, 10, 10))
    monkeypatch.setattr(gc, "get_threshold", lambda: (700, 10, 10))
    monkeypatch.setattr(gc, "get_objects", lambda _: [None] * old[0])
    monkeypatch.setattr(gc, "collect", done.append)
    sweep = Sweep()
    for old[0] in (100, 100, 124, 126, 126):
        sweep.look()
    assert done == [2, 1, 1, 2, 1]
