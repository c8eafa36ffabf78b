"""What the tests of the command share: a project that may be spoilt, and a terminal of a known width."""

import shutil
from pathlib import Path

import pytest

from sequencer.cli.exits import console, errors
from tests.cli.harbour import HARBOUR


@pytest.fixture
def harbour(tmp_path: Path) -> Path:
    # whoever tried the program has takes there
    return Path(shutil.copytree(HARBOUR, tmp_path / "harbour", ignore=shutil.ignore_patterns("takes")))


@pytest.fixture
def terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the terminal be 80 columns wide; what is said of a fault stays on one line."""
    monkeypatch.setattr(console, "_width", 80)
    monkeypatch.setattr(errors, "_width", 1000)
