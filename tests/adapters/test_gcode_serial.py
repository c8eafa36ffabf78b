"""The gcode output on a pseudo terminal, with a board of its own thread at the other end."""

import os
import select
import threading
import time
import tty
from collections.abc import Iterator

import numpy as np
import pytest

from sequencer.adapters.outputs import gcode
from sequencer.errors import LinkError
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.signals import Setpoint
from sequencer.shell.kinds import open_output
from tests.adapters.ngc_reader import Move, Reader

RIG = Rig(
    name="quay",
    axes=(Axis(name="pan", kind="pan", unit="deg", travel=(-170, 170), speed=60, acceleration=120, jerk=600),),
)
TICK_S = 0.004


class Board:
    """It reads each line as the standard has it, and acknowledges it when it has read it."""

    def __init__(self) -> None:
        self._fd, self._theirs = os.openpty()
        tty.setraw(self._theirs)
        self.path = os.ttyname(self._theirs)
        self.reader = Reader()
        self.moves: list[Move] = []
        self.said = b"ok\n"
        self._pulled = threading.Event()
        self._thread = threading.Thread(target=self._live, daemon=True)
        self._thread.start()

    def _live(self) -> None:
        rest = b""
        while not self._pulled.is_set():
            if not select.select([self._fd], [], [], 0.02)[0]:
                continue
            *lines, rest = (rest + os.read(self._fd, 4096)).split(b"\n")
            for line in lines:
                read = self.reader.read(line.decode())
                if isinstance(read, Move):
                    self.moves.append(read)
                os.write(self._fd, self.said)

    def unplug(self) -> None:
        if not self._pulled.is_set():
            self._pulled.set()
            self._thread.join()
            os.close(self._theirs)
            os.close(self._fd)


@pytest.fixture
def board(monkeypatch: pytest.MonkeyPatch) -> Iterator[Board]:
    monkeypatch.setattr(gcode, "_opened", set())  # names of pseudo terminals come again
    board = Board()
    yield board
    board.unplug()


@pytest.mark.real_time
def test_a_move_crosses_a_serial_line_in_its_time(board: Board) -> None:
    with open_output(f"gcode:{board.path}?pan=A", RIG) as output:
        begun = time.monotonic_ns()
        for tick in range(400):
            now_ns = time.monotonic_ns()
            output.read(now_ns)
            output.look(now_ns)
            at_s = (now_ns - begun) * 1e-9 + 0.4
            place = 10 * min(max(at_s - 0.6, 0.0), 0.8)
            output.send(Setpoint(now_ns + 400_000_000, np.array([place]), np.zeros(1)))
            time.sleep(max(0.0, begun * 1e-9 + (tick + 1) * TICK_S - time.monotonic_ns() * 1e-9))
        assert output.trouble() == "" or "late" in output.trouble()  # a busy machine may look late
    assert board.moves[-1].to["A"] == pytest.approx(8, abs=1e-3)
    assert sum(one.lasts_s for one in board.moves) == pytest.approx(0.8, abs=0.06)


def test_a_cable_that_is_pulled_is_a_link_that_is_gone(board: Board) -> None:
    with open_output(f"gcode:{board.path}?pan=A", RIG) as output:
        board.unplug()
        with pytest.raises(LinkError, match="is gone"):
            output.read(1)


@pytest.mark.real_time
def test_nothing_that_answers_is_found_at_the_opening(board: Board, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(gcode, "_BOOT_NS", 200_000_000)
    board.said = b"\x81\x92"
    with pytest.raises(LinkError, match="no board answers"), open_output(f"gcode:{board.path}?pan=A", RIG):
        pass


def test_a_port_in_use_is_said(board: Board) -> None:
    with (
        open_output(f"gcode:{board.path}?pan=A", RIG),
        pytest.raises(LinkError, match="in use"),
        open_output(f"gcode:{board.path}?pan=A", RIG),
    ):
        pass


def test_no_port_is_said() -> None:
    with pytest.raises(LinkError, match="no serial port /dev/none"), open_output("gcode:/dev/none?pan=A", RIG):
        pass
