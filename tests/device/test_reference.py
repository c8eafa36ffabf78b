"""The parts of the reference device. python-osc and scipy are the outside checks; RFC 1055 is read by its own words."""

import math
import re
import struct

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from pythonosc.osc_bundle import OscBundle
from pythonosc.osc_message import OscMessage
from scipy.interpolate import CubicHermiteSpline

from tests.device.bench import REFERENCE, Reference, reference

axis, packets, plan = reference("axis"), reference("packets"), reference("plan")
PAGE = REFERENCE.parent / "device.md"


@given(
    st.text(st.characters(codec="ascii", categories=("L", "N")), min_size=1, max_size=9),
    st.integers(-(2**31), 2**31 - 1),
    st.floats(width=32, allow_nan=False),
    st.integers(-(2**63), 2**63 - 1),
)
def test_messages_are_those_of_osc_1_0(name: str, whole: int, real: float, wide: int) -> None:
    """Source: OSC 1.0; python-osc reads what is written here, and writes what is read here."""
    written = packets.message("/rig/" + name, "ifhs", whole, real, wide, name)
    assert OscMessage(written).params == [whole, real, wide, name]
    address, values = packets.read(written)
    assert (address, values) == (b"/rig/" + name.encode(), [whole, real, wide, name.encode()])
    bundle = OscBundle(packets.bundle(1, [written, written]))
    assert [one.params for one in bundle] == [[whole, real, wide, name]] * 2


@given(st.integers(0, (1 << 32) * 10**9 - 1))
@example(1)
def test_a_timetag_gives_the_instant_back_exactly(ns: int) -> None:
    tag = packets.to_tag(ns)
    assert packets.from_tag(tag) == ns
    # Source: OSC 1.0, time tags: the first 32 bits are seconds, the last the fraction of a second
    assert tag >> 32 == ns // 10**9


@given(st.binary(max_size=300))
def test_what_is_no_osc_is_a_value_error_and_nothing_else(packet: bytes) -> None:
    try:
        for _, one in packets.split(packet):
            packets.read(one)
    except ValueError:
        pass


@given(st.lists(st.binary(min_size=1, max_size=40), max_size=6), st.data())
def test_slip_frames_come_out_as_they_went_in_however_they_are_cut(sent: list[bytes], data: st.DataObject) -> None:
    stream = b"".join(packets.framed(one) for one in sent)
    cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=5)))
    frames = packets.Frames()
    heard = [one for a, b in zip([0, *cuts], [*cuts, len(stream)], strict=True) for one in frames.feed(stream[a:b])]
    assert heard == sent
    assert frames.bad == 0


def test_slip_is_that_of_rfc_1055() -> None:
    """Source: RFC 1055, PROTOCOL: END is 300 octal, ESC 333, ESC END 334, ESC ESC 335; OSC 1.1: END at both ends."""
    assert packets.framed(bytes([0o300, 1, 0o333])) == bytes([0o300, 0o333, 0o334, 1, 0o333, 0o335, 0o300])


def test_a_frame_that_is_spoilt_or_endless_costs_itself_alone() -> None:
    frames = packets.Frames()
    good = packets.framed(b"/good\0\0\0,\0\0\0")
    assert frames.feed(b"\xc0ab\xdbc\xc0" + good) == [b"/good\0\0\0,\0\0\0"]
    assert frames.feed(b"x" * 9000 + b"y" * 9000) == []
    assert frames.feed(good) == [b"/good\0\0\0,\0\0\0"]
    assert frames.bad == 2


@given(st.lists(st.tuples(st.floats(-1e6, 1e6), st.floats(-1e3, 1e3), st.floats(1e-4, 0.01)), min_size=1, max_size=60))
def test_an_axis_keeps_its_speed_acceleration_and_travel_whatever_it_is_told(
    orders: list[tuple[float, float, float]],
) -> None:
    one = axis.Axis("pan", 60.0, 120.0, -30.0, 60.0)
    for position, velocity, dt in orders:
        before = one.velocity
        one.follow(position, velocity, dt)
        assert abs(one.velocity) <= 60.0 * (1 + 1e-9)
        assert abs(one.velocity - before) <= 120.0 * dt * 1.0100001
        assert -30.0 - 0.05 <= one.position <= 60.05


def test_an_axis_reaches_a_place_that_jumps_away_and_stands_there() -> None:
    one = axis.Axis("pan", 60.0, 120.0)
    for _ in range(2000):
        one.follow(50.0, 0.0, 0.002)
    assert one.position == pytest.approx(50.0, abs=1e-4)
    assert one.velocity == pytest.approx(0.0, abs=1e-2)


@pytest.mark.parametrize("seed", range(5))
def test_between_two_sets_it_goes_along_the_cubic_of_hermite(seed: int) -> None:
    places, speeds = np.random.default_rng(seed).normal(0, 10, (2, 2))
    spline = CubicHermiteSpline([0.0, 0.1], places, speeds)
    end = plan.Set(1, 100_000_000, [places[1], speeds[1]])
    for at_ms in range(0, 101, 10):
        position, velocity = plan.between(0, places[0], speeds[0], end, 0, 1, at_ms * 1_000_000)
        assert position == pytest.approx(spline(at_ms * 1e-3), abs=1e-9)
        assert velocity == pytest.approx(spline(at_ms * 1e-3, 1), abs=1e-7)


