"""The OSC output over a TCP connection and over a serial line: the same rig at the end of either.

Each peer here takes the stream apart with python-osc's own SLIP codec. Source: OSC 1.1 and RFC 1055, as named in
tests/wire/test_slip.py.
"""

import socket
import struct
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path

import numpy as np
import pytest
from pythonosc import slip
from pythonosc.osc_bundle import OscBundle
from pythonosc.osc_message_builder import OscMessageBuilder

from sequencer.adapters.contract import Output
from sequencer.adapters.osc_links.osc_output import OscOutput
from sequencer.adapters.osc_links.serial import SerialLink
from sequencer.adapters.serial_ports.line import SerialLine
from sequencer.errors import LinkError
from sequencer.rig.signals import Feedback, Setpoint, Trigger
from sequencer.shell.kinds import open_output
from sequencer.shell.relink import Relink
from sequencer.wire.osc import Numbers, actual_addresses, command, setpoint_addresses
from sequencer.wire.timetag import IMMEDIATELY
from tests.adapters.terminal import FarEnd, arrived, terminal
from tests.adapters.test_osc import MS_NS, RIG, SECOND_NS
from tests.adapters.test_serial_line import Scripted

HOST = "127.0.0.1"
FIRST = slip.encode(b"/rig/ping\0\0\0,i\0\0" + struct.pack(">i", -1))
STOP = b"\xc0" + command("/stop") + b"\xc0"


def setpoint(pan: float = 1.5) -> Setpoint:
    return Setpoint(time.monotonic_ns(), np.array([pan, -2.0]), np.array([3.0, 0.25]))


def pans(stream: bytes) -> list[float]:
    """Return the pan of each set in a stream of whole frames; anything that is none fails here."""
    assert stream[:1] == stream[-1:] == slip.END
    found = []
    for part in stream[1:-1].split(slip.END_END):
        bundle = OscBundle(slip.decode(part))
        (pan,) = [message.params[0] for message in bundle if message.address == "/rig/pan/position"] or [None]
        found += [] if pan is None else [pan]
    return found


class TcpEnd(FarEnd):
    """A board's end of a connection."""

    def __init__(self, port: socket.socket) -> None:
        self.port = port
        super().__init__(port.fileno(), "")

    def unplug(self) -> None:
        if self.open:
            self.port.close()
            self.open = False


@pytest.fixture
def listener() -> Iterator[socket.socket]:
    with socket.create_server((HOST, 0)) as port:
        port.settimeout(5)
        yield port


def address_of(listener: socket.socket) -> str:
    return f"osc+tcp://{HOST}:{listener.getsockname()[1]}"


@contextmanager
def by_tcp(listener: socket.socket, options: str = "") -> Iterator[tuple[TcpEnd, Output]]:
    with open_output(f"{address_of(listener)}{options}", RIG) as output:
        end = TcpEnd(listener.accept()[0])
        try:
            assert end.hear(len(FIRST)) == FIRST
            yield end, output
        finally:
            end.unplug()


@contextmanager
def by_serial(_: socket.socket, options: str = "") -> Iterator[tuple[FarEnd, Output]]:
    with (
        terminal() as end,
        open_output(f"osc+serial:{end.path}?baud=921600{options.replace('?', '&')}", RIG) as output,
    ):
        yield end, output


Way = Callable[..., AbstractContextManager[tuple[FarEnd, Output]]]
WAYS = pytest.mark.parametrize("way", [by_tcp, by_serial])


def answers(output: Output, count: int) -> list[Feedback]:
    """Return what the rig has said once it is `count` answers; more are a fault."""
    heard: list[Feedback] = []
    while len(heard) < count:
        arrived(output.fileno())
        heard += output.read(SECOND_NS)
    assert len(heard) == count
    return heard


@WAYS
def test_a_setpoint_set_is_one_frame(way: Way, listener: socket.socket) -> None:
    with way(listener, "?timetag=now") as (end, output):
        output.send(setpoint())
        expected = slip.encode(Numbers(setpoint_addresses(RIG.names)).pack(IMMEDIATELY, [1.5, -2.0, 3.0, 0.25]))
        assert end.hear(len(expected)) == expected


