"""What the tests of `twintake keys` share: the command on a copy of the harbour project, and what is in that copy."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from typer.testing import CliRunner, Result

from sequencer.cli.app import app
from sequencer.project.document import Project
from sequencer.project.store import load
from sequencer.shell.kinds import laws

HARBOUR = Path(__file__).parents[2] / "projects" / "harbour-lanterns"
Tree = dict[str, Any]


def run(operation: str, folder: Path, *options: str) -> Result:
    return CliRunner().invoke(app, ["keys", operation, str(folder), *options])


def files(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def opened(folder: Path) -> Project:
    return load(folder, laws())


def change(folder: Path, name: str, spoil: Callable[[Tree], None]) -> None:
    tree = json.loads((folder / name).read_text(encoding="utf-8"))
    spoil(tree)
    (folder / name).write_text(json.dumps(tree), encoding="utf-8")
