"""Take files: what is written is read; files that break off, are damaged or hostile are read as far as is safe."""

import json
import struct
import zlib
from collections.abc import Callable
from dataclasses import asdict, replace
from pathlib import Path

import jsonschema
import msgspec
import numpy as np
import pytest
import zstandard
from hypothesis import given, settings
from hypothesis import strategies as st
from mcap.reader import make_reader
from mcap.writer import CompressionType, Writer

from sequencer.errors import TakeError
from sequencer.project.takefile import read
from sequencer.rig.axis import Camera
from sequencer.shell.recorder import Recorder
from sequencer.takes.rows import ActualRow, EventRow, Heading, Row, SetpointRow, TimecodeRow
from sequencer.takes.take import Take

HEADING = Heading(
    name="lanterns_band_001",
    project="harbour-lanterns",
    cue="lanterns",
    run="band",
    cue_s=(2.0, 3.0),
    rate="25",
    drop=False,
    start="10:00:00:00",
    axes=("pan", "slide"),
    kinds=("pan", "slide"),
    units=("deg", "mm"),
    sensor_mm=(24.9, 14.0),
    pixels=(4096, 2304),
    focal_mm=35.0,
    subject_m=4.0,
    started="2031-05-04T18:30:00+00:00",
)
ORIGIN_NS = 77_000_000_001


def rows(seconds: float = 2.4) -> list[Row]:
    """Rows as a take brings them, in the order of their stamps; numbers that need all their digits."""
    told: list[Row] = [EventRow(ORIGIN_NS, "armed", "armed by the operator, at 10:00 – ready")]
    for number in range(int(seconds * 100)):
        at_ns, at_s = ORIGIN_NS + number * 10_000_000, number / 100
        position = (np.sin(at_s).item() * 40 / 3, at_s / 7)
        told.append(SetpointRow(at_ns, at_s + 1e-9, "running", position, (1.0, 1 / 7)))
        told.append(ActualRow(at_ns + 1, at_ns + 300_000, (position[0], None if number % 5 == 0 else position[1])))
        told.append(TimecodeRow(at_ns + 2, at_s))
    return told


def record(path: Path, told: list[Row], heading: Heading = HEADING) -> Path:
    with Recorder.open(path, heading) as recorder:
        for row in told:
            recorder.write(row)
    return path


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return record(tmp_path_factory.mktemp("takes") / "lanterns_band_001.mcap", rows())


@pytest.fixture(scope="module")
def full(whole: Path) -> Take:
    return read(whole)


def begins_like(take: Take, full: Take) -> bool:
    """Whether every array of `take` is the beginning of `full`'s."""
    arrays = ("due_ns", "timeline_s", "asked", "actual_ns", "actual", "sighted_ns", "sighted_s")
    return take.happenings == full.happenings[: len(take.happenings)] and all(
        np.array_equal(getattr(take, name), getattr(full, name)[: len(getattr(take, name))], equal_nan=True)
        for name in arrays
    )


def test_what_is_written_is_read(whole: Path) -> None:
    take = read(whole)
    told = rows()
    setpoints = [row for row in told if isinstance(row, SetpointRow)]
    actuals = [row for row in told if isinstance(row, ActualRow)]
    sightings = [row for row in told if isinstance(row, TimecodeRow)]
    assert (take.complete, take.fault) == (True, "")
    assert take.due_ns.tolist() == [row.due_ns for row in setpoints]
    assert take.timeline_s.tolist() == [row.timeline_s for row in setpoints]
    assert take.asked.tolist() == [list(row.position) for row in setpoints]
    assert take.actual_ns.tolist() == [row.at_ns for row in actuals]
    assert take.actual[:, 0].tolist() == [row.position[0] for row in actuals]
    assert np.isnan(take.actual[:, 1]).tolist() == [row.position[1] is None for row in actuals]
    assert take.sighted_ns.tolist() == [row.stamp_ns for row in sightings]
    assert take.sighted_s.tolist() == [row.position_s for row in sightings]
    assert [one.text for one in take.happenings] == ["armed by the operator, at 10:00 – ready"]
    assert (take.name, take.cue, take.run, take.cue_s) == ("lanterns_band_001", "lanterns", "band", (2.0, 3.0))
    assert (take.axes, take.kinds, take.units) == (HEADING.axes, HEADING.kinds, HEADING.units)
    assert take.camera == Camera(sensor_mm=(24.9, 14.0), pixels=(4096, 2304), focal_mm=35.0, subject_m=4.0)
    assert str(take.timebase.start) == "10:00:00:00"


