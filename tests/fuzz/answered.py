"""Targets: packets as such, and what rigs, devices, boards and heads answer."""

import math
import socket
import struct
from collections.abc import Callable, Iterator
from types import FunctionType

import numpy as np
from pythonosc.osc_bundle_builder import OscBundleBuilder
from pythonosc.osc_message_builder import OscMessageBuilder

from sequencer.adapters.contract import Output
from sequencer.adapters.device_host.host import DeviceOutput
from sequencer.adapters.device_host.manner import Manner
from sequencer.adapters.gcode_boards.board import read_board
from sequencer.adapters.listening import placed, read
from sequencer.adapters.mavlink_links.head import read_head
from sequencer.adapters.mavlink_links.mavlink_output import MavlinkOutput
from sequencer.adapters.osc_links.inbox import Inbox
from sequencer.adapters.osc_links.osc_output import OscOutput
from sequencer.adapters.outputs.gcode import GcodeOutput
from sequencer.adapters.sources.osc import OscIn
from sequencer.adapters.udp_door import UdpDoor
from sequencer.errors import LinkError, PeerError
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.signals import Setpoint
from sequencer.sync.agenda import Agenda
from sequencer.sync.describe import OscEar
from sequencer.sync.osc_orders import ADDRESSES, OscOrders
from sequencer.wire import device, gcode, osc, slip
from tests.fuzz.heard import project
from tests.fuzz.target import Target, at_gap, packed, packets, pieces, timed

RIG = Rig(
    name="quay",
    axes=tuple(
        Axis(name=kind, kind=kind, unit="deg", travel=(-170, 170), speed=60, acceleration=120, jerk=600)
        for kind in ("roll", "tilt", "pan")
    ),
)
_ACTUALS = osc.actual_addresses(RIG.names)
_BEGUN_NS = 50_000_000_000
_APART_NS = 1_000_000_000_000


class ByteLink:
    """A link of any kind, of which the other end is bytes: packets and lines go out and are forgotten."""

    where = "the other end"
    times = 1
    dropped = waiting = garbage = 0

    def __init__(self) -> None:
        self.came: list[bytes] = []
        self.sent: list[bytes] = []

    def fileno(self) -> None:
        return None

    def put(self, packet: bytes) -> bool:
        self.sent.append(packet)
        return True

    def put_urgent(self, packet: bytes, *, clears: bool = False) -> bool:
        return self.put(packet)

    def packets(self) -> list[bytes]:
        came, self.came = self.came, []
        return came

    def write(self, message: bytes) -> bool:
        return self.put(message)

    def urgent(self, message: bytes) -> bool:
        return self.put(message)

    def read(self) -> bytes:
        return b"".join(self.packets())

    def go_on(self) -> None:
        pass

    def trouble(self) -> str:
        return ""


def _spoken(
    output: Output, link: ByteLink, told: Iterator[tuple[int, bytes]], answer: Callable[[bytes], bytes]
) -> None:
    """Let an output hear what comes, while setpoints go out; a LinkError ends it, as it ends the link."""
    still = np.zeros(len(RIG.axes))
    try:
        for after_ns, part in told:
            now_ns = _BEGUN_NS + after_ns
            link.came.append(answer(part))
            for heard in output.read(now_ns):
                assert heard.position.shape == still.shape
                assert not np.isinf(heard.position).any()
            output.look(now_ns)
            output.send(Setpoint(now_ns + 300_000_000, still + 1e-9 * after_ns % 90, still))
            output.trouble()
            state = output.link(now_ns)
            assert state.round_trip_s is None or state.round_trip_s >= 0
            del link.sent[:-8]
    except LinkError:
        return


def _as_it_is(part: bytes) -> bytes:
    return part


def _osc_output(data: bytes) -> None:
    link = ByteLink()
    _spoken(OscOutput(link, RIG), link, timed(data), _as_it_is)


def _device_output(data: bytes) -> None:
    link, now_ns = ByteLink(), _BEGUN_NS
    output = DeviceOutput(link, RIG, Manner(), 1000, lambda: now_ns)

    def told() -> Iterator[tuple[int, bytes]]:
        nonlocal now_ns
        for number, (after_ns, part) in enumerate(timed(data)):
            now_ns = _BEGUN_NS + after_ns
            if number == 2:
                output.ask()
            yield after_ns, part

    def answer(part: bytes) -> bytes:
        """A part that begins with a byte below 32 answers the newest question about the time, well or not so."""
        if len(part) < 3 or part[0] >= 32:
            return part
        asked = [one for one in link.sent if b"/device/time\0" in one[:64]]
        number = struct.unpack(">i", asked[-1][-4:])[0] if asked else 0
        late_ns, took_ns = (one << (part[0] & 31) for one in struct.unpack_from("bb", part, 1))
        there = [device.device_tag(max(0, now_ns + _APART_NS + off)) for off in (late_ns, late_ns + took_ns)]
        return b"/device/time\0\0\0\0,itt\0\0\0\0" + struct.pack(">iQQ", number, *there)

    _spoken(output, link, told(), answer)