@WAYS
def test_doubles_where_the_rig_wants_them(way: Way, listener: socket.socket) -> None:
    # 0.1 is 0.10000000149 as a number of 32 bits
    expected = slip.encode(Numbers(setpoint_addresses(RIG.names), "d").pack(IMMEDIATELY, [0.1, -2.0, 3.0, 0.25]))
    with way(listener, "?form=d&timetag=now") as (end, output):
        output.send(setpoint(0.1))
        heard = end.hear(len(expected))
        assert heard == expected
        assert pans(heard) == [0.1]


@WAYS
def test_a_stop_goes_out_once_and_orders_in_their_order(way: Way, listener: socket.socket) -> None:
    with way(listener) as (end, output):
        output.ask()
        expected = slip.encode(command("/rig/ask"))
        assert end.hear(len(expected)) == expected
        output.stop()
        assert end.hear(len(STOP)) == STOP
        assert end.hear(1, 0.02) == b""
        assert output.fire(Trigger(0, "shutter"))
        expected = slip.encode(command("/camera/shutter"))
        assert end.hear(len(expected)) == expected
        output.here("tilt", -2.5)
        expected = slip.encode(command("/rig/tilt/here", -2.5))
        assert end.hear(len(expected)) == expected


@WAYS
def test_answers_and_pongs_come_back(way: Way, listener: socket.socket) -> None:
    with way(listener) as (end, output):
        output.look(SECOND_NS)
        ping = OscBundle(slip.decode(end.hear(42)))
        builder = OscMessageBuilder("/rig/pong")
        builder.add_arg(ping.content(0).params[0], "i")
        end.say(slip.encode(builder.build().dgram))
        # an answer in two pieces, with bytes that must be escaped: -6 is C0 C0 00 00
        answer = slip.encode(Numbers(actual_addresses(RIG.names)).pack(IMMEDIATELY, [-6.0, 5.0]))
        assert slip.ESC in answer
        while output.link(SECOND_NS + 8 * MS_NS).round_trip_s is None:
            arrived(output.fileno())
            assert output.read(SECOND_NS + 8 * MS_NS) == ()
        end.say(answer[:30])
        arrived(output.fileno())
        assert output.read(SECOND_NS + 9 * MS_NS) == ()
        end.say(answer[30:])
        (feedback,) = answers(output, 1)
        assert feedback.position.tolist() == [-6.0, 5.0]
        state = output.link(SECOND_NS + 600 * MS_NS)
        assert state.round_trip_s == pytest.approx(0.008)
        assert state.lost == 0


@WAYS
@pytest.mark.parametrize(
    "garbage",
    [
        b"\0" * 300,
        b"?" * 40_000,
        slip.encode(b"?" * 12),
        b"\xc0\xdb\xc0",
        b"/rig/pan/actual\0,f\0\0\0\0\0\0\xc0",
        slip.encode(b"#bundle\0" + bytes(8) + struct.pack(">i", 4000)),
    ],
)
def test_garbage_is_left_aside_and_what_follows_is_read(way: Way, listener: socket.socket, garbage: bytes) -> None:
    answer = slip.encode(Numbers(actual_addresses(RIG.names)).pack(IMMEDIATELY, [4.0, 5.0]))
    with way(listener) as (end, output):
        heard: list[Feedback] = []
        for at in range(0, len(garbage), 2000):
            end.say(garbage[at : at + 2000])
            arrived(output.fileno())
            heard += output.read(1)
        end.say(answer)
        while not heard:
            arrived(output.fileno())
            heard += output.read(2)
        assert [one.position.tolist() for one in heard] == [[4.0, 5.0]]
        assert output.trouble() == ""


@WAYS
def test_a_peer_that_says_nothing_but_garbage_is_told(way: Way, listener: socket.socket) -> None:
    with way(listener) as (end, output):
        end.say(b"\xc0\xdb" * 3 + slip.encode(b"?" * 8) * 3)
        while not output.trouble():
            arrived(output.fileno())
            assert output.read(1) == ()
        assert "nothing that a rig says; check the address, and a serial port's baud" in output.trouble()
        end.say(slip.encode(Numbers(actual_addresses(RIG.names)).pack(IMMEDIATELY, [4.0, 5.0])))
        answers(output, 1)
        assert output.trouble() == ""


