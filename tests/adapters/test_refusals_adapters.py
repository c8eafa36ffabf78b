"""What the ports and addresses of this machine refuse, each with its words and the mend."""

import errno
import fcntl
import os
import re
import socket
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Any, NoReturn

import numpy as np
import psutil
import pytest
import serial
import soundfile

from sequencer.adapters import hosts
from sequencer.adapters.cards import cards
from sequencer.adapters.midi_ports.outs import PipeOut, open_out
from sequencer.adapters.osc_links.tcp import TcpLink
from sequencer.adapters.osc_links.udp import UdpLink
from sequencer.adapters.outputs import gcode
from sequencer.adapters.serial_ports import ports
from sequencer.adapters.sources import file, ltc_in, midi, pipe
from sequencer.errors import LinkError
from tests.adapters.terminal import terminal
from tests.shell.test_outlets import RIG


def opened(address: AbstractContextManager[object]) -> None:
    with address:
        pass


ADDRESSES: dict[str, Callable[[], object]] = {
    "'gcode:' names no serial port; write it as gcode:": lambda: gcode.KIND.carries("gcode:", RIG),
    "'ltc:card?colour=7': colour=7 is not understood; write it as ltc:NAME?channel=2&rate=48000": lambda: opened(
        ltc_in.KIND.open("ltc:card?colour=7")
    ),
    "'midi:' names no MIDI port; write midi:NAME": lambda: opened(midi.KIND.open("midi:")),
    "'pipe:quay': no port of a pipe; write a number from 0 to 65535, as in pipe:4711": lambda: opened(
        pipe.KIND.open("pipe:quay")
    ),
    "pipe:quay: no port of a pipe; write a number from 1 to 65535, as in pipe:4711": lambda: opened(
        open_out("pipe:quay")
    ),
    "'quay:1' is no place for MIDI; write pipe:PORT, midi:NAME, virtual:NAME or rtmidi:NAME": lambda: opened(
        open_out("quay:1")
    ),
}


@pytest.mark.parametrize("words", ADDRESSES)
def test_an_address_that_says_nothing_is_refused(words: str) -> None:
    with pytest.raises(LinkError, match=f"^{re.escape(words)}"):
        ADDRESSES[words]()


def test_a_pipe_that_somebody_else_has_and_one_that_nobody_hears() -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        with pytest.raises(LinkError, match=f"^pipe:{port} cannot be opened .*; name another port, or pipe:0$"):
            opened(pipe.KIND.open(f"pipe:{port}"))
    with pytest.raises(LinkError, match=f"^nobody listens on pipe:{port} .*; start the listener first$"):
        opened(open_out(f"pipe:{port}"))


def test_a_pipe_whose_listener_went_away() -> None:
    ours, theirs = socket.socketpair()
    with ours:
        theirs.close()
        with pytest.raises(LinkError, match=r"^the timecode pipe is gone \(Broken pipe\); start its listener again$"):
            PipeOut(ours).send(b"\xf1\x00", 0)


class Broken(socket.socket):
    """A socket of which each call fails, as one does whose network went away."""

    def send(self, *_: object) -> NoReturn:
        raise OSError(errno.ENETDOWN, "Network is down")

    recv = send


@pytest.fixture
def broken() -> Iterator[socket.socket]:
    one, other = socket.socketpair()
    with other, Broken(fileno=one.detach()) as there:
        yield there


def without_unsent(link: TcpLink, patch: pytest.MonkeyPatch) -> object:
    def fails(*_: object) -> NoReturn:
        raise OSError(errno.ENETDOWN, "Network is down")

    patch.setattr(fcntl, "ioctl", fails)
    return link.put(b"/rig/ping")


LOST: dict[str, Callable[[TcpLink, pytest.MonkeyPatch], object]] = {
    "sent": lambda link, _: link.put_urgent(b"/stop"),
    "read": lambda link, _: link.packets(),
    "asked": without_unsent,
}


@pytest.mark.parametrize("how", LOST)
def test_a_connection_that_is_gone_says_so(how: str, broken: socket.socket, monkeypatch: pytest.MonkeyPatch) -> None:
    link = TcpLink(broken, "rig:9000")
    words = "the connection to the rig at rig:9000 is gone: Network is down; check cable, network and rig"
    with pytest.raises(LinkError, match=f"^{words}$"):
        LOST[how](link, monkeypatch)
    assert link.gone


@pytest.mark.parametrize("how", [lambda link: link.put(b"/rig/ping"), lambda link: link.packets()])
def test_a_network_that_is_gone_says_so(how: Callable[[UdpLink], object], broken: socket.socket) -> None:
    words = "the link to the rig at rig:9000 is gone: Network is down; check cable and network"
    with pytest.raises(LinkError, match=f"^{words}$"):
        how(UdpLink(broken, "rig:9000"))


def test_a_host_that_no_network_leads_to(monkeypatch: pytest.MonkeyPatch) -> None:
    class Nowhere(socket.socket):
        def connect(self, place: object) -> NoReturn:
            raise OSError(errno.ENETUNREACH, os.strerror(errno.ENETUNREACH))

    monkeypatch.setattr(hosts.Reached, "socket", lambda _: Nowhere(socket.AF_INET, socket.SOCK_DGRAM))
    words = "^no rig can be reached: Network is unreachable; check the network$"
    with pytest.raises(LinkError, match=words):
        opened(hosts.connected("127.0.0.1", 9000, "no rig can be reached"))


def test_interfaces_that_the_system_does_not_list_are_no_reason_to_name_none(monkeypatch: pytest.MonkeyPatch) -> None:
    def fails() -> NoReturn:
        raise OSError(errno.EMFILE, os.strerror(errno.EMFILE))

    monkeypatch.setattr(psutil, "net_if_addrs", fails)
    words = "the network interfaces cannot be listed: Too many open files; name an address"
    with pytest.raises(LinkError, match=f"^{words}$"):
        cards()


def test_a_serial_port_that_fails_while_its_lines_are_set(monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*_: object) -> NoReturn:
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    with terminal() as board:
        monkeypatch.setattr(ports, "_opened", lambda *_: serial.Serial(board.path))
        monkeypatch.setattr(ports, "_port", lambda _: type("Port", (), {"control": fails})())
        with pytest.raises(LinkError, match=r"cannot be opened: Input/output error; check its cable and its power$"):
            ports.open_port(board.path, 9600, ["rts"])


@pytest.fixture
def song(tmp_path: Path) -> Path:
    path = tmp_path / "song.wav"
    soundfile.write(path, np.zeros((9600, 2)), 48_000)
    return path


def test_a_recording_that_breaks_off_is_said(song: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*_: object, **__: Any) -> NoReturn:
        raise soundfile.LibsndfileError(2)

    with file.KIND.open(f"file:{song}") as playing:
        playing.read(0)
        monkeypatch.setattr(soundfile.SoundFile, "read", fails)
        with pytest.raises(LinkError, match=r"song\.wav cannot be read on \(.*\); export it again$"):
            playing.read(10**9)


def test_audio_without_its_library_says_what_to_install(song: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(__import__("sys").modules, "soundfile", None)
    with pytest.raises(LinkError, match=r"^audio files need the package soundfile .*; pip install soundfile$"):
        opened(file.KIND.open(f"file:{song}"))
