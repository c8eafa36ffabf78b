"""What is lost of the take of a whole run that was killed: also where somebody closed it in order, and too early."""

from pathlib import Path

import pytest

from sequencer.shell.recorder import Recorder
from sequencer.takes.rows import EventRow, SetpointRow
from tests.crash import runs
from tests.project.test_takefile import HEADING, rows

_S = 1_000_000_000


def _recorded(folder: Path, *, said: str = "", after_ns: int = 0) -> int:
    """Record a second of a take, close it, and return when the last of it was due."""
    written = rows(1.0)
    last_ns = max(row.due_ns for row in written if isinstance(row, SetpointRow))
    with Recorder.open(folder / "takes" / "turn_001.mcap", HEADING) as recorder:
        for row in written:
            recorder.write(row)
        if said:
            recorder.write(EventRow(last_ns + after_ns, said, "in words"))
    return last_ns


@pytest.mark.parametrize(("said", "is_lost"), [("running", True), ("stopped", False), ("finished", False)])
def test_a_take_that_went_on_reaches_to_the_kill_though_it_was_closed(tmp_path: Path, said: str, is_lost: bool) -> None:
    (tmp_path / "takes").mkdir()
    last_ns = _recorded(tmp_path, said=said)
    assert not list(runs._lost(tmp_path, 0, last_ns + _S, until_then=True))
    lost = list(runs._lost(tmp_path, 0, last_ns + 2 * _S, until_then=True))
    assert any("before the kill" in words for words in lost) == is_lost


def test_a_take_that_was_said_to_end_after_the_kill_went_on_until_then(tmp_path: Path) -> None:
    (tmp_path / "takes").mkdir()
    last_ns = _recorded(tmp_path, said="stopped", after_ns=2 * _S + 1)
    assert any("before the kill" in words for words in runs._lost(tmp_path, 0, last_ns + 2 * _S, until_then=True))


def test_where_what_writes_a_take_lives_on_it_is_whole(tmp_path: Path) -> None:
    (tmp_path / "takes").mkdir()
    _recorded(tmp_path)
    assert not list(runs._lost(tmp_path, 0, 0, until_then=False))
    with Recorder.open(tmp_path / "takes" / "turn_002.mcap", HEADING):
        (words,) = runs._lost(tmp_path, 0, 0, until_then=False)
    assert words.startswith("turn_002.mcap is not whole")