def test_rows_are_put_in_order_of_their_stamps(tmp_path: Path) -> None:
    told = rows(1.0)
    mixed = [told[place] for place in np.random.default_rng(2).permutation(len(told))]
    first, second = read(record(tmp_path / "a.mcap", told)), read(record(tmp_path / "b.mcap", mixed))
    assert begins_like(second, first)
    assert len(second.due_ns) == len(first.due_ns)


def test_any_mcap_reader_finds_rows_that_fit_their_schemas(whole: Path) -> None:
    """The file through the `mcap` package's own reader, its messages against the JSON Schemas that it carries."""
    counts: dict[str, int] = {}
    with whole.open("rb") as stream:
        reader = make_reader(stream, validate_crcs=True)
        for schema, channel, message in reader.iter_messages():
            assert schema is not None
            assert (schema.encoding, channel.message_encoding) == ("jsonschema", "json")
            asked = json.loads(schema.data)
            assert asked["type"] == "object"
            if counts.get(channel.topic, 0) < 20:
                jsonschema.Draft202012Validator(asked).validate(json.loads(message.data))
            counts[channel.topic] = counts.get(channel.topic, 0) + 1
        (record,) = reader.iter_metadata()
    assert counts == {"setpoint": 240, "actual": 240, "timecode": 240, "event": 1}
    assert record.name == "take"
    assert json.loads(record.metadata["heading"])["cue"] == "lanterns"


def cuts(size: int) -> list[int]:
    return sorted({*range(0, 900, 13), *range(900, size, 331), *range(size - 200, size, 3)})


def test_a_file_cut_anywhere_is_read_up_to_its_last_whole_chunk(whole: Path, full: Take, tmp_path: Path) -> None:
    data = whole.read_bytes()
    cut, lengths, refused = tmp_path / "cut.mcap", [], []
    for size in cuts(len(data)):
        cut.write_bytes(data[:size])
        try:
            take = read(cut)
        except TakeError:
            refused.append(size)
            continue
        assert begins_like(take, full)
        assert take.complete == (len(take.due_ns) == len(full.due_ns) and not take.fault)
        assert take.complete or "breaks off" in take.fault
        lengths.append(len(take.due_ns))
    heading_ends = data.index(b"crc32") + 5 + 4 + 8
    assert max(refused) < heading_ends  # with the heading whole, it is a take
    assert lengths == sorted(lengths)
    # a chunk is half a second, 50 setpoints, so no cut loses more than that and the part of the file it stands in
    assert max(np.diff(sorted(set(lengths)))) <= 51


