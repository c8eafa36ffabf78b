"""How words of linear timecode and the place of playback travel between processes."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.wire import played
from sequencer.wire.ltc import Heard, packed, unpacked
from sequencer.wire.played import Playing
from tests.sync.master import COUNTINGS

LTC_25 = COUNTINGS["25"]


@settings(max_examples=200, deadline=None)
@given(
    word=st.binary(min_size=10, max_size=10),
    backward=st.booleans(),
    marks=st.lists(st.integers(0, 2**62), min_size=5, max_size=5),
    stamp_ns=st.integers(0, 2**62),
)
def test_what_is_packed_is_unpacked(word: bytes, backward: bool, marks: list[int], stamp_ns: int) -> None:
    a, b, c, d, e = marks
    stamped = unpacked(packed(Heard(word, backward, (a, b, c, d, e)), stamp_ns, 2e-5))
    assert stamped.heard == Heard(
        word, backward, (a - stamp_ns, b - stamp_ns, c - stamp_ns, d - stamp_ns, e - stamp_ns)
    )
    assert stamped.noise == 2e-5


@pytest.mark.parametrize("data", [b"", bytes(3), packed(Heard(bytes(10), False, (0, 1, 2, 3, 4)), 0)[:-1]])
def test_what_is_no_word_is_refused(data: bytes) -> None:
    with pytest.raises(ValueError, match="no word"):
        unpacked(data)


@pytest.mark.parametrize("noise", [-1.0, 5.0, float("nan")])
def test_a_clock_with_a_noise_that_cannot_be_is_refused(noise: float) -> None:
    with pytest.raises(ValueError, match="noise"):
        unpacked(packed(Heard(bytes(10), False, (0, 1, 2, 3, 4)), 0, noise))


@given(sample=st.integers(-(2**63), 2**63 - 1), rate_hz=st.integers(1, 2**32 - 1), running=st.booleans())
def test_the_place_of_playback_is_packed_and_unpacked(sample: int, rate_hz: int, running: bool) -> None:
    playing = Playing(sample, rate_hz, running)
    assert played.unpacked(played.packed(playing)) == playing
