"""What a reader of triggers has to tell the operator, kept short without a clock: triggers' stamps do not run in order.

It counts sentences, not seconds.
"""

from collections import Counter

_REMEMBERED = 32


class Complaints:
    """Sentences waiting to be read. Each is said once, and again at ten, a hundred, a thousand... of its kind."""

    def __init__(self) -> None:
        self._times: Counter[str] = Counter()
        self._said: set[str] = set()
        self._waiting: list[str] = []

    def tell(self, kind: str, words: str) -> None:
        """Say `words`, unless that would be too much of it."""
        self._times[kind] += 1
        times = self._times[kind]
        if words not in self._said and len(self._said) < _REMEMBERED:
            self._said.add(words)
            self._waiting.append(words)
        elif times == 10 ** (len(str(times)) - 1):
            self._waiting.append(words if times == 1 else f"{words} ({times} such messages so far)")

    def take(self) -> tuple[str, ...]:
        """Return what was said since the last call."""
        waiting = tuple(self._waiting)
        self._waiting.clear()
        return waiting
