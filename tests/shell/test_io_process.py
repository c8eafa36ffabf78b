"""What the io process keeps of a take, also when the disk does not want it."""

import json
import resource
import signal
import socket
import sys
import threading
from collections.abc import Iterator
from contextlib import ExitStack, nullcontext
from pathlib import Path
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from sequencer.adapters.contract import Chunk
from sequencer.errors import LinkError, ProjectError
from sequencer.project.library import library
from sequencer.project.takefile import read
from sequencer.shell import inlets, io_process
from sequencer.shell.child import Child
from sequencer.shell.control import Control
from sequencer.shell.inlets import Inlet, RingSource, pack_chunk
from sequencer.shell.keeper import Keeper
from sequencer.shell.memory import Page, Ring
from sequencer.shell.messages import COMMANDS, REPORTS, Failed, Kept, Said, Setup
from sequencer.shell.records import CloseTake, OpenTake, Record, pack, unpack
from sequencer.shell.watchdog import RESTING, UNWATCHED
from sequencer.sync.crowd import Crowd
from sequencer.sync.orders import Mapped, StopRig
from sequencer.takes.rows import ActualRow, EventRow, SetpointRow, TimecodeRow
from tests.shell.small import small_project
from tests.shell.test_control import HEADING

SETPOINT = SetpointRow(5_000_000, 6.25, "running", (1.5,), (0.25,))
ROWS: list[Record] = [
    SETPOINT,
    ActualRow(5_100_000, 5_200_000, (None,)),
    TimecodeRow(5_000_100, 6.25),
    EventRow(5_000_200, "running", "following timecode"),
]


@pytest.fixture
def ring(tmp_path: Path) -> Ring:
    return Ring(tmp_path / "records", size=1 << 22)


@pytest.fixture
def small_files() -> Iterator[int]:
    """Let no file grow beyond 20 kB, as a full disk would not; POSIX sends a signal first."""
    limit = 20_000
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    handler = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (limit, before[1]))
    yield limit
    resource.setrlimit(resource.RLIMIT_FSIZE, before)
    signal.signal(signal.SIGXFSZ, handler)


def opening(path: Path, expected_s: float = 10.0) -> OpenTake:
    return OpenTake(str(path), HEADING, rows_per_s=500.0, expected_s=expected_s)


def put(ring: Ring, *records: Record) -> None:
    for record in records:
        assert ring.put(pack(record))


def told(keeper: Keeper) -> Kept:
    """Return what was reported of the take; its trouble was told at once, before the take was closed."""
    said, kept = keeper.reports
    assert isinstance(said, Said)
    assert isinstance(kept, Kept)
    assert kept.trouble in said.text
    assert "The move goes on" in said.text
    return kept


@pytest.mark.parametrize("record", [*ROWS, OpenTake("a.mcap", HEADING, 500.0, 10.0), CloseTake(3)])
def test_records_travel_unchanged(record: Record) -> None:
    assert unpack(pack(record)) == record


def test_a_take_is_kept_from_opening_to_close(ring: Ring, tmp_path: Path) -> None:
    keeper = Keeper(ring)
    put(ring, SETPOINT, opening(tmp_path / "one.mcap"), *ROWS, CloseTake(), *ROWS)
    keeper.drain()
    assert keeper.reports == [Kept(str(tmp_path / "one.mcap"), "")]
    take = read(tmp_path / "one.mcap")
    assert take.complete
    assert take.asked.tolist() == [[1.5]]
    assert np.isnan(take.actual).all()
    assert [one.code for one in take.happenings] == ["running"]


def test_a_take_that_is_still_open_at_the_end_is_closed(ring: Ring, tmp_path: Path) -> None:
    keeper = Keeper(ring)
    put(ring, opening(tmp_path / "one.mcap"), *ROWS)
    keeper.drain()
    keeper.close()
    assert read(tmp_path / "one.mcap").complete


@pytest.mark.parametrize("end", ["", "stopping", "stopped", "finished"])
def test_a_take_whose_engine_ended_before_it_does_not_read_as_whole(ring: Ring, tmp_path: Path, end: str) -> None:
    keeper, ended = Keeper(ring), threading.Event()
    ended.set()
    put(ring, opening(tmp_path / "one.mcap"), *ROWS, *([EventRow(5_000_300, end, "told")] if end else []))
    keeper.run(ended)
    take, (kept,) = read(tmp_path / "one.mcap"), keeper.reports
    assert isinstance(kept, Kept)
    assert take.complete
    assert take.happenings[-1].code == (end or "stopped")
    (filed,) = library(tmp_path).takes
    assert filed.standing == ("whole" if end == "finished" else "stopped")
    cut = "the run ended before the take did, and what was recorded is kept; look at the rig before you shoot it again"
    assert kept.trouble == ("" if end else cut)
    assert (filed.stops == (cut,)) == (not end)


