"""A camera on a serial port: words through a terminal of the system, control lines on a stand-in.

A pseudo-terminal has no control lines, so that none of these tests saw one rise on a real port. What reaches the driver
is pyserial's doing: here it is asked with what it was opened, and which calls of the system it makes.
"""

import errno
import fcntl
import struct
import termios
import time
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
import serial

from sequencer.adapters.contract import Output
from sequencer.adapters.outputs.serial import KIND, output_on, parse_address
from sequencer.adapters.serial_ports.line import SerialLine
from sequencer.adapters.serial_ports.ports import open_port
from sequencer.errors import LinkError
from sequencer.rig.signals import Trigger
from sequencer.shell.kinds import NO_PROJECT
from tests.adapters.terminal import FarEnd, arrived, terminal
from tests.adapters.test_serial_line import Scripted
from tests.shell.test_outlets import RIG

MS = 1_000_000


@contextmanager
def opened(options: str) -> Iterator[tuple[FarEnd, Output]]:
    with terminal() as camera, KIND.open(f"serial:{camera.path}?{options}", RIG, NO_PROJECT) as output:
        yield camera, output


def lined(options: str) -> tuple[Scripted, "Output"]:
    port = Scripted()
    wanted = parse_address(f"serial:/dev/quay?{options}")
    line = SerialLine(port, "/dev/quay", wanted.baud, lambda: port.now_ns)
    return port, output_on(line, wanted, lambda: port.now_ns)


def test_a_control_line_is_up_for_a_pulse() -> None:
    port, output = lined("shutter=rts&record=dtr&cut=dtr&pulse=0.05")
    assert output.fire(Trigger(0, "shutter"))
    assert output.fire(Trigger(0, "record"))
    port.now_ns += 49 * MS
    output.look(port.now_ns)
    assert port.up == [("rts", True), ("dtr", True)]
    port.now_ns += MS
    output.look(port.now_ns)
    assert port.up[2:] == [("rts", False), ("dtr", False)]
    assert port.went == b""


@pytest.mark.parametrize(
    ("end", "said"),
    [("", b"REC ON\n"), ("&end=cr", b"REC ON\r"), ("&end=crlf", b"REC ON\r\n"), ("&end=none", b"REC ON")],
)
def test_words_go_out_as_they_are_written_with_their_end(end: str, said: bytes) -> None:
    with opened(f"record=text:REC%20ON&cut=text:%02STOP{end}") as (camera, output):
        assert KIND.carries(f"serial:{camera.path}?record=text:REC&cut=text:S{end}", RIG).triggers == ("record", "cut")
        assert output.fire(Trigger(0, "record"))
        assert camera.hear(len(said)) == said
        assert not output.fire(Trigger(0, "shutter"))
        assert output.fire(Trigger(0, "cut"))
        heard = b""
        while len(heard) < 5:  # it begins once the words before it are through
            output.look(time.monotonic_ns())
            heard += camera.hear(patience_s=0.005)
        assert heard.startswith(b"\x02STOP")


def test_what_the_camera_says_is_left_aside_and_does_not_pile_up() -> None:
    with opened("shutter=text:SHOT") as (camera, output):
        camera.say(b"OK\r\n" * 100)
        arrived(output.fileno())
        assert output.read(time.monotonic_ns()) == ()
        waiting = fcntl.ioctl(output.fileno() or 0, termios.FIONREAD, b"\0\0\0\0")
        assert struct.unpack("i", waiting) == (0,)


def test_a_camera_that_takes_nothing_is_said() -> None:
    port, output = lined("shutter=text:SHOT")
    port.room = 2
    assert output.fire(Trigger(0, "shutter"))
    output.look(port.now_ns)
    assert output.trouble() == ""
    port.now_ns += 500 * MS
    output.look(port.now_ns)
    assert "takes nothing, and an order to the camera waits" in output.trouble()
    port.room = 100
    output.look(port.now_ns)
    assert (output.trouble(), port.went) == ("", b"SHOT\n")


