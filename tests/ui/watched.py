"""Game controllers that a test moves, in place of the process that watches those of the machine."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from sequencer.errors import LinkError
from sequencer.shell.pad_watch import line
from sequencer.wire.pad import AXES, BUTTONS, PadRow
from tests.ui.link.fakes import Straight
from ui.acts.pads import PadWatch


class Table:
    """Says what a test says that pads say, as long as somebody looks."""

    def __init__(self) -> None:
        self.left: list[dict[str, Any]] = []
        self.fault = ""
        self.begun = self.ended = 0
        self.watch = PadWatch(start=self._start, aside=Straight())

    @contextmanager
    def _start(self) -> Iterator["Table"]:
        self.begun += 1
        self.left = [{"watching": "pads:"}]
        yield self
        self.ended += 1

    def hear(self) -> list[dict[str, Any]]:
        if self.fault:
            raise LinkError(self.fault)
        left, self.left = self.left, []
        return left

    def say(self, *buttons: str, pad: int = 0, name: str = "Pad", here: bool = True, **axes: float) -> None:
        """Push the named controls of a known pad, as in `left_x=0.5`, and hold the buttons."""
        named = {one.replace("_", " "): value for one, value in axes.items()}
        pushed = tuple(named.get(one, 0.0) for one in AXES)
        held = frozenset(BUTTONS.index(one) for one in buttons)
        self._say(PadRow(pad, name, pushed, held, here=here))

    def say_odd(self, *axes: float, buttons: tuple[int, ...] = (), pad: int = 0) -> None:
        """Have a pad speak whose controls have only numbers."""
        self._say(PadRow(pad, "Odd pad", axes, frozenset(buttons), known=False))

    def _say(self, row: PadRow) -> None:
        self.left.append(line(row))
        self.watch.look()

    def tell(self, words: str) -> None:
        self.left.append({"notice": words})
        self.watch.look()

    def break_down(self, why: str) -> None:
        self.fault = why
        self.watch.look()
