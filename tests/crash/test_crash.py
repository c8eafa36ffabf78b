"""Crashes: some real kills and some power cuts of every writer, and each wait for the disk shown to be needed."""

import json
import os
import subprocess
import sys
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from sequencer.export import written
from sequencer.project import copying, library, lock, paired, recovery, shot_log, takelog
from sequencer.shell import recorder
from tests.crash import runs
from tests.crash.disk import watched
from tests.crash.power import ROUNDS, cut, run, tree
from tests.crash.shared import shared_out
from tests.crash.states import MODELS, states
from tests.crash.writer import Crash, Told
from tests.crash.writers.listed import CUT, KILLED
from tests.project.test_takefile import HEADING
from ui.acts import disk
from ui.panels import first_run

STATES, KILLS = 25, 30


@pytest.mark.parametrize("name", CUT)
def test_a_power_cut_at_any_instant_loses_nothing_that_was_promised(name: str) -> None:
    found = cut(CUT[name], ROUNDS[name], STATES)
    assert found.states == STATES * len(MODELS)
    assert not found.words


def plain(folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)


def nothing(*_: Any) -> None:
    """Do not wait for the disk."""


def moved(path: Path, old: Path) -> None:
    path.rename(old)


@pytest.mark.parametrize(
    ("name", "where", "what", "instead"),
    [
        ("save", paired, "flush_folder", nothing),
        ("save", paired, "complete", nothing),
        ("journal", recovery, "flush_folder", nothing),
        ("journal", lock, "make_folder", plain),
        ("take", recorder, "flush_folder", nothing),
        ("take", recorder.Recorder, "_wait", nothing),
        ("removed", library, "flush_folder", nothing),
        ("notes", takelog, "flush_folder", nothing),
        ("notes", takelog, "make_folder", plain),
        ("export", written, "_flush", nothing),
        ("export", written, "_keep", moved),
        ("copy", copying, "flush_folder", nothing),
        ("shot log", shot_log, "flush_folder", nothing),
        ("music", disk, "flush_folder", nothing),
        ("shot log", shot_log, "make_folder", plain),
        ("demo", copying, "flush_folder", nothing),
        ("demo", first_run, "make_folder", plain),
        ("new", first_run, "make_folder", plain),
    ],
)
def test_what_does_not_wait_for_the_disk_is_noticed(
    monkeypatch: pytest.MonkeyPatch, name: str, where: Any, what: str, instead: Callable[..., None]
) -> None:
    monkeypatch.setattr(where, what, instead)
    if what == "make_folder" and where is not lock:
        monkeypatch.setattr(lock, what, instead)
    assert any(cut(CUT[name], min(ROUNDS[name], 40), STATES, seed).lost for seed in range(4))


def test_the_same_seed_gives_the_same_states() -> None:
    with run(CUT["notes"], 4) as (_, seen):
        one, again, other = (list(states(seen, "any", 20, seed)) for seed in (1, 1, 2))
    assert one == again
    assert [state.tree for state in one] != [state.tree for state in other]


def test_a_file_that_was_not_waited_for_may_be_anything(tmp_path: Path) -> None:
    """The faults that are best known: a renamed file without its bytes, and a new one without its name."""
    place = tmp_path / "place"
    place.mkdir()
    (place / "there").write_bytes(b"old")
    with watched(place) as seen:
        (place / "new").write_bytes(b"bytes")
        (place / "new").replace(place / "there")
    assert tree(place) == {"there": b"bytes"}
    found = [state.tree for model in MODELS for state in states(seen, model, 200, 1)]
    for one in ({"there": b""}, {"there": b"old"}, {"there": bytes(5)}, {"there": b"byt"}, {"there": b"bytes"}):
        assert one in found
    assert {"new": b"bytes"} not in found, "a name that was replaced is never without a file"


def test_what_cannot_be_followed_is_refused(tmp_path: Path) -> None:
    with watched(tmp_path), pytest.raises(NotImplementedError, match="is not followed"):
        (tmp_path / "words").write_text("text")
    with watched(tmp_path), pytest.raises(NotImplementedError, match="is not followed"):
        os.open(tmp_path / "words", os.O_WRONLY)


@pytest.mark.real_time
@pytest.mark.skipif(not hasattr(os, "fork"), reason="a writer is a fork of the process that kills it")
def test_real_kills_lose_nothing() -> None:
    """In a process of its own, since it forks."""
    command = [sys.executable, "-m", "tests.crash", "--kills", str(KILLS), "--jobs", "1", "--json", "--from", "100"]
    said = subprocess.run(command, capture_output=True, check=False, text=True)
    assert not said.stderr
    killed = json.loads(said.stdout)
    assert Counter(one["name"] for one in killed) == {name: count for name, count in shared_out(KILLS).items() if count}
    assert not [one for one in killed if one["lost"]]
    assert any(one["left"] for one in killed), "some kills fell into the writing"
    assert not any(one["left_then"] for one in killed), "the next run clears up"


@pytest.mark.real_time
@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="finds the processes of a run under /proc")
def test_a_command_that_is_killed_in_a_take_loses_nothing() -> None:
    command = [sys.executable, "-m", "tests.crash", "--only", "takes", "--seed", "4"]
    said = subprocess.run(command, capture_output=True, check=False, text=True)
    assert (said.returncode, said.stdout, said.stderr) == (0, "nothing lost\n", "")


def test_a_take_of_a_whole_run_that_is_gone_or_has_no_rows_or_cannot_be_read_is_lost(tmp_path: Path) -> None:
    (tmp_path / "takes").mkdir()
    path = tmp_path / "takes" / "turn_001.mcap"
    assert list(runs._lost(tmp_path, 0, 0, until_then=True)) == ["the take that was begun is not there"]
    with recorder.Recorder.open(path, HEADING):
        # its heading is there, and no row
        assert not list(runs._lost(tmp_path, 0, 1_000_000_000, until_then=True))
        (words,) = runs._lost(tmp_path, 0, 2_000_000_000, until_then=True)
        assert "ends 2.00 s before the kill" in words
    path.write_bytes(b"nothing")
    (words,) = runs._lost(tmp_path, 0, 0, until_then=True)
    assert "a take cannot be read" in words


def test_a_loss_is_told(tmp_path: Path) -> None:
    """Each writer's judge says something of a place in which nothing is."""
    for number, writer in enumerate(KILLED.values()):
        place = tmp_path / str(number)
        place.mkdir()
        writer.prepare(place)
        told = [("opened", 0), *((word, 700) for word in ("begun", "fired", "edited", "done"))]
        crash = Crash(place, tuple(Told(word, at, 0) for word, at in told), 10**12)
        assert list(writer.lost(crash)), writer.name