def test_a_take_that_somebody_moved_while_it_was_written_is_not_said_to_be_kept(ring: Ring, tmp_path: Path) -> None:
    keeper, place = Keeper(ring), tmp_path / "takes"
    place.mkdir()
    put(ring, opening(place / "one.mcap"), *ROWS)
    keeper.drain()
    place.rename(tmp_path / "elsewhere")
    put(ring, CloseTake())
    keeper.drain()
    (kept,) = keeper.reports
    assert isinstance(kept, Kept)
    assert kept.trouble == (
        "one.mcap was written, and is not there any more; look for who moved or removed it, or pulled the disk "
        f"({place})"
    )
    assert read(tmp_path / "elsewhere" / "one.mcap").complete


@pytest.mark.parametrize(("last", "outlasts_s"), [(RESTING, 1.0), (UNWATCHED, 1.0), (None, 2.0)])
def test_what_the_engine_does_when_the_command_has_died_is_still_recorded(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, last: int | None, outlasts_s: float
) -> None:
    """For a second it brakes; then it rests, or its heart stands still (None), which is waited for a second more."""
    page, now_s = Page(tmp_path / "page", new=True), 0.0
    page.set_word(Page.ENGINE_BEAT, 1)

    def sleep(for_s: float) -> None:
        nonlocal now_s
        now_s += for_s
        beat = round(now_s * 1e9) if now_s < 1.0 else last
        if beat is not None:
            page.set_word(Page.ENGINE_BEAT, beat)

    monkeypatch.setattr(io_process, "time", SimpleNamespace(monotonic=lambda: now_s, sleep=sleep))
    io_process._outlast(page)
    assert now_s == pytest.approx(outlasts_s, abs=0.05)


def test_a_disk_without_room_is_told_and_no_file_is_begun(ring: Ring, tmp_path: Path) -> None:
    keeper = Keeper(ring)
    put(ring, opening(tmp_path / "one.mcap", expected_s=1e12), *ROWS, CloseTake())
    keeper.drain()
    kept = told(keeper)
    assert "free some space" in kept.trouble
    assert not (tmp_path / "one.mcap").exists()


def test_a_folder_that_is_not_there_is_told(ring: Ring, tmp_path: Path) -> None:
    keeper = Keeper(ring)
    put(ring, opening(tmp_path / "nowhere" / "one.mcap"), CloseTake())
    keeper.drain()
    kept = told(keeper)
    assert kept.trouble


def test_a_disk_that_fills_up_loses_nothing_that_was_written(ring: Ring, tmp_path: Path, small_files: int) -> None:
    keeper = Keeper(ring)
    noise = np.random.default_rng(3)
    put(ring, opening(tmp_path / "one.mcap"))
    for number in range(4000):
        position = tuple(noise.normal(size=5).tolist())
        put(ring, SetpointRow(number * 4_000_000, number * 0.004, "running", position[:1], position[1:2]))
        keeper.drain()
    put(ring, CloseTake())
    keeper.drain()
    kept = told(keeper)
    assert "one.mcap" in kept.trouble
    assert (tmp_path / "one.mcap").stat().st_size <= small_files
    take = read(tmp_path / "one.mcap")
    assert not take.complete
    assert len(take.due_ns) > 100
    # and the next take is kept as if nothing had been
    put(ring, opening(tmp_path / "two.mcap"), *ROWS, CloseTake())
    keeper.drain()
    assert keeper.reports[-1] == Kept(str(tmp_path / "two.mcap"), "")


def test_a_disk_that_is_told_of_while_the_take_runs_is_not_waited_for(ring: Ring, tmp_path: Path) -> None:
    keeper = Keeper(ring)
    put(ring, opening(tmp_path / "nowhere" / "one.mcap"), *ROWS)
    keeper.drain()
    assert [type(one) for one in keeper.reports] == [Said]


