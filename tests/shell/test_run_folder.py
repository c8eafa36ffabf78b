"""The folders in which the processes of a run share memory: the next run removes those of dead runs, and no others."""

import os
import signal
import stat
import subprocess
import sys
import time
from pathlib import Path

import pytest

from sequencer.shell import run_folder

HOLDS = """
import subprocess, sys
from pathlib import Path
from sequencer.shell import run_folder
run_folder.place = lambda: Path(sys.argv[1])
with run_folder.run_folder() as (folder, held):
    child = subprocess.Popen(["sleep", "60"], pass_fds=held, stdout=subprocess.DEVNULL)
    print(folder, child.pid, flush=True)
    sys.stdin.read()
"""
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="locks are not inherited there")


@pytest.fixture(autouse=True)
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(run_folder, "place", lambda: tmp_path)
    return tmp_path


def test_the_folder_goes_with_the_block(place: Path) -> None:
    with run_folder.run_folder() as (folder, held):
        assert folder.parent == place
        assert held
        run_folder.sweep()
        assert folder.is_dir(), "it lives"
    assert not list(place.iterdir())


def test_nobody_else_may_look_into_it_whatever_the_mask() -> None:
    """The run's token is in there, and the word that stops the rig: for this user alone (POSIX file modes)."""
    before = os.umask(0)
    try:
        with run_folder.run_folder() as (folder, _):
            assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    finally:
        os.umask(before)


def test_what_is_no_run_of_ours_stays(place: Path) -> None:
    (place / "twintake-timelapse-1").mkdir()
    (place / "other").mkdir()
    (place / "other" / "lock").touch()
    (place / "twintake-linked").symlink_to(place / "other")
    run_folder.sweep()
    assert sorted(path.name for path in place.iterdir()) == ["other", "twintake-linked", "twintake-timelapse-1"]


@pytest.mark.real_time
def test_a_killed_run_is_removed_once_none_of_its_processes_lives(place: Path) -> None:
    command = subprocess.Popen(
        [sys.executable, "-c", HOLDS, str(place)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert command.stdout is not None
    assert command.stdin is not None
    name, pid = command.stdout.readline().split()
    folder = Path(name)
    command.kill()
    command.wait()
    command.stdout.close()
    command.stdin.close()
    run_folder.sweep()
    assert folder.is_dir(), "one of its processes still brakes the rig"
    os.kill(int(pid), signal.SIGKILL)
    deadline_s = time.monotonic() + 10.0
    while folder.exists() and time.monotonic() < deadline_s:
        run_folder.sweep()
        time.sleep(0.01)
    assert not folder.exists()
