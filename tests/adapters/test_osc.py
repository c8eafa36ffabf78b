"""The OSC output against a socket of our own on 127.0.0.1; bytes that wait in a socket need no waiting here."""

import errno
import math
import socket
import struct
import time
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pytest

from sequencer.adapters import wallclock
from sequencer.adapters.contract import LinkState, Output
from sequencer.adapters.osc_links.osc_output import Manner, OscOutput, read_address
from sequencer.adapters.osc_links.place import Place
from sequencer.adapters.osc_links.udp import UdpLink
from sequencer.errors import LinkError
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.signals import Setpoint
from sequencer.shell.kinds import open_output
from sequencer.wire.osc import Message, Numbers, actual_addresses, command, decode, setpoint_addresses
from sequencer.wire.timetag import IMMEDIATELY, instant, timetag

MS_NS = 1_000_000
SECOND_NS = 1_000 * MS_NS
RIG = Rig(
    name="quay",
    axes=tuple(
        Axis(name=name, kind=name, unit="deg", travel=(-170, 170), speed=60, acceleration=120, jerk=600)
        for name in ("pan", "tilt")
    ),
)
SETPOINT = (np.array([1.5, -2.0]), np.array([3.0, 0.25]))


@dataclass
class Peer:
    """The rig's end of the cable."""

    port: socket.socket
    output: Output

    def hear(self) -> bytes:
        packet, self.host = self.port.recvfrom(65_535)
        return packet

    def say(self, packet: bytes) -> None:
        self.port.sendto(packet, self.host)


@pytest.fixture
def listener() -> Iterator[socket.socket]:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as port:
        port.bind(("127.0.0.1", 0))
        port.settimeout(5)
        yield port


@pytest.fixture(params=[""])
def peer(listener: socket.socket, request: pytest.FixtureRequest) -> Iterator[Peer]:
    with open_output(f"osc://127.0.0.1:{listener.getsockname()[1]}{request.param}", RIG) as output:
        yield Peer(listener, output)


@pytest.mark.parametrize(
    ("text", "place", "manner"),
    [
        ("osc://127.0.0.1:9000", Place("udp", "127.0.0.1", 9000), Manner()),
        ("osc://127.0.0.1:9000?form=d", Place("udp", "127.0.0.1", 9000), Manner("d")),
        ("osc://rig.local:7000/?timetag=now&form=f", Place("udp", "rig.local", 7000), Manner("f", False)),
        ("osc://[::1]:9000?timetag=due", Place("udp", "::1", 9000), Manner()),
        ("osc+tcp://127.0.0.1:9000?form=d", Place("tcp", "127.0.0.1", 9000), Manner("d")),
        ("osc+serial:/dev/ttyUSB0", Place("serial", path="/dev/ttyUSB0", baud=115_200), Manner()),
        ("osc+serial:COM3?baud=9600&timetag=now", Place("serial", path="COM3", baud=9600), Manner("f", False)),
        ("osc+serial:/dev/by%20id/a%3Fb", Place("serial", path="/dev/by id/a?b", baud=115_200), Manner()),
    ],
)
def test_addresses(text: str, place: Place, manner: Manner) -> None:
    assert read_address(text) == (place, manner)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "osc://",
        "osc://127.0.0.1",
        "osc://127.0.0.1:0",
        "osc://127.0.0.1:99999",
        "osc://127.0.0.1:nine",
        "udp://127.0.0.1:9000",
        "osc://127.0.0.1:9000/rig",
        "osc://127.0.0.1:9000?form=x",
        "osc://127.0.0.1:9000?form",
        "osc://127.0.0.1:9000?speed=9",
        "osc://[::1:9000",
        "osc://127.0.0.1:9000?baud=9600",
        "osc+tcp://127.0.0.1",
        "osc+tcp:/dev/ttyUSB0",
        "osc+radio://127.0.0.1:9000",
        "osc+serial:",
        "osc+serial:/dev/ttyUSB0?baud=fast",
        "osc+serial:/dev/ttyUSB0?baud=0",
        "osc+serial:/dev/ttyUSB0?baud=9600.5",
        "osc+serial:/dev/ttyUSB0?parity=even",
    ],
)
def test_an_address_that_is_none_says_how_to_write_it(text: str) -> None:
    with pytest.raises(LinkError, match=r"write it as osc(://|\+tcp://|\+serial:/)"):
        read_address(text)