_BOARD = read_board("gcode:/dev/ttyUSB0?baud=115200&roll=A&tilt=B&pan=C&holds=2&greeting=Ready", RIG)
_HEAD = read_head("mavlink://127.0.0.1:14550", RIG)


def _gcode(data: bytes) -> None:
    link = ByteLink()
    _spoken(GcodeOutput(link, _BOARD, RIG), link, timed(data), _as_it_is)


def _gcode_lines(data: bytes) -> None:
    answers = gcode.Answers()
    for part in pieces(data):
        for line in answers.lines(part):
            assert line.isascii()
            assert gcode.meant(line) in ("ok", "error", "other")


def _mavlink(data: bytes) -> None:
    from pymavlink.dialects.v20 import common

    link = ByteLink()
    output = MavlinkOutput(link, _HEAD, RIG, common)
    _spoken(output, link, timed(data), _as_it_is)


def _osc(data: bytes) -> None:
    numbers = osc.Numbers(_ACTUALS)
    quick = numbers.read(data)
    try:
        found = osc.decode(data)
    except PeerError:
        # the quick way reads nothing that the careful one refuses, but for its bounds
        assert quick is None or len(data) > 16_384
        return
    if quick is not None:
        tag, values = quick
        last = {one.address: one.arguments[0] for one in found}
        for address, value in zip(_ACTUALS, values, strict=True):
            assert address in last or math.isnan(value)
            assert address not in last or last[address] == value or math.isnan(value)
        assert all(one.tag == tag for one in found)


def _slip(data: bytes) -> None:
    frames, whole = slip.Frames(64), slip.Frames(64)
    found = [packet for part in pieces(data) for packet in frames.feed(part)]
    assert found == whole.feed(data[1:]), "it depends on how the stream was split"
    assert frames.garbage == whole.garbage
    assert all(0 < len(packet) <= 64 for packet in found)
    assert slip.Frames(64).feed(b"".join(map(slip.frame, found))) == found


def _inbox(data: bytes) -> None:
    inbox = Inbox()
    for part in pieces(data):
        for packet in inbox.take(iter((part, b"")).__next__):
            _osc(packet)


class _Port:
    """A socket from which datagrams come."""

    def __init__(self, came: list[bytes]) -> None:
        self._came = came

    def getsockname(self) -> tuple[str, int]:
        return "127.0.0.1", 9001

    def recvfrom(self, _: int) -> tuple[bytes, tuple[str, int]]:
        if not self._came:
            raise BlockingIOError
        return self._came.pop(0), ("127.0.0.1", 9)


def _osc_orders(data: bytes) -> None:
    came: list[bytes] = []
    port: socket.socket = _Port(came)  # type: ignore[assignment]  # as much of a socket as it needs
    source = OscIn(UdpDoor(port, placed(read("osc:0"), {}), False, 0))
    orders, agenda, ear = OscOrders(project().timebase), Agenda(), OscEar()
    now_ns = 0
    for after_ns, part in timed(data):
        now_ns = _BEGUN_NS + after_ns
        came.append(part)
        for chunk in source.read(now_ns):
            ear.feed(now_ns, chunk.data)
            for due in orders.feed(chunk.stamp_ns, chunk.data):
                agenda.add(due, now_ns)
        agenda.take(now_ns)
        assert all((*source.notices(), *orders.troubles(), *agenda.troubles(), " "))
    ear.facts(now_ns)


def _device_answers(data: bytes) -> None:
    for part in packets(data):
        try:
            found = device.answer(part)
        except PeerError:
            continue
        assert found is None or part.startswith(b"/device/")


# what is right, to begin with


def _message(address: str, *arguments: object) -> bytes:
    """A message by an independent writer."""
    builder = OscMessageBuilder(address)
    for one in arguments:
        builder.add_arg(one)  # type: ignore[arg-type]  # it finds the type out
    return bytes(builder.build().dgram)


def _bundle(*messages: bytes, tag: float | None = None) -> bytes:
    builder = OscBundleBuilder(1 if tag is None else tag)  # type: ignore[arg-type]  # 1: at once
    packed_ = bytes(builder.build().dgram)
    return packed_ + b"".join(struct.pack(">i", len(one)) + one for one in messages)


def _actual(at: float = 1.5) -> bytes:
    return osc.Numbers(_ACTUALS).pack(1, [at, -at, 2 * at])


def _osc_seeds() -> list[bytes]:
    all_kinds = _message("/run/locate", "10:00:05:12", 3, 2.5, b"\1\2\3", True, None, [1, "two"])
    return [_actual(), _message("/stop"), all_kinds, _bundle(_bundle(_message("/cue/take", "lanterns"))), _mixed()]


