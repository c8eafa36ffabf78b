"""Lines of RS-274/NGC for boards that drive motors, and their answers: text, nothing else. No time, no port.

Positions are absolute, in millimetres or degrees as they are, and each line says with inverse-time feed how long it
takes: one divided by F, in minutes. So the path's length, of which a linear and a rotary axis have different ideas,
does not count. Lines have no comment, no number and no checksum.
Source: Kramer, Proctor, Messina, The NIST RS274NGC Interpreter - Version 3, NISTIR 6556 (2000), clauses from memory:
2.1.2 (axes X Y Z A B C), 3.3 (a line's length), 3.3.2.1 (numbers), 3.4 (modal groups: G21, G90 and G93 fit one line),
3.5.2 (G1), 3.5.7 (G21), 3.5.17 (G90), 3.5.18 (G92), 3.5.19 (G93). That a board answers `ok` to each line, and `error`
with words of its own to one that it refuses, is common practice, no source.
"""

import re
from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

LETTERS = "XYZABC"
LONGEST_LINE = 256
BEGIN = b"G21 G90 G93\n"
_FEED_DIGITS = 3
_LONGEST_ANSWER = 256
_CODE = re.compile(r"M\d{1,3}( *[A-Z] *[-+]?(\d+\.?\d*|\.\d+))*", re.ASCII | re.IGNORECASE)

Said = Literal["ok", "error", "other"]


def is_code(text: str) -> bool:
    """Whether `text` is an M word, with other words behind it or without."""
    return len(text) < LONGEST_LINE // 2 and _CODE.fullmatch(text) is not None


def meant(answer: str) -> Said:
    """Return what an answer of the board is."""
    word = answer.split(maxsplit=1)[0].lower() if answer.strip() else ""
    if word == "ok":
        return "ok"
    return "error" if word.startswith("error") else "other"


def _plain(text: str) -> str:
    """Return a decimal number without the zeros that say nothing."""
    return text.rstrip("0").rstrip(".") if "." in text else text


class Words:
    """How positions become lines: a letter for each axis, and how many digits stand behind the point.

    Positions are counted in whole steps of the last digit, so that what is the same on the wire is the same here.
    """

    def __init__(self, letters: tuple[str, ...], digits: int) -> None:
        self._letters, self._digits = letters, digits
        self.per_unit = 10**digits

    def steps(self, values: Iterable[float]) -> tuple[int, ...]:
        """Return positions in steps. Unit: the axes' own."""
        per_unit = self.per_unit
        return tuple(round(value * per_unit) for value in values)

    def move(self, to: tuple[int, ...], lasts_s: float, at: tuple[int, ...] | None = None) -> bytes:
        """Return the line that goes to `to` in `lasts_s`; axes that stand where `at` says are left out."""
        words = [
            f"{letter}{self._number(there)}"
            for place, (letter, there) in enumerate(zip(self._letters, to, strict=True))
            if at is None or at[place] != there
        ]
        return f"G1 {' '.join(words)} F{_plain(f'{60 / lasts_s:.{_FEED_DIGITS}f}')}\n".encode()

    def here(self, at: dict[int, int]) -> bytes:
        """Return the line that says where axes stand, by their place; it moves nothing."""
        return (
            f"G92 {' '.join(f'{self._letters[place]}{self._number(there)}' for place, there in at.items())}\n".encode()
        )

    def longest(self, ends: Iterable[float]) -> int:
        """Return how many characters a line has at most, where positions go no further out than `ends`."""
        words = [f" {letter}-{abs(end):.{self._digits}f}" for letter, end in zip(self._letters, ends, strict=True)]
        return len("G1") + sum(map(len, words)) + len(" F") + len(f"{99_999:.{_FEED_DIGITS}f}") + 1

    def _number(self, steps: int) -> str:
        return _plain(f"{steps / self.per_unit:.{self._digits}f}")


class Answers:
    """Cuts what a board says into lines; one that never ends is cut off, and what is no text is shown as such."""

    def __init__(self) -> None:
        self._rest = b""

    def lines(self, data: bytes) -> list[str]:
        """Return the lines that `data` completes, without those that are empty."""
        *whole, rest = (self._rest + data).replace(b"\r", b"\n").split(b"\n")
        if len(rest) > _LONGEST_ANSWER:
            whole, rest = [*whole, rest], b""
        self._rest = rest
        texts = (line[:_LONGEST_ANSWER].decode("ascii", "backslashreplace").strip() for line in whole)
        return [text for text in texts if text]


@dataclass(frozen=True, slots=True)
class Handed:
    """A line that the board has: when it was written, and when it should be done; `moves` where it is a way to go."""

    text: bytes
    written_ns: int
    done_ns: int
    moves: bool = False


class Window:
    """The lines that are not acknowledged: no more of them, and of their characters, than the board has room for.

    An acknowledgement too many is counted. While others are awaited it passes for the next one's, so the window may be
    wider than it should by that much; once all are in, it is right again.
    """

    def __init__(self, characters: int, lines: int) -> None:
        self._characters, self._lines = characters, lines
        self._open: deque[Handed] = deque()
        self._held = 0
        self.extra = 0

    def __len__(self) -> int:
        return len(self._open)

    @property
    def oldest(self) -> Handed | None:
        """The line whose acknowledgement is awaited for longest."""
        return self._open[0] if self._open else None

    def room(self, text: bytes) -> bool:
        """Whether the board has room for another line."""
        return len(self._open) < self._lines and self._held + len(text) <= self._characters

    def hand(self, line: Handed) -> None:
        """Take in that `line` was written."""
        self._open.append(line)
        self._held += len(line.text)

    def acknowledge(self) -> Handed | None:
        """Return the line that the newest acknowledgement is for; None where none was awaited."""
        if not self._open:
            self.extra += 1
            return None
        line = self._open.popleft()
        self._held -= len(line.text)
        return line
