"""A document as a value: what stands in it, in order, and nothing of how it looks. Written as HTML or PDF."""

from dataclasses import dataclass
from typing import Literal

from sequencer.export.drawn import Plot


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading; `level` 2 for a part of the document, 3 for a part of that."""

    text: str
    level: Literal[2, 3] = 2


@dataclass(frozen=True, slots=True)
class Words:
    """A paragraph; a small one explains."""

    text: str
    small: bool = False


@dataclass(frozen=True, slots=True)
class Items:
    """A list of sentences."""

    texts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Facts:
    """Names, and what they are."""

    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Table:
    """A table of text; the first `left` columns stand to the left, the others are numbers. `title` says what it is."""

    title: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    left: int = 1

    def __post_init__(self) -> None:
        if any(len(row) != len(self.heads) for row in self.rows):
            raise ValueError(f"a row of {self.title!r} has not as many cells as there are heads")


@dataclass(frozen=True, slots=True)
class Boxed:
    """Words in a frame. Frames differ without colour: `match` is heavy, `differ` double, `open` dashed."""

    title: str
    texts: tuple[str, ...]
    frame: Literal["match", "differ", "open", "caution"] = "caution"


@dataclass(frozen=True, slots=True)
class Blanks:
    """Lines to be filled in by hand, each behind its words."""

    labels: tuple[str, ...]


Block = Heading | Words | Items | Facts | Table | Boxed | Blanks | Plot


@dataclass(frozen=True, slots=True)
class Paper:
    """A document: its title, and its parts in order."""

    title: str
    blocks: tuple[Block, ...]


def number(value: float | None, decimals: int = 4) -> str:
    """Return a number as documents have it: a dash for none, a true minus, and none on a number that rounds to zero."""
    return "–" if value is None else f"{value:z.{decimals}f}".replace("-", "−")