def _mixed() -> bytes:
    return _bundle(
        _message("/rig/pong", 3), _message("/rig/pan/actual", 1.5), _message("/rig/tilt/switch", 1), tag=1.9e9
    )


def _device_seeds() -> list[bytes]:
    able = _message("/device/able", 1, "quay", 3, 200, 250, 7, *RIG.names)
    held = b"/device/held\0\0\0\0,iih\0\0\0\0" + struct.pack(">iiq", 70, 1001, 5)
    ran_out = b"/device/ran-out\0,i\0\0" + struct.pack(">i", 1003)
    return [able, held, ran_out, _bundle(held, _message("/rig/pan/switch", 1)), _actual()]


def _met() -> bytes:
    """A device that says who it is, answers a dozen questions, and then speaks of what it holds."""
    able, held, ran_out, both, actual = _device_seeds()
    times = b"".join(at_gap(150, b"\x08" + bytes((5, 3))) for _ in range(14))
    return at_gap(10, able) + times + b"".join(at_gap(10, one) for one in (held, actual, both, ran_out))


def _mavlink_seeds() -> list[bytes]:
    from pymavlink.dialects.v20 import common

    mav = common.MAVLink(None, srcSystem=1, srcComponent=154)
    q = (1.0, 0.0, 0.0, 0.0)
    told = (
        common.MAVLink_heartbeat_message(26, 8, 0, 0, 4, 3),
        common.MAVLink_gimbal_device_attitude_status_message(0, 0, 1000, 32, q, 0.0, 0.0, 0.0, 0, 0.25, 0.0, 0),
        common.MAVLink_gimbal_manager_status_message(1000, 0, 0, 255, 190, 0, 0),
        common.MAVLink_command_ack_message(511, 0, 0, 0, 255, 190),
        common.MAVLink_timesync_message(1000, 1),
    )
    frames = [bytes(one.pack(mav)) for one in told]
    return [b"".join(at_gap(20, one) for one in frames), at_gap(1, frames[0] + frames[1]), at_gap(1, frames[1])]


def _mavlink_parser() -> tuple[FunctionType, ...]:
    from pymavlink.dialects.v20.common import MAVLink

    names = ("bytes_needed", "parse_char", "_MAVLink__parse_char_legacy", "parse_buffer", "decode")
    return tuple(getattr(MAVLink, name) for name in names)


def _board_seeds() -> list[bytes]:
    said = b"Ready 1.1\r\n", b"ok\n", b"ok\nok\n", b"error:22\n", b"[MSG: look]\n", b"ok\n" * 6
    return [b"".join(at_gap(gap, one) for one in said) for gap in (4, 150)] + [
        at_gap(600, b"ok\n") * 6 + at_gap(10, b"error: locked\n")
    ]


TARGETS = (
    Target(name="osc", decode=_osc, seeds=_osc_seeds, longest=200),
    Target(
        name="osc-orders",
        decode=_osc_orders,
        seeds=lambda: [
            b"".join(at_gap(10, _message(one)) for one in ADDRESSES),
            *(at_gap(10, one) for one in _osc_seeds()),
            at_gap(4, _message("/run/locate", "10:00:05:12")) + at_gap(1, _message("/mark/go", "quay")),
        ],
        longest=300,
    ),
    Target(name="slip", decode=_slip, seeds=lambda: [b"\x11" + slip.frame(b"\xc0\xdb/stop\0\0\0")] * 2, longest=96),
    Target(
        name="osc-stream",
        decode=_inbox,
        seeds=lambda: [b"\x42" + b"".join(map(slip.frame, (_actual(), _message("/stop"))))],
        longest=300,
    ),
    Target(
        name="osc-output",
        decode=_osc_output,
        seeds=lambda: [b"".join(at_gap(10, one) for one in (_actual(), _mixed(), _actual(5e9)))],
        longest=400,
    ),
    Target(
        name="device-answers",
        decode=_device_answers,
        seeds=lambda: [packed([one]) for one in _device_seeds()],
        longest=200,
    ),
    Target(
        name="device-output",
        decode=_device_output,
        seeds=lambda: [_met(), b"".join(at_gap(10, one) for one in _device_seeds())],
        longest=600,
    ),
    Target(name="board-lines", decode=_gcode_lines, seeds=lambda: [b"\x21ok\r\nerror:3\n\xff\n"], longest=300),
    Target(name="board-output", decode=_gcode, seeds=_board_seeds, longest=200),
    Target(
        name="head-output",
        decode=_mavlink,
        seeds=_mavlink_seeds,
        longest=300,
        needs="pymavlink",
        within=_mavlink_parser,
    ),
)
