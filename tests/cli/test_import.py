"""`twintake import`: what an operator sees of a file from elsewhere, and what is written, or not."""

import json
import struct
from collections import Counter
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import mido
import pytest
import typer
from typer.testing import CliRunner, Result

from sequencer.cli.app import app
from sequencer.shell import kinds
from tests.cli.harbour import opened
from tests.wire.test_bext import chunk, content

pytestmark = pytest.mark.usefixtures("terminal")

EDL = """TITLE: QUAY
FCM: NON-DROP FRAME
001  R001     V     C        01:00:00:00 01:00:08:01 10:00:07:10 10:00:15:11
* FROM CLIP NAME: lantern turn
* LOC: 10:00:10:00 WHITE   first lamp
* LOC: 10:00:11:05 WHITE   bell
002  R002     V     C        01:00:00:00 01:00:01:15 10:00:15:10 10:00:17:00
* FROM CLIP NAME: crane [wide]
"""


def run(folder: Path, file: Path, *options: str) -> Result:
    return CliRunner().invoke(app, ["import", str(folder), str(file), *options])


def facts(folder: Path, file: Path, *options: str) -> dict[str, Any]:
    done = run(folder, file, *options, "--json")
    assert done.exit_code == 0, done.output
    read = json.loads(done.stdout)
    assert isinstance(read, dict)
    return read


