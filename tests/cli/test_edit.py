"""`twintake edit` where the editor cannot be had. The editor itself: tests/ui."""

from importlib.metadata import EntryPoint, EntryPoints

import pytest
from typer.testing import CliRunner

from sequencer.cli import edit
from sequencer.cli.app import app

pytestmark = pytest.mark.usefixtures("terminal")
GROUP = "twintake.editor"


def installed(*places: str) -> EntryPoints:
    return EntryPoints(EntryPoint(f"editor {number}", place, GROUP) for number, place in enumerate(places))


def test_an_editor_whose_libraries_are_missing_says_what_it_needs(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(edit, "entry_points", lambda group: installed("no_toolkit_here.app:start").select(group=group))
    done = CliRunner().invoke(app, ["edit"])
    assert done.exit_code == 3
    words = "the editor cannot be loaded; it needs PyQt6, and the system's libraries that Qt names"
    assert done.stderr == f"twintake: {words}: No module named 'no_toolkit_here'\n"


@pytest.mark.parametrize("places", [(), ("ui.app:start", "their_editor:start")])
def test_an_editor_that_is_not_there_once_asks_for_a_whole_installation(
    places: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(edit, "entry_points", lambda group: installed(*places).select(group=group))
    done = CliRunner().invoke(app, ["edit"])
    assert done.exit_code == 3
    words = f"{len(places)} editors are installed, and one is wanted; install the program anew"
    assert done.stderr == f"twintake: {words}\n"
