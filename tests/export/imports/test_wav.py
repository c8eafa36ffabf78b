"""Recordings from elsewhere: where they begin, beside an independent reader, and what is wrong with some."""

import struct
from contextlib import suppress
from fractions import Fraction
from pathlib import Path

import pytest
import wavinfo
from hypothesis import given
from hypothesis import strategies as st

from sequencer.errors import ImportFault
from sequencer.export.found import FoundCut
from sequencer.export.imports.wav import KIND
from sequencer.timebase.rate import Rate
from tests.wire.test_bext import FORMAT, SOUND, chunk, content, wav
from tests.wire.test_ixml import SPEED

TEN = 10 * 3600 * 48_000


def xml(**told: str) -> bytes:
    fields = "".join(f"<{name}>{value}</{name}>" for name, value in told.items())
    return chunk(b"iXML", f"<BWFXML><SPEED>{fields}</SPEED></BWFXML>".encode())


def recorded(*more: bytes, reference: int = TEN) -> bytes:
    return wav(FORMAT, chunk(b"bext", content(reference=reference)), *more, SOUND)


def read(data: bytes, rate: Rate | None = None) -> FoundCut:
    assert KIND.cut is not None
    return KIND.cut(data, "take.wav", rate)


def test_it_begins_where_an_independent_reader_says(tmp_path: Path) -> None:
    path = tmp_path / "take.wav"
    path.write_bytes(recorded(xml(TIMECODE_RATE="25/1", TIMECODE_FLAG="NDF"), reference=TEN + 12_345))
    other = wavinfo.WavInfoReader(path)
    found = read(path.read_bytes())
    assert (
        found.start == Fraction(other.bext.time_reference, other.fmt.sample_rate) == 36_000 + Fraction(12_345, 48_000)
    )
    assert (found.rate, found.drop, found.remarks) == (Rate(25), False, ())


def test_without_a_rate_the_projects_is_taken_and_that_is_said() -> None:
    found = read(recorded())
    assert found.rate is None
    assert found.start == 36_000
    assert found.remarks == ("the file says no frame rate: its samples since midnight are taken at the project's",)
    assert read(recorded(), Rate(24000, 1001)).rate == Rate(24000, 1001)


def test_a_recording_to_be_pulled_down_counts_its_time_in_other_samples() -> None:
    """The iXML specification 3.0: TIMESTAMP_SAMPLE_RATE is what the time stamp is counted in."""
    found = read(recorded(xml(TIMECODE_RATE="24000/1001", TIMESTAMP_SAMPLE_RATE="48048"), reference=48_048 * 7))
    assert found.start == 7
    assert "counts 48048 samples a second, its sound 48000" in found.remarks[0]


def test_ixml_alone_says_it_too_and_the_broadcast_extension_counts_before_it() -> None:
    since = {"TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI": "0", "TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO": str(48_000 * 60)}
    assert read(wav(FORMAT, xml(**since), SOUND)).start == 60
    found = read(recorded(xml(**since)))
    assert found.start == 36_000
    assert "iXML says 2880000 samples since midnight, the broadcast extension 1728000000, which counts" in found.remarks


def test_what_ixml_says_wrong_is_left_out_and_said() -> None:
    for more, words in (
        (xml(TIMECODE_RATE="26/1"), "iXML says the timecode rate '26/1', which is none"),
        (xml(TIMECODE_RATE="25/1", TIMECODE_FLAG="DF"), "is not counted so; drop-frame counting belongs to"),
        (chunk(b"iXML", b'<!DOCTYPE a [<!ENTITY b "c">]><a/>'), "declares a document type or an entity is refused"),
        (chunk(b"iXML", b"<a>"), "iXML cannot be read"),
    ):
        found = read(recorded(more))
        assert found.start == 36_000
        assert words in " | ".join(found.remarks)
    other = read(recorded(xml(TIMECODE_RATE="25/1")), Rate(24))
    assert other.rate == Rate(24)
    assert "iXML says the timecode rate 25; 24 counts, as you say" in other.remarks
    assert read(recorded(xml(TIMECODE_RATE="30000/1001", TIMECODE_FLAG="DF"))).drop is True


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "it is no WAV file"),
        (wav(FORMAT, SOUND), "does not say where in timecode it begins"),
        (recorded(reference=0), "does not say where in timecode it begins"),
        (
            recorded(reference=90_000 * 48_000),
            "its time reference is 25 hours after midnight; its recorder was not set",
        ),
        (wav(chunk(b"bext", content()), SOUND), "does not say how many samples it has a second"),
        (wav(FORMAT, chunk(b"bext", b"short"), SOUND), "the broadcast extension has 5 bytes"),
    ],
)
def test_what_cannot_be_is_refused(data: bytes, words: str) -> None:
    with pytest.raises(ImportFault) as caught:
        read(data)
    assert words in str(caught.value)
    assert str(caught.value).startswith("take.wav: ")


def test_of_a_large_file_only_what_is_needed_is_read() -> None:
    """An RF64 file of 5 GB, of which only its chunks are there; the extension stands behind the sound."""
    large = 5 * 2**30
    sizes = struct.pack("<QQQI", large + 2000, large, large // 2, 0)
    head = b"RF64" + b"\xff" * 4 + b"WAVE" + chunk(b"ds64", sizes) + FORMAT + b"data" + b"\xff" * 4
    tail = chunk(b"bext", content()) + chunk(b"iXML", SPEED.encode()) + chunk(b"junk", bytes(2**20 + 2))
    asked = []

    def part(at: int, size: int) -> bytes:
        asked.append(size)
        whole = head[at : at + size]
        return whole or tail[at - len(head) - large : at - len(head) - large + size] if at >= len(head) else whole

    assert KIND.shorten is not None
    short = KIND.shorten(len(head) + large + len(tail), part)
    assert len(short) < 3000
    assert sum(asked) < 10_000
    found = read(short)
    assert found.start == Fraction(TEN, 48_048)
    assert found.rate == Rate(24000, 1001)


def test_just_before_midnight_at_a_thousandth_less_is_taken() -> None:
    """At 24000/1001 the label 23:59:59:00 is 86485.4 real seconds after 00:00:00:00, more than a day has."""
    reference = (24 * 3600 - 1) * 48_048
    found = read(wav(FORMAT, chunk(b"bext", content(reference=reference)), SOUND), Rate(24000, 1001))
    assert found.start == Fraction(reference, 48_000)


@given(st.binary(max_size=40), st.integers(0, 2000), st.integers(0, 30))
def test_no_bytes_break_it(spoilt: bytes, at: int, cut: int) -> None:
    whole = recorded(chunk(b"iXML", SPEED.encode()))
    data = whole[: at % len(whole)] + spoilt + whole[at % len(whole) + cut :]
    with suppress(ImportFault):
        read(data)
    assert KIND.shorten is not None
    with suppress(ValueError):
        KIND.shorten(len(data), lambda place, size: data[place : place + size])
