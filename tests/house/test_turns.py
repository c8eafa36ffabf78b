"""Tests in real time run alone, and those beside them do not make them wait for ever."""

import threading
from contextlib import ExitStack
from pathlib import Path

import pytest

from tests import turns

pytestmark = pytest.mark.skipif(not turns.KNOWN, reason="files cannot be locked on this system")
SHORTLY_S = 0.1  # for what has nothing to wait for


class Visits:
    """Who has come in, in order; each stays until it is let go."""

    def __init__(self, folder: Path) -> None:
        self.gate, self.room = folder / "gate", folder / "room"
        for file in (self.gate, self.room):
            file.touch()
        self.inside: list[str] = []
        self._go: dict[str, threading.Event] = {}
        self._threads: dict[str, threading.Thread] = {}
        self._came = threading.Condition()

    def begin(self, name: str, *, alone: bool) -> None:
        self._go[name] = threading.Event()
        self._threads[name] = threading.Thread(target=self._visit, args=(name, alone))
        self._threads[name].start()

    def _visit(self, name: str, alone: bool) -> None:
        with turns.turn(alone=alone, gate=self.gate, room=self.room):
            with self._came:
                self.inside.append(name)
                self._came.notify_all()
            self._go[name].wait(30)

    def comes(self, name: str, within_s: float = 30) -> bool:
        with self._came:
            return self._came.wait_for(lambda: name in self.inside, within_s)

    def gate_is_shut(self) -> bool:
        """Return whether somebody comes to stand at the gate."""
        import fcntl

        for _ in range(3000):
            with self.gate.open() as gate:
                try:
                    fcntl.flock(gate, fcntl.LOCK_EX | fcntl.LOCK_NB)
                except BlockingIOError:
                    return True
            threading.Event().wait(0.01)
        return False

    def end(self, name: str) -> None:
        self._go[name].set()
        self._threads[name].join(30)


@pytest.fixture
def visits(tmp_path: Path) -> Visits:
    return Visits(tmp_path)


def test_others_are_in_the_room_together(visits: Visits) -> None:
    with ExitStack() as stack:
        for name in ("one", "two"):
            visits.begin(name, alone=False)
            stack.callback(visits.end, name)
            assert visits.comes(name)


@pytest.mark.parametrize("first_alone", [True, False])
def test_who_is_to_be_alone_is(visits: Visits, first_alone: bool) -> None:
    visits.begin("first", alone=first_alone)
    assert visits.comes("first")
    visits.begin("second", alone=not first_alone)
    came = visits.comes("second", SHORTLY_S)
    visits.end("first")
    assert visits.comes("second")
    visits.end("second")
    assert not came


def test_nobody_overtakes_who_waits_to_be_alone(visits: Visits) -> None:
    visits.begin("test", alone=False)
    assert visits.comes("test")
    visits.begin("real time", alone=True)
    assert visits.gate_is_shut()
    visits.begin("late", alone=False)
    came = visits.comes("late", SHORTLY_S)
    visits.end("test")
    assert visits.comes("real time")
    visits.end("real time")
    assert visits.comes("late")
    visits.end("late")
    assert not came
    assert visits.inside == ["test", "real time", "late"]
