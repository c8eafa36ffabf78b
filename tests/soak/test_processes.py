"""What a process holds, beside what it is known to hold: itself, with more of each."""

import os
import subprocess
import sys
import threading
from contextlib import ExitStack
from pathlib import Path

import pytest

from tests.soak.processes import KNOWN, files_in, folder_of, held

pytestmark = pytest.mark.skipif(not KNOWN, reason="read from /proc")


def test_descriptors_threads_and_memory_are_counted(tmp_path: Path) -> None:
    before = held(os.getpid())
    assert before is not None
    ended = threading.Event()
    with ExitStack() as stack:
        for number in range(5):
            stack.enter_context((tmp_path / str(number)).open("wb"))
        waiting = [threading.Thread(target=ended.wait) for _ in range(3)]
        for one in waiting:
            one.start()
        more = bytes(range(256)) * (40 << 12)  # 40 MB, written to
        after = held(os.getpid())
        ended.set()
        for one in waiting:
            one.join()
    assert after is not None
    assert len(more) == 40 << 20
    assert after.descriptors == before.descriptors + 5
    assert after.threads == before.threads + 3
    assert 35 < after.own_mb - before.own_mb < 45
    assert after.spent_s >= before.spent_s


def test_a_process_that_has_ended_holds_nothing() -> None:
    process = subprocess.Popen([sys.executable, "-c", ""])
    process.wait()
    assert held(process.pid) is None
    assert folder_of(process.pid) is None


def test_files_are_counted_in_folders_within_too(tmp_path: Path) -> None:
    (tmp_path / "within").mkdir()
    for name in ("page", "within/records"):
        (tmp_path / name).touch()
    assert files_in(tmp_path) == 2
    assert files_in(tmp_path / "not there") is None
    assert files_in(None) is None
