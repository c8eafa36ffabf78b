"""How the io process ends where the engine goes on: the ports first, the take last."""

import socket
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from sequencer.project.takefile import read
from sequencer.shell import io_process
from sequencer.shell.child import Child
from sequencer.shell.control import Control
from sequencer.shell.inlets import Inlet
from sequencer.shell.memory import Page, Ring
from sequencer.shell.messages import COMMANDS, REPORTS, Failed, Setup
from sequencer.takes.rows import EventRow
from tests.shell.test_io_process import ROWS, Port, opening, put


@pytest.mark.parametrize("goes", ["port", "command"])
def test_while_the_engine_brakes_that_is_recorded_and_the_ports_are_free(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, goes: str
) -> None:
    with socket.create_server(("127.0.0.1", 0)) as door:
        theirs = socket.create_connection(door.getsockname())
        ours, _ = door.accept()
    records, port = Ring(tmp_path / "records", size=1 << 20), Port()
    Ring(tmp_path / "chunks", size=1000)
    Page(tmp_path / "page", new=True)
    put(records, opening(tmp_path / "one.mcap"), *ROWS)
    port.gone = goes == "port"
    closed: list[str] = []
    heard: list[object] = []

    @contextmanager
    def opened() -> Iterator[Port]:
        yield port
        closed.append("port")

    def brakes(page: Page) -> None:
        assert closed == ["port"]
        if goes == "port":
            heard.extend(Control(theirs, REPORTS).read())
        put(records, EventRow(5_000_300, "stopping", "braking: told"))

    setup = Setup(project="", run=None, output="", sync="mtc")
    child = Child(setup, None, Control(ours, COMMANDS))  # type: ignore[arg-type]  # no rig is looked at here
    monkeypatch.setattr(io_process, "join", lambda folder, role: child)
    monkeypatch.setattr(io_process, "_inlets", lambda setup, folder: iter((Inlet(0, opened(), vital=True),)))
    monkeypatch.setattr(io_process, "_outlast", brakes)
    if goes == "command":
        theirs.close()
    before_s = sys.getswitchinterval()
    try:
        io_process.main(tmp_path)
    finally:
        sys.setswitchinterval(before_s)
        ours.close()
        theirs.close()
    assert [one.code for one in read(tmp_path / "one.mcap").happenings] == ["running", "stopping"]
    failed = [one for one in heard if isinstance(one, Failed)]
    assert failed == ([Failed("the MIDI port 'loud' is gone; plug it in", 3)] if goes == "port" else [])