@WAYS
def test_a_call_reads_no_more_than_64_packets(way: Way, listener: socket.socket) -> None:
    with way(listener) as (end, output):
        packets = [slip.encode(Numbers(("/rig/pan/actual",)).pack(IMMEDIATELY, [value])) for value in range(70)]
        end.say(b"".join(packets))
        heard: list[list[float]] = []
        while sum(map(len, heard)) < 70:
            heard.append([one.position[0] for one in output.read(1)])
        assert max(map(len, heard)) <= 64
        assert [one for some in heard for one in some] == list(range(70))


@WAYS
def test_a_peer_that_stops_reading_gets_whole_frames_and_the_stop_before_anything_newer(
    way: Way, listener: socket.socket
) -> None:
    with way(listener, "?timetag=now") as (end, output):
        assert isinstance(output, OscOutput)
        sent = 0
        # until the system's buffers are full: nothing is taken any more, for as long as the rig stands still
        while output.dropped - sent < 3000 and sent < 200_000:
            dropped = output.dropped
            output.send(setpoint(float(sent)))
            sent += output.dropped == dropped
            if way is by_serial:
                output._link._line._through_ns = 0  # type: ignore[attr-defined]  # as if the wire were endlessly fast
        output.stop()
        output.send(setpoint(-1.0))
        stream = b""
        for _ in range(100_000):
            stream += end.hear(1, 0.2)
            output.look(0)
            if STOP in stream:
                break
        before, _, after = stream.partition(STOP)
        assert pans(before) == list(range(sent))
        # one question may follow, and no setpoint
        assert after == b"" or pans(after + end.hear(1, 0.05)) == []


def use(output: Output, ticks: int) -> None:
    for _ in range(ticks):
        output.read(0)
        output.send(setpoint())


@WAYS
def test_an_end_that_goes_away_in_mid_run_is_a_link_that_is_gone(way: Way, listener: socket.socket) -> None:
    with way(listener) as (end, output):
        output.send(setpoint())
        end.hear()
        end.unplug()
        with pytest.raises(LinkError, match=r"gone.*(plug it in again|check cable, network and rig)"):
            use(output, 1000)


def test_leaving_sends_what_is_urgent() -> None:
    with terminal() as end:
        with open_output(f"osc+serial:{end.path}", RIG) as output:
            # the stop has to wait for the set, which takes 13 ms of the line
            output.send(setpoint())
            output.stop()
            assert isinstance(output, OscOutput)
            assert output._link.waiting == len(STOP)
        assert end.hear(200, 0.2).endswith(STOP)


def test_a_serial_port_that_is_open_already_is_busy() -> None:
    with (
        terminal() as end,
        open_output(f"osc+serial:{end.path}", RIG),
        pytest.raises(LinkError, match="in use by another program"),
        open_output(f"osc+serial:{end.path}", RIG),
    ):
        pass


def test_a_stop_takes_the_place_of_the_orders_that_wait_for_the_line() -> None:
    port = Scripted()
    output = OscOutput(SerialLink(SerialLine(port, "/dev/quay", 115_200, lambda: port.now_ns)), RIG)
    port.held = 1000
    output.ask()
    assert output.fire(Trigger(0, "record"))
    output.stop()
    port.held = 0
    port.now_ns += SECOND_NS
    output.read(0)
    assert port.went == STOP


def test_a_cable_that_is_plugged_in_again_is_taken_up(tmp_path: Path) -> None:
    plug = tmp_path / "quay"
    with terminal() as first:
        plug.symlink_to(first.path)
        with Relink(lambda: open_output(f"osc+serial:{plug}?baud=921600", RIG)) as output:
            output.stop()
            assert first.hear(len(STOP)) == STOP
            first.unplug()
            plug.unlink()
            with pytest.raises(LinkError, match="plug it in again"):
                output.stop()
            for half_seconds in range(2):
                with pytest.raises(LinkError, match="plug it in again"):
                    output.look(half_seconds * SECOND_NS // 2)
            with terminal() as second:
                plug.symlink_to(second.path)
                output.look(SECOND_NS)
                assert b"/rig/ping" in second.hear(42)
                output.stop()
                assert second.hear(len(STOP)) == STOP
