"""A column of a table whose rows are values of the document: what stands in it, and what typing there makes of one."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Generic, TypeVar

from ui.desk import Desk

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Cell(Generic[T]):
    """`text` to so many decimals; `changed` is the value with what was typed. Error: ValueError from `changed`."""

    column: str
    text: Callable[[T, int, Desk], str]
    changed: Callable[[T, str, Desk], T]
