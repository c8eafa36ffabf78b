"""Instants inside words: whoever writes the words knows frames only, whoever shows them makes timecode of those.

It refuses to look for any other number in the words.
"""

import re
from collections.abc import Callable
from fractions import Fraction

_INSTANT = re.compile(r"@(-?[0-9]+(?:\.[0-9]+)?)")


def instant(at: Fraction | float) -> str:
    """Return an instant as words carry it: `@421.875`, in frames. Whoever shows the words makes labels (`labelled`)."""
    return "@" + f"{float(at):.3f}".rstrip("0").rstrip(".")


def labelled(words: str, label: Callable[[Fraction], object]) -> str:
    """Return words with the label of every instant in them."""
    return _INSTANT.sub(lambda found: str(label(Fraction(found[1]))), words)