def test_a_setpoint_is_one_bundle_due_at_its_instant(peer: Peer) -> None:
    due_ns = time.monotonic_ns() + 20 * MS_NS
    peer.output.send(Setpoint(due_ns, *SETPOINT))
    read = Numbers(setpoint_addresses(RIG.names)).read(peer.hear())
    assert read is not None
    assert read[1] == [1.5, -2.0, 3.0, 0.25]
    # the wall clock may have been slewed between the two measurements, by far less than this
    assert abs(instant(read[0], wallclock.measure()[1], due_ns) - due_ns) < MS_NS


@pytest.mark.parametrize("peer", ["?form=d&timetag=now"], indirect=True)
def test_a_rig_may_want_doubles_for_now(peer: Peer) -> None:
    peer.output.send(Setpoint(time.monotonic_ns(), *SETPOINT))
    packet = peer.hear()
    assert [message.tag for message in decode(packet)] == [IMMEDIATELY] * 4
    assert packet.count(b",d\0\0") == 4


def test_stop_goes_out_three_times_and_ask_once(peer: Peer) -> None:
    peer.output.stop()
    peer.output.ask()
    heard = [decode(peer.hear()) for _ in range(4)]
    assert heard == [(Message(IMMEDIATELY, "/stop", ()),)] * 3 + [(Message(IMMEDIATELY, "/rig/ask", ()),)]
    peer.port.setblocking(False)
    with pytest.raises(BlockingIOError):
        peer.port.recv(1)


def test_five_pings_a_second_go_out_by_their_own_pace_and_pongs_measure_the_link(peer: Peer) -> None:
    actual = Numbers(actual_addresses(RIG.names)).pack(IMMEDIATELY, [4.0, 5.0])
    assert peer.output.link(0) == LinkState(None, None)
    for tick in range(1, 501):
        now_ns = tick * 4 * MS_NS
        peer.output.look(now_ns)
        if (tick - 1) % 50 == 0:
            (ping,) = decode(peer.hear())
            assert (ping.tag, ping.address) == (IMMEDIATELY, "/rig/ping")
            (number,) = ping.arguments
            # one of five is lost, the others need 12 ms; as a plain message or in a bundle, as the rig likes
            if tick % 250 != 1:
                pong = b"/rig/pong\0\0\0,i\0\0" + struct.pack(">i", number)
                peer.say(pong if tick % 100 == 1 else command("/rig/pong", int(str(number))))
                peer.say(actual)
                (feedback,) = peer.output.read(now_ns + 12 * MS_NS)
                assert feedback.position.tolist() == [4.0, 5.0]
    peer.port.setblocking(False)
    with pytest.raises(BlockingIOError):
        peer.port.recv(1)
    state = peer.output.link(2 * SECOND_NS)
    assert state.round_trip_s == pytest.approx(0.012)
    # pings at 4, 204 ... 1404 ms are half a second old, and those at 4 and 1004 ms were lost
    assert state.lost == pytest.approx(2 / 8)
    assert isinstance(peer.output, OscOutput)
    assert peer.output.left_aside == 0


@pytest.mark.parametrize(
    "packet",
    [
        command("/rig/pong", 7),
        command("/rig/pong"),
        b"/rig/pong\0\0\0,T\0\0",
        b"/rig/pong\0\0\0,f\0\0\0\0\0\0",
    ],
)
def test_a_pong_that_answers_no_ping_is_left_aside(peer: Peer, packet: bytes) -> None:
    peer.output.look(0)
    peer.hear()
    peer.say(packet)
    assert peer.output.read(SECOND_NS) == ()
    assert peer.output.link(SECOND_NS) == LinkState(None, None)
    assert isinstance(peer.output, OscOutput)
    assert peer.output.left_aside == 1


