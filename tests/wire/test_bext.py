"""The broadcast extension: an independent reader agrees, EBU Tech 3285's table holds, and files that lie are named."""

import io
import struct
from contextlib import suppress
from pathlib import Path

import numpy as np
import pytest
import soundfile
import wavinfo
from hypothesis import given
from hypothesis import strategies as st

from sequencer.wire.bext import Bext, Chunk, bext, chunks, without_sound

MIDNIGHT_TO_TEN = 10 * 3600 * 48_000
# offsets of the fields in a bext chunk's content. Source: EBU Tech 3285 version 2, the structure `broadcast_audio_
# extension`: description 256, originator 32, its reference 32, date 10, time 8, time reference low and high 4 each,
# version 2, UMID 64, five loudness words 10, reserved 180
DESCRIPTION, ORIGINATOR, REFERENCE, DATE, TIME, LOW, HIGH, VERSION, UMID = 0, 256, 288, 320, 330, 338, 342, 346, 348
LEAST = 602


def content(
    *,
    description: bytes = b"quay, take 3",
    originator: bytes = b"recorder",
    reference: int = MIDNIGHT_TO_TEN,
    version: int = 2,
    history: bytes = b"",
) -> bytes:
    """Return a chunk's content, field by field at the places of the standard's table."""
    field = bytearray(LEAST)
    for at, text in (
        (DESCRIPTION, description),
        (ORIGINATOR, originator),
        (REFERENCE, b"Q000000000000001"),
        (DATE, b"2026-11-25"),
        (TIME, b"09:59:58"),
        (LOW, struct.pack("<I", reference & 0xFFFF_FFFF)),
        (HIGH, struct.pack("<I", reference >> 32)),
        (VERSION, struct.pack("<H", version)),
        (UMID, bytes(range(1, 65))),
    ):
        field[at : at + len(text)] = text
    return bytes(field) + history


def chunk(name: bytes, inside: bytes, size: int | None = None) -> bytes:
    return name + struct.pack("<I", len(inside) if size is None else size) + inside + b"\0" * (len(inside) % 2)


FORMAT = chunk(b"fmt ", struct.pack("<HHIIHH", 1, 1, 48_000, 96_000, 2, 16))
SOUND = chunk(b"data", bytes(200))


def wav(*inside: bytes) -> bytes:
    body = b"WAVE" + b"".join(inside)
    return b"RIFF" + struct.pack("<I", len(body)) + body


def of(data: bytes) -> Bext | None:
    return bext(len(data), lambda at, size: data[at : at + size])


def walked(data: bytes) -> list[Chunk]:
    return list(chunks(len(data), lambda at, size: data[at : at + size]))


@pytest.mark.parametrize("after", [False, True], ids=["before the sound", "behind it"])
@pytest.mark.parametrize("reference", [0, MIDNIGHT_TO_TEN, 24 * 3600 * 192_000 - 1, 2**32, 2**63 + 5])
def test_an_independent_reader_reads_the_same(tmp_path: Path, after: bool, reference: int) -> None:
    extension = chunk(b"bext", content(reference=reference, history=b"A=PCM,F=48000\r\n"))
    data = wav(FORMAT, *((SOUND, extension) if after else (extension, SOUND)))
    path = tmp_path / "take.wav"
    path.write_bytes(data)
    other, ours = wavinfo.WavInfoReader(path).bext, of(data)
    assert ours is not None
    assert ours.reference == other.time_reference == reference
    assert ours.description == other.description == "quay, take 3"
    assert ours.originator == other.originator == "recorder"
    assert ours.originator_reference == other.originator_ref
    assert (ours.date, ours.time) == (other.originator_date, other.originator_time) == ("2026-11-25", "09:59:58")
    assert ours.version == other.version == 2


@pytest.mark.parametrize("version", [0, 1, 2])
def test_every_version_is_read(version: int) -> None:
    found = of(wav(FORMAT, chunk(b"bext", content(version=version)), SOUND))
    assert found is not None
    assert (found.version, found.reference) == (version, MIDNIGHT_TO_TEN)


def test_a_file_without_one_says_so() -> None:
    written = io.BytesIO()
    soundfile.write(written, np.zeros(100), 48_000, format="WAV")
    assert of(written.getvalue()) is None


@pytest.mark.parametrize("outer", [b"RF64", b"BW64"])
def test_a_large_files_sizes_stand_in_ds64(outer: bytes) -> None:
    # the content of `data` and of a further chunk are told by ds64 alone. Source: EBU Tech 3306
    sound, notes = bytes(300), bytes(50)
    sizes = struct.pack("<QQQI4sQ", 0, len(sound), 150, 1, b"note", len(notes))
    inside = (
        chunk(b"ds64", sizes),
        FORMAT,
        chunk(b"data", sound, 0xFFFF_FFFF),
        chunk(b"note", notes, 0xFFFF_FFFF),
        chunk(b"bext", content()),
    )
    data = outer + b"\xff" * 4 + b"WAVE" + b"".join(inside)
    assert [(one.name, one.size) for one in walked(data)] == [
        (b"ds64", len(sizes)),
        (b"fmt ", 16),
        (b"data", 300),
        (b"note", 50),
        (b"bext", LEAST),
    ]
    found = of(data)
    assert found is not None
    assert found.reference == MIDNIGHT_TO_TEN


