"""How a fault ends the command: what it prints, and its exit status."""

import contextlib
from collections.abc import Iterator

import typer
from rich.console import Console

from sequencer.errors import LinkError, PeerError, ProjectError, TakeError
from sequencer.shell.crew import CrewFailed

FOUND = 1
WRONG = 2
LINK = 3
INTERRUPTED = 130

console = Console()
errors = Console(stderr=True)


@contextlib.contextmanager
def exits() -> Iterator[None]:
    """Turn a fault into its words and the exit status of its kind."""
    try:
        yield
    except CrewFailed as fault:
        raise _end(fault, fault.exit_status) from fault
    except (ProjectError, TakeError) as fault:
        raise _end(fault, WRONG) from fault
    except (LinkError, PeerError) as fault:
        raise _end(fault, LINK) from fault
    except KeyboardInterrupt as fault:
        raise _end("interrupted", INTERRUPTED) from fault


def _end(words: object, status: int) -> typer.Exit:
    errors.print(f"twintake: {words}", style="bold", markup=False, highlight=False)
    return typer.Exit(status)
