"""The file output: what stands in a CSV and an MCAP, disks that fail or wait, and what a crash leaves."""

import csv
import io
import json
import math
import re
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

import jsonschema
import numpy as np
import pytest
from mcap.exceptions import EndOfFile, McapError
from mcap.reader import make_reader
from mcap.records import Message
from mcap.stream_reader import StreamReader

from sequencer.adapters.contract import Output
from sequencer.adapters.outputs.file import KIND
from sequencer.adapters.setpoint_files import part
from sequencer.errors import LinkError
from sequencer.project.takefile import read
from sequencer.rig.axis import Axis, Camera, Rig
from sequencer.rig.signals import Setpoint, Trigger
from sequencer.shell.kinds import open_output
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timebase, parse

if TYPE_CHECKING:
    from _typeshed import ReadableBuffer

RIG = Rig(
    name="quay",
    axes=(
        Axis(name="pan", kind="pan", unit="deg", travel=(-170, 170), speed=60, acceleration=120, jerk=600),
        Axis(name="slide", kind="slide", unit="mm", travel=(0, 2000), speed=500, acceleration=900, jerk=4000),
    ),
    camera=Camera(sensor_mm=(24.9, 14.0), pixels=(3840, 2160), focal_mm=35.0, subject_m=4.0),
)
DROP = Counting(Rate(30000, 1001), drop=True)
TIMEBASE = Timebase(DROP, parse("10:00:59;28", DROP))
TICK_NS = 4_000_000


def setpoint(tick: int, *, clocked: bool = True) -> Setpoint:
    timeline_s = float(Fraction(1001, 30000) * tick) if clocked else math.nan
    return Setpoint(tick * TICK_NS, np.array([tick / 3, tick * 2.0]), np.array([1 / 3, -2.0]), timeline_s)


@contextmanager
def opened(address: str) -> Iterator[Output]:
    with open_output(address, RIG, TIMEBASE) as output:
        yield output


def filled(address: str) -> None:
    with opened(address) as output:
        output.send(setpoint(0, clocked=False))
        for tick in range(1, 4):
            output.look(tick * TICK_NS)
            output.send(setpoint(tick))
        output.fire(Trigger(3 * TICK_NS, "shutter"))
        output.stop()


def test_a_csv_has_every_set_with_its_units_timecode_and_due_time(tmp_path: Path) -> None:
    filled(f"csv:{tmp_path}/move.csv")
    with (tmp_path / "move.csv").open(newline="", encoding="utf-8") as text:
        head, *rows = csv.reader(text)
    assert head == [
        *("due (ns)", "timecode (30000/1001 fps, drop-frame)", "timeline (s)"),
        *("position pan (deg)", "speed pan (deg/s)", "position slide (mm)", "speed slide (mm/s)", "event"),
    ]
    assert rows[0] == ["0", "", "", "0.0", repr(1 / 3), "0.0", "-2.0", ""]
    # SMPTE ST 12-1, drop-frame compensation: labels :00 and :01 are left out at the start of a minute but each tenth
    assert [row[1] for row in rows[1:4]] == ["10:00:59;29", "10:01:00;02", "10:01:00;03"]
    assert [int(row[0]) for row in rows[:4]] == [tick * TICK_NS for tick in range(4)]
    assert [[float(cell) for cell in row[3:7]] for row in rows[:4]] == [[t / 3, 1 / 3, t * 2, -2] for t in range(4)]
    assert [row[7] for row in rows[4:]] == ["shutter", "stop"]
    assert not (tmp_path / "move.csv.part").exists()


def test_no_cell_of_a_csv_is_taken_for_a_formula(tmp_path: Path) -> None:
    name = "=1+A0"
    rig = Rig(name="r", axes=(Axis(name=name, kind="pan", unit="deg", travel=None, speed=1, acceleration=1, jerk=1),))
    with open_output(f"csv:{tmp_path / 'a.csv'}", rig, TIMEBASE) as output:
        output.here(name, -1.5)
    rows = list(csv.reader(io.StringIO((tmp_path / "a.csv").read_text(encoding="utf-8"))))
    assert name in rows[1][-1]
    texts = [cell for row in rows for cell in row if not re.fullmatch(r"-?\d+(\.\d+)?", cell)]
    assert [cell for cell in texts if cell.startswith(("=", "+", "-", "@", "\t", "\r"))] == []