def test_the_camera_is_told_once_when_it_is_due_and_not_after_a_stop() -> None:
    ends = Reference()
    told: list[tuple[str, int]] = []
    ends.device.camera = lambda name: told.append((name, ends.device.course.now))
    due = packets.bundle(packets.to_tag(50_000_000), [packets.message("/camera/shutter")])
    ends.hear(due, 0)
    ends.hear(due, 1_000_000)
    for at in range(0, 100_000_000, 1_000_000):
        ends.answers(at)
    ends.hear(due, 100_000_000)
    ends.answers(101_000_000)
    assert [name for name, _ in told] == ["shutter"]
    assert told[0][1] == pytest.approx(50_000_000, abs=2_000_000)
    ends.hear(packets.bundle(packets.to_tag(150_000_000), [packets.message("/camera/cut")]), 102_000_000)
    ends.hear(packets.bundle(1, [packets.message("/stop")]), 103_000_000)
    ends.hear(packets.bundle(1, [packets.message("/camera/record")]), 104_000_000)
    for at in range(105_000_000, 300_000_000, 5_000_000):
        ends.answers(at)
    assert [name for name, _ in told] == ["shutter", "record"]


def test_the_worked_example_of_the_page_is_what_the_device_plays() -> None:
    """The bytes on the page are read by the device, and by python-osc, as the page says."""
    shown = PAGE.read_text(encoding="utf-8").partition("## A packet, byte by byte")[2].partition("\n## ")[0]
    packet = bytes.fromhex("".join(re.findall(r"^    ((?:[0-9a-f]{2} )+)", shown, re.MULTILINE)))
    number, position, speed = OscBundle(packet)
    assert (number.address, number.params) == ("/plan/number", [7])
    assert (position.address, position.params) == ("/rig/pan/position", [12.5])
    assert (speed.address, speed.params) == ("/rig/pan/speed", [-3.0])
    ends = Reference()
    ends.hear(packets.bundle(1, [packets.message("/rig/ask")]), 0)
    ends.hear(packet, 1_000_000)
    (one,) = ends.device.course.plan.sets
    assert (one.number, one.due, one.values) == (7, 2_500_000_000, [12.5, 0.0, -3.0, 0.0])
    assert math.isclose(struct.unpack(">f", packet[-4:])[0], -3.0)


def ask() -> bytes:
    made: bytes = packets.bundle(1, [packets.message("/rig/ask")])
    return made


def numbered(number: int, due_ns: int, pan: float, speed: float, from_ns: int | None = None) -> bytes:
    begun = [packets.message("/plan/from", "t", packets.to_tag(from_ns))] if from_ns is not None else []
    values = [packets.message("/rig/pan/position", "f", pan), packets.message("/rig/pan/speed", "f", speed)]
    first = packets.message("/plan/number", "i", number)
    made: bytes = packets.bundle(packets.to_tag(due_ns), [first, *begun, *values])
    return made


def test_a_number_with_no_room_in_the_answer_is_left_aside_and_the_device_goes_on() -> None:
    ends = Reference()
    for address in ("/device/time", "/rig/ping"):
        for kind, number in (("h", 1 << 40), ("h", -(1 << 31) - 1), ("t", (1 << 64) - 1), ("t", 1 << 31)):
            ends.hear(packets.bundle(1, [packets.message(address, kind, number)]), 0)
            assert ends.device.packets(1_000_000) == []
    assert ends.device.left_aside == 8


def test_a_late_replacement_that_leaves_nothing_in_mid_move_ends_in_a_stop_even_with_a_hello_behind_it() -> None:
    """The set comes too late to be played, but what it takes back is void: the device brakes and says so."""
    ends = Reference()
    ends.hear(ask(), 0)
    for place in range(10):
        ends.hear(numbered(place, 50_000_000 * (place + 1), 0.5 * place, 10.0), 1_000_000)
    for at in range(0, 220_000_000, 1_000_000):
        ends.answers(at)
    ends.hear(numbered(10, 190_000_000, 0.0, 0.0, from_ns=190_000_000), 220_000_000)
    assert ends.device.course.plan.sets == []
    ends.hear(packets.bundle(1, [packets.message("/device/hello", "i", 1)]), 220_000_000)
    for at in range(220_000_000, 900_000_000, 1_000_000):
        ends.answers(at)
    assert ends.device.course.deaf
    assert ends.device.course.ran_out == 3
    assert ends.device.course.still()


def test_void_sets_without_end_fill_no_memory() -> None:
    ends = Reference()
    ends.hear(ask(), 0)
    ends.answers(1_000_000_000)
    ends.hear(numbered(0, 1_000_000_000, 0.0, 0.0), 1_000_000_000)
    ends.answers(2_000_000_000)
    for number in range(1, 3000):
        ends.hear(numbered(number, 900_000_000, 0.0, 0.0), 2_000_000_000)
    assert len(ends.device.course.plan._seen) < 400
    assert ends.device.course.plan.held() == (0, 3000, 0)
