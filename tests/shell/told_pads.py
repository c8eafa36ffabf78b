"""Game controllers that a test moves: a kind of our own from outside, as any other package may bring one.

What a test sends in a datagram, the pads say a hundred times a second from then on; a pad that is gone says so once.
"""

import json
import os
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from sequencer.adapters.contract import Chunk, ControllerKind
from sequencer.wire.pad import AXES, BUTTONS, PadRow, packed

EVERY_NS = 10_000_000
_ENTRY = """[twintake.controllers]
told = tests.shell.told_pads:KIND
"""


class ToldPads:
    """The listening end, in the io process."""

    def __init__(self, port: socket.socket) -> None:
        self._port = port
        self._rows: dict[int, PadRow] = {}
        self._due_ns = 0
        self.address = f"told:{port.getsockname()[1]}"

    def fileno(self) -> int | None:
        return None

    def notices(self) -> tuple[str, ...]:
        return ()

    def read(self, heard_ns: int) -> tuple[Chunk, ...]:
        try:
            while True:
                told = json.loads(self._port.recv(4096))
                row = PadRow(told["pad"], "told", tuple(told["axes"]), frozenset(told["buttons"]), here=told["here"])
                self._rows[row.pad] = row
        except BlockingIOError:
            pass
        if heard_ns < self._due_ns:
            return ()
        self._due_ns = heard_ns + EVERY_NS
        rows = list(self._rows.values())
        self._rows = {row.pad: row for row in rows if row.here}
        return tuple(Chunk(heard_ns, packed(row)) for row in rows)


@contextmanager
def open_told(address: str) -> Iterator[ToldPads]:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as port:
        port.bind(("127.0.0.1", int(address.partition(":")[2])))
        port.setblocking(False)
        yield ToldPads(port)


KIND = ControllerKind(scheme="told", open=open_told, names=lambda: ())


class Hand:
    """What a test does with such a pad."""

    def __init__(self) -> None:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as free:
            free.bind(("127.0.0.1", 0))
            self._to = free.getsockname()
        self._port = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.address = f"told:{self._to[1]}"

    def say(self, *buttons: str, pad: int = 0, here: bool = True, **axes: float) -> None:
        """Push the named controls, as in `left_x=0.5`, and hold the buttons; all others are let go of."""
        named = {name.replace("_", " "): value for name, value in axes.items()}
        assert named.keys() <= set(AXES)
        message = {
            "pad": pad,
            "axes": [named.get(name, 0.0) for name in AXES],
            "buttons": [BUTTONS.index(name) for name in buttons],
            "here": here,
        }
        self._port.sendto(json.dumps(message).encode(), self._to)

    def close(self) -> None:
        self._port.close()


@pytest.fixture
def hand(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Hand]:
    """Have the processes that a test starts find these pads, and yield the hand on them."""
    place = tmp_path / "packages"
    named = place / "told_pads-1.0.dist-info"
    named.mkdir(parents=True)
    (named / "METADATA").write_text("Metadata-Version: 2.1\nName: told-pads\nVersion: 1.0\n")
    (named / "entry_points.txt").write_text(_ENTRY)
    here = Path(__file__).parents[2]
    paths = (str(place), str(here), os.environ.get("PYTHONPATH", ""))
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join(one for one in paths if one))
    hand = Hand()
    yield hand
    hand.close()
