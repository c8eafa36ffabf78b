"""The device protocol's packets, read and built beside python-osc; timetags beside exact fractions."""

import struct
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pythonosc.osc_bundle import OscBundle
from pythonosc.osc_bundle_builder import IMMEDIATELY as NOW
from pythonosc.osc_bundle_builder import OscBundleBuilder
from pythonosc.osc_message_builder import OscMessageBuilder

from sequencer.errors import PeerError
from sequencer.wire.device import (
    NUMBERS,
    Able,
    Held,
    RanOut,
    Sets,
    Time,
    after,
    answer,
    at,
    device_ns,
    device_tag,
    hello,
    time_question,
)
from sequencer.wire.osc import command

NAMES = ("pan", "tilt")
VALUES = [1.5, -2.0, 3.0, 0.25]
FROM = b"/plan/from\0\0,t\0\0"


def by_python_osc(address: str, *arguments: tuple[str, object]) -> bytes:
    message = OscMessageBuilder(address)
    for kind, value in arguments:
        message.add_arg(value, kind)  # type: ignore[arg-type]  # its own union of argument types
    return bytes(message.build().dgram)


def element(message: bytes) -> bytes:
    """Source: OSC 1.0, "OSC Bundles": an element is its size in 32 bits, then itself."""
    return struct.pack(">i", len(message)) + message


@pytest.mark.parametrize(("form", "kind"), [("f", "f"), ("d", "d")])
def test_a_set_is_the_bundle_that_python_osc_builds(form: str, kind: str) -> None:
    bundle = OscBundleBuilder(NOW)
    for address, *argument in (
        ("/plan/number", "i", 7),
        ("/rig/pan/position", kind, 1.5),
        ("/rig/tilt/position", kind, -2.0),
        ("/rig/pan/speed", kind, 3.0),
        ("/rig/tilt/speed", kind, 0.25),
    ):
        message = OscMessageBuilder(str(address))
        message.add_arg(argument[1], str(argument[0]))  # type: ignore[arg-type]  # its own union of argument types
        bundle.add_content(message.build())
    ours = Sets(NAMES, "d" if form == "d" else "f").pack(7, 1, VALUES)
    assert ours == bundle.build().dgram


def test_a_changed_plan_says_from_when_behind_its_number() -> None:
    """Source: OSC 1.0, the type `t`: an OSC timetag, 64 bits, big-endian; python-osc reads it, and builds none."""
    tag, from_tag = device_tag(90_000_000_000), device_tag(89_500_000_000)
    plain, changed = Sets(NAMES).pack(7, tag, VALUES), Sets(NAMES).pack(7, tag, VALUES, from_tag)
    counted = element(by_python_osc("/plan/number", ("i", 7)))
    assert plain.startswith(b"#bundle\0" + struct.pack(">Q", tag) + counted)
    place = 16 + len(counted)
    assert changed == plain[:place] + element(FROM + struct.pack(">Q", from_tag)) + plain[place:]
    addresses = [message.address for message in OscBundle(changed)]
    assert addresses[:3] == ["/plan/number", "/plan/from", "/rig/pan/position"]
    assert len(addresses) == 6


def test_questions_are_what_python_osc_reads() -> None:
    for packet, address, arguments in (
        (hello(), "/device/hello", [1]),
        (time_question(NUMBERS - 1), "/device/time", [NUMBERS - 1]),
        (at(command("/camera/shutter"), device_tag(5_000_000_000)), "/camera/shutter", []),
    ):
        (message,) = OscBundle(packet)
        assert (message.address, message.params) == (address, arguments)
    assert at(command("/camera/shutter"), 77)[8:16] == struct.pack(">Q", 77)


@given(st.integers(1, (1 << 32) * 1_000_000_000 - 1))
def test_device_time_is_seconds_and_a_fraction_and_comes_back_exactly(ns: int) -> None:
    """Source: OSC 1.0, "OSC Time Tags": the fraction of a second in 32 bits, about 0.23 ns a step."""
    tag = device_tag(ns)
    seconds = Fraction(ns, 1_000_000_000)
    assert 0 <= seconds - Fraction(tag, 1 << 32) < Fraction(1, 1 << 32)
    assert device_ns(tag) == ns