def test_rows_that_never_came_make_the_take_not_whole(ring: Ring, tmp_path: Path) -> None:
    keeper = Keeper(ring)
    put(ring, opening(tmp_path / "one.mcap"), *ROWS, CloseTake(missing=7))
    keeper.drain()
    (kept,) = keeper.reports
    assert isinstance(kept, Kept)
    assert "7 rows are missing" in kept.trouble
    assert len(read(tmp_path / "one.mcap").due_ns) == 1


class Port:
    """A source that always has one more chunk, until it is `gone`."""

    address = "midi:loud"
    gone = False

    def fileno(self) -> int | None:
        return None

    def notices(self) -> tuple[str, ...]:
        return ()

    def read(self, heard_ns: int) -> tuple[Chunk, ...]:
        if self.gone:
            raise LinkError("the MIDI port 'loud' is gone; plug it in")
        return (Chunk(heard_ns, bytes(30)),)


def test_chunks_that_find_no_room_are_told_once_each_time(tmp_path: Path) -> None:
    writer, reader = Ring(tmp_path / "chunks", size=100), RingSource(tmp_path / "chunks")
    inlet, told = Inlet(0, nullcontext(Port()), vital=True), []
    for number in range(8):
        if number == 5:
            reader.read(0)
        told.append(len(inlet.pass_on(writer)))
    assert told == [0, 0, 1, 0, 0, 0, 0, 1]


class Full(Port):
    """A source that floods the way to the engine, and then has a stop."""

    def __init__(self, stop: bytes) -> None:
        self.chunks = (*(Chunk(0, bytes(40)) for _ in range(10_000)), Chunk(0, stop))

    def read(self, heard_ns: int) -> tuple[Chunk, ...]:
        return self.chunks


STOP_NOTE = Mapped(message="note", number=36, order=StopRig())


@pytest.mark.parametrize(
    ("stop", "crowd", "hands"),
    [
        (b"/stop\0\0\0,\0\0\0", None, False),
        (b"/run/stop\0\0\0,\0\0\0", None, False),
        (b"\xf0\x7f\x7f\x06\x01\xf7", Crowd("midi:loud"), False),
        (b"\x91\x24\x40", Crowd("midi:loud", (STOP_NOTE,)), False),
        (b"a row of a pad", None, True),
    ],
)
def test_a_stop_finds_room_where_a_flood_finds_none(
    tmp_path: Path, stop: bytes, crowd: Crowd | None, hands: bool
) -> None:
    writer, reader = Ring(tmp_path / "chunks", size=1 << 18), RingSource(tmp_path / "chunks")
    Inlet(0, nullcontext(Full(bytes(12))), vital=True).pass_on(writer)
    # another port's, behind the flood
    other = Full(stop)
    other.chunks = other.chunks[-1:]
    Inlet(1, nullcontext(other), vital=False, crowd=crowd, hands=hands).pass_on(writer)
    heard = reader.read(0)
    assert len(heard) < 10_000
    assert heard[-1] == Chunk(0, stop, 1)


@pytest.mark.parametrize("waited", [False, True])
def test_what_waited_while_this_process_was_busy_is_no_flood(tmp_path: Path, waited: bool) -> None:
    """Half a minute of quarter frames, read at once: they came one after the other, or all now."""
    writer, reader = Ring(tmp_path / "chunks", size=1 << 20), RingSource(tmp_path / "chunks")
    port = Full(b"\xf1\x25")
    port.chunks = tuple(Chunk(number * 8_333_333 if waited else 2**62, b"\xf1\x25") for number in range(3_600))
    told = Inlet(0, nullcontext(port), vital=True, crowd=Crowd("midi:loud")).pass_on(writer)
    assert len(reader.read(0)) == (3_600 if waited else 100)
    assert bool(told) != waited


