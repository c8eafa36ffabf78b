"""Targets: files of ours, as they are opened again: projects, takes, journals, logs, and messages between processes."""

import contextlib
import json
import os
import tempfile
import zlib
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import Any

import msgspec
from mcap.writer import CompressionType, Writer

from sequencer.errors import ProjectError, TakeError
from sequencer.project import files, takelog, text
from sequencer.project.journal import FORMAT, VERSION, Header, Reading, Record, framed, header, step, unframed
from sequencer.project.recovery import Recovered, Refused, hold, recover
from sequencer.project.shot_log import Begun, Exposed, Firing, Moved
from sequencer.project.shot_log import read as read_shots
from sequencer.project.store import dump, load
from sequencer.project.take_summary import summary
from sequencer.project.takefile import read as read_take
from sequencer.score.edits.offset import offset
from sequencer.shell.kinds import laws
from sequencer.shell.messages import COMMANDS, REPORTS, Arm, Drive, Opened, Quit, Said, Unframer, frame
from sequencer.shell.records import CloseTake, OpenTake, pack, unpack
from sequencer.takes.rows import ActualRow, EventRow, Heading, SetpointRow, TimecodeRow
from tests.fuzz.heard import PROJECTS, project
from tests.fuzz.recipes import changed
from tests.fuzz.target import Target, demand_shown, packed, packets, pieces

_DEMOS = ("harbour-lanterns", "low-tide", "paper-boats")
_ON_DISK = Path("/dev/shm") if os.path.isdir("/dev/shm") else None


@cache
def _folder() -> Path:
    """A folder of this process, in memory where the system has such."""
    kept = tempfile.TemporaryDirectory(dir=_ON_DISK, prefix="fuzz-")
    _KEPT.append(kept)
    return Path(kept.name)


_KEPT: list[tempfile.TemporaryDirectory[str]] = []  # they go when the process ends


@cache
def _demo(name: str) -> tuple[Any, Any]:
    document, rig = (json.loads((PROJECTS / name / file).read_bytes()) for file in (files.PROJECT, files.RIG))
    return document, rig


def _opens(document: bytes, rig: bytes) -> None:
    """Open a project; one that opens can be written, and is the same when it is opened again."""
    folder = _folder() / "project"
    folder.mkdir(exist_ok=True)
    (folder / files.PROJECT).write_bytes(document)
    (folder / files.RIG).write_bytes(rig)
    try:
        found = load(folder, laws())
    except ProjectError as fault:
        demand_shown(fault)
        return
    for name, written in dump(found).items():
        (folder / name).write_text(written, encoding="utf-8")
    assert load(folder, laws()) == found, "it is another project once it was saved"


def _plain(tree: Any) -> bytes:
    return json.dumps(tree).encode("utf-8", "replace")


def _edited(data: bytes) -> None:
    """The first byte says of which demo; a second one, which of its files is changed."""
    if len(data) < 2:
        return
    document, rig = _demo(_DEMOS[data[0] % len(_DEMOS)])
    if data[1] & 1:
        rig = changed(rig, data[2:])
    else:
        document = changed(document, data[2:])
    _opens(_plain(document), _plain(rig))


def _written(data: bytes) -> None:
    """JSON as it is written, strictly read: whatever it holds, it holds again when it was laid out."""
    try:
        tree = text.read(data, files.PROJECT)
    except ProjectError as fault:
        demand_shown(fault)
        return
    assert text.read(text.lay_out(tree).encode(), files.PROJECT) == tree


def _project_text(data: bytes) -> None:
    _opens(data, _plain(_demo("low-tide")[1]))


def _heading() -> Heading:
    return Heading(
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
        markers=(("verse", 2.5),),
        rig=json.loads((PROJECTS / "low-tide" / files.RIG).read_bytes()),
        shot_as={"name": "band", "speed": "1"},
    )


def _take(heading: bytes, rows: list[tuple[str, bytes]], packing: CompressionType = CompressionType.ZSTD) -> bytes:
    """A take file whose checksums fit, whatever stands in it."""
    file = BytesIO()
    writer = Writer(file, chunk_size=4096, compression=packing, enable_data_crcs=True)
    writer.start(library="twintake")
    writer.add_metadata("take", {"heading": heading.decode("utf-8", "replace"), "crc32": f"{zlib.crc32(heading):08x}"})
    channels: dict[str, int] = {}
    for number, (topic, data) in enumerate(rows):
        if topic not in channels:
            channels[topic] = writer.register_channel(topic, "json", 0)
        writer.add_message(channels[topic], log_time=number, publish_time=number, data=data)
    writer.finish()  # type: ignore[no-untyped-call]  # mcap has no types there
    return file.getvalue()


def _reads(data: bytes) -> None:
    path = _folder() / "take.mcap"
    path.write_bytes(data)
    with contextlib.suppress(TakeError):
        told = read_take(path)
        assert told.asked.shape == (len(told.due_ns), len(told.axes))
        assert all(one.isprintable() for one in told.remarks)
    with contextlib.suppress(TakeError):
        assert summary(path).lasts_s >= 0


