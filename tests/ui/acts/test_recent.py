"""The list of recent projects."""

import json
import os
import shutil
import sys
import time
from pathlib import Path

import pytest

from ui.acts.recent import opened, recent


def test_it_survives_nonsense_and_leaves_out_what_is_gone(tmp_path: Path) -> None:
    other = Path(shutil.copytree("projects/paper-boats", tmp_path / "boats"))
    (tmp_path / "recent.json").write_text("{nonsense")
    assert recent(tmp_path) == ()
    opened(other, tmp_path)
    opened(tmp_path / "gone", tmp_path)
    assert recent(tmp_path) == (other.resolve(),)


def test_a_folder_that_cannot_be_looked_at_is_left_out(tmp_path: Path) -> None:
    tide = Path(shutil.copytree("projects/low-tide", tmp_path / "tide")).resolve()
    # longer than any name may be: the system answers as for a disk that is gone, with a fault
    (tmp_path / "recent.json").write_text(json.dumps(["/" + "a" * 1000, str(tide)]))
    assert recent(tmp_path) == (tide,)


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="a name of any bytes is a name on Linux alone")
def test_a_folder_whose_name_is_no_text_leaves_the_list_as_it_was(tmp_path: Path) -> None:
    tide = Path(shutil.copytree("projects/low-tide", tmp_path / "tide")).resolve()
    opened(tide, tmp_path)
    opened(Path(shutil.copytree(tide, tmp_path / os.fsdecode(b"\xff"))), tmp_path)
    assert recent(tmp_path) == (tide,)
    assert not list(tmp_path.glob("*.new"))


def test_what_a_program_left_that_was_ended_is_cleared_and_what_another_writes_now_stays(tmp_path: Path) -> None:
    tide = Path(shutil.copytree("projects/low-tide", tmp_path / "tide")).resolve()
    left, now = (tmp_path / f".recent.json.{number:08x}.new" for number in (1, 2))
    for path in (left, now):
        path.write_text('["/half')
    os.utime(left, (time.time() - 3600,) * 2)
    opened(tide, tmp_path)
    assert not left.exists()
    assert now.read_text() == '["/half'
    assert recent(tmp_path) == (tide,)
