"""A document in a file: PDF or HTML by the file's name, whole or not at all."""

from pathlib import Path
from typing import TYPE_CHECKING, Literal

from sequencer.errors import ExportError
from sequencer.export.written import write

if TYPE_CHECKING:  # what draws takes seconds to load
    from sequencer.export.paper import Paper

Kind = Literal["pdf", "html"]
_SUFFIXES: dict[str, Kind] = {".pdf": "pdf", ".html": "html", ".htm": "html"}


def kind_of(out: Path) -> Kind:
    """Return what kind of document a file's name asks for. Error: ExportError where it does not say."""
    kind = _SUFFIXES.get(out.suffix.lower())
    if kind is None:
        raise ExportError(f"{out.name}: a document is written as .pdf or .html; name such a file")
    return kind


def keep(out: Path, kind: Kind, paper: "Paper", force: bool) -> None:
    """Write the document. Error: ExportError; then nothing is there that was not before."""
    if kind == "html":
        from sequencer.export.page import page

        data = page(paper).encode()
    else:
        from sequencer.export.pdf import pdf

        data = pdf(paper)
    write({out: data}, force)
