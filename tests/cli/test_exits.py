"""What the command prints is words: nothing from a file or a network is obeyed by the terminal, or taken for markup."""

import io

import pytest
from rich.table import Table
from rich.text import Text

from sequencer.cli import exits

HOSTILE = "\x1b[2Jband\x9b31m\r\x07 [bold]x[/bold] [link=https://nowhere.invalid]y[/link] \u202eabc"
WORDS = r"\x1b[2Jband\x9b31m"


@pytest.fixture
def terminal(monkeypatch: pytest.MonkeyPatch) -> io.StringIO:
    """A terminal with colours, and what it was sent."""
    sent = io.StringIO()
    monkeypatch.setattr(exits.console, "_file", sent)  # what `file` gives is that of the moment
    monkeypatch.setattr(exits.console, "_force_terminal", True)
    monkeypatch.setattr(exits.console, "_width", 200)
    return sent


def named_in_a_table() -> Table:
    table = Table(title=HOSTILE)
    table.add_column(HOSTILE)
    table.add_row(HOSTILE)
    table.add_row(Text(HOSTILE))
    return table


@pytest.mark.parametrize("shown", [HOSTILE, Text(HOSTILE), named_in_a_table()], ids=["text", "styled", "table"])
def test_whatever_is_printed_is_words(terminal: io.StringIO, shown: str | Text | Table) -> None:
    exits.console.print(shown, highlight=False)
    sent = terminal.getvalue()
    assert WORDS in sent
    assert "[bold]x[/bold] [link=https://nowhere.invalid]y[/link]" in sent
    for obeyed in ("\x1b[2J", "\x1b]8", "\x9b", "\r", "\x07", "\u202e"):
        assert obeyed not in sent
