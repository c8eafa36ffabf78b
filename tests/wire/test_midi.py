"""MIDI streams taken apart, split in any way; mido's own messages are the other side."""

import mido
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.wire.midi import Messages


def whole(*pieces: bytes) -> list[bytes]:
    stream = Messages()
    return [message for piece in pieces for message in stream.feed(piece)]


def test_running_status_leaves_the_status_byte_out() -> None:
    """Source: MIDI 1.0, "Running Status": it holds for channel messages until another status byte."""
    assert whole(b"\x90\x3c\x40\x3e\x40\xc1\x05\x06") == [
        b"\x90\x3c\x40",
        b"\x90\x3e\x40",
        b"\xc1\x05",
        b"\xc1\x06",
    ]


@pytest.mark.parametrize("between", [b"\xf1\x20", b"\xf6", b"\xf4", b"\xf5", b"\xf0\x01\xf7", b"\xf7"])
def test_running_status_ends_with_a_system_message(between: bytes) -> None:
    assert [one for one in whole(b"\x90\x3c\x40" + between + b"\x3e\x40") if one[0] < 0xF0] == [b"\x90\x3c\x40"]


def test_real_time_bytes_stand_inside_any_message_and_are_left_out() -> None:
    """Source: MIDI 1.0, "System Real Time Messages": F8 to FF, at any time, even inside another message."""
    assert whole(b"\xf8\x90\xfe\x3c\xf8\x40\xf0\x7f\xfa\x7f\x06\xf9\x02\xff\xf7") == [
        b"\x90\x3c\x40",
        b"\xf0\x7f\x7f\x06\x02\xf7",
    ]


def test_real_time_messages_come_as_they_stand_where_they_are_asked_for() -> None:
    stream = Messages(real_time=True)
    assert list(stream.feed(b"\xf8\x90\xfe\x3c\x40\x3e\xf9\x40\xff")) == [
        b"\xf8",
        b"\xfe",
        b"\x90\x3c\x40",
        b"\xf9",
        b"\x90\x3e\x40",
        b"\xff",
    ]
    assert (stream.garbage, stream.unfinished) == (0, 0)


def test_an_exclusive_message_that_another_interrupts_is_none() -> None:
    for status in (b"\xf4", b"\xf5", b"\xf6", b"\x90\x3c\x40"):
        assert not [one for one in whole(b"\xf0\x7f\x7f\x06" + status + b"\x02\xf7") if one[0] == 0xF0]


def test_bytes_that_belong_to_nothing_are_counted() -> None:
    stream = Messages()
    assert list(stream.feed(b"\x01\x02\x03\x90\x3c\x40\x3e\x40")) == [b"\x90\x3c\x40", b"\x90\x3e\x40"]
    assert stream.garbage == 3
    assert list(stream.feed(b"\xf0" + b"\x11" * 20_000 + b"\x90\x3c\x40")) == [b"\x90\x3c\x40"]
    assert stream.garbage > 20_000


MESSAGES = st.one_of(
    st.builds(
        lambda channel, note, velocity: mido.Message("note_on", channel=channel, note=note, velocity=velocity),
        st.integers(0, 15),
        st.integers(0, 127),
        st.integers(0, 127),
    ),
    st.builds(
        lambda channel, program: mido.Message("program_change", channel=channel, program=program),
        st.integers(0, 15),
        st.integers(0, 127),
    ),
    st.builds(lambda data: mido.Message("sysex", data=data), st.lists(st.integers(0, 127), max_size=20)),
    st.builds(lambda pos: mido.Message("songpos", pos=pos), st.integers(0, 16383)),
)


@given(sent=st.lists(MESSAGES, max_size=20), size=st.integers(1, 9))
def test_what_mido_writes_comes_back_however_it_is_split(sent: list[mido.Message], size: int) -> None:
    stream = b"".join(bytes(one.bytes()) for one in sent)
    pieces = [stream[at : at + size] for at in range(0, len(stream), size)]
    assert whole(*pieces) == [bytes(one.bytes()) for one in sent]
