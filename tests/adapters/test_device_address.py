"""Addresses of devices, what they say of the link, and opening over a real socket with a scripted device behind it."""

import socket
import threading
import time
from collections.abc import Iterator

import numpy as np
import pytest

from sequencer.adapters.contract import Carries
from sequencer.adapters.device_host import opening
from sequencer.adapters.device_host.host import DeviceOutput
from sequencer.adapters.device_host.manner import Manner, carries_device, read_address
from sequencer.adapters.osc_links.place import Place
from sequencer.errors import LinkError
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.signals import TRIGGER_NAMES, Setpoint
from sequencer.shell.kinds import open_output, output_kind
from sequencer.wire.device import Sets
from sequencer.wire.osc import decode
from sequencer.wire.slip import Frames, frame
from tests.adapters.device_script import able, time_answer


def rig(*names: str) -> Rig:
    return Rig(
        name="quay",
        axes=tuple(
            Axis(name=name, kind="pan", unit="deg", travel=None, speed=60, acceleration=120, jerk=600) for name in names
        ),
    )


RIG = rig("pan", "tilt")


@pytest.mark.parametrize(
    ("text", "place", "manner"),
    [
        ("device://127.0.0.1:9100", Place("udp", "127.0.0.1", 9100), Manner()),
        ("device://[::1]:9100?ahead=0.8&form=d", Place("udp", "::1", 9100), Manner(0.8, 0.1, "d")),
        ("device+tcp://crane:9100?ahead=1&commit=0.5", Place("tcp", "crane", 9100), Manner(1.0, 0.5)),
        ("device://127.0.0.1:9100?ahead=0.05", Place("udp", "127.0.0.1", 9100), Manner(0.05, 0.05)),
    ],
)
def test_addresses(text: str, place: Place, manner: Manner) -> None:
    assert read_address(text) == (place, manner)


def test_on_a_serial_line_questions_about_the_time_take_a_twentieth() -> None:
    """Source: common practice, ten bits a byte on a serial line of eight bits without parity."""
    place, manner = read_address("device+serial:/dev/ttyACM0?baud=115200")
    assert place == Place("serial", path="/dev/ttyACM0", baud=115_200)
    bytes_each = 44 + 2 + 4  # a bundle of one message of 24 bytes, END twice, a number that may need escapes
    assert manner.ask_ns == pytest.approx(bytes_each * 10 / 115_200 / 0.05 * 1e9)


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("device:", "host and port"),
        ("device://127.0.0.1", "host and port"),
        ("device+serial:", "serial port"),
        ("device+serial:/dev/ttyACM0?baud=12", "baud=12"),
        ("device://127.0.0.1:9100?ahead=0", "ahead=0"),
        ("device://127.0.0.1:9100?ahead=9", "ahead=9"),
        ("device://127.0.0.1:9100?ahead=soon", "ahead=soon"),
        ("device://127.0.0.1:9100?ahead=0.2&commit=0.3", "commit must not be above ahead"),
        ("device://127.0.0.1:9100?commit=0", "commit=0; it must be a number from 0.02"),
        ("device://127.0.0.1:9100?form=x", "form=x"),
        ("device://127.0.0.1:9100?timetag=now", "option timetag; there are ahead, commit, form"),
        ("devices://127.0.0.1:9100", "no address of a device"),
    ],
)
def test_an_address_that_is_none_says_what_is_wrong_and_how_to_write_it(text: str, what: str) -> None:
    with pytest.raises(LinkError, match=what) as fault:
        read_address(text)
    assert "; write it as device" in str(fault.value)


def test_a_network_sets_no_end_and_how_long_ahead_is_told() -> None:
    for scheme in ("device", "device+tcp"):
        address = f"{scheme}://127.0.0.1:9100?ahead=0.5&commit=0.2"
        assert carries_device(address, RIG) == Carries(ahead_s=0.5, committed_s=0.2, triggers=TRIGGER_NAMES)
        kind = output_kind(address)
        assert (kind.answers, kind.drives, kind.at_end) == (True, True, "decelerate")
        assert kind.shared == (scheme == "device")


@pytest.mark.parametrize(("baud", "form"), [(115_200, "f"), (57_600, "d")])
def test_what_a_serial_line_is_said_to_carry_never_overfills_it(baud: int, form: str) -> None:
    carried = carries_device(f"device+serial:/dev/ttyACM0?baud={baud}&form={form}", RIG)
    assert carried.most_hz is not None
    assert f"{carried.most_hz:.1f} sets a second" in carried.why
    # the worst set that there is: a value whose bytes all need an escape (RFC 1055: END is 192, ESC 219)
    worst = np.frombuffer(b"\xc0" * (4 if form == "f" else 8), ">f4" if form == "f" else ">f8")[0]
    number, tag = 0x40C0C0C0, int.from_bytes(b"\xc0" * 8, "big")
    packet = Sets(RIG.names, "d" if form == "d" else "f").pack(number, tag, [float(worst)] * 4, tag)
    assert len(frame(packet)) * carried.most_hz * 10 <= baud * 0.95
    assert len(frame(packet)) * carried.most_hz * 10 > baud * 0.6


