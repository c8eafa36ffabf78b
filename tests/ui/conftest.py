"""What tests of the editor share: no screen, and a desk with a demo project on it."""

import os
from pathlib import Path

import pytest

from sequencer.project.store import load
from sequencer.shell.kinds import laws

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from pytestqt.qtbot import QtBot

from ui.desk import Desk

LANTERNS = Path("projects/harbour-lanterns")


@pytest.fixture
def desk(qtbot: QtBot) -> Desk:
    """A desk with the harbour project on it, opened from its folder."""
    return Desk(load(LANTERNS, laws()), laws(), LANTERNS)
