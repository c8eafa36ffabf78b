"""Faults of the disk in plain words, each with its mend."""

from pathlib import Path

from sequencer.errors import ProjectError
from ui.acts.disk import not_opened, plain


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
