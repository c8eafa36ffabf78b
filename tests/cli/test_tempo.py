"""`twintake tempo`: what an operator sees of the beats, what a MIDI file would change, and what is written."""

import errno
import json
import os
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import mido
import pytest
import typer
from typer.testing import CliRunner, Result

from sequencer.cli.tempo import tempo
from tests.cli.harbour import change, files, opened

pytestmark = pytest.mark.usefixtures("terminal")

app = typer.Typer()
app.command()(tempo)


def run(folder: Path, *options: str) -> Result:
    return CliRunner().invoke(app, [str(folder), *options])


def facts(folder: Path, *options: str) -> dict[str, Any]:
    done = run(folder, *options, "--json")
    assert done.exit_code == 0, done.output
    read = json.loads(done.stdout)
    assert isinstance(read, dict)
    return read


@pytest.fixture
def song(tmp_path: Path) -> str:
    """Write 100 BPM in 4/4, from bar 3 in 6/8, with 110 after its fifth eighth; and two markers."""
    file = mido.MidiFile(ticks_per_beat=480)
    track = file.add_track()
    track.append(mido.MetaMessage("set_tempo", tempo=600_000))
    track.append(mido.MetaMessage("marker", text="chorus", time=480 * 8))
    track.append(mido.MetaMessage("time_signature", numerator=6, denominator=8))
    track.append(mido.MetaMessage("set_tempo", tempo=500_000, time=240 * 5))
    track.append(mido.MetaMessage("marker", text="way out", time=240))
    path = tmp_path / "song.mid"
    file.save(path)
    return str(path)


def test_no_two_options_have_one_name() -> None:
    command = typer.main.get_command(app)
    names = Counter(name for one in command.params for name in (*one.opts, *one.secondary_opts))
    assert names.most_common(1)[0][1] == 1


def test_the_beats_are_shown_bar_by_bar(harbour: Path) -> None:
    before = files(harbour)
    done = run(harbour)
    assert done.exit_code == 0, done.output
    lines = [line.split() for line in done.output.splitlines()]
    assert done.output.startswith("96 BPM in 4/4, first beat at 10:00:00:00\n")
    assert ["1", "1", "10:00:00:00", "96", "4/4"] in lines
    assert ["2", "1", "10:00:02:12.5"] in lines
    assert ["16", "1", "10:00:37:12.5"] in lines
    assert all(len(line) <= 80 for line in done.output.splitlines())
    assert files(harbour) == before


def test_the_document_has_every_beat_exactly(harbour: Path) -> None:
    found = facts(harbour)
    assert found["tempo"] == found["before"]
    assert found["tempo"]["changes"] == []
    assert len(found["bars"]) == 16
    assert found["bars"][0]["beats"] == ["10:00:00:00", "10:00:00:15.625", "10:00:01:06.25", "10:00:01:21.875"]
    assert (found["more_bars"], found["written"]) == (0, False)
    assert found["keys"] == {"all": 47, "on_beats_before": 47, "on_beats": 47}


def test_a_midi_file_shows_what_would_change_and_changes_nothing(harbour: Path, song: str) -> None:
    before = files(harbour)
    done = run(harbour, "--midi", song, "--markers")
    assert done.exit_code == 0, done.output
    words = done.output.splitlines()
    assert words[:3] == [
        "was: 96 BPM in 4/4, first beat at 10:00:00:00",
        "now: 100 BPM in 4/4, first beat at 10:00:00:00, 2 changes",
        "keys on a beat: 47 before, 0 now; no key moves",
    ]
    assert "marker chorus: 10:00:04:20, was at 10:00:20:00" in words
    # eight quarter notes of 0.6 s, five eighths of 0.3 s, one of 0.25 s
    assert "marker way out: 10:00:06:13.75, new" in words
    lines = [line.split() for line in words]
    assert ["3", "1", "10:00:04:20", "200", "6/8"] in lines
    assert ["3", "6", "10:00:06:07.5", "240"] in lines
    assert done.output.endswith("nothing written; --write keeps it\n")
    assert files(harbour) == before


def test_with_write_the_project_holds_it_and_the_file_before_stays(harbour: Path, song: str) -> None:
    before, move = files(harbour), opened(harbour).move
    done = run(harbour, "--midi", song, "--first-beat", "10:00:02:00", "--write")
    assert done.exit_code == 0, done.output
    assert done.output.endswith("written; the file before is project.json.bak\n")
    after = files(harbour)
    assert after.pop("project.json.bak") == before["project.json"]
    assert [name for name in after if after[name] != before[name]] == ["project.json"]
    assert opened(harbour).move == move  # markers are taken only if asked for
    assert json.loads(after["project.json"])["tempo"] == {
        "bpm": "100",
        "beats_per_bar": 4,
        "first_beat": "10:00:02:00",
        "changes": [
            {"bar": 3, "beats_per_bar": 6, "beat_note": 8},
            {"bar": 3, "beat": "6", "bpm": "240"},
        ],
    }
    again = facts(harbour, "--midi", song, "--write")
    assert (again["tempo"], again["written"]) == (again["before"], False)  # the first beat stays where it was