@settings(deadline=None, max_examples=200)
@given(st.data())
def test_a_flipped_bit_never_gives_a_changed_take_that_calls_itself_complete(
    whole: Path, full: Take, tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    content = bytearray(whole.read_bytes())
    bit = data.draw(st.integers(0, len(content) * 8 - 1))
    content[bit // 8] ^= 1 << bit % 8
    flipped = tmp_path_factory.getbasetemp() / "flipped.mcap"
    flipped.write_bytes(content)
    try:
        take = read(flipped)
    except TakeError:
        return
    if take.complete:
        assert len(take.due_ns) == len(full.due_ns)
        assert begins_like(take, full)
        assert (take.cue_s, take.axes, take.speed) == (full.cue_s, full.axes, full.speed)
    else:
        assert take.fault


def test_damage_in_the_middle_keeps_what_comes_before(whole: Path, full: Take, tmp_path: Path) -> None:
    content = bytearray(whole.read_bytes())
    content[len(content) // 2] ^= 1
    damaged = tmp_path / "damaged.mcap"
    damaged.write_bytes(content)
    take = read(damaged)
    assert 0 < len(take.due_ns) < len(full.due_ns)
    assert begins_like(take, full)
    assert not take.complete
    assert "damaged" in take.fault


def test_a_chunk_that_no_longer_calls_itself_one_is_missed(whole: Path, full: Take, tmp_path: Path) -> None:
    content, at, chunks = bytearray(whole.read_bytes()), 8, 0
    while content[at] != 15:  # DataEnd
        chunks += content[at] == 6
        if content[at] == 6 and chunks == 2:
            content[at] = 0x86  # a kind of somebody's own, which readers pass over
        at += 9 + int.from_bytes(content[at + 1 : at + 9], "little")
    changed = tmp_path / "t.mcap"
    changed.write_bytes(content)
    take = read(changed)
    assert len(take.due_ns) < len(full.due_ns)
    assert not take.complete
    assert "checksum" in take.fault


def by_hand(
    path: Path,
    heading: dict[str, object],
    messages: tuple[tuple[str, bytes], ...] = (),
    compression: CompressionType = CompressionType.NONE,
    named: str = "take",
    chunks: bool = True,
) -> Path:
    """A take file by another program."""
    with path.open("wb") as stream:
        writer = Writer(stream, compression=compression, use_chunking=chunks)
        writer.start()
        text = json.dumps(heading)
        writer.add_metadata("somebody's", {"colour": "grey"})
        writer.add_metadata(named, {"heading": text, "crc32": f"{zlib.crc32(text.encode()):08x}"})
        for topic, data in messages:
            channel = writer.register_channel(topic, "json", 0)
            writer.add_message(channel, log_time=1, publish_time=1, data=data)
        writer.finish()  # type: ignore[no-untyped-call]  # mcap has no types there
    return path


def plain(**changes: object) -> dict[str, object]:
    return {**json.loads(msgspec.json.encode(HEADING)), **changes}


def test_another_programs_take_is_read_with_channels_of_its_own(tmp_path: Path) -> None:
    setpoint = msgspec.json.encode(SetpointRow(9, 2.0, "running", (1.0, 2.0), (0.0, 0.0)))
    path = by_hand(tmp_path / "t.mcap", plain(), (("lamp", b"not json"), ("setpoint", setpoint)))
    take = read(path)
    assert take.complete
    assert take.asked.tolist() == [[1.0, 2.0]]


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"format": "somebody/take"}, "its format is 'somebody/take'"),
        ({"version": 2}, "of version 2, and this program reads up to 1; update it"),
        ({"version": "one"}, "$.version"),
        ({"rate": "23.976"}, "'23.976' is no rate; it must be one of"),
        ({"start": "10:00:61:00"}, "61 seconds"),
        ({"drop": True}, "drop-frame counting belongs to"),
        ({"cue_s": [3.0, 2.0]}, "not in order"),
        ({"cue_s": [0.0, 1e300]}, "longer than a day"),
        ({"cue_s": [1e18, 1e18]}, "more than a day from"),
        ({"cue_s": [0.0]}, "$.cue_s"),
        ({"axes": ["pan", "pan"]}, "without doubles"),
        ({"axes": []}, "one length"),
        ({"axes": [f"axis{number}" for number in range(300)]}, "one length"),
        ({"units": ["deg"]}, "one length"),
        ({"focal_mm": 0.0}, "focal_mm is 0; it must be above zero"),
        ({"pixels": [10**400, 1]}, "no sensor has"),
        ({"speed": "1e99999999"}, "a fraction above zero"),
        ({"speed": "0"}, "a fraction above zero"),
        ({"speed": "1/0"}, "a fraction above zero"),
        ({"cue": 7}, "$.cue"),
    ],
)
def test_headings_that_no_take_has(tmp_path: Path, changes: dict[str, object], says: str) -> None:
    path = by_hand(tmp_path / "t.mcap", plain(**changes))
    with pytest.raises(TakeError) as refused:
        read(path)
    assert str(refused.value).startswith("t.mcap: ")
    assert says in str(refused.value)


@pytest.mark.parametrize(
    ("topic", "row"),
    [
        ("setpoint", {"due_ns": 1, "timeline_s": 1.0, "phase": "running", "position": [1.0], "velocity": [1.0]}),
        ("setpoint", {"due_ns": 1, "timeline_s": 1.0, "phase": "running", "position": [1.0, None], "velocity": []}),
        ("setpoint", {"due_ns": 1.5, "timeline_s": 1.0, "phase": "running", "position": [1, 2], "velocity": []}),
        ("actual", {"at_ns": 2**63, "heard_ns": 0, "position": [1.0, 2.0]}),
        ("actual", {"at_ns": 1, "heard_ns": 0, "position": [1.0, 2.0, 3.0]}),
        ("timecode", {"stamp_ns": 1}),
        ("timecode", ["stamp_ns", 1]),
        ("event", {"at_ns": 1, "code": 1, "text": "x"}),
    ],
)
def test_rows_that_no_take_has(tmp_path: Path, topic: str, row: object) -> None:
    path = by_hand(tmp_path / "t.mcap", plain(), ((topic, json.dumps(row).encode()),))
    with pytest.raises(TakeError, match=r"t\.mcap: a row is not as a take has it"):
        read(path)


def framed(kind: int, content: bytes, claimed: int | None = None) -> bytes:
    return struct.pack("<BQ", kind, len(content) if claimed is None else claimed) + content