_TOPICS = ("setpoint", "actual", "timecode", "event", "unknown")


def _take_rows(data: bytes) -> None:
    """Rows of a take that is right else: each packet's first byte says of which channel it is."""
    rows = [(_TOPICS[one[0] % len(_TOPICS)], one[1:]) for one in packets(data) if one]
    _reads(_take(msgspec.json.encode(_heading()), rows, CompressionType.NONE))


def _take_heading(data: bytes) -> None:
    tree = changed(msgspec.to_builtins(_heading()), data)
    _reads(_take(_plain(tree), [("event", msgspec.json.encode(EventRow(1, "armed", "armed")))], CompressionType.NONE))


def _shot_log(data: bytes) -> None:
    path = _folder() / "shots.jsonl"
    path.write_bytes(data)
    with contextlib.suppress(TakeError):
        shot = read_shots(path)
        assert shot.next >= 0


def _take_log(data: bytes) -> None:
    folder = _folder() / "takes"
    folder.mkdir(exist_ok=True)
    for old in folder.iterdir():
        old.unlink()
    (folder / takelog.NAME).write_bytes(data)
    with contextlib.suppress(TakeError):
        takelog.read(folder)
    try:
        takelog.write(folder, {"a.mcap": takelog.Change(circled=True)})
    except TakeError:
        assert (folder / takelog.NAME).read_bytes() == data, "it was refused, and is lost"
        return
    assert takelog.read(folder)["a.mcap"].circled


def _changes() -> tuple[Record, ...]:
    """Two steps from the demo project: a key that is moved, and the name and the rest."""
    before = project()
    moved = replace(before, move=offset(before.move, {"pan": {1}}, value=1.5))
    found = step(before, moved, 1.0), step(moved, replace(moved, name="Other"), 2.0), step(None, moved, 3.0)
    return tuple(one for one in found if one is not None)


@cache
def _change_trees() -> tuple[Any, ...]:
    return tuple(json.loads(msgspec.json.encode(one)) for one in _changes())


def _follows(steps: list[bytes]) -> None:
    reading = Reading(laws(), project())
    for one in steps:
        if not reading.feed(one):
            break
    newest = reading.newest()
    assert newest is None or newest in reading.states
    assert all(one.isprintable() for one in reading.troubles)


def _journal(data: bytes) -> None:
    with contextlib.suppress(ProjectError):
        header(data)
    _follows(list(unframed(data))[1:])


def _journal_step(data: bytes) -> None:
    """One step, with a checksum that fits: changes to one that is right, or bytes as they are."""
    if not data:
        return
    tree = changed(_change_trees()[data[0] % 3], data[1:])
    try:
        # names of columns are numbers there, which JSON does not have
        for splice in tree[3] if isinstance(tree, list) and len(tree) > 3 and isinstance(tree[3], list) else ():
            if isinstance(splice, list) and len(splice) > 3 and isinstance(splice[3], list) and len(splice[3]) > 4:
                odd = splice[3][4]
                splice[3][4] = (
                    {int(k) if k.isdecimal() else k: v for k, v in odd.items()} if isinstance(odd, dict) else odd
                )
        packing = msgspec.msgpack.encode(tree)
    except (OverflowError, msgspec.MsgspecError):
        return  # no number that a journal can hold
    _follows([packing])


def _journal_bytes(data: bytes) -> None:
    _follows(list(packets(data)))


def _recovery(data: bytes) -> None:
    """A whole journal as a crash left it, in the place where the next start looks for it."""
    root = _folder() / "state"
    held = hold(None, None, None, root)
    (held.place / "journal").write_bytes(data)
    held.lock.release()
    found = recover(None, laws(), root)
    if isinstance(found, Refused):
        assert (found.kept / "journal").read_bytes() == data, "it was refused, and is lost"
    elif isinstance(found, Recovered):
        found.done()


def _same(one: object, other: object) -> bool:
    """Whether two messages say the same; what is no number is the same as what is none."""
    return msgspec.msgpack.encode(one) == msgspec.msgpack.encode(other)


def _unframed(decoder: msgspec.msgpack.Decoder[Any]) -> Callable[[bytes], None]:
    def unframe(data: bytes) -> None:
        one, whole = Unframer(decoder), Unframer(decoder)
        parted: list[Any] = []
        refused = False
        try:
            for part in pieces(data):
                parted.extend(one.feed(part))
        except ValueError:
            refused = True
        together: list[Any] = []
        try:
            together.extend(whole.feed(data[1:]))
        except ValueError:
            assert refused
        assert all(_same(a, b) for a, b in zip(parted, together, strict=False))

    return unframe


def _record(data: bytes) -> None:
    """One row on its way to the process that writes takes; what is read is what stands there."""
    try:
        found = unpack(data)
    except ValueError:
        return
    assert pack(unpack(pack(found))) == pack(found)


