"""What a project, its music and its folders refuse, each with its words; what was there is there still."""

import errno
import os
import re
import sys
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from sequencer.errors import LinkError, ProjectError, SequencerError, TakeError
from sequencer.project import amend, audiofile, copying, inside, shot_log, takelog
from sequencer.project.copying import copy
from sequencer.project.document import Project
from sequencer.project.lock import Lock
from sequencer.project.previz_within import within_of
from sequencer.project.shot_log import Begun, Log
from sequencer.project.store import load
from sequencer.project.take_summary import summary
from sequencer.project.takelog import Change
from sequencer.rig.axis import Axis
from sequencer.score.move import Key, Track
from sequencer.shell.kinds import laws
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timecode, count

HARBOUR = Path(__file__).parents[2] / "projects" / "harbour-lanterns"
BEGUN = Begun(of="tide", frames=4, begins=1000.0, sha256="abc")


@pytest.fixture(scope="module")
def harbour() -> Project:
    return load(HARBOUR, laws())


def endless(project: Project) -> Project:
    """Return the project with a pan without end, of which a key says which way round it turns."""
    rig = project.rig
    pan = replace(rig.axes[0], travel=None, homing=None, simulated=replace(rig.axes[0].simulated, switch_at=None))
    key = Key(at=Fraction(0), value=0.0, ease=project.move.tracks[0].keys[0].ease)
    track = Track(axis="pan", keys=(key, replace(key, at=Fraction(100), value=20.0, turn="up")))
    return replace(project, rig=replace(rig, axes=(pan, *rig.axes[1:])), move=replace(project.move, tracks=(track,)))


def narrow(project: Project) -> Project:
    low = min(key.value for key in project.move.tracks[0].keys)
    pan: Axis = replace(project.rig.axes[0], travel=(low + 1, 170.0), home=low + 2, homing=None)
    return amend.with_rig(project, replace(project.rig, axes=(pan, *project.rig.axes[1:])))


def turned(project: Project) -> Project:
    there = endless(project)
    pan = replace(there.rig.axes[0], travel=(-90.0, 90.0))
    return amend.with_rig(there, replace(there.rig, axes=(pan, *there.rig.axes[1:])))


EDITS: dict[str, Callable[[Project], object]] = {
    "playback: there is no playback to place; choose an audio file first": lambda project: amend.played(
        replace(project, playback=None), Fraction(0)
    ),
    "tracks[0].axis: the track of pan would have no axis; remove the track too": lambda project: amend.with_rig(
        project, replace(project.rig, axes=project.rig.axes[1:])
    ),
    "of its keys would be outside the travel, the furthest at ": narrow,
    "keys of pan say which way round it turns; it stays an axis in degrees without end, or change the keys": turned,
}


@pytest.mark.parametrize("words", EDITS)
def test_an_edit_that_does_not_fit_is_refused(harbour: Project, words: str) -> None:
    with pytest.raises(ProjectError, match=re.escape(words)):
        EDITS[words](harbour)


@pytest.mark.parametrize("written", ["soon", "1mile", "pan=far", "=2", "0.5mmm"])
def test_a_tolerance_is_a_number_with_a_unit_or_of_an_axis(written: str) -> None:
    with pytest.raises(ValueError, match=rf"^'{written}' is no tolerance; write 0\.02deg, 0\.5mm"):
        within_of([written])


def test_a_project_without_that_cue_says_which_there_are(harbour: Project) -> None:
    with pytest.raises(ValueError, match=r"^no cue 'quay' in .*; cues: "):
        harbour.cue("quay")


@pytest.fixture
def song(tmp_path: Path) -> Path:
    path = tmp_path / "song.wav"
    soundfile.write(path, np.zeros((480, 2)), 48_000)
    return path


