"""The file that something is taken from: what a disk refuses, and what is larger than anybody's file."""

import errno
import os
from pathlib import Path
from typing import Any

import pytest

from sequencer.errors import ImportFault
from sequencer.shell.import_file import bytes_of, kind_of

MOST_BYTES = 128 * 2**20


def test_a_file_that_the_disk_does_not_give_is_named_with_its_whole_path(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "cut.edl"
    file.write_text("TITLE: QUAY\n", encoding="utf-8")
    kind = kind_of(file, None)

    def refuse(self: Path, *_: Any, **__: Any) -> None:
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(self))

    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(ImportFault) as refused:
        bytes_of(file, kind)
    assert str(refused.value) == f"{file} cannot be read: {os.strerror(errno.EACCES)}; copy it here"


def test_a_file_that_is_too_large_is_refused_with_the_size_that_is_not(tmp_path: Path) -> None:
    file = tmp_path / "cut.edl"
    with file.open("wb") as opened:
        opened.truncate(MOST_BYTES + 1)  # holes, that take no room on the disk
    kind = kind_of(file, None)
    assert kind.shorten is None
    with pytest.raises(ImportFault, match=r"^cut\.edl: larger than 128 MB; take a part of it$"):
        bytes_of(file, kind)
    os.truncate(file, MOST_BYTES)
    assert len(bytes_of(file, kind)) == MOST_BYTES
