"""A stand-in for a GPIO chip and the package `gpiod`: as much of its documented interface as the output uses.

No pin of a real computer is behind it. tests/adapters/test_gpio_output.py compares its signatures with the package's
own, and what the package raises where there is no chip, or none at all, is tried on the package itself.
Source: the docstrings of gpiod 2: Chip, Chip.request_lines, LineRequest, LineSettings, line.Value, line.Direction.
"""

import errno
import os
from dataclasses import dataclass, field
from enum import Enum
from types import SimpleNamespace
from typing import Any


class Value(Enum):
    INACTIVE = 0
    ACTIVE = 1


class Direction(Enum):
    AS_IS = 1
    INPUT = 2
    OUTPUT = 3


@dataclass
class LineSettings:
    direction: Direction = Direction.AS_IS
    active_low: bool = False
    output_value: Value = Value.INACTIVE


@dataclass
class Board:
    """The chip's own side. `history`: each line's values, logical ones, as they were set; `taken`: who has a line.

    `refuses`: the error number of its driver for a request, 0 for none.
    """

    names: tuple[str, ...]
    taken: dict[int, str] = field(default_factory=dict)
    history: list[tuple[int, Value]] = field(default_factory=list)
    settings: dict[int, LineSettings] = field(default_factory=dict)
    gone: bool = False
    refuses: int = 0

    def offset(self, line: int | str) -> int:
        """Return a line's number, as `Chip.line_offset_from_id` has it."""
        if isinstance(line, str):
            if line not in self.names:
                raise OSError(errno.ENOENT, os.strerror(errno.ENOENT))
            return self.names.index(line)
        if line >= len(self.names):
            raise ValueError("line offset of out range")
        return line


class LineRequest:
    def __init__(self, board: Board, lines: list[int]) -> None:
        self._board, self._lines = board, lines

    def set_value(self, line: int | str, value: Value) -> None:
        if not self._lines:
            raise RuntimeError("GPIO lines have been released")
        if self._board.gone:
            raise OSError(errno.ENODEV, os.strerror(errno.ENODEV))
        offset = self._board.offset(line)
        if offset not in self._lines:
            raise ValueError("it was not requested")
        self._board.history.append((offset, value))

    def release(self) -> None:
        for offset in self._lines:
            del self._board.taken[offset]
        self._lines = []


class Chip:
    """The chip of `board`, at `/dev/gpiochip0`."""

    board: Board

    def __init__(self, path: str) -> None:
        number = {"/dev/gpiochip0": 0, "/dev/null": errno.ENODEV, "/dev/root": errno.EACCES}.get(path, errno.ENOENT)
        if number:
            raise OSError(number, os.strerror(number), path)

    def __enter__(self) -> "Chip":
        return self

    def __exit__(self, *_: object) -> None:
        pass

    def get_info(self) -> SimpleNamespace:
        return SimpleNamespace(num_lines=len(self.board.names))

    def line_offset_from_id(self, id: str | int) -> int:
        return self.board.offset(id)

    def request_lines(
        self,
        config: dict[Any, LineSettings | None],
        consumer: str | None = None,
        event_buffer_size: int | None = None,
        output_values: dict[int | str, Value] | None = None,
    ) -> LineRequest:
        offsets = [self.board.offset(line) for line in config]
        if len(set(offsets)) < len(offsets):
            raise ValueError("line must be configured exactly once")
        number = errno.EBUSY if any(offset in self.board.taken for offset in offsets) else self.board.refuses
        if number:
            raise OSError(number, os.strerror(number))
        for offset, settings in zip(offsets, config.values(), strict=True):
            assert settings is not None
            self.board.taken[offset] = consumer or "?"
            self.board.settings[offset] = settings
            self.board.history.append((offset, settings.output_value))
        return LineRequest(self.board, offsets)


def package(board: Board) -> Any:
    """Return what stands in for the package, with this chip."""
    chip = type("Chip", (Chip,), {"board": board})
    line = SimpleNamespace(Value=Value, Direction=Direction)
    return SimpleNamespace(Chip=chip, LineSettings=LineSettings, LineRequest=LineRequest, line=line)
