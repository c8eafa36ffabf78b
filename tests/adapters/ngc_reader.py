"""Reads lines of RS-274/NGC as the standard's grammar has them, for the boards of tests: nothing here is the program's.

Source: NISTIR 6556 (2000), clauses from memory: 3.3 (a line: at most 256 characters, words, spaces do not count,
letters of either case), 3.3.2.1 (numbers: digits with at most one point, no exponent), 3.4 (one word of a modal group
a line), 3.5.2 (G1 needs an axis word), 3.5.18 (G92), 3.5.19 (G93: F on every line with G1; one divided by F, minutes).
"""

import re
from dataclasses import dataclass, field

WORD = re.compile(r"([A-Z])([-+]?(?:\d+\.?\d*|\.\d+))")
GROUPS = {0: 1, 1: 1, 90: 3, 91: 3, 93: 5, 94: 5, 20: 6, 21: 6, 4: 0, 92: 0}
AXES = "XYZABC"


class NotNgc(ValueError):
    """A line that the language does not have."""


@dataclass
class Move:
    """A way to go, in the time that its line says."""

    to: dict[str, float]
    lasts_s: float


@dataclass
class Reader:
    """What a board knows of its language from line to line."""

    at: dict[str, float] = field(default_factory=lambda: dict.fromkeys(AXES, 0.0))
    shifted: dict[str, float] = field(default_factory=lambda: dict.fromkeys(AXES, 0.0))
    modes: dict[int, float] = field(default_factory=dict)

    def read(self, line: str) -> Move | str | None:
        """Return the way to go, the M word, or nothing for a line that only sets something. Error: NotNgc."""
        text = line.strip().replace(" ", "").replace("\t", "").upper()
        if len(line) > 256:
            raise NotNgc(f"{len(line)} characters")
        words = WORD.findall(text)
        if "".join(letter + number for letter, number in words) != text:
            raise NotNgc(f"no words: {line!r}")
        codes = [float(number) for letter, number in words if letter == "G"]
        groups = [GROUPS[int(code)] for code in codes]
        if len(set(groups)) < len(groups):
            raise NotNgc(f"two of one group: {line!r}")
        letters = [letter for letter, _ in words if letter != "G"]
        if len(set(letters)) < len(letters):
            raise NotNgc(f"a word twice: {line!r}")
        self.modes |= {group: code for group, code in zip(groups, codes, strict=True) if group}
        values = {letter: float(number) for letter, number in words if letter != "G"}
        axes = {letter: value for letter, value in values.items() if letter in AXES}
        if 92 in codes:
            self.at |= axes
            return None
        if "M" in values:
            return f"M{values['M']:g}"
        if 1 not in codes:
            return None
        if not axes:
            raise NotNgc(f"G1 without an axis: {line!r}")
        if (self.modes.get(3), self.modes.get(5), self.modes.get(6)) != (90, 93, 21):
            raise NotNgc(f"not in absolute millimetres with inverse time: {self.modes}")
        if not values.get("F", 0) > 0:
            raise NotNgc(f"G93 without F: {line!r}")
        self.at = self.at | axes
        return Move(dict(self.at), 60 / values["F"])
