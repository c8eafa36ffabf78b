"""Words of linear timecode against published bit positions, an independent encoder, and nonsense."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, label
from sequencer.wire.ltc_word import NOMINALS, Word, decode, encode, even, fault, unread
from tests import libltc
from tests.wire.ltc_sound import COUNTINGS, words

# Source: SMPTE ST 12-1:2014, tables 2 to 5, by way of the worked example in the documentation of the general-purpose
# library st12-1 0.2: 01:23:45:13, no drop flag, colour flag set, binary groups 1 to 8, and bits 27, 43 and 59 set.
EXAMPLE = bytes.fromhex("13 29 35 4C 53 6A 71 88 FC BF")
# Source: RFC 5484, section 6.2: bits of the numbers of 07:32:54;18, units and tens of frames, seconds, minutes, hours.
PLACES = {"frames": (0, 4, 8, 2), "seconds": (16, 4, 24, 3), "minutes": (32, 4, 40, 3), "hours": (48, 4, 56, 2)}

labels = st.builds(
    Word,
    hours=st.integers(0, 23),
    minutes=st.integers(0, 59),
    seconds=st.integers(0, 59),
    frames=st.integers(2, 23),
    drop=st.just(False),
    colour=st.booleans(),
    user=st.tuples(*[st.integers(0, 15)] * 8),
    groups=st.integers(0, 7),
)


def bit(data: bytes, place: int) -> int:
    return data[place // 8] >> place % 8 & 1


def test_the_published_example_is_read() -> None:
    word = decode(EXAMPLE, 30)
    assert word[:6] == (1, 23, 45, 13, False, True)
    assert word.user == (1, 2, 3, 4, 5, 6, 7, 8)
    assert word.groups == 0b101  # bits 43 and 59, with 27 for polarity
    assert decode(EXAMPLE, 25).groups == 0b101  # bits 27 and 43, with 59 for polarity


def test_the_published_example_is_written() -> None:
    assert encode(decode(EXAMPLE, 30), 30)[:3] == EXAMPLE[:3]
    # its bit 27 is set for show; the one that makes the number of zeros even may be another
    assert {place for place in range(80) if bit(encode(decode(EXAMPLE, 30), 30), place) != bit(EXAMPLE, place)} <= {27}


def test_numbers_stand_where_the_published_table_says() -> None:
    data = encode(Word(7, 32, 54, 18, drop=True), 30)
    for name, number in (("frames", 18), ("seconds", 54), ("minutes", 32), ("hours", 7)):
        units, wide, tens, few = PLACES[name]
        assert sum(bit(data, units + i) << i for i in range(wide)) == number % 10
        assert sum(bit(data, tens + i) << i for i in range(few)) == number // 10
    assert (bit(data, 10), bit(data, 11)) == (1, 0)
    # Source: ST 12-1, sync word 0011 1111 1111 1101 in bits 64 to 79
    assert "".join(str(bit(data, place)) for place in range(64, 80)) == "0011111111111101"


# Source: ST 12-1, table 3 (bits of polarity correction and flags by rate), as libltc's header has it too
@pytest.mark.parametrize(("nominal", "places"), [(24, (43, 58, 59)), (25, (27, 58, 43)), (30, (43, 58, 59))])
def test_flags_of_the_binary_groups_have_their_places(nominal: int, places: tuple[int, ...]) -> None:
    plain = encode(Word(0, 0, 0, 0), nominal)
    for number, place in enumerate(places):
        flagged = encode(Word(0, 0, 0, 0, groups=1 << number), nominal)
        polarity = 59 if nominal == 25 else 27
        assert {at for at in range(80) if bit(plain, at) != bit(flagged, at)} == {place, polarity}


@given(labels, st.sampled_from(NOMINALS), st.booleans())
def test_what_is_written_is_read(word: Word, nominal: int, drop: bool) -> None:
    word = word._replace(drop=drop and nominal == 30)
    data = encode(word, nominal)
    assert decode(data, nominal) == word
    assert not fault(data, nominal)
    assert even(data)


@pytest.mark.parametrize("rate", COUNTINGS)
def test_an_independent_encoder_counts_on_through_the_same_words(rate: str) -> None:
    """libltc makes each next word of ours, at a minute with dropped labels and over midnight."""
    how, word = COUNTINGS[rate], words(COUNTINGS[rate])
    for first in (how.rate.nominal * 60 - 3, how.day - 3):
        for number in range(first, first + 8):
            assert libltc.after(word(number), how.rate.nominal) == word(number + 1)


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({0: 1, 1: 1, 3: 1}, "the last digit of the frames reads 11, which is no digit"),
        ({8: 1, 9: 1}, "the frames read 30; there are 0 to 29"),
        ({25: 1, 26: 1}, "the seconds read 60; there are 0 to 59"),
        ({57: 1, 50: 1}, "the hours read 24; there are 0 to 23"),
    ],
)
def test_numbers_that_are_none_are_named(change: dict[int, int], told: str) -> None:
    bits = int.from_bytes(encode(Word(0, 0, 0, 0), 30), "little")
    for place, value in change.items():
        bits |= value << place
    assert unread(bits.to_bytes(10, "little")) == told
    assert fault(bits.to_bytes(10, "little")) == told


def test_labels_that_drop_frame_counting_leaves_out_are_named() -> None:
    how = Counting(Rate(30000, 1001), drop=True)
    there = {str(label(number, how)) for minute in range(20) for number in range(minute * 1798, minute * 1798 + 24)}
    for minute in range(20):
        for frame in range(4):
            word = Word(0, minute, 0, frame, drop=True)
            exists = str(word) in there
            if exists:
                assert not fault(encode(word, 30))
            else:
                data = bytearray(encode(word._replace(drop=False), 30))
                data[1] |= 4
                assert "does not exist" in fault(bytes(data))
                with pytest.raises(ValueError, match="does not exist"):
                    encode(word, 30)


def test_a_drop_flag_belongs_to_30_frames() -> None:
    data = encode(Word(1, 0, 0, 5, drop=True), 30)
    assert "belongs to 30 frames" in fault(data, 25)
    assert "at 24 frames a second they run from 0 to 23" in fault(encode(Word(1, 0, 0, 29), 30), 24)


@pytest.mark.parametrize("nominal", [48, 50, 60, 29])
def test_counts_beyond_the_standard_are_refused_with_the_way_out(nominal: int) -> None:
    with pytest.raises(ValueError, match="halve 48, 50 and 60"):
        encode(Word(0, 0, 0, 0), nominal)


@pytest.mark.parametrize(
    "word",
    [
        Word(24, 0, 0, 0),
        Word(0, 60, 0, 0),
        Word(0, 0, -1, 0),
        Word(0, 0, 0, 0, user=(16,) * 8),
        Word(0, 0, 0, 0, groups=8),
    ],
)
def test_what_does_not_fit_is_refused(word: Word) -> None:
    with pytest.raises(ValueError, match=r"there are 0 to|eight groups"):
        encode(word, 30)
