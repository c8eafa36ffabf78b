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