def chunk(packed: bytes, claimed: int, compression: bytes = b"zstd") -> bytes:
    name = struct.pack("<I", len(compression)) + compression
    return framed(6, struct.pack("<QQQI", 0, 0, claimed, 0) + name + struct.pack("<Q", len(packed)) + packed)


BOMB = zstandard.compress(bytes(400_000_000))


@pytest.mark.parametrize(
    ("tail", "says"),
    [
        (framed(6, b"", 2**63), "breaks off"),
        (chunk(BOMB, 100), "a chunk of 400000000 bytes"),
        (chunk(BOMB, 500_000_000), "a chunk of 500000000 bytes"),
        (chunk(b"abc", 2**62, b""), "a chunk of 4611686018427387904 bytes"),
        (chunk(b"abc", 3, b"rar"), "packed as no take is"),
        (chunk(framed(5, b"\x01\x00", 2**60), 11, b""), "damaged"),
        (framed(6, b"\x00" * 10), "damaged"),
        # no record is of kind 0: zeros are bytes that a power cut kept from the disk, also where whole chunks follow
        (bytes(9) + framed(15, b"\x00" * 4), "never came to the disk"),
        (framed(15, b"\x00\x00"), "checksum"),
        (framed(15, b"\x01\x00\x00\x00"), "checksum"),
        (framed(200, b"somebody's own") + framed(15, b"\x00" * 4), ""),
    ],
)
def test_hostile_records_are_bounded(whole: Path, tmp_path: Path, tail: bytes, says: str) -> None:
    content = whole.read_bytes()
    metadata_ends = content.index(b"crc32") + 5 + 4 + 8
    hostile = tmp_path / "hostile.mcap"
    hostile.write_bytes(content[:metadata_ends] + tail)
    take = read(hostile)
    assert says in take.fault
    assert take.complete == (says == "")
    assert len(take.due_ns) == 0


def test_a_record_longer_than_any_is_not_loaded(whole: Path, tmp_path: Path) -> None:
    content = whole.read_bytes()
    long = tmp_path / "long.mcap"
    with long.open("wb") as stream:
        stream.write(content[: content.index(b"crc32") + 17] + framed(6, b"", 3_000_000_000))
        stream.truncate(4_000_000_000)  # a hole: it takes no room on the disk
    assert "3000000000 bytes" in read(long).fault


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda path: path.write_bytes(b""), "not a take file"),
        (lambda path: path.write_bytes(b"RIFF1234WAVEfmt "), "not a take file"),
        (lambda path: path.write_bytes(b"\x89MCAP0\r\n"), "says nowhere what take"),
        (lambda path: path.mkdir(), "cannot be read"),
        (lambda path: None, "cannot be read"),
        (lambda path: by_hand(path, plain(), named="other"), "says nowhere what take"),
        (lambda path: by_hand(path, plain(), (("actual", b"{}"),), named="other"), "not laid out as a take"),
        (lambda path: by_hand(path, plain(), (("actual", b"{}"),), chunks=False), "not laid out as a take"),
    ],
)
def test_files_that_are_no_takes(tmp_path: Path, make: Callable[[Path], object], says: str) -> None:
    path = tmp_path / "t.mcap"
    make(path)
    with pytest.raises(TakeError) as refused:
        read(path)
    assert "t.mcap: " in str(refused.value)
    assert says in str(refused.value)


def test_a_changed_heading_is_noticed(whole: Path, tmp_path: Path) -> None:
    changed = tmp_path / "t.mcap"
    changed.write_bytes(whole.read_bytes().replace(b'"focal_mm":35.0', b'"focal_mm":36.0'))
    with pytest.raises(TakeError, match="damaged"):
        read(changed)


def test_a_take_without_a_lens_has_no_camera(tmp_path: Path) -> None:
    assert read(record(tmp_path / "t.mcap", rows(0.1), replace(HEADING, focal_mm=None))).camera is None


def test_the_passs_speed_is_exact(tmp_path: Path) -> None:
    take = read(record(tmp_path / "t.mcap", rows(0.1), replace(HEADING, speed="1/3")))
    assert str(take.speed) == "1/3"
    assert asdict(HEADING)["version"] == 1


def test_a_row_that_is_nested_without_end_is_no_row_of_a_take(tmp_path: Path) -> None:
    row = b'{"more": ' + b"[" * 3000 + b"]" * 3000 + b"}"
    path = by_hand(tmp_path / "t.mcap", plain(), (("event", row),))
    with pytest.raises(TakeError, match=r"t\.mcap: a row is not as a take has it"):
        read(path)
