"""The recorder on disks that fail. What was written before stays readable."""

import errno
import io
import re
import resource
import subprocess
import sys
from pathlib import Path
from typing import Any, BinaryIO, cast

import numpy as np
import pytest

from sequencer.errors import LinkError
from sequencer.project.takefile import read
from sequencer.shell.recorder import Recorder, room_for
from sequencer.takes.rows import EventRow, SetpointRow
from tests.project.test_takefile import HEADING, ORIGIN_NS, rows


class FullDisk(io.FileIO):
    """A file on a disk with `room` bytes left: the write that meets the end is done in part, as systems do it."""

    def __init__(self, path: Path, room: int, fault: int) -> None:
        super().__init__(path, "wb")
        self._room, self._fault = room, fault

    def write(self, data: Any, /) -> int:
        whole = bytes(data)
        if self._room <= 0:
            raise OSError(self._fault, "no more")
        part = whole[: self._room]
        self._room -= len(part)
        return super().write(part)


def whole_size(folder: Path) -> int:
    path = folder / "whole.mcap"
    with Recorder.open(path, HEADING) as recorder:
        for row in rows():
            recorder.write(row)
    return path.stat().st_size


def record(stream: BinaryIO, path: Path, faults: list[str]) -> Recorder | None:
    """Record a whole take as the program does; gather what it complains of."""
    try:
        recorder = Recorder(stream, path, HEADING)
    except LinkError as trouble:
        faults.append(str(trouble))
        return None
    for row in rows():
        try:
            recorder.write(row)
        except LinkError as trouble:
            faults.append(str(trouble))
    try:
        recorder.finish()
    except LinkError as trouble:
        faults.append(str(trouble))
    return recorder


@pytest.mark.parametrize("fault", [errno.ENOSPC, errno.EIO, 9999])
@pytest.mark.parametrize("part", [0.0, 0.01, 0.3, 0.5, 0.8, 0.97, 0.9999])
def test_a_disk_that_fills_keeps_what_was_written_and_says_so_once(tmp_path: Path, part: float, fault: int) -> None:
    path = tmp_path / "full.mcap"
    stream = io.BufferedWriter(FullDisk(path, int(whole_size(tmp_path) * part), fault))
    faults: list[str] = []
    recorder = record(cast(BinaryIO, stream), path, faults)
    (said,) = faults
    assert said.startswith("full.mcap: ")
    assert "kept" in said
    if fault == errno.ENOSPC:
        assert "the disk is full" in said
        assert "free some space" in said
    with pytest.raises(OSError, match="no more"):
        stream.close()
    if recorder is None:
        assert "nothing of the take is kept" in said
        return
    assert recorder.kept + recorder.refused == len(rows())
    take = read(path)
    there = len(take.due_ns) + len(take.actual_ns) + len(take.sighted_ns) + len(take.happenings)
    assert there >= recorder.kept
    assert take.complete == (there == len(rows()))


