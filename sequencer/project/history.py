"""Undo and redo as earlier and later values of the document, without limit. It refuses to keep a step that is none."""

from dataclasses import dataclass, replace
from typing import Generic, TypeVar

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Step(Generic[T]):
    """A value of the document that was left behind, and what the edit between it and its neighbour did, in words.

    Steps in a row with the same `merge`, unless it is empty, are one: a key that is nudged ten times.
    """

    value: T
    words: str
    merge: str = ""


@dataclass(frozen=True, slots=True)
class History(Generic[T]):
    """The document `now`, what it was before, the newest step last, and what was undone, the nearest step last.

    Values that are shared between steps cost nothing: a step is as large as what it changed.
    """

    now: T
    past: tuple[Step[T], ...] = ()
    future: tuple[Step[T], ...] = ()

    def push(self, value: T, words: str, merge: str = "") -> "History[T]":
        """Return the history with `value` as the newest; what was undone is gone. The same value is no step."""
        if value is self.now or value == self.now:
            return self
        if merge and self.past and not self.future and self.past[-1].merge == merge:
            return replace(self, now=value)
        return History(value, (*self.past, Step(self.now, words, merge)))

    def sealed(self) -> "History[T]":
        """Return the history, whose newest step takes nothing more in."""
        if not self.past or not self.past[-1].merge:
            return self
        return replace(self, past=(*self.past[:-1], replace(self.past[-1], merge="")))

    def undo(self) -> "History[T]":
        """Return the history one step back. Error: ValueError where there is none."""
        if not self.past:
            raise ValueError("there is nothing to undo")
        *past, step = self.past
        return History(step.value, tuple(past), (*self.future, Step(self.now, step.words)))

    def redo(self) -> "History[T]":
        """Return the history one step on. Error: ValueError where there is none."""
        if not self.future:
            raise ValueError("there is nothing to redo")
        *future, step = self.future
        return History(step.value, (*self.past, Step(self.now, step.words)), tuple(future))
