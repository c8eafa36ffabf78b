"""`twintake tempo --find`: the beat of the playback is found, shown, and written only if asked."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
import typer
from typer.testing import CliRunner, Result

from sequencer.cli.tempo import tempo
from tests.cli.harbour import change, files, opened
from tests.music import sounds

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


def without_tempo(tree: dict[str, Any]) -> None:
    tree.pop("tempo")


def test_the_demo_song_is_found_at_its_tempo_and_its_first_beat(harbour: Path) -> None:
    change(harbour, "project.json", without_tempo)
    before = files(harbour)
    done = run(harbour, "--find")
    assert done.exit_code == 0, done.output
    assert "heard in playback.wav: 64 beats at one steady tempo (sure)" in done.output
    assert "now: 96 BPM in 4/4, first beat at 10:00:00:00" in done.output
    assert done.output.endswith("nothing written; --write keeps it\n")
    assert files(harbour) == before


def test_with_write_the_project_holds_it(harbour: Path) -> None:
    change(harbour, "project.json", without_tempo)
    move = opened(harbour).move
    found = facts(harbour, "--find", "--write")
    assert found["written"]
    assert found["before"] is None
    assert found["keys"]["on_beats"] == 47
    assert json.loads((harbour / "project.json").read_text())["tempo"] == {
        "bpm": "96",
        "beats_per_bar": 4,
        "first_beat": "10:00:00:00",
    }
    assert opened(harbour).move == move
    assert not facts(harbour, "--find", "--write")["written"]  # and found again it is the same


def test_half_the_tempo_and_another_first_beat_can_be_named(harbour: Path) -> None:
    assert facts(harbour, "--find", "--near", "47")["tempo"]["bpm"] == 48
    later = facts(harbour, "--find", "--first-beat", "10:00:01:06")["bars"]
    # the third beat begins a bar, on its exact instant
    assert "10:00:01:06.25" in [bar["at"] for bar in later]


def test_music_that_gets_faster_is_written_as_tempi_at_bars(harbour: Path) -> None:
    song = sounds.drums(106, 40, at_s=sounds.gliding(104, 108, 40), rate_hz=12_000)
    soundfile.write(harbour / "playback.wav", song.samples, song.rate_hz)
    found = facts(harbour, "--find", "--near", "106", "--write")
    assert found["written"]
    assert 1 <= len(found["tempo"]["changes"]) <= 16
    assert all(each["beat"] == 1 for each in found["tempo"]["changes"])
    grid = opened(harbour).tempo
    assert grid is not None
    beats_s = np.array([float(grid.seconds(beat)) for beat in range(len(song.beats_s))])
    assert np.abs(beats_s - song.beats_s).max() < 0.012


def test_what_cannot_be_found_ends_with_words(harbour: Path) -> None:
    for options, words in (
        (("--near", "96"), "command line: --near: there is nothing to find near it; add --find"),
        (("--find", "--midi", "song.mid"), "command line: --find: a tempo comes from --midi already"),
        (("--find", "--near", "5000"), "no beat is looked for at 5000 BPM"),
        (("--find", "--near", "nan"), "no beat is looked for at nan BPM"),
        (("--find", "--first-beat", "soon"), "'soon' is not a timecode"),
    ):
        done = run(harbour, *options)
        assert done.exit_code == 2, done.output
        assert words in done.output
        assert "Traceback" not in done.output
    soundfile.write(harbour / "playback.wav", sounds.noise(10, 12_000), 12_000)
    assert "playback.wav: no steady beat found: nothing in the audio repeats evenly; name a tempo" in (
        run(harbour, "--find").output
    )
    (harbour / "playback.wav").write_bytes(b"no sound at all")
    assert "is no audio file that can be read" in run(harbour, "--find").output
    (harbour / "playback.wav").unlink()
    assert "is not there; copy the audio file there" in run(harbour, "--find").output
    change(harbour, "project.json", lambda tree: tree.pop("playback"))
    assert "playback: is missing" in run(harbour, "--find").output