def test_an_rf64_file_of_another_writer_is_walked(tmp_path: Path) -> None:
    path = tmp_path / "large.wav"
    soundfile.write(path, np.zeros((500, 2)), 48_000, format="RF64", subtype="PCM_24")
    data = path.read_bytes()
    assert data[:4] == b"RF64"
    sound = next(one for one in walked(data) if one.name == b"data")
    assert sound.size == 500 * 2 * 3
    assert of(data) is None


def test_chunks_of_odd_length_are_padded() -> None:
    found = walked(wav(FORMAT, chunk(b"odd ", b"123"), chunk(b"bext", content(history=b"x")), SOUND))
    assert [one.name for one in found] == [b"fmt ", b"odd ", b"bext", b"data"]


def test_a_recorder_that_lost_power_left_a_sound_chunk_too_long() -> None:
    whole = wav(FORMAT, chunk(b"bext", content()), SOUND)
    assert of(whole[:-150]) == of(whole)
    unfinished = wav(FORMAT, chunk(b"data", bytes(10), 1_000_000))
    assert of(unfinished) is None
    assert walked(unfinished)[-1].size == 1_000_000


@pytest.mark.parametrize("samples", [bytes(90_000), b"\x01\x80\xff\x7f" * 5000])
def test_a_recorder_that_lost_power_left_a_sound_chunk_that_says_nothing(samples: bytes) -> None:
    """Sizes are filled in when a recording ends: common practice, no source."""
    lost = wav(FORMAT, chunk(b"bext", content()), chunk(b"data", samples, 0))
    found = of(lost)
    assert found is not None
    assert found.reference == MIDNIGHT_TO_TEN
    assert [one.name for one in walked(lost)] == [b"fmt ", b"bext", b"data"]
    assert of(without_sound(len(lost), lambda at, size: lost[at : at + size])) == found


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "no WAV"),
        (b"RIFF\0\0\0\0", "no WAV"),
        (b"RIFF\0\0\0\0AVI " + SOUND, "no WAV"),
        (b"fLaC" + bytes(100), "no WAV"),
        (wav(FORMAT, chunk(b"bext", content()[:400])), "has 400 bytes; 602 are its least"),
        (wav(FORMAT, chunk(b"bext", content()))[:-100], "'bext' at byte 36 says that it has 602 bytes, 100 more"),
        (wav(FORMAT, chunk(b"LIST", b"abcd", 0xFFFF_FFFF), SOUND), "more than the file"),
        (wav(chunk(b"ds64", bytes(20)), FORMAT), "ds64 of a large file has 20 bytes"),
        (wav(*(chunk(b"junk", b"") for _ in range(5000))), "more than 4096 chunks"),
    ],
)
def test_what_cannot_be_is_named(data: bytes, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        of(data)


def test_text_that_is_no_ascii_is_shown_and_not_refused() -> None:
    found = of(wav(FORMAT, chunk(b"bext", content(description=b"K\xc3\xa4s", originator=b"x" * 32))))
    assert found is not None
    assert found.description == r"K\xc3\xa4s"
    assert found.originator == "x" * 32


SPOILT = wav(FORMAT, chunk(b"bext", content()), SOUND)


@given(st.integers(0, len(SPOILT)), st.dictionaries(st.integers(0, 60), st.integers(0, 255), max_size=6))
def test_bytes_spoilt_in_any_way_never_end_in_another_fault(length: int, spoilt: dict[int, int]) -> None:
    data = bytearray(SPOILT)
    for at, value in spoilt.items():
        data[at] = value
    with suppress(ValueError):
        of(bytes(data[:length]))


@given(st.binary(max_size=300))
def test_any_bytes_are_a_wav_or_named(inside: bytes) -> None:
    with suppress(ValueError):
        of(wav(FORMAT, inside))


def test_a_wav_without_its_sound_says_the_same(tmp_path: Path) -> None:
    path = tmp_path / "take.wav"
    soundfile.write(path, np.zeros((48_000, 2)), 48_000, subtype="PCM_24")
    whole = path.read_bytes()
    whole += chunk(b"bext", content()) + chunk(b"odd ", b"123")
    short = without_sound(len(whole), lambda at, size: whole[at : at + size])
    assert len(short) < 1000
    assert of(short) == of(whole) is not None
    assert {one.name for one in walked(short)} == {one.name for one in walked(whole)}
    assert next(one.size for one in walked(short) if one.name == b"data") == 288_000