def test_a_port_that_is_pulled_is_said_and_its_lines_are_lowered_as_far_as_that_goes() -> None:
    port, output = lined("shutter=rts")
    output.fire(Trigger(0, "shutter"))
    port.fault = OSError(errno.EIO, "Input/output error")
    with pytest.raises(LinkError, match="the serial port /dev/quay is gone"):
        output.look(port.now_ns)
    port.fault = None
    output.close()  # type: ignore[attr-defined]  # whoever opened it closes it
    assert port.up[-1] == ("rts", False)
    assert port.now_ns == Scripted().now_ns, "nobody waits for a cable that is gone"


def test_a_port_without_control_lines_is_refused_at_the_opening() -> None:
    """A pseudo-terminal has none: its driver has no TIOCMSET (Linux, drivers/tty/pty.c, from memory)."""
    words = r"has no control line RTS and DTR; use text:WORDS"
    with pytest.raises(LinkError, match=words), opened("shutter=rts&record=dtr"):
        pass


def test_lines_are_low_before_the_port_is_opened(monkeypatch: pytest.MonkeyPatch) -> None:
    """Source: pyserial's documentation of `open`: lines are set as they were before it, where the driver lets them."""
    found: list[tuple[bool, bool]] = []

    class Driver(serial.Serial):
        def open(self) -> None:
            found.append((self.rts, self.dtr))
            super().open()

    monkeypatch.setattr(serial, "Serial", Driver)
    asked: list[tuple[int, bytes]] = []
    real = fcntl.ioctl

    def ioctl(fd: int, request: int, argument: bytes = b"") -> object:
        if request in (termios.TIOCMBIS, termios.TIOCMBIC):
            asked.append((request, argument))
            return 0
        return real(fd, request, argument)

    monkeypatch.setattr(fcntl, "ioctl", ioctl)
    with terminal() as camera:
        port = open_port(camera.path, 9600, ("rts",))
        assert found == [(False, True)], "a line that nobody named is left as it usually is"
        asked.clear()
        port.control("rts", True)
        port.control("rts", False)
        port.close()
    rts = struct.pack("I", termios.TIOCM_RTS)
    assert asked == [(termios.TIOCMBIS, rts), (termios.TIOCMBIC, rts)]


@pytest.mark.parametrize(
    ("address", "words"),
    [
        ("serial:?shutter=rts", "names no serial port"),
        ("serial://10.0.0.1?shutter=rts", "names no serial port"),
        (
            "serial:/dev/quay",
            "says nothing of a camera: give shutter, record or cut a control line, rts or dtr, or text",
        ),
        ("serial:/dev/quay?shutter=cts", "says shutter=cts, which is neither rts nor dtr nor text:WORDS"),
        ("serial:/dev/quay?shutter=rts&cut=rts", "two triggers by one contact, rts"),
        ("serial:/dev/quay?shutter=text:", "whose words are not 1 to 200 signs of ASCII"),
        ("serial:/dev/quay?shutter=text:%C3%A4", "whose words are not 1 to 200 signs of ASCII"),
        (f"serial:/dev/quay?shutter=text:{'x' * 201}", "whose words are not 1 to 200 signs of ASCII"),
        ("serial:/dev/quay?shutter=rts&end=nl", "says end=nl; it must be one of lf, cr, crlf, none"),
        ("serial:/dev/quay?shutter=rts&pulse=9", "says pulse=9; it must be a number from 0.01 to 2"),
        ("serial:/dev/quay?shutter=rts&baud=1", "says baud=1"),
        ("serial:/dev/quay?shutter=rts&axis=pan", "has the option axis"),
    ],
)
def test_an_address_that_cannot_be_read_is_refused(address: str, words: str) -> None:
    with pytest.raises(LinkError, match=words):
        KIND.carries(address, RIG)


def test_record_and_cut_may_share_a_line_and_words_may_be_the_same() -> None:
    assert KIND.carries("serial:/dev/quay?record=rts&cut=rts&shutter=dtr", RIG).triggers == ("shutter", "record", "cut")
    assert KIND.carries("serial:/dev/quay?record=text:T&cut=text:T", RIG).triggers == ("record", "cut")
