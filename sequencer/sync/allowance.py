"""How often something may happen: so many a second on average, and no more at once than may be. It reads no clock."""


class Allowance:
    """What is left of it at an instant. An instant that lies before the last one gives nothing, and takes nothing."""

    def __init__(self, per_s: float, at_once: int) -> None:
        self._per_s = per_s
        self._at_once = at_once
        self._left = float(at_once)
        self._at_ns: int | None = None

    def grants(self, now_ns: int, count: int = 1) -> bool:
        """Whether `count` more may happen at `now_ns`; where they may, they are taken to."""
        if self._at_ns is not None:
            self._left = min(self._at_once, self._left + max(0, now_ns - self._at_ns) * 1e-9 * self._per_s)
        self._at_ns = now_ns if self._at_ns is None else max(self._at_ns, now_ns)
        if self._left < count:
            return False
        self._left -= count
        return True