def files(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


def words(done: Result) -> str:
    return " ".join(done.output.split())


@pytest.fixture
def edl(tmp_path: Path) -> Path:
    path = tmp_path / "cut.edl"
    path.write_text(EDL, encoding="utf-8")
    return path


@pytest.fixture
def song(tmp_path: Path) -> Path:
    file = mido.MidiFile(ticks_per_beat=480)
    track = file.add_track()
    track.append(mido.MetaMessage("set_tempo", tempo=600_000))
    track.append(mido.MetaMessage("marker", text="bridge", time=480 * 8))
    path = tmp_path / "song.mid"
    file.save(path)
    return path


def with_timecode(path: Path, reference: int) -> None:
    """Put a broadcast extension behind the sound."""
    data = path.read_bytes() + chunk(b"bext", content(reference=reference))
    path.write_bytes(data[:4] + struct.pack("<I", len(data) - 8) + data[8:])


def test_no_two_options_have_one_name() -> None:
    group = typer.main.get_command(app)
    command = group.commands["import"]  # type: ignore[attr-defined] # a group has commands
    names = Counter(name for one in command.params for name in (*one.opts, *one.secondary_opts))
    assert names.most_common(1)[0][1] == 1


def test_it_shows_what_would_change_and_changes_nothing(harbour: Path, edl: Path) -> None:
    before = files(harbour)
    done = run(harbour, edl, "--rate", "25", "--cues")
    assert done.exit_code == 0, done.output
    lines = [" ".join(line.split()) for line in done.output.splitlines()]
    assert lines[0] == "cut.edl begins at 10:00:07:10"
    assert "marker first lamp 10:00:10:00 there already" in lines
    assert "marker bell 10:00:11:05 new" in lines
    assert "cue lantern turn 10:00:07:10 10:00:15:10 there already" in lines
    assert "cue crane [wide] 10:00:15:10 10:00:16:24 new" in lines
    assert "- overlap: event 002 (line 7) begins 1 frame before event 001 (line 3) ends" in words(done)
    assert done.output.endswith("nothing written; --write keeps it\n")
    assert files(harbour) == before


def test_with_write_the_project_holds_it_the_file_before_stays_and_nothing_comes_twice(
    harbour: Path, edl: Path
) -> None:
    before, old = files(harbour), opened(harbour)
    done = run(harbour, edl, "--rate", "25", "--cues", "--write")
    assert done.exit_code == 0, done.output
    assert done.output.endswith("written; the file before is project.json.bak\n")
    after, new = files(harbour), opened(harbour)
    assert after.pop("project.json.bak") == before["project.json"]
    assert after["rig.json"] == before["rig.json"]
    assert new.move.tracks == old.move.tracks
    assert [one.name for one in new.move.cues] == [*(one.name for one in old.move.cues), "crane [wide]"]
    assert {one.name for one in new.move.markers} - {one.name for one in old.move.markers} == {"bell"}
    again = run(harbour, edl, "--rate", "25", "--cues", "--write")
    assert again.output.endswith("nothing to change\n")
    assert opened(harbour) == new


def test_a_file_of_another_rate_is_refused_unless_it_is_to_be_converted(harbour: Path, edl: Path) -> None:
    before = files(harbour)
    refused = run(harbour, edl, "--rate", "24", "--write")
    assert refused.exit_code == 2
    assert "cut.edl counts 24, the project 25: the second 10:00:00 is the same in both" in words(refused)
    assert files(harbour) == before
    found = facts(harbour, edl, "--rate", "24", "--convert", "--write")
    assert found["written"] is True
    # frame 5 of 24 is 5/24 s, 5.208333... frames of 25
    assert next(one for one in found["markers"] if one["name"] == "bell")["at"] == "10:00:11:05.208333333"
    assert "instants keep their real time" in " ".join(found["remarks"])


def test_without_a_rate_an_edit_list_asks_for_it(harbour: Path, edl: Path) -> None:
    done = run(harbour, edl)
    assert done.exit_code == 2
    assert "cut.edl: an edit list does not say its frame rate; say it with --rate" in words(done)
    done = run(harbour, edl, "--rate", "23.976")
    assert done.exit_code == 2
    assert "'23.976' is no rate; it must be one of" in words(done)


def test_nothing_is_written_if_one_line_is_refused(harbour: Path, edl: Path) -> None:
    edl.write_text(EDL + "* LOC: 10:00:12:25 WHITE late\n", encoding="utf-8")
    before = files(harbour)
    done = run(harbour, edl, "--rate", "25", "--write")
    assert done.exit_code == 2
    assert "cut.edl: line 9: the locator: 10:00:12:25 has frame 25; at 25 frames run from 0 to 24" in words(done)
    assert files(harbour) == before


def test_a_song_gives_its_tempo_where_it_is_put(harbour: Path, song: Path) -> None:
    done = run(harbour, song)
    assert "the file has a tempo, 100 BPM in 4/4, first beat at 10:00:00:00; --tempo takes it" in words(done)
    old = opened(harbour)
    found = facts(harbour, song, "--tempo", "--at", "10:00:02:00", "--offset", "1/2", "--write")
    assert found["begins"] == "10:00:02:00.5"
    assert found["tempo"] == {
        "was": "96 BPM in 4/4, first beat at 10:00:00:00",
        "now": "100 BPM in 4/4, first beat at 10:00:02:00.5",
    }
    assert found["markers"] == [{"name": "bridge", "at": "10:00:06:20.5", "new": True}]
    new = opened(harbour)
    assert new.tempo is not None
    assert new.tempo.bpm == 100
    assert new.tempo.at_s == Fraction(101, 50)
    assert new.move.tracks == old.move.tracks


def test_markers_can_be_left(harbour: Path, song: Path) -> None:
    assert facts(harbour, song, "--tempo", "--no-markers")["markers"] == []


def test_a_recording_places_the_playback(harbour: Path) -> None:
    path = harbour / "playback.wav"
    hz = struct.unpack_from("<I", path.read_bytes(), 24)[0]
    with_timecode(path, (10 * 3600 + 3) * hz)
    done = run(harbour, path)
    assert "--place lets the project's playback begin there" in words(done)
    found = facts(harbour, path, "--place", "--write")
    assert found["playback"] == {"was": "10:00:00:00", "now": "10:00:03:00"}
    playback = opened(harbour).playback
    assert playback is not None
    assert playback.at == 75


def test_another_recording_does_not_place_the_playback(harbour: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.wav"
    other.write_bytes((harbour / "playback.wav").read_bytes())
    with_timecode(other, 3600 * 48_000)
    done = run(harbour, other, "--place", "--write")
    assert done.exit_code == 2
    assert "is not the project's playback, which is playback.wav; copy it into the project" in words(done)


def test_a_timeline_is_read(harbour: Path, tmp_path: Path) -> None:
    otio = pytest.importorskip("opentimelineio", reason="OpenTimelineIO has no wheels for this Python")
    time = otio.opentime.RationalTime
    made = otio.schema.Timeline("cut", global_start_time=time(900_000, 25))
    made.tracks.markers.append(otio.schema.Marker("bell", otio.opentime.TimeRange(time(280, 25), time(0, 25))))
    path = tmp_path / "cut.otio"
    path.write_text(made.to_json_string(), encoding="utf-8")
    assert facts(harbour, path)["markers"] == [{"name": "bell", "at": "10:00:11:05", "new": True}]


@pytest.mark.parametrize(
    ("name", "data", "options", "said"),
    [
        ("none.edl", None, (), "there is no file"),
        ("song.doc", b"x", (), "song.doc: its name does not say what it is; say it with --as; there are: "),
        ("song.txt", b"x", ("--as", "nothing"), "there is no format 'nothing' to take something from; there are: "),
        ("song.mid", b"MThd", (), "song.mid: it is not a Standard MIDI File"),
        ("song.wav", b"x", (), "song.wav: it is no WAV file"),
        ("cut.edl", EDL.encode(), ("--rate", "25", "--tempo"), "cut.edl: it has no tempo; leave out --tempo"),
        ("cut.edl", EDL.encode(), ("--rate", "25", "--place"), "is not the project's playback"),
        ("cut.edl", EDL.encode(), ("--rate", "25", "--at", "soon"), "'soon' is not a timecode"),
        ("cut.edl", b"\xff" * 9, ("--rate", "25"), "it has no event and no locator"),
    ],
)
def test_what_cannot_be_is_said_and_nothing_is_written(
    harbour: Path, tmp_path: Path, name: str, data: bytes | None, options: tuple[str, ...], said: str
) -> None:
    path = tmp_path / name
    if data is not None:
        path.write_bytes(data)
    before = files(harbour)
    done = run(harbour, path, *options, "--write")
    assert done.exit_code == 2
    assert said in words(done)
    assert "Traceback" not in done.output
    assert files(harbour) == before


@pytest.fixture
def strangers_format(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Install a format of another package, from which nothing can be taken."""
    kind = 'ImportKind(name="quay", title="a quay", suffixes=(".quay",))'
    module = f"from sequencer.export.contract import ImportKind\nKIND = {kind}\n"
    (tmp_path / "their_quay.py").write_text(module, encoding="utf-8")
    info = tmp_path / "their_quay-1.0.dist-info"
    info.mkdir()
    (info / "METADATA").write_text("Metadata-Version: 2.1\nName: their-quay\nVersion: 1.0\n", encoding="utf-8")
    (info / "entry_points.txt").write_text("[twintake.imports]\nquay = their_quay:KIND\n", encoding="utf-8")
    monkeypatch.syspath_prepend(tmp_path)
    kinds._imports.cache_clear()
    yield
    monkeypatch.undo()
    kinds._imports.cache_clear()


def test_a_format_that_holds_neither_a_cut_nor_a_camera_is_refused(
    strangers_format: None, harbour: Path, tmp_path: Path
) -> None:
    (tmp_path / "lamps.quay").write_bytes(b"x")
    before = files(harbour)
    done = run(harbour, tmp_path / "lamps.quay", "--write")
    assert done.exit_code == 2
    assert done.stderr == "twintake: lamps.quay: a quay has no markers, shots or tempo; name another file\n"
    assert files(harbour) == before


def test_its_form_can_be_said_where_the_name_does_not(harbour: Path, tmp_path: Path) -> None:
    path = tmp_path / "cut.txt"
    path.write_text(EDL, encoding="utf-8")
    assert facts(harbour, path, "--as", "edl", "--rate", "25")["format"] == "edl"


def test_names_that_are_none_do_not_stop_an_import(harbour: Path, tmp_path: Path) -> None:
    path = tmp_path / "cut.edl"
    path.write_text(EDL + "* LOC: 10:00:12:00 RED   \n* LOC: 10:00:13:00\n", encoding="utf-8")
    found = facts(harbour, path, "--rate", "25", "--write")
    assert [one["name"] for one in found["markers"] if one["new"]] == ["bell", "line 9", "line 10"]


def test_a_project_that_cannot_be_written_stays_whole(harbour: Path, edl: Path) -> None:
    """A folder stands where the file before would go, so that even the machine's owner cannot write there."""
    (harbour / "project.json.bak" / "inside").mkdir(parents=True)
    before = {path.name: path.read_bytes() for path in harbour.iterdir() if path.is_file()}
    done = run(harbour, edl, "--rate", "25", "--cues", "--write")
    assert done.exit_code == 2
    assert "cannot be saved in" in words(done)
    assert "the files there are as they were; free the disk or save elsewhere" in words(done)
    assert {path.name: path.read_bytes() for path in harbour.iterdir() if path.is_file()} == before