# what is right, to begin with


def _take_bytes() -> bytes:
    rows: list[tuple[str, bytes]] = [("event", msgspec.json.encode(EventRow(1, "armed", "armed by the operator")))]
    for n in range(3):
        rows.append(("setpoint", msgspec.json.encode(SetpointRow(n, n / 9, "running", (1.5, 2.0), (0.0, 0.0)))))
        rows.append(("actual", msgspec.json.encode(ActualRow(n, n, (1.5, None)))))
        rows.append(("timecode", msgspec.json.encode(TimecodeRow(n, n / 9))))
    small = replace(_heading(), rig=None, shot_as=None)
    return _take(msgspec.json.encode(small), rows)


def _row_seeds() -> list[bytes]:
    one = {
        0: SetpointRow(1, 0.5, "running", (1.5, 2.0), (0.0, 0.0)),
        1: ActualRow(1, 2, (1.5, None)),
        2: TimecodeRow(3, 0.5),
        3: EventRow(1, "armed", "armed"),
    }
    return [packed([bytes((kind,)) + msgspec.json.encode(row) for kind, row in one.items()])]


def _shot_seeds() -> list[bytes]:
    begun = Begun(of="tide", frames=3, begins=1.0, sha256="0" * 64)
    lines = [begun, Firing(frame=0, at=1.0), Exposed(frame=0, at=1.0, actual=(1.5, None)), Moved(frame=1, by_s=2.0)]
    return [b"".join(msgspec.json.encode(one) + b"\n" for one in lines)]


def _log_seeds() -> list[bytes]:
    log = {"format": takelog.FORMAT, "version": 1, "takes": {"a.mcap": {"circled": True, "note": "good"}}}
    return [_plain(log), _plain(log | {"version": 2}), _plain(log | {"more": [1]})]


def _journal_seeds() -> list[bytes]:
    first = framed(Header(FORMAT, VERSION, "", "", "", 1.0))
    moved, _, whole = _changes()
    return [first + framed(moved), (first + framed(whole))]


def _small_text() -> list[bytes]:
    return [
        b'{"format": "twintake/project", "version": 1, "a": [1.5, {"b": "c:\\u00e9", "d": null}]}',
        b"\xef\xbb\xbf{}",
    ]


def _command_seeds() -> list[bytes]:
    said = [frame(Arm(cue="turn", heading=_heading())), frame(Drive((0.5, -1.0), range_deg=30.0)), frame(Quit())]
    return [b"\xff" + b"".join(said), b"\x21" + said[1] + said[2]]


def _report_seeds() -> list[bytes]:
    return [b"\x42" + frame(Opened("io", {0: "midi:a"})) + frame(Said(5, "armed", "armed by the operator"))]


def _records() -> list[bytes]:
    begun = OpenTake("takes/a.mcap", replace(_heading(), rig=None), 800.0, 3.0)
    rows = SetpointRow(3, 0.5, "running", (1.5, 2.0), (0.0, -1.0)), ActualRow(1, 2, (1.5, None)), TimecodeRow(3, 0.5)
    return [pack(one) for one in (begun, *rows, EventRow(1, "armed", "armed"), CloseTake(3))]


def _recipes() -> list[bytes]:
    return [bytes((demo, file, 0, 9, 2, 0)) for demo in range(3) for file in range(2)]


TARGETS = (
    Target(name="project-text", decode=_project_text, seeds=lambda: [_plain(_demo("low-tide")[0])], longest=3000),
    Target(name="json-text", decode=_written, seeds=_small_text, longest=300),
    Target(name="project-edited", decode=_edited, seeds=_recipes, longest=26),
    Target(name="take-file", decode=_reads, seeds=lambda: [_take_bytes()], longest=3000),
    Target(name="take-rows", decode=_take_rows, seeds=_row_seeds, longest=500),
    Target(name="take-heading", decode=_take_heading, seeds=lambda: [bytes((0, 3, 2, 0))], longest=24),
    Target(name="shot-log", decode=_shot_log, seeds=_shot_seeds, longest=600),
    Target(name="take-log", decode=_take_log, seeds=_log_seeds, longest=300),
    Target(name="journal", decode=_journal, seeds=_journal_seeds, longest=3000),
    Target(
        name="journal-step", decode=_journal_step, seeds=lambda: [bytes((n, 0, 3, 2, 0)) for n in range(3)], longest=25
    ),
    Target(
        name="journal-bytes",
        decode=_journal_bytes,
        seeds=lambda: [packed([msgspec.msgpack.encode(_changes()[0])])],
        longest=300,
    ),
    Target(name="recovery", decode=_recovery, seeds=_journal_seeds, longest=3000),
    Target(name="commands", decode=_unframed(COMMANDS), seeds=_command_seeds, longest=400),
    Target(name="reports", decode=_unframed(REPORTS), seeds=_report_seeds, longest=400),
    Target(name="records", decode=_record, seeds=_records, longest=600),
)
