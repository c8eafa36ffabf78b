"""MIDI clock and song position on the wire: the specification's bytes, whatever stands between and however split."""

import mido
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.wire.midi_clock import Reader, RealTime, SongPosition


def test_the_bytes_of_the_specification() -> None:
    """MIDI 1.0: F8 clock, FA start, FB continue, FC stop; F2 with the low seven bits first."""
    reader = Reader()
    assert reader.feed(bytes.fromhex("fa f8 fc f2 08 01 fb")) == (
        RealTime.START,
        RealTime.CLOCK,
        RealTime.STOP,
        SongPosition(136),
        RealTime.CONTINUE,
    )
    # active sensing, reset and what is undefined have nothing to do with it
    assert reader.feed(bytes.fromhex("fe ff f9 fd")) == ()
    assert (reader.garbage, reader.others) == (0, 0)


@given(st.integers(0, 0x3FFF))
def test_a_song_position_is_that_of_the_general_library(sixteenths: int) -> None:
    assert SongPosition(sixteenths).data() == bytes(mido.Message("songpos", pos=sixteenths).bytes())
    assert Reader().feed(SongPosition(sixteenths).data()) == (SongPosition(sixteenths),)


def test_a_position_beyond_what_it_can_carry_is_refused() -> None:
    with pytest.raises(ValueError, match="from 0 to 16383"):
        SongPosition(0x4000).data()


MESSAGES = st.sampled_from(
    [bytes((one,)) for one in RealTime]
    + [SongPosition(999).data(), b"\x90\x3c\x40", b"\xc0\x05", b"\xf0\x7e\x01\xf7", b"\xf1\x23", b"\xfe"]
)


@given(st.lists(MESSAGES, max_size=20), st.integers(1, 5))
def test_however_split_and_mixed_the_same_events_come_out(messages: list[bytes], size: int) -> None:
    data = b"".join(messages)
    whole = Reader().feed(data)
    reader = Reader()
    parts = [event for at in range(0, len(data), size) for event in reader.feed(data[at : at + size])]
    assert tuple(parts) == whole
    assert reader.garbage == 0
    assert len(whole) == sum(message[0] in set(RealTime) or message[0] == 0xF2 for message in messages)


def test_a_clock_inside_a_song_position_comes_first() -> None:
    assert Reader().feed(bytes.fromhex("f2 10 f8 00")) == (RealTime.CLOCK, SongPosition(16))


@given(st.binary(max_size=80))
def test_no_bytes_break_it(data: bytes) -> None:
    found = Reader().feed(data)
    assert sum(isinstance(one, RealTime) for one in found) == sum(byte in set(RealTime) for byte in data)
