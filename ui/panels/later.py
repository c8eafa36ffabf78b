"""A page that is made when it is first shown: a window opens sooner without what nobody looks at yet.

It refuses to make a page twice.
"""

from collections.abc import Callable
from typing import Generic, TypeVar

from PyQt6.QtGui import QShowEvent
from PyQt6.QtWidgets import QVBoxLayout, QWidget

T = TypeVar("T", bound=QWidget)


class Later(QWidget, Generic[T]):
    """Stands where the page will be. `there` is the page once it is made; `page` makes it if need be."""

    def __init__(self, make: Callable[[], T]) -> None:
        super().__init__()
        self._make = make
        self.there: T | None = None
        lines = QVBoxLayout(self)
        lines.setContentsMargins(0, 0, 0, 0)

    @property
    def page(self) -> T:
        if self.there is None:
            self.there = self._make()
            layout = self.layout()
            assert layout is not None
            layout.addWidget(self.there)
            self.there.show()
        return self.there

    def showEvent(self, event: QShowEvent | None) -> None:
        assert self.page is not None
        super().showEvent(event)
