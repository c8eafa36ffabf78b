"""Faults of the disk in plain words, each with its mend; and audio that is copied in is written through no link."""

import os
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from sequencer.errors import ProjectError
from sequencer.project.document import Playback
from sequencer.project.inside import LEADS_OUT
from sequencer.project.store import load
from sequencer.shell.kinds import laws
from tests.ui.conftest import LANTERNS
from ui.acts import disk
from ui.acts.disk import copied, not_opened, plain, write


def test_words_for_a_folder_that_may_not_be_read() -> None:
    words = not_opened(Path("boats"), PermissionError(13, "Permission denied", "boats/project.json"))
    assert "boats was not opened" in words
    assert "permissions" in words


def test_words_for_a_full_and_for_a_protected_disk() -> None:
    assert "the disk is full" in plain(OSError(28, "No space left on device", "song.wav"))
    assert "write-protected" in plain(OSError(30, "Read-only file system", "song.wav"))


def test_a_file_that_is_no_folder_is_said(tmp_path: Path) -> None:
    (tmp_path / "boats").write_text("x")
    words = not_opened(tmp_path / "boats", ProjectError("", "there is no folder"))
    assert "is a file" in words
    assert "project.json" in words


def test_audio_that_is_too_large_is_not_copied(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    song, folder = tmp_path / "song.wav", tmp_path / "folder"
    song.write_bytes(b"music")
    folder.mkdir()
    monkeypatch.setattr(disk, "_MOST_BYTES", 4)  # of 4 GB, for the sake of the disk
    with pytest.raises(ProjectError) as refused:
        copied(song, folder)
    assert plain(refused.value) == "song.wav: is larger than 4 GB; cut it to what is needed."
    assert os.listdir(folder) == []


def test_audio_is_copied_through_no_link_of_a_strangers_folder(tmp_path: Path) -> None:
    song, secret, folder = (tmp_path / name for name in ("song.wav", "secret", "folder"))
    song.write_bytes(b"music")
    secret.write_bytes(b"a key")
    folder.mkdir()
    (folder / ".song.wav.new").symlink_to(secret)
    assert copied(song, folder) == "song.wav"
    assert (secret.read_bytes(), (folder / "song.wav").read_bytes()) == (b"a key", b"music")
    assert os.listdir(folder) == ["song.wav"]


def test_audio_of_a_project_that_is_saved_elsewhere_stays_within_the_new_folder(tmp_path: Path) -> None:
    before, elsewhere, folder = (tmp_path / name for name in ("before", "elsewhere", "folder"))
    shutil.copytree(LANTERNS, before)
    (before / "audio").mkdir()
    (before / "audio" / "song.wav").write_bytes(b"music")
    project = load(before, laws())
    assert project.playback is not None
    project = replace(project, playback=Playback(file="audio/song.wav", at=project.playback.at))
    elsewhere.mkdir()
    folder.mkdir()
    (folder / "audio").symlink_to(elsewhere)
    with pytest.raises(OSError, match=LEADS_OUT):
        write(folder, before, project, laws())
    assert os.listdir(elsewhere) == []
    write(tmp_path / "new", before, project, laws())
    assert (tmp_path / "new" / "audio" / "song.wav").read_bytes() == b"music"
