"""`twintake edit`: open the editor, or draw its views into files. The editor is found by its entry point."""

from importlib.metadata import entry_points
from pathlib import Path
from typing import Annotated

import typer

from sequencer.cli.exits import exits
from sequencer.errors import LinkError
from sequencer.project.uncollected import uncollected

OneFolder = Annotated[
    Path | None, typer.Argument(help="The project folder; without it, the editor asks.", show_default=False)
]
Render = Annotated[
    Path | None,
    typer.Option("--render", metavar="FOLDER", help="Draw each main view into a PNG there, without a screen, and end."),
]


def edit(project: OneFolder = None, render: Render = None) -> None:
    """Open the editor."""
    with exits():
        found = entry_points(group="twintake.editor")
        if len(found) != 1:
            raise LinkError(f"{len(found)} editors are installed, and one is wanted; install the program anew")
        try:
            with uncollected():  # what modules are made of stays, and is much
                start = next(iter(found)).load()
        except ImportError as fault:
            what = "the editor cannot be loaded; it needs PyQt6, and the system's libraries that Qt names"
            raise LinkError(f"{what}: {fault}") from fault
        raise typer.Exit(start(project, render))


def alone(context: typer.Context) -> None:
    """Open the editor where no command is named."""
    if context.invoked_subcommand is None:
        edit()
