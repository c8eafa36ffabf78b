"""Finds something out in a thread while it is asked again and again: only the newest question is answered."""

from collections.abc import Callable
from typing import Generic, TypeVar

from PyQt6.QtCore import QObject

from ui.acts.working import Worker

T = TypeVar("T")


class Judging(Generic[T]):
    """`tell` gets each answer in the window's thread, `failed` a fault of the world that kept one from being found."""

    def __init__(self, tell: Callable[[T], None], failed: Callable[[Exception], None], parent: QObject) -> None:
        self._tell, self._failed = tell, failed
        self.worker = Worker(parent)
        self._next: Callable[[], T] | None = None

    def ask(self, question: Callable[[], T]) -> None:
        """Have this found out as soon as the one before is answered, in the place of any that waits."""
        if self.worker.at_work:
            self._next = question
        else:
            self.worker.do("", question, self._answered, self._broken)

    def _answered(self, answer: T) -> None:
        if not self._go_on():
            self._tell(answer)

    def _broken(self, fault: Exception) -> None:
        if not self._go_on():
            self._failed(fault)

    def _go_on(self) -> bool:
        """Ask what came meanwhile: what is known by now is of no use any more."""
        question, self._next = self._next, None
        if question is not None:
            self.worker.do("", question, self._answered, self._broken)
        return question is not None
