"""What the editor asks of the operator, as values: a question with its answers, and the choice of a folder or file.

It refuses to show anything; a panel does. Every question has one answer that harms nothing, which Escape gives.
"""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal


def nothing() -> None:
    """Do nothing: the answer that leaves all as it is."""


@dataclass(frozen=True, slots=True)
class Choice:
    """One answer and what it does."""

    label: str
    do: Callable[[], None] = nothing


@dataclass(frozen=True, slots=True, eq=False)
class Ask:
    """A question in one or two sentences. The last of its choices is the harmless one.

    A question with the same `about`, where it is not empty, takes the place of one that still waits.
    """

    words: str
    choices: tuple[Choice, ...]
    about: str = ""

    def __post_init__(self) -> None:
        if not self.choices:
            raise ValueError("a question has at least one answer")

    @property
    def harmless(self) -> Choice:
        return self.choices[-1]


@dataclass(frozen=True, slots=True)
class Pick:
    """Have the operator choose something; `then` gets its path.

    A `project` folder that is there, a `folder` to make or to fill with a project, a `place` to make folders or files
    in, an `audio` file, or any `file` whose name ends with one of `suffixes`.
    """

    title: str
    what: Literal["project", "folder", "place", "audio", "file"]
    then: Callable[[Path], None]
    start: Path
    suffixes: tuple[str, ...] = ()
