"""What a take file says without its rows: as much as reading all of it, from a fraction of its bytes."""

import struct
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import zstandard
from hypothesis import given, settings
from hypothesis import strategies as st
from mcap.reader import make_reader
from mcap.writer import IndexType, Writer

from sequencer.errors import TakeError
from sequencer.project import take_summary
from sequencer.project.take_summary import summary
from sequencer.project.takefile import read
from sequencer.takes.rows import EventRow, Row
from tests.project.test_library import shoot
from tests.project.test_takefile import BOMB, HEADING, ORIGIN_NS, chunk, cuts, framed, rows


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    told: list[Row] = [*rows(), EventRow(ORIGIN_NS + 5, "ready", "at the start"), EventRow(ORIGIN_NS, "link", "–")]
    return shoot(tmp_path_factory.mktemp("whole"), "lanterns_band_001", told)


def test_the_summary_says_what_reading_all_of_it_says(whole: Path) -> None:
    told, take = summary(whole), read(whole)
    assert (told.complete, told.fault) == (True, "")
    assert told.happenings == take.happenings
    assert [one.code for one in told.happenings] == ["armed", "link", "ready"]
    # the last timecode is 2 ns after the last of 240 setpoints, every 10 ms
    assert told.lasts_s == pytest.approx(2.39 + 2e-9, abs=1e-12)
    assert told.heading == replace(HEADING, name="lanterns_band_001")


def test_the_summary_of_a_whole_file_unpacks_only_what_happened(whole: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Else hundreds of takes would not list in a second."""
    unpacked = []

    def count(content: bytes) -> bytes:
        unpacked.append(len(content))
        return unpack(content)

    unpack = take_summary._chunk
    monkeypatch.setattr(take_summary, "_chunk", count)
    monkeypatch.setattr(take_summary, "read_stream", None)
    assert summary(whole).complete
    # five chunks of half a second: the first has an event, and the last the two that came late
    assert len(unpacked) == 2


def test_a_file_cut_anywhere_has_the_summary_of_what_is_left(whole: Path, tmp_path: Path) -> None:
    data = whole.read_bytes()
    cut, lengths = tmp_path / "cut.mcap", set()
    for size in cuts(len(data))[::7]:
        cut.write_bytes(data[:size])
        refused = why_not(read, cut)
        assert why_not(summary, cut) == refused
        if refused:
            continue
        take = read(cut)
        told = summary(cut)
        assert (told.complete, told.fault, told.happenings) == (take.complete, take.fault, take.happenings)
        lengths.add(round(told.lasts_s, 1))
    assert {0.0, 0.5, 1.0, 1.5, 2.0, 2.4} <= lengths


def why_not(reading: Callable[[Path], object], path: Path) -> str:
    """Return why a file cannot be read, empty where it can."""
    try:
        reading(path)
    except TakeError as fault:
        return str(fault)
    return ""


@settings(deadline=None, max_examples=200)
@given(st.data())
def test_no_flipped_bit_gives_a_changed_summary(
    whole: Path, tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    content = bytearray(whole.read_bytes())
    bit = data.draw(st.integers(0, len(content) * 8 - 1))
    content[bit // 8] ^= 1 << bit % 8
    flipped = tmp_path_factory.getbasetemp() / "flipped-summary.mcap"
    flipped.write_bytes(content)
    try:
        told = summary(flipped)
    except TakeError:
        return
    full = summary(whole)
    assert told.heading == full.heading
    if told.complete:
        assert (told.happenings, told.lasts_s) == (full.happenings, full.lasts_s)
    else:
        assert told.fault


def written_anew(whole: Path, path: Path, **how: Any) -> Path:
    """Write the rows of a take as another program may, with less of an index."""
    with whole.open("rb") as stream, path.open("wb") as out:
        there = make_reader(stream)
        writer = Writer(out, **how)
        writer.start()
        (heading,) = there.iter_metadata()
        writer.add_metadata(heading.name, heading.metadata)
        channels: dict[str, int] = {}
        for _, channel, message in there.iter_messages():
            if channel.topic not in channels:
                channels[channel.topic] = writer.register_channel(channel.topic, "json", 0)
            writer.add_message(channels[channel.topic], message.log_time, message.data, message.publish_time)
        writer.finish()  # type: ignore[no-untyped-call]  # mcap has no types there
    return path


@pytest.mark.parametrize(
    "how",
    [
        {"index_types": IndexType.ALL & ~IndexType.CHUNK},
        {"index_types": IndexType.ALL & ~IndexType.MESSAGE},
        {"index_types": IndexType.NONE},
        {"repeat_channels": False},
        {"use_statistics": False},
        {"use_summary_offsets": False},
        {"enable_crcs": False},
    ],
)
def test_a_finished_file_of_another_program_with_less_of_an_index_is_read(
    whole: Path, tmp_path: Path, how: dict[str, Any]
) -> None:
    told, full = summary(written_anew(whole, tmp_path / "other.mcap", **how)), summary(whole)
    assert told.complete
    assert (told.happenings, told.lasts_s) == (full.happenings, full.lasts_s)


def test_rows_outside_of_chunks_are_refused_as_in_reading(whole: Path, tmp_path: Path) -> None:
    path = written_anew(whole, tmp_path / "other.mcap", use_chunking=False)
    assert why_not(summary, path) == why_not(read, path) != ""


def test_no_changed_byte_of_the_index_gives_another_summary(tmp_path: Path) -> None:
    path = shoot(tmp_path, "short", rows(0.05))
    content, full = path.read_bytes(), summary(path)
    begins = struct.unpack("<Q", content[-28:-20])[0]  # as the footer says
    assert 0 < len(content) - begins < 4000
    for at in range(begins, len(content), 5):
        path.write_bytes(content[:at] + bytes([content[at] ^ 0x10]) + content[at + 1 :])
        told = summary(path)
        assert (told.lasts_s, told.happenings) == (full.lasts_s, full.happenings)


def test_what_packed_data_claims_is_looked_at_before_it_is_unpacked(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(zstandard, "decompress", None)
    for bomb in (chunk(BOMB, 100), chunk(BOMB, 2**62)):
        with pytest.raises(take_summary._Unsure):
            take_summary._chunk(bomb[9:])


@pytest.mark.parametrize("tail", [chunk(BOMB, 100), chunk(BOMB, 500_000_000), framed(6, b"", 2**63)])
def test_hostile_records_are_bounded(whole: Path, tmp_path: Path, tail: bytes) -> None:
    """A chunk of 400 million bytes where the index leads: it is not unpacked."""
    content = whole.read_bytes()
    begins = content.index(b"crc32") + 5 + 4 + 8
    hostile = tmp_path / "hostile.mcap"
    hostile.write_bytes(content[:begins] + tail + content[begins + len(tail) :])
    told = summary(hostile)
    assert not told.complete
    assert told.happenings == ()
