"""What tests of the editor share: no screen, and a desk with a demo project on it."""

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from sequencer.project.store import load
from sequencer.shell.kinds import laws

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from PyQt6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from ui.beside import Sweep
from ui.desk import Desk

LANTERNS = Path("projects/harbour-lanterns")


@pytest.fixture(scope="package", autouse=True)
def sweep(qapp: QApplication) -> Iterator[Sweep]:
    """As in the editor, no thread collects what is Qt's."""
    with Sweep() as sweep:
        yield sweep


@pytest.fixture(autouse=True)
def swept(sweep: Sweep) -> Iterator[None]:
    """Most tests never come to the loop in which the sweep looks by itself."""
    yield
    sweep.look()


@pytest.fixture
def desk(qtbot: QtBot) -> Desk:
    """A desk with the harbour project on it, opened from its folder."""
    return Desk(load(LANTERNS, laws()), laws(), LANTERNS)
