"""How a serial port is opened, and in which words it is refused."""

import errno
import grp
import os
import pwd
import subprocess
import sys
from pathlib import Path

import pytest
import serial
from serial.tools import list_ports

from sequencer.adapters.serial_ports import ports
from sequencer.adapters.serial_ports.line import open_line
from sequencer.adapters.serial_ports.ports import PollingPort, names, open_port
from sequencer.errors import LinkError
from tests.adapters.terminal import arrived, terminal


class Found:
    device = "/dev/quay0"


@pytest.fixture
def one_port(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(list_ports, "comports", lambda: [Found()])


def test_the_ports_of_this_machine_are_named(one_port: None) -> None:
    assert names() == ("/dev/quay0",)


def test_a_port_in_use_is_said_so() -> None:
    with (
        terminal() as board,
        open_line(board.path, 9600) as line,
        pytest.raises(LinkError, match=f"{board.path} is in use by another program; close that one"),
        open_line(board.path, 9600),
    ):
        pass
    assert not line.gone


def test_another_program_cannot_open_a_port_that_is_open_here() -> None:
    """Source: ioctl_tty(2), TIOCEXCL: further opens fail with EBUSY, but for a process that may do anything."""
    with terminal() as board, open_line(board.path, 9600):
        program = "import os, sys; os.setuid(int(sys.argv[2])); os.open(sys.argv[1], os.O_RDWR | os.O_NOCTTY)"
        who = str(pwd.getpwnam("nobody").pw_uid if os.getuid() == 0 else os.getuid())
        os.chmod(board.path, 0o666)
        done = subprocess.run(
            [sys.executable, "-c", program, board.path, who], capture_output=True, text=True, check=False
        )
    assert f"Errno {errno.EBUSY}" in done.stderr


def test_a_port_that_is_not_there_is_said_with_those_that_are(one_port: None) -> None:
    with pytest.raises(LinkError, match=r"no serial port /dev/nowhere; this machine has /dev/quay0: plug"):
        open_port("/dev/nowhere", 9600)


def test_a_port_that_was_there_is_not_looked_for_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(list_ports, "comports", lambda: pytest.fail("this takes a tick's time"))
    plug = tmp_path / "quay"
    with terminal() as board:
        plug.symlink_to(board.path)
        with open_line(str(plug), 9600):
            pass
        plug.unlink()
        with pytest.raises(LinkError, match=f"{plug} is not there any more; plug it in again"):
            open_port(str(plug), 9600)


@pytest.mark.parametrize("path", ["/dev/null", "/", "/proc/version"])
def test_what_is_no_serial_port_is_said_so(path: str) -> None:
    with pytest.raises(LinkError, match=f"^{path} is no serial port; this machine has"):
        open_port(path, 9600)


@pytest.mark.parametrize(
    ("number", "words"),
    [
        (errno.EACCES, r"this user may not use .*; add the user to the group .*dialout.*, and log in again"),
        (errno.EBUSY, r"in use by another program; close that one"),
        (errno.ENXIO, r"cannot be opened: .*; check its cable"),
    ],
)
def test_what_the_system_refuses_is_said_with_the_mend(
    number: int, words: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(*_: object, **__: object) -> None:
        raise serial.SerialException(number, f"could not open port: [Errno {number}] {os.strerror(number)}")

    monkeypatch.setattr(serial, "Serial", refused)
    with terminal() as board, pytest.raises(LinkError, match=words):
        open_port(board.path, 9600)


def test_a_baud_that_no_port_has_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    with terminal() as board, pytest.raises(LinkError, match=r"cannot run at -1 baud"):
        open_port(board.path, -1)


def test_a_port_without_a_descriptor_is_asked_what_came() -> None:
    with terminal() as board:
        opened = serial.Serial(board.path, 115_200, timeout=0, write_timeout=0)
        port = PollingPort(opened)
        assert port.write(b"out") == 3
        assert board.hear(3) == b"out"
        assert port.read() == b""
        board.say(b"in")
        arrived(opened.fileno())
        assert port.read() == b"in"
        port.close()


def test_a_port_without_a_descriptor_takes_nothing_while_it_holds_something(monkeypatch: pytest.MonkeyPatch) -> None:
    with terminal() as board:
        port = PollingPort(serial.Serial(board.path, 115_200, timeout=0, write_timeout=0))
        monkeypatch.setattr(PollingPort, "pending", lambda _: 3)
        assert port.write(b"out") == 0
        port.close()


def test_the_group_of_a_port_is_named() -> None:
    with terminal() as board:
        group = os.stat(board.path).st_gid
        assert f"usermod -aG {grp.getgrgid(group).gr_name} " in ports._group(board.path)
