"""`twintake play --remote` as the operator uses it: it stays over a drop of the link and other stops, and says so."""

import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from sequencer.shell.shoot import simulated_rig
from tests.shell.small import small_project
from tests.shell.test_drive import Command

pytestmark = pytest.mark.real_time
STOP = b"/stop\0\0\0,\0\0\0"  # OSC 1.0: an address and no arguments, each padded to four bytes
ASKED = "Reset, arm again and move to the start?"


def free_port() -> int:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as one:
        one.bind(("127.0.0.1", 0))
        port: int = one.getsockname()[1]
        return port


def send(port: int, packet: bytes) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as one:
        one.sendto(packet, ("127.0.0.1", port))


@contextmanager
def playing(folder: Path, port: int, *faults: str, terminal: bool = True) -> Iterator[Command]:
    with simulated_rig(folder / "rig.json", 1, 0, *faults) as (_, output), (folder / "printed").open("w") as out:
        options = ["--arm", "--remote", "--trigger", f"osc:{port}", "--out", output]
        process = subprocess.Popen(
            [sys.executable, "-m", "sequencer", "play", str(folder), *options],
            stdin=subprocess.PIPE if terminal else subprocess.DEVNULL,
            stdout=out,
            stderr=out,
            text=True,
        )
        try:
            yield Command(process, folder / "printed")
        finally:
            process.kill()
            process.communicate()


def answer(command: Command, words: str) -> None:
    assert command.process.stdin is not None
    command.process.stdin.write(f"{words}\n")
    command.process.stdin.flush()


def times(command: Command, words: str, count: int, patience_s: float = 15.0) -> None:
    until_s = time.monotonic() + patience_s
    while command.said.count(words) < count:
        assert time.monotonic() < until_s, f"not {count} times {words!r}, but: {command.said}"
        time.sleep(0.02)


def test_after_a_drop_it_waits_for_the_rig_asks_and_goes_on(tmp_path: Path) -> None:
    folder, port = small_project(tmp_path / "small"), free_port()
    with playing(folder, port, "--away", "2.0,6.0") as command:
        command.wait_for("waiting for timecode")
        command.wait_for("the link to the rig is down")
        assert command.process.poll() is None
        assert ASKED not in command.said, "it could not be reset yet"
        command.wait_for("the link to the rig is up")
        command.wait_for(ASKED)
        assert "is not a safety device" in command.said.partition("the link to the rig is up")[2]
        answer(command, "y")
        times(command, "waiting for timecode", 2)
        assert command.interrupt() == 130


def test_after_another_stop_it_asks_as_well_and_no_ends_it(tmp_path: Path) -> None:
    folder, port = small_project(tmp_path / "small"), free_port()
    with playing(folder, port) as command:
        for count in (1, 2):
            times(command, "waiting for timecode", count)
            send(port, STOP)
            times(command, ASKED, count)
            assert "OSC /stop asked for it" in command.said
            answer(command, "y" if count == 1 else "n")
        assert command.process.wait(15) == 3


def test_where_nobody_can_be_asked_it_says_why_it_does_not_go_on(tmp_path: Path) -> None:
    folder, port = small_project(tmp_path / "small"), free_port()
    with playing(folder, port, terminal=False) as command:
        command.wait_for("waiting for timecode")
        send(port, STOP)
        assert command.process.wait(15) == 3
        assert "nobody can be asked here, and only an operator may reset it" in command.said


def test_ctrl_c_at_the_question_ends_it_as_anywhere(tmp_path: Path) -> None:
    folder, port = small_project(tmp_path / "small"), free_port()
    with playing(folder, port) as command:
        command.wait_for("waiting for timecode")
        send(port, STOP)
        command.wait_for(ASKED)
        assert command.interrupt() == 130
