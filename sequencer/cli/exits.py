"""How the command speaks: its lines, and for a fault its words and its exit status.

Whatever is printed by one of the two consoles is words: names come from files, devices and networks, and what in them a
terminal would obey is made visible, and what would be markup is none.
"""

import contextlib
from collections.abc import Iterator

import typer
from rich.console import Console, ConsoleOptions, ConsoleRenderable, RenderHook, RenderResult
from rich.segment import Segment

from sequencer.errors import ExportError, ImportFault, LinkError, PeerError, ProjectError, TakeError
from sequencer.shell.crew import CrewFailed
from sequencer.shell.words import visible

FOUND = 1
WRONG = 2
LINK = 3
INTERRUPTED = 130


class _Words:
    """What is printed, a piece at a time, with what a terminal would obey in it made visible."""

    def __init__(self, printed: ConsoleRenderable) -> None:
        self._printed = printed

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        for one in console.render(self._printed, options):
            # what the library itself tells the terminal is of another kind
            yield one if one.control else Segment("\n".join(map(visible, one.text.split("\n"))), one.style)


class _Visible(RenderHook):
    def process_renderables(self, renderables: list[ConsoleRenderable]) -> list[ConsoleRenderable]:
        return [_Words(one) for one in renderables]


def _speaking(*, stderr: bool = False) -> Console:
    made = Console(stderr=stderr, markup=False)
    made.push_render_hook(_Visible())
    return made


console = _speaking()
errors = _speaking(stderr=True)


def say(line: str) -> None:
    """Print one line, however long, in which nothing is markup."""
    console.print(visible(line), markup=False, highlight=False, soft_wrap=True)


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
    lines = "\n".join(visible(line) for line in f"twintake: {words}".split("\n"))
    # a path that is broken over two lines cannot be copied
    errors.print(lines, style="bold", markup=False, highlight=False, soft_wrap=True)
    return typer.Exit(status)
