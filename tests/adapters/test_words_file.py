"""What is said of a file that a disk does not take to its end."""

import io
import threading
from pathlib import Path

import pytest

from sequencer.adapters.setpoint_files import part
from sequencer.errors import LinkError
from tests.adapters.test_file_output import SleepingDisk, opened, setpoint


def test_a_disk_that_never_takes_the_end_is_told_with_what_it_took(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    awake = threading.Event()
    monkeypatch.setattr(part, "_create", lambda path: io.BufferedWriter(SleepingDisk(path, awake)))
    monkeypatch.setattr(part, "_CLOSES_WITHIN_S", 0.0)
    before = set(threading.enumerate())
    try:
        with pytest.raises(LinkError) as caught, opened(f"csv:{tmp_path / 'move.csv'}") as output:
            output.send(setpoint(1))
    finally:
        awake.set()
        for thread in set(threading.enumerate()) - before:
            thread.join()
    assert str(caught.value) == (
        "move.csv: the disk did not take it within 0 s, and what it took is in move.csv.part; "
        f"look after the disk, or name another ({tmp_path})"
    )
