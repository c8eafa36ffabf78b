"""The options of a command that writes a document."""

from pathlib import Path
from typing import Annotated

import typer

from sequencer.errors import ExportError
from sequencer.export.documents import Kind, kind_of

Out = Annotated[
    Path | None, typer.Option("--out", "-o", metavar="FILE", help="The file to write, FILE.pdf or FILE.html.")
]
Force = Annotated[bool, typer.Option("--force", help="Replace a file that is there.")]


def suffix(out: Path | None, json: bool) -> Kind:
    """Return what kind of document is asked for. Error: ExportError where the file does not say, or none is named."""
    if out is not None:
        return kind_of(out)
    if json:
        return "pdf"
    raise ExportError("name the file to write: -o FILE.pdf to print or file it, -o FILE.html to read it")