def test_an_mcap_is_read_by_its_library_with_the_schemas_in_it(tmp_path: Path) -> None:
    filled(f"mcap:{tmp_path}/move.mcap")
    found: dict[str, list[dict[str, object]]] = {}
    with (tmp_path / "move.mcap").open("rb") as stream:
        for schema, channel, message in make_reader(stream, validate_crcs=True).iter_messages():
            assert schema is not None
            data = json.loads(message.data)
            jsonschema.validate(data, json.loads(schema.data))
            assert message.log_time == data.get("due_ns", data.get("at_ns"))
            found.setdefault(channel.topic, []).append(data)
    assert [row["timecode"] for row in found["setpoint"]] == ["10:00:59;29", "10:01:00;02", "10:01:00;03"]
    assert found["unclocked"] == [{"due_ns": 0, "position": [0.0, 0.0], "velocity": [1 / 3, -2.0]}]
    assert [row["text"] for row in found["event"]] == ["shutter", "stop"]


def test_an_mcap_is_read_as_takes_are(tmp_path: Path) -> None:
    filled(f"mcap:{tmp_path}/move.mcap")
    take = read(tmp_path / "move.mcap")
    assert take.complete
    assert (take.name, take.axes, take.units, take.timebase, take.camera) == (
        *("move", ("pan", "slide"), ("deg", "mm")),
        *(TIMEBASE, RIG.camera),
    )
    np.testing.assert_array_equal(take.due_ns, [TICK_NS, 2 * TICK_NS, 3 * TICK_NS])
    np.testing.assert_array_equal(take.asked, [[tick / 3, tick * 2.0] for tick in range(1, 4)])
    np.testing.assert_allclose(take.timeline_s, [tick * 1001 / 30000 for tick in range(1, 4)], rtol=1e-15)


@pytest.mark.parametrize(
    ("address", "words"),
    [
        ("csv:", "names no file"),
        ("mcap://host/a.mcap", "names no file"),
        ("csv:a.csv?form=d", "the option form; there are none"),
    ],
)
def test_an_address_that_is_none_is_refused(address: str, words: str) -> None:
    with pytest.raises(LinkError, match=words):
        KIND.carries(address, RIG)


@pytest.mark.parametrize("there", ["move.csv", "move.csv.part"])
def test_what_is_there_is_kept(tmp_path: Path, there: str) -> None:
    (tmp_path / there).write_text("mine")
    with (
        pytest.raises(LinkError, match="is there already and is kept; name another file"),
        opened(f"csv:{tmp_path}/move.csv"),
    ):
        pass
    assert [(path.name, path.read_text()) for path in tmp_path.iterdir()] == [(there, "mine")]


def test_a_name_too_many_that_a_crash_left_is_taken_away_and_no_other_file_is(tmp_path: Path) -> None:
    for name in ("move.csv", "other.csv"):
        (tmp_path / name).write_text("whole")
    (tmp_path / "move.csv.part").hardlink_to(tmp_path / "move.csv")
    (tmp_path / "other.csv.part").write_text("whole")
    for name in ("move.csv", "other.csv"):
        with pytest.raises(LinkError, match=f"{name}: it is there already"), opened(f"csv:{tmp_path}/{name}"):
            pass
    assert {path.name for path in tmp_path.iterdir()} == {"move.csv", "other.csv", "other.csv.part"}
    assert (tmp_path / "move.csv").read_text() == "whole"


def test_a_file_that_came_there_meanwhile_is_kept_too(tmp_path: Path) -> None:
    def sent_while_it_comes() -> None:
        with opened(f"csv:{tmp_path}/move.csv") as output:
            output.send(setpoint(1))
            (tmp_path / "move.csv").write_text("mine")

    with pytest.raises(LinkError, match=r"kept, and what was written before is in move\.csv\.part"):
        sent_while_it_comes()
    assert (tmp_path / "move.csv").read_text() == "mine"
    assert len((tmp_path / "move.csv.part").read_text().splitlines()) == 2


def test_a_folder_that_is_not_there_or_is_meant_as_a_file_is_told(tmp_path: Path) -> None:
    with pytest.raises(LinkError, match="the folder is not there; make it"), opened(f"csv:{tmp_path}/no/move.csv"):
        pass
    with pytest.raises(LinkError, match="this is a folder; name a file in it"), opened(f"csv:{tmp_path}"):
        pass


def test_a_folder_that_may_not_be_written_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(path: Path) -> None:
        raise PermissionError(13, "Permission denied")

    # root may write everywhere, so the system's answer is given here
    monkeypatch.setattr(part, "_create", refuse)
    with (
        pytest.raises(LinkError, match="this user may not write there; name another folder"),
        opened(f"mcap:{tmp_path}/move.mcap"),
    ):
        pass


