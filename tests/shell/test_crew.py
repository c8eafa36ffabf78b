"""What the command says when a process of its run has ended without a word."""

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from sequencer.shell import crew
from sequencer.shell.crew import Crew, CrewFailed
from sequencer.shell.memory import Page
from sequencer.shell.messages import Setup
from sequencer.shell.watchdog import RESTING


@pytest.fixture
def begun(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Crew]:
    """Return a crew whose processes wait for their input."""

    def start(*_: Any, **__: Any) -> subprocess.Popen[bytes]:
        return subprocess.Popen([sys.executable, "-c", "import signal; signal.pause()"])

    monkeypatch.setattr(crew, "_start", start)
    one = Crew(tmp_path, Setup(project="", run=None, output="", sync="internal"))
    yield one
    one.close()


@pytest.mark.parametrize(
    ("role", "rig"),
    [
        ("engine", "the engine ended by itself (status -9), and the rig is told to stop"),
        ("io", "the io process ended by itself (status -9), so the run ends, and a rig that moves brakes"),
        ("watchdog", "the watchdog process ended by itself (status -9), so the run ends, and a rig that moves brakes"),
    ],
)
def test_a_process_that_was_killed_is_told_with_what_the_rig_does(begun: Crew, role: str, rig: str) -> None:
    process = begun._processes[role]
    process.kill()
    process.wait()
    with pytest.raises(CrewFailed) as raised:
        begun.hear(0.0)
    assert str(raised.value) == f"{rig}; look at it before you start again"
    assert raised.value.exit_status == 3


def test_a_watchdog_that_stands_still_is_told_unless_all_did(
    begun: Crew, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    now_s = [1000.0]
    monkeypatch.setattr("sequencer.shell.crew.time.monotonic", lambda: now_s[0])
    page = Page(tmp_path / "page")

    def looks(count: int, *, every_s: float = 0.1, beats: bool = False) -> None:
        for _ in range(count):
            now_s[0] += every_s
            if beats:
                page.set_word(Page.WATCHDOG_BEAT, round(now_s[0] * 1e9))
            begun.hear(0.0)

    looks(50)  # it has not begun yet
    looks(50, beats=True)
    looks(29)
    looks(10, every_s=60.0)  # a machine that sleeps
    looks(50, beats=True)
    with pytest.raises(CrewFailed, match=r"^the watchdog has stood still for 3 s.*look at the rig before"):
        looks(32)
    looks(50)  # it is told once, and the run goes on to its end


def test_a_watchdog_whose_engine_rests_has_nothing_to_watch(
    begun: Crew, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = Page(tmp_path / "page")
    page.set_word(Page.WATCHDOG_BEAT, 1)
    page.set_word(Page.ENGINE_BEAT, RESTING)
    for number in range(100):
        monkeypatch.setattr("sequencer.shell.crew.time.monotonic", lambda number=number: 1000.0 + 0.1 * number)
        begun.hear(0.0)


def test_an_engine_that_dies_of_a_fault_of_its_own_is_named_and_not_the_watchdog_that_ends_with_it(
    begun: Crew, tmp_path: Path
) -> None:
    """The engine says last that it rests, the watchdog ends by that, and the engine's own process a moment later."""
    Page(tmp_path / "page").set_word(Page.ENGINE_BEAT, RESTING)
    watchdog, engine = (begun._processes[role] for role in ("watchdog", "engine"))
    watchdog.kill()
    watchdog.wait()
    assert begun.hear(0.0) == []
    engine.kill()
    engine.wait()
    with pytest.raises(CrewFailed, match=r"^the engine ended by itself"):
        begun.hear(0.0)