def test_a_host_is_looked_up_once_also_where_the_link_is_opened_again(
    listener: socket.socket, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[object] = []
    look_up = socket.getaddrinfo

    def counted(host: str, port: int, *, type: int) -> object:
        asked.append(host)
        return look_up(host, port, type=type)

    monkeypatch.setattr(socket, "getaddrinfo", counted)
    for _ in range(3):
        with open_output(f"osc://localhost:{listener.getsockname()[1]}", RIG) as output:
            output.ask()
            assert listener.recv(65_535)
    assert asked == ["localhost"]


def test_answers_become_feedback_at_the_instant_of_measuring(peer: Peer) -> None:
    peer.output.ask()
    peer.hear()
    now_ns = time.monotonic_ns()
    tag = timetag(now_ns - 3 * MS_NS, wallclock.measure()[1])
    peer.say(Numbers(actual_addresses(RIG.names)).pack(tag, [4.0, 5.0]))
    (feedback,) = peer.output.read(now_ns)
    assert feedback.position.tolist() == [4.0, 5.0]
    assert feedback.heard_ns == now_ns
    assert abs(feedback.at_ns - (now_ns - 3 * MS_NS)) < MS_NS
    assert peer.output.read(now_ns) == ()


@pytest.mark.parametrize(
    ("packet", "position"),
    [
        (b"/rig/tilt/actual\0\0\0\0,i\0\0\0\0\0\7", [math.nan, 7.0]),
        (Numbers(("/rig/pan/actual",), "d").pack(IMMEDIATELY, [0.1]), [0.1, math.nan]),
        (Numbers(("/battery", "/rig/pan/actual")).pack(IMMEDIATELY, [9.0, 2.0]), [2.0, math.nan]),
        (Numbers(actual_addresses(RIG.names)).pack(IMMEDIATELY, [math.inf, 2.0]), [math.nan, 2.0]),
    ],
)
def test_a_rig_may_answer_plainly_and_for_some_axes(peer: Peer, packet: bytes, position: list[float]) -> None:
    peer.output.ask()
    peer.hear()
    peer.say(packet)
    (feedback,) = peer.output.read(12 * SECOND_NS)
    np.testing.assert_array_equal(feedback.position, position)
    assert feedback.at_ns == feedback.heard_ns == 12 * SECOND_NS


@pytest.mark.parametrize(
    "packet",
    [
        b"",
        b"garbage",
        Numbers(("/rig/yaw/actual",)).pack(IMMEDIATELY, [1.0]),
        Numbers(actual_addresses(RIG.names)).pack(IMMEDIATELY, [math.nan, math.inf]),
        b"/rig/pan/actual\0,T\0\0",
        b"/rig/pan/actual\0,ff\0\0\0\0\0\0\0\0\0",
    ],
)
def test_what_says_nothing_is_left_aside_and_counted(peer: Peer, packet: bytes) -> None:
    peer.output.ask()
    peer.hear()
    peer.say(packet)
    assert peer.output.read(time.monotonic_ns()) == ()
    assert isinstance(peer.output, OscOutput)
    assert peer.output.left_aside == 1


def test_a_call_reads_no_more_than_64_datagrams(peer: Peer) -> None:
    peer.output.ask()
    peer.hear()
    for value in range(70):
        peer.say(Numbers(("/rig/pan/actual",)).pack(IMMEDIATELY, [value]))
    assert [one.position[0] for one in peer.output.read(1)] == list(range(64))
    assert [one.position[0] for one in peer.output.read(2)] == list(range(64, 70))


def test_a_clock_that_is_not_set_does_not_place_answers(peer: Peer) -> None:
    peer.output.ask()
    peer.hear()
    begun_ns = time.monotonic_ns()
    for now_ns in (begun_ns, begun_ns + SECOND_NS):
        # not for one alone, which may have waited here for long
        assert peer.output.trouble() == ""
        peer.say(Numbers(actual_addresses(RIG.names)).pack(timetag(now_ns, 0), [4.0, 5.0]))
        (feedback,) = peer.output.read(now_ns)
        assert feedback.at_ns == now_ns
    assert "clock of the rig" in peer.output.trouble()
    peer.say(Numbers(actual_addresses(RIG.names)).pack(IMMEDIATELY, [4.0, 5.0]))
    peer.output.read(now_ns)
    assert peer.output.trouble() == ""


def test_answers_that_waited_to_be_read_are_no_clock_that_is_off(peer: Peer) -> None:
    """As at the start, when the engine read nothing while it worked something out."""
    peer.output.ask()
    peer.hear()
    now_ns = time.monotonic_ns()
    for old_ns in (3 * SECOND_NS, 2 * SECOND_NS, 0):
        peer.say(
            Numbers(actual_addresses(RIG.names)).pack(timetag(now_ns - old_ns, wallclock.measure()[1]), [4.0, 5.0])
        )
        peer.output.read(now_ns + 4 * MS_NS)
        assert peer.output.trouble() == ""


def test_a_stepped_wall_clock_does_not_move_timetags(peer: Peer, monkeypatch: pytest.MonkeyPatch) -> None:
    at_ns, offset_ns = wallclock.measure()
    monkeypatch.setattr(wallclock, "measure", lambda: (at_ns + 2 * SECOND_NS, offset_ns + 5 * SECOND_NS))
    due_ns = at_ns + 2 * SECOND_NS
    peer.output.send(Setpoint(due_ns, *SETPOINT))
    assert abs(instant(decode(peer.hear())[0].tag, offset_ns, due_ns) - due_ns) < MS_NS
    assert "5.0" in peer.output.trouble()


def test_nobody_listening_is_told_but_not_raised() -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as closed:
        closed.bind(("127.0.0.1", 0))
        port = closed.getsockname()[1]
    with open_output(f"osc://127.0.0.1:{port}", RIG) as output:
        for _ in range(10):
            output.send(Setpoint(time.monotonic_ns(), *SETPOINT))
            output.read(time.monotonic_ns())
        assert f"nothing listens at 127.0.0.1:{port}" in output.trouble()
        output.send(Setpoint(time.monotonic_ns(), *SETPOINT))
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as opened:
            opened.bind(("127.0.0.1", port))
            opened.settimeout(5)
            # the refusal of the last one waits in our socket; the setpoint goes out all the same
            output.send(Setpoint(time.monotonic_ns(), *SETPOINT))
            packet, host = opened.recvfrom(65_535)
            assert len(decode(packet)) == 4
            opened.sendto(Numbers(actual_addresses(RIG.names)).pack(IMMEDIATELY, [0.0, 0.0]), host)
            assert len(output.read(time.monotonic_ns())) == 1
            assert output.trouble() == ""


class FailingPort(socket.socket):
    """A socket whose network fails with `fault`."""

    fault = 0

    def send(self, data: object, flags: int = 0, /) -> int:
        raise OSError(self.fault, "as the test wants it")


@pytest.mark.parametrize("fault", [errno.EAGAIN, errno.ENOBUFS])
def test_a_full_buffer_drops_the_setpoint(fault: int) -> None:
    with FailingPort(socket.AF_INET, socket.SOCK_DGRAM) as port:
        port.fault = fault
        output = OscOutput(UdpLink(port, "127.0.0.1:9"), RIG)
        output.send(Setpoint(0, *SETPOINT))
        assert output.dropped == 1


@pytest.mark.parametrize("fault", [errno.ENETUNREACH, errno.ENETDOWN, errno.EPERM])
def test_a_network_that_went_away_is_a_link_that_is_gone(fault: int) -> None:
    with FailingPort(socket.AF_INET, socket.SOCK_DGRAM) as port:
        port.fault = fault
        output = OscOutput(UdpLink(port, "127.0.0.1:9"), RIG)
        with pytest.raises(LinkError, match=r"127\.0\.0\.1:9 is gone"):
            output.stop()


def test_axis_names_that_osc_cannot_carry_are_said_at_once() -> None:
    rig = Rig(
        name="r",
        axes=(Axis(name="pan*", kind="pan", unit="deg", travel=None, speed=1, acceleration=1, jerk=1),),
    )
    with pytest.raises(LinkError, match="pan"), open_output("osc://127.0.0.1:9000", rig):
        pass


def test_the_port_closes_with_the_block(listener: socket.socket) -> None:
    with open_output(f"osc://127.0.0.1:{listener.getsockname()[1]}", RIG) as output:
        assert isinstance(output.fileno(), int)
    with pytest.raises(LinkError):
        output.send(Setpoint(0, *SETPOINT))
