"""What the engine says, made fit to be printed and kept: nothing in it that a terminal obeys, and never a flood.

Whoever is outside can make it say something: an order that is refused, a jump of timecode, a stop of what is stopped.
What nobody outside can bring about without end (a start, a stop, a reset) is always said.
"""

from collections import Counter

from sequencer.sync.allowance import Allowance

PER_S = 2
AT_ONCE = 20
LONGEST = 600
_FROM_OUTSIDE = (
    *("trigger", "stop", "link", "timecode", "going", "at mark"),
    *("waiting", "joining", "joined", "freewheel", "locked"),
)


def visible(text: str) -> str:
    """Return the text with what a terminal would obey escaped: names come from anywhere."""
    return "".join(one if one.isprintable() else one.encode("unicode_escape").decode() for one in text)


class Words:
    """What was said of each kind, so that a flood of one kind is told once and then counted; others are not held up."""

    def __init__(self) -> None:
        self._allowances = {code: Allowance(PER_S, AT_ONCE) for code in _FROM_OUTSIDE}
        self._left_out: Counter[str] = Counter()
        self._flooded: set[str] = set()

    def fit(self, at_ns: int, code: str, text: str) -> str | None:
        """Return what is said at `at_ns` in place of `text`, or None where it is only counted."""
        allowance = self._allowances.get(code)
        shown = visible(text[:LONGEST]) + ("…" if len(text) > LONGEST else "")
        if allowance is None:
            return shown
        if allowance.grants(at_ns):
            left_out = self._left_out.pop(code, 0)
            if not left_out:
                self._flooded.discard(code)
                return shown
            return f"{shown} (and {left_out} more of this kind before it)"
        self._left_out[code] += 1
        if code in self._flooded:
            return None
        self._flooded.add(code)
        return f"more of this kind is to be said than anybody can read; most of it is only counted: {shown}"