def test_a_stamp_far_ahead_holds_up_nothing_that_comes_later(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    writer, reader = Ring(tmp_path / "chunks", size=1 << 20), RingSource(tmp_path / "chunks")
    port, now_ns = Full(b""), 0
    monkeypatch.setattr(inlets, "time", SimpleNamespace(monotonic_ns=lambda: now_ns))
    inlet = Inlet(0, nullcontext(port), vital=True, crowd=Crowd("midi:loud"))
    for stamp_ns in (2**62, 1_000_000_000):
        port.chunks = (Chunk(stamp_ns, b"\xf1\x25"),) * 3_600
        inlet.pass_on(writer)
        assert len(reader.read(0)) == 100
        now_ns = 1_000_000_000


@pytest.mark.parametrize("triggers", [("midi:loud",), ()])
def test_a_midi_port_has_a_gate_that_knows_what_the_project_maps_to_a_stop(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, triggers: tuple[str, ...]
) -> None:
    folder = small_project(tmp_path / "small")
    written = json.loads((folder / "project.json").read_text())
    written["triggers"] = {"midi": [{"note": 36, "do": "stop rig"}]}
    (folder / "project.json").write_text(json.dumps(written))
    stop, other = b"\x91\x24\x40", b"\x91\x25\x40"
    port = Full(b"")
    port.chunks = (*(Chunk(0, other) for _ in range(3_000)), Chunk(0, stop))
    monkeypatch.setattr(io_process, "open_source", lambda address: nullcontext(port))
    setup = Setup(project=str(folder), run=None, output="", sync="mtc", sources=("midi:loud",), triggers=triggers)
    (inlet,) = io_process._inlets(setup, tmp_path)
    writer, reader = Ring(tmp_path / "chunks", size=1 << 20), RingSource(tmp_path / "chunks")
    inlet.pass_on(writer)
    heard = [chunk.data for chunk in reader.read(0)]
    assert 0 < heard.count(other) < 100
    assert heard.count(stop) == len(triggers)


def test_the_rows_of_pads_find_room_where_a_flood_finds_none(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    writer, reader = Ring(tmp_path / "chunks", size=1 << 18), RingSource(tmp_path / "chunks")
    setup = Setup(project="", run=None, output="", sync="internal", controllers="pads:")
    monkeypatch.setattr(io_process, "open_controllers", lambda address: nullcontext(Port()))
    with ExitStack() as stack:
        (pads,) = io_process._pads(cast(Child, SimpleNamespace(setup=setup)), stack)
        Inlet(0, nullcontext(Full(bytes(12))), vital=True).pass_on(writer)
        pads.pass_on(writer)
    assert reader.read(0)[-1].port == setup.pads_port


def test_a_source_that_is_followed_takes_the_run_with_it_and_another_one_does_not(tmp_path: Path) -> None:
    ring, port = Ring(tmp_path / "chunks", size=1000), Port()
    vital, other = (Inlet(number, nullcontext(port), vital=number == 0) for number in range(2))
    port.gone = True
    with pytest.raises(LinkError, match="gone"):
        vital.pass_on(ring)
    assert other.pass_on(ring) == ["the MIDI port 'loud' is gone; plug it in. The run goes on without it"]
    assert other.pass_on(ring) == []


def test_chunks_say_from_which_source_they_are(tmp_path: Path) -> None:
    ring, reader = Ring(tmp_path / "chunks", size=1000), RingSource(tmp_path / "chunks")
    for number in (3, 0):
        Inlet(number, nullcontext(Port()), vital=False).pass_on(ring)
    assert [chunk.port for chunk in reader.read(0)] == [3, 0]


def test_chunks_reach_the_engine_with_their_stamps(tmp_path: Path) -> None:
    writer = Ring(tmp_path / "chunks", size=1000)
    source = RingSource(tmp_path / "chunks")
    sent = [Chunk(2**60, b"\xf1\x05"), Chunk(2**60 + 1, b"", 2)]
    for chunk in sent:
        writer.put(pack_chunk(chunk))
    assert list(source.read(0)) == sent
    assert source.read(0) == ()


def test_music_that_cannot_be_read_is_the_project_s_fault(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with socket.create_server(("127.0.0.1", 0)) as door:
        theirs = socket.create_connection(door.getsockname())
        ours, _ = door.accept()
    Ring(tmp_path / "chunks", size=1000)
    Ring(tmp_path / "records", size=1000)
    Ring(tmp_path / "wishes", size=1000)
    setup = Setup(project=str(tmp_path), run=None, output="", sync="audio")
    child = Child(setup, None, Control(ours, COMMANDS))  # type: ignore[arg-type]  # no rig is looked at here

    def no_music(setup: Setup, ring: Ring) -> None:
        raise ProjectError("playback.file", "is not there", "copy it there")

    monkeypatch.setattr(io_process, "join", lambda folder, role: child)
    monkeypatch.setattr(io_process, "open_playback", no_music)
    before_s = sys.getswitchinterval()
    try:
        io_process.main(tmp_path)
    finally:
        sys.setswitchinterval(before_s)
        ours.close()
    with theirs:
        assert Control(theirs, REPORTS).read() == [
            Failed("project.json: playback.file: is not there; copy it there", 2)
        ]