def test_a_process_that_may_write_no_more_keeps_the_take(tmp_path: Path) -> None:
    """The system's own refusal: a limit on the length of files, in a process of its own."""
    code = f"""
import resource, signal, sys
from pathlib import Path
from sequencer.errors import LinkError
from sequencer.shell.recorder import Recorder
from tests.project.test_takefile import HEADING, rows
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (18000, 18000))
told = 0
with Recorder.open(Path({str(tmp_path / "limit.mcap")!r}), HEADING) as recorder:
    for row in rows():
        try:
            recorder.write(row)
        except LinkError as fault:
            told += 1
            print(fault)
print(told, recorder.kept, recorder.refused)
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60)
    said, counts = done.stdout.strip().splitlines()
    told, kept, refused = (int(one) for one in counts.split())
    assert "the disk allows no longer file" in said
    assert told == 1
    assert kept > 0
    assert kept + refused == len(rows())
    take = read(tmp_path / "limit.mcap")
    assert len(take.due_ns) + len(take.actual_ns) + len(take.sighted_ns) + len(take.happenings) == kept
    assert (tmp_path / "limit.mcap").stat().st_size == 18000
    assert resource.getrlimit(resource.RLIMIT_FSIZE)[0] != 18000


def test_a_recorder_that_is_never_finished_loses_half_a_second_at_most(tmp_path: Path) -> None:
    path = tmp_path / "crash.mcap"
    with path.open("xb") as stream:
        recorder = Recorder(stream, path, HEADING)
        assert read(path).axes == HEADING.axes  # the heading is there before any row
        for number, row in enumerate(rows()):
            recorder.write(row)
            if number % 111 == 0:
                take = read(path)
                newest = max(take.due_ns, default=ORIGIN_NS)
                assert newest >= ORIGIN_NS + number // 3 * 10_000_000 - 510_000_000


@pytest.mark.parametrize("ahead_s", [0.06, 0.4, 2.0])
@pytest.mark.parametrize("told_s", [0.0, 0.2, 0.45, 0.5])
def test_an_event_that_is_told_ahead_of_time_puts_off_nothing(tmp_path: Path, told_s: float, ahead_s: float) -> None:
    """As an order to the camera is, for a rig that wants what comes so long before it is due."""
    path = tmp_path / "crash.mcap"
    with path.open("xb") as stream:
        recorder = Recorder(stream, path, HEADING)
        for number in range(200):
            due_ns = ORIGIN_NS + number * 10_000_000
            if number == round(told_s * 100):
                recorder.write(EventRow(due_ns + round(ahead_s * 1e9), "fired", "record"))
            recorder.write(SetpointRow(due_ns, 0.0, "running", (0.0, 0.0), (0.0, 0.0)))
            if number % 5 == 4:
                assert max(read(path).due_ns, default=ORIGIN_NS) >= due_ns - 510_000_000


@pytest.mark.parametrize("good", [0, 1, 2])
def test_what_the_system_took_and_the_disk_did_not_is_not_said_to_be_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, good: int
) -> None:
    """Some disks fill, or fail, only when they are waited for."""
    path = tmp_path / "late.mcap"
    with path.open("xb") as stream:
        recorder = Recorder(stream, path, HEADING)
        waits = 0

        def wait(_: int) -> None:
            nonlocal waits
            waits += 1
            if waits > good:
                raise OSError(errno.EIO, "no more")

        monkeypatch.setattr("sequencer.shell.recorder.os.fsync", wait)
        said: list[str] = []
        written = 0
        while not said:
            try:
                recorder.write(SetpointRow(ORIGIN_NS + written * 10_000_000, 0.0, "running", (0.0, 0.0), (0.0, 0.0)))
            except LinkError as fault:
                said.append(str(fault))
            written += 1
    kept = f"the take is kept up to {0.5 * good:.1f} s" if good else "nothing of the take is kept"
    assert kept in said[0]
    there = 50 * good + 1 if good else 0
    assert (recorder.kept, recorder.refused) == (there, written - there)


def test_a_take_is_not_said_to_be_kept_up_to_what_was_told_ahead(tmp_path: Path) -> None:
    path = tmp_path / "full.mcap"
    stream = io.BufferedWriter(FullDisk(path, int(whole_size(tmp_path) * 0.5), errno.ENOSPC))
    recorder = Recorder(cast(BinaryIO, stream), path, HEADING)
    said, number = "", 0
    while not said:
        due_ns = ORIGIN_NS + number * 10_000_000
        try:
            recorder.write(SetpointRow(due_ns, 0.0, "running", (0.0, 0.0), (0.0, 0.0)))
            recorder.write(EventRow(due_ns + 2_000_000_000, "fired", "record"))
        except LinkError as fault:
            said = str(fault)
        number += 1
    with pytest.raises(OSError, match="no more"):
        stream.close()
    found = re.search(r"kept up to ([0-9.]+) s", said)
    assert found is not None
    assert 0 < float(found[1]) <= (number - 1) * 0.01


def test_many_rows_in_no_time_are_flushed_by_their_size(tmp_path: Path) -> None:
    path = tmp_path / "burst.mcap"
    noise = np.random.default_rng(1)
    with path.open("xb") as stream:
        recorder = Recorder(stream, path, HEADING)
        for _ in range(1000):
            recorder.write(SetpointRow(ORIGIN_NS, 0.0, "running", tuple(noise.random(2).tolist()), (0.0, 0.0)))
        assert len(read(path).due_ns) > 500


def test_a_take_is_never_written_over(tmp_path: Path) -> None:
    path = tmp_path / "t.mcap"
    path.write_bytes(b"precious")
    with pytest.raises(LinkError, match="is there already and is kept"), Recorder.open(path, HEADING):
        pass
    assert path.read_bytes() == b"precious"


def test_a_folder_that_is_not_there(tmp_path: Path) -> None:
    path = tmp_path / "nowhere" / "t.mcap"
    with pytest.raises(LinkError, match=r"t\.mcap: the folder is not there; make it"), Recorder.open(path, HEADING):
        pass
    assert "the folder is not there" in str(room_for(path, 500.0, 10.0))


def test_a_take_that_is_broken_off_by_an_error_is_finished(tmp_path: Path) -> None:
    path = tmp_path / "t.mcap"

    def shoot() -> None:
        with Recorder.open(path, HEADING) as recorder:
            for row in rows(1.0):
                recorder.write(row)
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        shoot()
    assert read(path).complete
    assert len(read(path).due_ns) == 100


def test_room_is_asked_for_before(tmp_path: Path) -> None:
    path = tmp_path / "t.mcap"
    assert room_for(path, 0.0, 0.0) is None
    trouble = room_for(path, 1e6, 1e6)
    assert trouble is not None
    assert "the take needs about 200000017 MB" in trouble
    assert "free some space" in trouble
