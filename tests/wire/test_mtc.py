"""MIDI timecode bytes against the specification's own example, and through everything a cable does to them."""

import mido
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.wire.mtc import Address, FullFrame, QuarterFrame, Reader

# Source: MIDI Time Code and Cueing, Detailed Specification (supplement to MIDI 1.0), 12 February 1987, its example of
# 01:37:52:16 at 30 frames a second, non-drop: frames 16 = 10h, seconds 52 = 34h, minutes 37 = 25h, hours 1 with code 3
# in bits 5 and 6 = 61h, low halves first.
EXAMPLE = Address(rate=3, hours=1, minutes=37, seconds=52, frames=16)
EXAMPLE_BYTES = bytes.fromhex("F100 F111 F124 F133 F145 F152 F161 F176")

addresses = st.builds(
    Address,
    rate=st.integers(0, 3),
    hours=st.integers(0, 23),
    minutes=st.integers(0, 59),
    seconds=st.integers(0, 59),
    frames=st.integers(0, 29),
)
messages = st.one_of(
    st.builds(QuarterFrame, st.integers(0, 7), st.just(0)),
    addresses.map(FullFrame),
)


def test_the_specifications_example_is_sent_as_written() -> None:
    pieces = EXAMPLE.pieces()
    assert pieces == (0, 1, 4, 3, 5, 2, 1, 6)
    assert b"".join(QuarterFrame(piece, value).data() for piece, value in enumerate(pieces)) == EXAMPLE_BYTES


def test_the_specifications_example_is_read_as_written() -> None:
    pieces = Reader().feed(EXAMPLE_BYTES)
    assert Address.of(tuple(piece.value for piece in pieces if isinstance(piece, QuarterFrame))) == EXAMPLE


def test_a_full_frame_is_sent_as_specified() -> None:
    # Source: the same, Full Message: F0 7F <chan> 01 <sub-ID 2 = 01> hr mn sc fr F7, hr = 0 yy zzzzz
    assert FullFrame(EXAMPLE).data() == bytes.fromhex("F0 7F 7F 01 01 61 25 34 10 F7")
    assert Reader().feed(FullFrame(EXAMPLE).data(device=3)) == (FullFrame(EXAMPLE),)


def test_bytes_are_those_of_a_general_midi_library() -> None:
    for piece, value in enumerate(EXAMPLE.pieces()):
        theirs = mido.Message("quarter_frame", frame_type=piece, frame_value=value)
        assert QuarterFrame(piece, value).data() == bytes(theirs.bytes())


@given(addresses)
def test_pieces_give_the_address_back(address: Address) -> None:
    assert Address.of(address.pieces()) == address


def test_reserved_bits_are_ignored() -> None:
    # Source: the same: "undefined and reserved for future use", receivers ignore them
    assert Reader().feed(bytes((0xF1, 0x1F, 0xF1, 0x7F))) == (QuarterFrame(1, 1), QuarterFrame(7, 7))
    spoilt = bytes.fromhex("F0 7F 7F 01 01 61 65 74 70 F7")
    assert Reader().feed(spoilt) == (FullFrame(EXAMPLE),)


@given(st.lists(messages, max_size=8), st.data())
def test_any_split_gives_the_same_messages(sent: list[QuarterFrame | FullFrame], data: st.DataObject) -> None:
    stream = b"".join(message.data() for message in sent)
    cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=6)))
    reader = Reader()
    heard: list[QuarterFrame | FullFrame] = []
    for start, end in zip([0, *cuts], [*cuts, len(stream)], strict=True):
        heard += reader.feed(stream[start:end])
    assert heard == sent
    assert reader.garbage == 0


def test_clock_bytes_may_stand_inside_any_message() -> None:
    reader = Reader()
    assert reader.feed(bytes((0xF1, 0xF8, 0x24, 0xFE))) == (QuarterFrame(2, 4),)
    assert reader.feed(b"\xf8".join(bytes((byte,)) for byte in FullFrame(EXAMPLE).data())) == (FullFrame(EXAMPLE),)
    assert reader.garbage == 0


@pytest.mark.parametrize("status", [0xF4, 0xF5, 0xF6, 0x90])
@pytest.mark.parametrize("at", range(1, 10))
def test_a_full_frame_that_another_message_interrupts_is_none(status: int, at: int) -> None:
    """Source: MIDI 1.0 Detailed Specification: any status byte but real-time ends a system exclusive message."""
    sent = FullFrame(EXAMPLE).data()
    assert Reader().feed(sent[:at] + bytes((status,)) + sent[at:]) == ()


def test_a_quarter_frame_follows_an_undefined_message() -> None:
    reader = Reader()
    heard = [reader.feed(data) for data in (b"\xf4", EXAMPLE_BYTES[:2], EXAMPLE_BYTES[2:4])]
    assert heard == [(), (QuarterFrame(0, 0),), (QuarterFrame(1, 1),)]
    assert (reader.garbage, reader.others) == (1, 0)


def test_garbage_is_counted_and_costs_nothing_else() -> None:
    reader = Reader()
    assert reader.feed(b"\x12\x55" + EXAMPLE_BYTES[:2] + b"\x00\xf4\xf1" + EXAMPLE_BYTES[2:4]) == (
        QuarterFrame(0, 0),
        QuarterFrame(1, 1),
    )
    assert reader.garbage == 5
    reader.feed(bytes((0x90, 60, 100)))
    assert (reader.garbage, reader.others) == (5, 1)


def test_running_status_is_no_garbage() -> None:
    # Source: MIDI 1.0 Detailed Specification, "Running Status": for channel messages, ended by the next status byte
    reader = Reader()
    notes = bytes((0x90, 60, 100, 62, 100, 64, 0))
    assert reader.feed(notes + EXAMPLE_BYTES[:2]) == (QuarterFrame(0, 0),)
    assert (reader.garbage, reader.others) == (0, 3)
    assert reader.feed(bytes((0x90, 60, 100, 62)) + EXAMPLE_BYTES[2:4]) == (QuarterFrame(1, 1),)
    assert (reader.garbage, reader.others) == (1, 4)


def test_an_endless_message_does_not_eat_memory() -> None:
    reader = Reader()
    for _ in range(50):
        reader.feed(b"\xf0" + bytes(1000))
    assert reader.garbage > 40_000
    assert reader.feed(EXAMPLE_BYTES[:2] + EXAMPLE_BYTES[2:4])[-1] == QuarterFrame(1, 1)


@pytest.mark.parametrize("seed", range(3))
def test_random_bytes_are_survived_and_accounted_for(seed: int) -> None:
    noise = np.random.default_rng(seed).integers(0, 256, 20_000, dtype=np.uint8).tobytes()
    reader = Reader()
    for start in range(0, len(noise), 7):
        reader.feed(noise[start : start + 7])
    assert 0 < reader.garbage < len(noise)
    assert reader.others > 0