def test_axis_names_that_osc_cannot_carry_are_said_at_once() -> None:
    with pytest.raises(LinkError, match=r"pan\*"):
        carries_device("device://127.0.0.1:9100", rig("pan*"))
    with pytest.raises(LinkError, match=r"pan\*"), open_output("device://127.0.0.1:9100", rig("pan*")):
        pass


class Peer(threading.Thread):
    """A device on a socket of 127.0.0.1, which says who it is and what time it has."""

    def __init__(self, version: int = 1, mute: bool = False) -> None:
        super().__init__(daemon=True)
        self.port = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.port.bind(("127.0.0.1", 0))
        self.address = f"device://127.0.0.1:{self.port.getsockname()[1]}"
        self.version, self.mute = version, mute
        self.numbers: list[int] = []
        self.set_came = threading.Event()

    def run(self) -> None:
        while True:
            packet, host = self.port.recvfrom(65_535)
            if packet == b"end":
                return
            for answer in self.answers(packet):
                self.port.sendto(answer, host)

    def answers(self, packet: bytes) -> Iterator[bytes]:
        there_ns = time.monotonic_ns() + 10**15
        for message in decode(packet):
            match message.address, message.arguments:
                case "/device/hello", _ if not self.mute:
                    yield able(self.version, "crane", 512, 500, 3, RIG.names)
                case "/device/time", (int(number),) if not self.mute:
                    yield time_answer(number, there_ns, there_ns)
                case "/plan/number", (int(number),):
                    self.numbers.append(number)
                    self.set_came.set()


class TcpPeer(Peer):
    """The same behind one TCP connection, with SLIP frames. Source: RFC 1055, with END at both ends as OSC 1.1 asks."""

    def __init__(self) -> None:
        super().__init__()
        self.port.close()
        self.port = socket.create_server(("127.0.0.1", 0))
        self.address = f"device+tcp://127.0.0.1:{self.port.getsockname()[1]}"

    def run(self) -> None:
        connection, _ = self.port.accept()
        frames = Frames()
        with connection:
            while data := connection.recv(4096):
                for packet in frames.feed(data):
                    for answer in self.answers(packet):
                        connection.sendall(frame(answer))


@pytest.fixture
def peer(request: pytest.FixtureRequest) -> Iterator[Peer]:
    one = Peer(**getattr(request, "param", {}))
    one.start()
    yield one
    one.port.sendto(b"end", one.port.getsockname())
    one.join(5)
    one.port.close()


def test_the_first_opening_waits_for_the_device_and_its_clock_and_later_ones_do_not(peer: Peer) -> None:
    firsts = []
    for again in (False, True):
        with open_output(peer.address, RIG) as output:
            assert isinstance(output, DeviceOutput)
            assert output.ready != again
            firsts.append(output.number)
            if not again:
                output.ask()
                output.send(Setpoint(time.monotonic_ns() + 300_000_000, np.zeros(2), np.zeros(2)))
                assert peer.set_came.wait(5)
    # another link's numbers are far from the first one's
    assert peer.numbers == firsts[:1]
    assert firsts[1] > firsts[0]


def test_over_tcp_the_same_is_said() -> None:
    peer = TcpPeer()
    peer.start()
    with open_output(peer.address, RIG) as output:
        assert isinstance(output, DeviceOutput)
        assert output.ready
        output.ask()
        output.send(Setpoint(time.monotonic_ns() + 300_000_000, np.zeros(2), np.zeros(2)))
        output.look(time.monotonic_ns())
        assert peer.set_came.wait(5)
        output.look(time.monotonic_ns())
    peer.join(5)
    peer.port.close()
    assert len(peer.numbers) == 1


@pytest.mark.parametrize("peer", [{"mute": True}], indirect=True)
def test_where_no_device_answers_opening_fails_with_the_mend(peer: Peer, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(opening, "WAITED_S", 0.05)
    for _ in range(2):
        with pytest.raises(LinkError, match=r"no device answers at .* switch it on"), open_output(peer.address, RIG):
            pass


@pytest.mark.parametrize("peer", [{"version": 3}], indirect=True)
def test_another_version_is_refused_at_the_opening(peer: Peer) -> None:
    with pytest.raises(LinkError, match="speaks version 3"), open_output(peer.address, RIG):
        pass
