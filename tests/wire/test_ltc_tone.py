"""The sound of linear timecode: read back by an independent decoder, and its edges against the standard."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.wire.ltc_tone import Tone
from tests import libltc
from tests.wire.ltc_sound import COUNTINGS, RATE_HZ, Samples, record, words

WORD = words(COUNTINGS["25"])


def rendered(position: float, frames_hz: float, number: int, rate_hz: float = RATE_HZ) -> Samples:
    out = np.zeros(number, np.float32)
    Tone(WORD, level_db=0.0).render(position, frames_hz, rate_hz, out)
    return out


@pytest.mark.parametrize("rate", COUNTINGS)
@pytest.mark.parametrize("speed", [1.0, -1.0, 0.5, 2.0])
def test_an_independent_decoder_reads_every_word(rate: str, speed: float) -> None:
    sound = record(COUNTINGS[rate], 0.8, speed, start=COUNTINGS[rate].rate.nominal * 60 - 5.4 * speed)
    theirs = libltc.decoder(RATE_HZ, COUNTINGS[rate].rate.nominal * abs(speed))(sound.samples)
    read = [sound.expected()[one.bits] for one in theirs if one.bits in sound.expected()]
    assert len(read) >= len(sound.expected()) - 2  # it takes a word or two to find the speed
    assert read == list(range(read[0], read[0] + len(read))) if speed > 0 else read == sorted(read, reverse=True)
    assert {one.backward for one in theirs} == {speed < 0}


def test_words_begin_where_they_are_due() -> None:
    sound = record(COUNTINGS["25"], 1.0, start=1000.25)
    for one in libltc.decoder(RATE_HZ, 25)(sound.samples)[2:]:
        due = (sound.expected()[one.bits] - 1000.25) * RATE_HZ / 25
        assert abs(one.start - due) <= 2  # it counts whole samples


def test_bits_are_biphase_mark() -> None:
    """Source: ST 12-1: an edge at the start of each bit, another in the middle of a 1."""
    halves = rendered(0.5 / 160, 25 * 30, 160, rate_hz=25 * 30 * 160)  # one sample in the middle of each half bit
    bits = np.unpackbits(np.frombuffer(WORD(0), np.uint8), bitorder="little")
    assert (np.sign(halves[0::2]) != np.sign(halves[1::2])).tolist() == (bits == 1).tolist()
    assert (np.sign(halves[1:-1:2]) == -np.sign(halves[2::2])).all()


@pytest.mark.parametrize("speed", [0.1, 1.0, -1.0, 2.0])
def test_edges_rise_as_fast_as_the_standard_asks(speed: float) -> None:
    """Source: ST 12-1 by way of libltc's header: 40 us, give or take 10, from 10 to 90 percent; whatever the speed."""
    rate_hz = 10e6
    edge = rendered(5 - speed * 25 * 60e-6, speed * 25, 1200, rate_hz)  # 60 us either side of a word's first edge
    edge = edge if edge[0] < 0 else -edge
    rise_s = (np.argmax(edge > 0.8) - np.argmax(edge > -0.8)) / rate_hz
    assert rise_s == pytest.approx(40e-6, abs=1e-6)
    assert np.argmax(edge > 0) == pytest.approx(600, abs=2)


def test_an_edge_never_takes_longer_than_half_a_bit() -> None:
    fast = rendered(0.0, 25 * 40, 4000, rate_hz=1e6)
    assert np.abs(fast).max() == pytest.approx(1.0)


@given(
    st.lists(st.integers(1, 700), min_size=1, max_size=6),
    st.sampled_from([25.0, -25.0, 12.5, 26.3]),
    st.floats(-100, 1e6),
)
def test_calls_in_a_row_join_without_a_seam(lengths: list[int], frames_hz: float, start: float) -> None:
    whole = rendered(start, frames_hz, sum(lengths))
    tone, at, pieces = Tone(WORD, level_db=0.0), 0, []
    for length in lengths:
        piece = np.zeros(length, np.float32)
        tone.render(start + at * frames_hz / RATE_HZ, frames_hz, RATE_HZ, piece)
        pieces.append(piece)
        at += length
    assert np.allclose(np.concatenate(pieces), whole, atol=1e-4)


def test_the_level_is_that_asked_for() -> None:
    out = np.zeros(4800, np.float32)
    Tone(WORD, level_db=-20.0).render(0.0, 25.0, RATE_HZ, out)
    assert np.abs(out).max() == pytest.approx(0.1, abs=1e-4)
    with pytest.raises(ValueError, match="would clip"):
        Tone(WORD, level_db=1.0)


def test_a_master_that_stands_is_silent() -> None:
    out = np.ones(256, np.float32)
    Tone(WORD).render(3.4, 0.0, RATE_HZ, out)
    assert not out.any()
