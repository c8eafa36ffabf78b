"""Targets: what the reference device of docs/device hears. Python runs what MicroPython runs."""

import math
from collections.abc import Iterable
from typing import Any

from sequencer.errors import PeerError
from sequencer.wire import slip
from sequencer.wire.device import Sets, device_tag, time_question
from sequencer.wire.osc import Message, command, decode
from tests.device.bench import reference
from tests.fuzz.target import MS_NS, Target, at_gap, pieces, timed

axis, device, packets = (reference(name) for name in ("axis", "device", "packets"))
_FURTHEST_NS = 100 * MS_NS  # between two packets: a device moves in steps, and hours of them are no input's business
_STEP_NS = 20 * MS_NS
_NAMES = ("pan", "tilt")
_LOW, _HIGH = -30.0, 60.0  # the travel of the second
_SAME = 1e-6


def _frames(data: bytes) -> None:
    frames, whole = packets.Frames(), packets.Frames()
    found = [packet for part in pieces(data) for packet in frames.feed(part)]
    assert found == whole.feed(data[1:]), "it depends on how the stream was split"
    assert frames.bad == whole.bad
    again = packets.Frames()
    assert again.feed(b"".join(map(packets.framed, found))) == found
    assert b"".join(map(packets.framed, found)) == b"".join(map(slip.frame, found))


def _read(packet: bytes) -> list[tuple[int, bytes, tuple[Any, ...]]] | None:
    try:
        return [(tag, *_plain(*packets.read(one))) for tag, one in packets.split(packet)]
    except ValueError:
        return None


def _plain(address: bytes, values: Iterable[Any]) -> tuple[bytes, tuple[Any, ...]]:
    return address, tuple(values)


def _packets(data: bytes) -> None:
    """What the device reads out of a packet is what the host would read, where both can read it."""
    here = _read(data)
    try:
        there = decode(data)
    except PeerError:
        return
    if here is not None:
        assert len(here) == len(there)
        assert all(_same(*one, other) for one, other in zip(here, there, strict=True))


def _same(tag: int, address: bytes, values: tuple[Any, ...], other: Message) -> bool:
    texts = [one.encode() if isinstance(one, str) else one for one in other.arguments]
    return (
        tag == other.tag
        and address == other.address.encode()
        # the host has timetags as dates, and what is no number is not even itself
        and all(a == b or isinstance(b, tuple) or repr(a) == repr(b) for a, b in zip(values, texts, strict=True))
    )


def _obeyed(data: bytes) -> None:
    """Whatever it hears, no axis goes beyond its limits, and a stop is obeyed."""
    axes = (axis.Axis("pan", 60.0, 120.0), axis.Axis("tilt", 40.0, 80.0, _LOW, _HIGH))
    one = device.Device("quay", axes, 4711, 200, 40, _STEP_NS)
    now_ns = last_ns = 0
    for after_ns, part in timed(data):
        now_ns += min(after_ns - last_ns, _FURTHEST_NS)
        last_ns = after_ns
        _pass(one, axes, now_ns)
        moved = [each.position for each in axes]
        one.hear(part, "host", now_ns)
        # it may be told to count anew where it stands, beyond its travel too; nothing moves by that
        assert all(each.position == at for each, at in zip(axes, moved, strict=True)) or b"/here\0" in part
        for packet, _ in one.packets(now_ns):
            decode(packet)
    one.hear(b"/stop\0\0\0", "host", now_ns)
    _pass(one, axes, now_ns + 600 * MS_NS)
    assert not any(each.velocity for each in axes), "it goes on after a stop"


def _pass(one: Any, axes: tuple[Any, ...], now_ns: int) -> None:
    """Let time pass in the device, and look at its axes after each step."""
    while (at_ns := one.wakes()) <= now_ns:
        before = [(each.position, each.velocity) for each in axes]
        since_ns = one.course.now
        one.advance(at_ns)
        lasts_s = (one.course.now - since_ns) * 1e-9  # none for what the camera was to have done before now
        for each, (position, velocity) in zip(axes, before, strict=True):
            assert math.isfinite(each.position)
            assert abs(each.velocity) <= each.speed * (1 + _SAME)
            assert abs(each.velocity - velocity) <= 1.01 * each.acceleration * lasts_s * (1 + _SAME) + _SAME
            if each.low is not None and each.low <= position <= each.high:
                assert each.low - _SAME <= each.position <= each.high + _SAME, "it leaves its travel"


# what is right, to begin with


def _move() -> list[bytes]:
    """A host that finds the device, and plays a second of a move that begins in a quarter of one."""
    sets = Sets(_NAMES)
    told = [command("/device/hello", 1), command("/rig/ask"), time_question(3)]
    for number in range(40):
        at_s = number * 0.025
        values = [20 * at_s * at_s, -8 * at_s, 40 * at_s, -8.0]
        told.append(sets.pack(number, device_tag(round((0.3 + at_s) * 1e9)), values))
    return told


def _seeds() -> list[bytes]:
    met, plan = _move()[:3], _move()[3:]
    here = [command("/rig/tilt/here", 12.5), command("/rig/pan/here", -4)]
    camera = [command("/camera/record"), command("/camera/shutter"), command("/camera/cut")]
    plain = Sets(_NAMES).pack(0, 1, [1.0, 2.0, 3.0, 4.0])
    return [
        b"".join(at_gap(10, one) for one in (*met, *plan[:5])),
        b"".join(at_gap(20, one) for one in (*met, *here, *camera, *plan[::6][:4], command("/stop"), *met[:2])),
        b"".join(at_gap(40, one) for one in (met[1], plain, plain[:16] + plain[44:], command("/rig/ping", 3))),
    ]


def _packet_seeds() -> list[bytes]:
    told = _move()
    return [*told[:3], told[3], packets.bundle(1, [packets.message("/a", "isth", 3, "two", 4, 5)])]


TARGETS = (
    Target(
        name="device-frames",
        decode=_frames,
        seeds=lambda: [b"\x42" + b"".join(map(packets.framed, (b"\xc0\xdb/stop\0\0\0", b"/rig/ask\0\0\0\0")))],
        longest=96,
    ),
    Target(name="device-packets", decode=_packets, seeds=_packet_seeds, longest=200),
    Target(name="device-obeyed", decode=_obeyed, seeds=_seeds, longest=1200),
)
