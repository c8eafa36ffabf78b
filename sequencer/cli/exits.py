"""How the command speaks: its lines, and for a fault its words and its exit status."""

import contextlib
from collections.abc import Iterator

import typer
from rich.console import Console

from sequencer.errors import ExportError, ImportFault, LinkError, PeerError, ProjectError, TakeError
from sequencer.shell.crew import CrewFailed

FOUND = 1
WRONG = 2
LINK = 3
INTERRUPTED = 130

console = Console()
errors = Console(stderr=True)


def plain(text: str) -> str:
    """Return the text with what a terminal would obey escaped: names come from anywhere."""
    return "".join(one if one.isprintable() else one.encode("unicode_escape").decode() for one in text)


def say(line: str) -> None:
    """Print one line, however long, in which nothing is markup."""
    console.print(plain(line), markup=False, highlight=False, soft_wrap=True)


@contextlib.contextmanager
def exits() -> Iterator[None]:
    """Turn a fault into its words and the exit status of its kind."""
    try:
        yield
    except CrewFailed as fault:
        raise _end(fault, fault.exit_status) from fault
    except (ProjectError, TakeError, ExportError, ImportFault) as fault:
        raise _end(fault, WRONG) from fault
    except (LinkError, PeerError) as fault:
        raise _end(fault, LINK) from fault
    except KeyboardInterrupt as fault:
        raise _end("interrupted", INTERRUPTED) from fault


def _end(words: object, status: int) -> typer.Exit:
    lines = "\n".join(plain(line) for line in f"twintake: {words}".split("\n"))
    # a path that is broken over two lines cannot be copied
    errors.print(lines, style="bold", markup=False, highlight=False, soft_wrap=True)
    return typer.Exit(status)
