"""Game controllers that the house has, that other packages bring, and that fail to load."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from sequencer.errors import LinkError
from sequencer.shell import kinds

BOARD = """
from contextlib import contextmanager
from sequencer.adapters.contract import Chunk, ControllerKind
from sequencer.errors import LinkError
from sequencer.wire.pad import PadRow, packed

class Board:
    address = "board:"
    def fileno(self):
        return None
    def notices(self):
        return ("pad 0, board, is here",)
    def read(self, heard_ns):
        return (Chunk(heard_ns, packed(PadRow(0, "board", (0.25,), known=False))),)

@contextmanager
def opened(address):
    yield Board()

def names():
    raise LinkError("the board's driver is not here; install it")

KIND = ControllerKind("board", opened, names)
AGAIN = ControllerKind("pads", opened, names)
"""

ASKED = """
import json
from sequencer.shell import kinds
from sequencer.wire.pad import unpacked
with kinds.open_controllers("board:") as board:
    row = unpacked(board.read(7)[0].data)
print(json.dumps([row.name, row.axes[0], kinds.controller_names()["board"], kinds.controllers_left_out()]))
"""


def test_a_strangers_controllers_are_found_and_broken_ones_stop_nobody(tmp_path: Path) -> None:
    (tmp_path / "their_board.py").write_text(BOARD)
    info = tmp_path / "their_board-1.0.dist-info"
    info.mkdir()
    (info / "METADATA").write_text("Metadata-Version: 2.1\nName: their-board\nVersion: 1.0\n")
    points = "board = their_board:KIND\nagain = their_board:AGAIN\nbad = their_board:GONE\nboard2 = their_board:Board\n"
    (info / "entry_points.txt").write_text(f"[twintake.controllers]\n{points}")
    # a process of its own: what is installed is looked up once
    answer = subprocess.run(
        [sys.executable, "-c", ASKED],
        env={**os.environ, "PYTHONPATH": str(tmp_path)},
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    name, part, names, left_out = json.loads(answer.stdout)
    assert (name, part) == ("board", pytest.approx(0.25, abs=1e-4))
    assert names == "the board's driver is not here; install it"
    assert left_out.keys() == {"again (their_board:AGAIN)", "bad (their_board:GONE)", "board2 (their_board:Board)"}
    assert "already" in left_out["again (their_board:AGAIN)"]
    assert "not a ControllerKind" in left_out["board2 (their_board:Board)"]


def test_the_house_has_pads() -> None:
    assert kinds.controller_kind("pads:").scheme == "pads"
    assert kinds.controllers_left_out() == {}


def test_an_address_that_nothing_opens_lists_what_there_is() -> None:
    with pytest.raises(LinkError, match="'sticks:1' is no game controller; it must begin with pads:"):
        kinds.open_controllers("sticks:1")


@pytest.mark.parametrize("call", ["", "kinds.laws()"])
def test_no_hardware_is_loaded_before_it_is_asked_for(call: str) -> None:
    asked = f"import sys; from sequencer.shell import kinds; {call or 'pass'}; print(*sys.modules)"
    answer = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True, timeout=60)
    loaded = answer.stdout.split()
    assert "sequencer.shell.kinds" in loaded
    libraries = {"sdl2", "sounddevice", "soundfile", "rtmidi", "jack", "mido"}
    assert not [one for one in loaded if one in libraries or one.startswith("sequencer.adapters.controllers.")]