def test_the_tags_that_mean_something_else_are_never_an_instant() -> None:
    assert device_tag(0) not in (0, 1)
    assert device_ns(device_tag(0)) == 0
    for ns in (-1, (1 << 32) * 1_000_000_000):
        with pytest.raises(ValueError, match="no timetag"):
            device_tag(ns)


@given(st.integers(0, NUMBERS - 1), st.integers(-(1 << 30) + 1, (1 << 30) - 1))
def test_numbers_are_compared_over_their_wrap(number: int, later: int) -> None:
    """Source: RFC 1982, section 3.2, with 31 bits: s1 is less than s2 by less than half of all."""
    assert after((number + later) % NUMBERS, number) == later


def test_answers_are_read_as_python_osc_builds_them() -> None:
    able = by_python_osc(
        "/device/able",
        ("i", 1),
        ("s", "crane"),
        ("i", 2),
        ("i", 128),
        ("i", 250),
        ("i", -5),
        ("s", "pan"),
        ("s", "tilt"),
    )
    assert answer(able) == Able(1, "crane", 128, 250, -5, NAMES)
    held = by_python_osc("/device/held", ("i", 3), ("i", 40), ("h", -1))
    assert answer(held) == Held(3, 40, (1 << 64) - 1)
    assert answer(by_python_osc("/device/ran-out", ("i", 9))) == RanOut(9)
    time = b"/device/time\0\0\0\0,itt\0\0\0\0" + struct.pack(">iQQ", 4, device_tag(10**9 + 1), device_tag(2 * 10**9))
    assert answer(time) == Time(4, 10**9 + 1, 2 * 10**9)
    assert answer(by_python_osc("/rig/pan/actual", ("f", 1.0))) is None


@pytest.mark.parametrize(
    "message",
    [
        by_python_osc("/device/held", ("i", 3), ("i", 40)),
        by_python_osc("/device/held", ("i", 3), ("i", 40), ("h", 1))[:-4],
        by_python_osc("/device/time", ("i", 3)),
        by_python_osc("/device/dance", ("i", 3)),
        by_python_osc("/device/able", ("i", 1), ("s", "crane"), ("i", 3), ("i", 9), ("i", 9), ("i", 1), ("s", "pan")),
        by_python_osc("/device/able", ("i", 1), ("s", "crane"), ("i", 1), ("i", 0), ("i", 9), ("i", 1), ("s", "pan")),
        by_python_osc("/device/able", ("i", 1), ("s", "crane"), ("i", 1), ("i", 9), ("i", 9), ("i", 1), ("i", 7)),
        by_python_osc("/device/able", ("i", 1), ("s", "crane"), ("i", 1), ("i", 9), ("i", 9), ("i", 1), ("s", "\x1b[")),
        by_python_osc("/device/able", ("i", 1), ("s", "crane"), ("i", 1), ("i", 9), ("i", 9), ("i", 1), ("s", "p*n")),
        by_python_osc("/device/able"),
        b"/device/able\0\0\0\0,ssssss\0",
    ],
)
def test_what_no_device_says_is_the_peers_fault(message: bytes) -> None:
    with pytest.raises(PeerError):
        answer(message)


def test_noise_behind_a_devices_address_is_never_another_exception() -> None:
    chance = np.random.default_rng(5)
    whole = by_python_osc(
        "/device/able", ("i", 1), ("s", "crane"), ("i", 1), ("i", 9), ("i", 9), ("i", 1), ("s", "pan")
    )
    read = 0
    for _ in range(3000):
        spoilt = bytearray(whole)
        for place in chance.integers(8, len(whole), 3):
            spoilt[place] = chance.integers(256)
        try:
            answer(bytes(spoilt[: chance.integers(8, len(whole) + 1)]))
            read += 1
        except PeerError:
            pass
    assert read < 3000
