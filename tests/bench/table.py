"""What each part of the benchmark returns: a table of text, with a note on how to read it."""

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass
class Table:
    """One table: a row has as many cells as there are columns."""

    title: str
    columns: tuple[str, ...]
    rows: Sequence[tuple[str, ...]]
    note: str = ""