def until_it_fails(address: str) -> None:
    """Go on as the engine does, until the disk's failure is heard of."""
    with opened(address) as output:
        for tick in range(10_000):
            output.look(tick * TICK_NS)
            output.send(setpoint(tick))
            time.sleep(0.001)


@pytest.mark.real_time
@pytest.mark.skipif(not Path("/dev/full").exists(), reason="the system has no device that is always full")
@pytest.mark.parametrize("kind", ["csv", "mcap"])
def test_a_full_disk_is_a_link_that_is_gone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str) -> None:
    monkeypatch.setattr(part, "_create", lambda path: io.BufferedWriter(io.FileIO("/dev/full", "w")))
    words = rf"move\.{kind}: the disk is full, and what was written before is in move\.{kind}\.part; free some space"
    with pytest.raises(LinkError, match=words):
        until_it_fails(f"{kind}:{tmp_path}/move.{kind}")
    assert not (tmp_path / f"move.{kind}").exists()


class SleepingDisk(io.FileIO):
    """A file whose disk takes nothing until it is woken."""

    def __init__(self, path: Path, awake: threading.Event) -> None:
        super().__init__(path, "xb")
        self._awake = awake

    def write(self, data: "ReadableBuffer", /) -> int:
        self._awake.wait()
        return super().write(data) or 0


@pytest.mark.parametrize("kind", ["csv", "mcap"])
def test_a_disk_that_waits_makes_no_tick_wait_and_what_is_left_out_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str
) -> None:
    awake = threading.Event()
    monkeypatch.setattr(part, "_create", lambda path: io.BufferedWriter(SleepingDisk(path, awake)))
    sent = 12_000
    path = tmp_path / f"move.{kind}"
    with opened(f"{kind}:{path}") as output:
        for tick in range(sent):
            output.send(setpoint(tick))
            output.look(tick)
            if tick == 600:
                assert "lines wait for" in output.trouble()
        said = re.search(rf"the disk is too slow for move\.{kind}: (\d+) lines were left out", output.trouble())
        assert said is not None
        awake.set()
    left_out = int(said[1])
    assert 0 < left_out < sent
    words = f"{left_out} lines are left out here: the disk was too slow"
    if kind == "csv":
        with path.open(newline="", encoding="utf-8") as text:
            rows = list(csv.reader(text))
        assert len(rows) == 1 + (sent - left_out) + 1
        assert rows[-1][-1] == words
    else:
        take = read(path)
        assert len(take.due_ns) == sent - left_out
        assert [one.text for one in take.happenings] == [words]


CRASH = """
import sys, time, os, signal
from tests.adapters.test_file_output import opened, setpoint
with opened(sys.argv[1]) as output:
    for tick in range(500):
        output.send(setpoint(tick))
    time.sleep(1.5)
    for tick in range(500, 505):
        output.send(setpoint(tick))
    os.kill(os.getpid(), signal.SIGKILL)
"""


@pytest.mark.real_time
@pytest.mark.parametrize("kind", ["csv", "mcap"])
def test_a_crash_leaves_what_was_written_half_a_second_before_and_does_not_read_as_whole(
    tmp_path: Path, kind: str
) -> None:
    path = tmp_path / f"move.{kind}"
    root = Path(__file__).parents[2]
    done = subprocess.run([sys.executable, "-c", CRASH, f"{kind}:{path}"], cwd=root, timeout=60, check=False)
    assert done.returncode == -9
    assert [one.name for one in tmp_path.iterdir()] == [f"move.{kind}.part"]
    left = tmp_path / f"move.{kind}.part"
    if kind == "csv":
        with left.open(newline="", encoding="utf-8") as text:
            rows = list(csv.reader(text))
        assert len(rows) >= 501
        assert {len(row) for row in rows} == {8}, "no line stands there in part"
    else:
        take = read(left)
        assert not take.complete
        assert len(take.due_ns) >= 500
        with left.open("rb") as stream, pytest.raises(McapError):
            make_reader(stream).get_summary()
        assert sum(isinstance(record, Message) for record in whole_records(left)) >= 500


def whole_records(path: Path) -> list[object]:
    """Return what mcap's own reader has of a file that breaks off, up to there."""
    records: list[object] = []
    with path.open("rb") as stream, suppress(EndOfFile):
        for record in StreamReader(stream).records:
            records.append(record)
    return records


def test_after_closing_nothing_goes_in(tmp_path: Path) -> None:
    with opened(f"csv:{tmp_path}/move.csv") as output:
        pass
    with pytest.raises(LinkError, match="was closed"):
        output.send(setpoint(1))