def test_music_of_half_a_day_is_refused(song: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(audiofile, "_LONGEST_S", 0)
    with pytest.raises(ProjectError, match=r"^song\.wav: is longer than 0 hours; cut it to what is needed$"):
        audiofile.load(song)


def test_a_channel_that_is_not_there_is_refused(song: Path) -> None:
    with pytest.raises(ProjectError, match=r"^song\.wav: has 2 channels, and none with the number 3; name another$"):
        list(audiofile.one_channel(song, 3))


def test_music_that_breaks_off_is_refused(song: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object, **__: object) -> None:
        raise soundfile.LibsndfileError(2)

    monkeypatch.setattr(soundfile.SoundFile, "read", broken)
    words = r"^song\.wav: cannot be read to its end: .*; export it again$"
    with pytest.raises(ProjectError, match=words):
        audiofile.load(song)
    with pytest.raises(ProjectError, match=words):
        list(audiofile.pieces(song))


@pytest.mark.parametrize("read", [audiofile.info, audiofile.load])
def test_music_without_its_library_says_what_to_install(
    read: Callable[[Path], object], song: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "soundfile", None)
    words = r"^audio files need the package soundfile and its library \(.*soundfile.*\); pip install soundfile$"
    with pytest.raises(LinkError, match=words):
        read(song)


def failing(number: int) -> Callable[..., Any]:
    def fails(*_: object, **__: object) -> None:
        raise OSError(number, os.strerror(number))

    return fails


def log_of(path: Path) -> Path:
    Log.begin(path, BEGUN).close()
    return path


def unread(path: Path, patch: pytest.MonkeyPatch) -> object:
    log_of(path)
    patch.setattr(shot_log, "_opened", failing(errno.EACCES))
    return shot_log.read(path)


def swollen(path: Path, patch: pytest.MonkeyPatch) -> object:
    patch.setattr(shot_log, "_LARGEST", 8)
    return shot_log.read(log_of(path))


def unlocked(path: Path, patch: pytest.MonkeyPatch) -> object:
    log_of(path)
    patch.setattr(Lock, "take", failing(errno.EACCES))
    return Log.resume(path)


def unbegun(path: Path, patch: pytest.MonkeyPatch) -> object:
    patch.setattr(shot_log, "make_folder", failing(errno.EROFS))
    return Log.begin(path, BEGUN)


def unresumed(path: Path, patch: pytest.MonkeyPatch) -> object:
    log_of(path)
    patch.setattr(inside, "own", failing(errno.EROFS))
    return Log.resume(path)


LOGS: dict[str, Callable[[Path, pytest.MonkeyPatch], object]] = {
    "cannot be read: Permission denied; check the folder": unread,
    "larger than this program ever wrote; move it away": swollen,
    "cannot be locked: Permission denied; check the folder": unlocked,
    "cannot be written: Read-only file system; check the folder and the disk": unbegun,
    "cannot be written: Read-only file system; check the folder and the disk ": unresumed,
}


@pytest.mark.parametrize("words", LOGS)
def test_a_log_of_a_timelapse_that_cannot_be_had_is_said(
    words: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "takes" / "tide.shots.jsonl"
    with pytest.raises(TakeError, match=f"^{re.escape(str(path))}: {re.escape(words.strip())}$"):
        LOGS[words](path, monkeypatch)
    monkeypatch.undo()
    if path.exists():
        Log.resume(path)[0].close()  # whoever was refused holds nothing


def test_a_log_of_takes_that_nobody_wrote_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "log.json").write_bytes(b"{}" * 9)
    monkeypatch.setattr(takelog, "MAX_BYTES", 8)
    with pytest.raises(TakeError, match=r"^log\.json: larger than 0 MB, which this program never wrote; move it away$"):
        takelog.read(tmp_path)


def test_a_place_that_cannot_be_looked_into_takes_no_copy(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "there").mkdir()
    monkeypatch.setattr(os, "listdir", failing(errno.EACCES))
    with pytest.raises(ProjectError, match=r"^copy: .*there cannot be read: Permission denied; name another place$"):
        copy(HARBOUR, tmp_path / "there", "none", laws())


def flushed_but_the_copy(folder: Path) -> None:
    if (folder / "copy").exists():
        raise OSError(errno.EIO, os.strerror(errno.EIO))


CONFIRMED: dict[str, tuple[str, Callable[..., Any], type[SequencerError]]] = {
    "but its disk does not say that it keeps it: Input/output error; copy it once more, to another disk": (
        "flush_folder",
        flushed_but_the_copy,
        LinkError,
    ),
    "project.json: the copy is not the same project; copy it again, to another disk": (
        "load",
        lambda folder, laws: replace(load(folder, laws), name=folder.name),
        ProjectError,
    ),
}


@pytest.mark.parametrize("words", CONFIRMED)
def test_a_copy_that_nobody_can_vouch_for_is_said(words: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    name, stand_in, kind = CONFIRMED[words]
    monkeypatch.setattr(copying, name, stand_in)
    with pytest.raises(kind, match=re.escape(words)):
        copy(HARBOUR, tmp_path / "copy", "none", laws())


def test_a_rate_is_two_whole_numbers() -> None:
    with pytest.raises(ValueError, match=r"^25/0 is no rate; it must be two whole numbers above zero$"):
        Rate(25, 0)


def test_a_folder_full_of_broken_logs_gets_no_more_of_them(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "log.json").write_bytes(b"{")
    monkeypatch.setattr(takelog, "_MOST_ASIDE", 1)
    with pytest.raises(TakeError, match=r"^log\.json: too many broken logs in .*; move some of them away$"):
        takelog.write(tmp_path, {"one.mcap": Change(note="good")})
    assert (tmp_path / "log.json").read_bytes() == b"{"


def test_a_take_of_which_nothing_can_be_read_is_said(tmp_path: Path) -> None:
    with pytest.raises(TakeError, match=r"gone\.mcap: cannot be read: No such file or directory; check the name"):
        summary(tmp_path / "gone.mcap")


def test_a_part_of_a_frame_is_less_than_a_frame() -> None:
    with pytest.raises(ValueError, match=r"^1 is no part of a frame; it lies in \[0, 1\)$"):
        count(Timecode(10, 0, 0, 0, Fraction(1)), Counting(Rate(25)))