def test_markers_are_taken_and_none_twice(harbour: Path, song: str) -> None:
    assert run(harbour, "--midi", song, "--markers", "--write").exit_code == 0
    once = opened(harbour).move.markers
    names = [one.name for one in once]
    assert names == ["chorus", "way out", "verse", "first lamp", "second lamp", "all lamps", "refrain", "lamps out"]
    assert facts(harbour, "--midi", song, "--markers", "--first-beat", "10:00:01:00", "--write")["markers"] == [
        {"name": "chorus", "at": "10:00:05:20", "was": ["10:00:04:20"]},
        {"name": "way out", "at": "10:00:07:13.75", "was": ["10:00:06:13.75"]},
    ]
    assert len(opened(harbour).move.markers) == len(once)


def test_the_first_beat_alone_can_be_moved(harbour: Path) -> None:
    done = run(harbour, "--first-beat", "10:00:00:05", "--write")
    assert "now: 96 BPM in 4/4, first beat at 10:00:00:05\n" in done.output
    assert json.loads((harbour / "project.json").read_text())["tempo"]["first_beat"] == "10:00:00:05"


def test_a_long_project_lists_the_first_bars_and_says_how_many_more(
    harbour: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    change(harbour, "project.json", lambda tree: tree["markers"].append({"name": "late", "at": "10:20:00:00"}))
    done = run(harbour)
    assert "and 281 bars more, up to 10:20:00:00; --json lists them\n" in done.output
    assert len(facts(harbour)["bars"]) == 481
    change(harbour, "project.json", lambda tree: tree["tempo"].update(bpm="999999999"))
    monkeypatch.setattr("sequencer.cli.tempo._MOST_LISTED", 50)  # of 5000, for the sake of time
    found = facts(harbour)
    assert len(found["bars"]) == 50
    assert found["more_bars"] > 10**9


def test_a_project_without_a_tempo_gets_one_from_its_start(harbour: Path, song: str) -> None:
    change(harbour, "project.json", lambda tree: tree.pop("tempo"))
    done = run(harbour)
    assert done.exit_code == 2
    assert "project.json: tempo: there is none; write one, or read one with --midi FILE" in done.output
    done = run(harbour, "--midi", song)
    assert done.output.startswith("was: no tempo\nnow: 100 BPM in 4/4, first beat at 10:00:00:00, 2 changes\n")
    assert facts(harbour, "--midi", song)["before"] is None


def test_a_song_that_the_disk_does_not_give_is_not_read(
    harbour: Path, song: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    there: Callable[..., Any] = Path.open

    def fails(path: Path, *mode: str, **more: Any) -> Any:
        if str(path) == song:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        return there(path, *mode, **more)

    before = files(harbour)
    monkeypatch.setattr(Path, "open", fails)
    done = run(harbour, "--midi", song, "--write")
    assert done.exit_code == 2
    words = f"command line: --midi: {song} cannot be read: Input/output error; check the file, or copy it here\n"
    assert words in done.stderr
    assert files(harbour) == before


def test_what_cannot_be_read_ends_with_words(harbour: Path, tmp_path: Path, song: str) -> None:
    before = files(harbour)
    spoilt = tmp_path / "spoilt.mid"
    spoilt.write_bytes(Path(song).read_bytes()[:-5])
    huge = tmp_path / "huge.mid"
    with huge.open("wb") as file:
        file.truncate(17 * 2**20)
    for options, words in (
        (("--midi", str(spoilt), "--write"), "spoilt.mid: track 1: the file ends in the middle of it"),
        (("--midi", str(huge)), "huge.mid: larger than 16 MB"),
        (("--midi", str(tmp_path / "none.mid")), "there is no file"),
        (("--midi", str(tmp_path)), "there is no file"),
        (("--markers",), "command line: --markers: there is no file to take them from; add --midi FILE"),
        (("--first-beat", "soon"), "command line: --first-beat: 'soon' is not a timecode"),
    ):
        done = run(harbour, *options)
        assert done.exit_code == 2
        assert words in done.output
        assert "Traceback" not in done.output
    assert files(harbour) == before
