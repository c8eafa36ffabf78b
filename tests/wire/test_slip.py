"""SLIP frames against RFC 1055 and python-osc's own codec, and against streams that are spoilt.

Source: RFC 1055, "PROTOCOL" (the characters, empty packets, END at the beginning too) and its program; OSC 1.1 as in
Freed and Schmeder, "Features and Future of Open Sound Control version 1.1 for NIME", NIME 2009, section on transports
("SLIP (RFC1055) with a double END character encoding").
"""

from collections.abc import Iterable
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pythonosc import slip

from sequencer.wire.slip import LARGEST, Frames, frame, longest

# bytes in which those that matter are as frequent as all others together
SHARP = st.lists(
    st.sampled_from([0xC0, 0xDB, 0xDC, 0xDD]) | st.integers(0, 255),
    max_size=60,
).map(bytes)
PACKETS = st.lists(SHARP.filter(bool), max_size=8)


def in_pieces(stream: bytes, cuts: Iterable[int]) -> list[bytes]:
    ends = sorted({min(cut, len(stream)) for cut in cuts} | {0, len(stream)})
    return [stream[a:b] for a, b in pairwise(ends)]


def by_the_program_of_the_rfc(stream: bytes) -> list[bytes]:
    """`recv_packet` of RFC 1055, which reads valid frames only as it should: what comes after each END."""
    packets, packet, bytes_left = [], bytearray(), iter(stream)
    for byte in bytes_left:
        if byte == 192:
            if packet:
                packets.append(bytes(packet))
            packet = bytearray()
        elif byte == 219:
            packet.append({220: 192, 221: 219}[next(bytes_left)])
        else:
            packet.append(byte)
    return packets


@pytest.mark.parametrize(
    ("packet", "framed"),
    [
        (b"/stop\0\0\0,\0\0\0", b"\xc0/stop\0\0\0,\0\0\0\xc0"),
        (b"\xc0", b"\xc0\xdb\xdc\xc0"),
        (b"\xdb", b"\xc0\xdb\xdd\xc0"),
        (b"a\xdb\xdcb\xc0\xdd", b"\xc0a\xdb\xdd\xdcb\xdb\xdc\xdd\xc0"),
    ],
)
def test_the_characters_of_rfc_1055(packet: bytes, framed: bytes) -> None:
    assert frame(packet) == framed
    assert Frames().feed(framed) == [packet]


@given(SHARP)
def test_frames_are_those_of_python_osc(packet: bytes) -> None:
    assert frame(packet) == slip.encode(packet)


@given(PACKETS, st.lists(st.integers(0, 1000), max_size=20))
def test_packets_come_back_however_the_stream_is_cut(packets: list[bytes], cuts: list[int]) -> None:
    stream = b"".join(map(frame, packets))
    frames = Frames()
    read = [packet for piece in in_pieces(stream, cuts) for packet in frames.feed(piece)]
    assert read == packets == by_the_program_of_the_rfc(stream)
    assert frames.garbage == 0


@given(PACKETS)
def test_one_end_between_packets_is_enough_once_one_was_seen(packets: list[bytes]) -> None:
    # the plain form of RFC 1055 has END after the packet only
    stream = b"\xc0" + b"".join(frame(packet)[1:] for packet in packets)
    assert Frames().feed(stream) == packets


@given(st.binary(max_size=400) | SHARP, st.lists(st.integers(0, 400), max_size=10), SHARP.filter(bool))
def test_no_bytes_are_fatal_and_the_packet_after_them_is_read(noise: bytes, cuts: list[int], packet: bytes) -> None:
    frames = Frames()
    for piece in in_pieces(noise, cuts):
        frames.feed(piece)
    assert frames.feed(frame(packet))[-1:] == [packet]


@given(st.lists(SHARP, max_size=12))
def test_a_frame_is_read_only_where_python_osc_finds_it_valid(pieces: list[bytes]) -> None:
    spoilt = [piece.replace(b"\xc0", b"") for piece in pieces]
    frames = Frames()
    read = frames.feed(b"\xc0" + b"".join(piece + b"\xc0" for piece in spoilt))
    valid = [slip.decode(piece) for piece in spoilt if slip.is_valid(piece)]
    assert read == [packet for packet in valid if packet]
    assert frames.garbage == len(spoilt) - len(valid)


def test_what_comes_before_the_first_end_is_the_rest_of_something_older() -> None:
    frames = Frames()
    assert frames.feed(b"t/actual\0,f\0\0\0\0\0\0") == []
    assert frames.feed(frame(b"/a\0\0,\0\0\0")) == [b"/a\0\0,\0\0\0"]
    assert frames.garbage == 1


def test_a_lost_end_costs_no_packet_where_both_ends_have_one() -> None:
    stream = frame(b"first") + frame(b"second")
    assert Frames().feed(stream[:6] + stream[7:]) == [b"first", b"second"]


def test_lost_ends_join_two_packets_and_nothing_else() -> None:
    frames = Frames()
    assert frames.feed(b"\xc0first" + b"second\xc0" + frame(b"third")) == [b"firstsecond", b"third"]


@pytest.mark.parametrize("broken", [b"\xdb", b"a\xdb", b"\xdba", b"\xdb\xdb\xdc", b"\xdb\xdb"])
def test_a_broken_escape_costs_its_frame_and_is_counted(broken: bytes) -> None:
    frames = Frames()
    assert frames.feed(b"\xc0" + broken + b"\xc0" + frame(b"after")) == [b"after"]
    assert frames.garbage == 1


@pytest.mark.parametrize("by", [1, 700, 100_000])
def test_memory_is_bounded_without_any_end(by: int) -> None:
    frames = Frames(largest=100)
    frames.feed(b"\xc0")
    for _ in range(2000 // by + 2):
        assert frames.feed(b"x" * by) == []
        assert len(frames._part) <= 200
    assert frames.feed(frame(b"after")) == [b"after"]
    assert frames.garbage == 1


def test_a_packet_may_have_the_largest_size_and_no_byte_more() -> None:
    frames = Frames()
    packets = [b"\xc0" * LARGEST, b"x" * LARGEST]
    assert frames.feed(b"".join(map(frame, packets))) == packets
    assert frames.feed(frame(b"x" * (LARGEST + 1))) == []
    assert frames.garbage == 1


@given(st.binary(max_size=40))
def test_no_frame_is_longer_than_the_longest(packet: bytes) -> None:
    fixed = b"/rig\xc0"
    assert len(frame(fixed + packet)) <= longest(fixed + bytes(len(packet)), len(packet))
    assert len(frame(fixed + b"\xdb" * len(packet))) == longest(fixed + bytes(len(packet)), len(packet))
