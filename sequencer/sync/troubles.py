"""What a follower has to tell the operator, said when it happens and not with each message."""

_SAME_KIND_S = 1.0
_SAME_WORDS_S = 60.0


class Troubles:
    """Sentences waiting to be read; one kind at most once a second, the same words at most once a minute."""

    def __init__(self) -> None:
        self._told: dict[str, tuple[float, str]] = {}
        self._waiting: list[str] = []

    def tell(self, kind: str, words: str, t_s: float) -> None:
        """Say `words` at `t_s`, unless that would be too much of it."""
        if kind in self._told:
            told_s, last = self._told[kind]
            if t_s - told_s < (_SAME_WORDS_S if words == last else _SAME_KIND_S):
                return
        self._told[kind] = t_s, words
        self._waiting.append(words)

    def take(self) -> tuple[str, ...]:
        """Return what was said since the last call."""
        waiting = tuple(self._waiting)
        self._waiting.clear()
        return waiting
