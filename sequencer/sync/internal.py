"""The program's own time, for work without a master: it runs at speed one from where it stands or is set.

It hears nothing and follows nobody; whoever starts, halts and sets it gives the instant at which that counts.
Source: none; it is a definition.
"""

from sequencer.sync.reading import Clock, Counts, Lock


class InternalFollower:
    """A clock that an operator or a trigger starts and halts; it looks like any other follower."""

    told = "the program's own clock"

    def __init__(self) -> None:
        self._runs = False
        self._at_ns = 0
        self._position_s = 0.0
        self._stands_s = 0.0
        self._jumps = 0
        self._started: list[tuple[int, float]] = []
        self._counts = Counts()

    @property
    def counts(self) -> Counts:
        """All zero: there is nothing to hear."""
        return self._counts

    def start(self, at_ns: int, position_s: float | None = None) -> None:
        """Run, so as to be at `position_s` at `at_ns`, which may be past or still to come.

        Without a position it runs from where it stands; a clock that runs already then runs on undisturbed.
        """
        if position_s is None:
            if self._runs:
                return
            position_s = self._stands_s
        self._runs = True
        self._at_ns, self._position_s = at_ns, position_s
        self._jumps += 1
        self._started.append((at_ns, position_s))

    def halt(self, at_ns: int | None = None) -> None:
        """Stand where it was at `at_ns`, or where the last `at` was; a clock that stands goes on standing."""
        if self._runs and at_ns is not None:
            self._stands_s = self._running_s(at_ns)
        self._runs = False

    def locate(self, position_s: float) -> None:
        """Stand at `position_s`, whether it ran or not."""
        self._runs = False
        self._stands_s = position_s
        self._jumps += 1

    def feed(self, stamp_ns: int, data: bytes) -> None:
        """Take no notice of bytes."""

    def at(self, now_ns: int) -> Clock:
        """Return where the clock is at `now_ns`."""
        if self._runs:
            self._stands_s = self._running_s(now_ns)
            return Clock(Lock.LOCKED, now_ns, self._stands_s, 1.0, 0.0, self._jumps)
        lock = Lock.LOCATED if self._jumps else Lock.WAITING
        return Clock(lock, now_ns, self._stands_s, 0.0, 0.0 if self._jumps else float("inf"), self._jumps)

    def sightings(self) -> tuple[tuple[int, float], ...]:
        """Return the instants at which it was started since the last call; they place all others."""
        started = tuple(self._started)
        self._started.clear()
        return started

    def troubles(self) -> tuple[str, ...]:
        """Return none: it has no master to complain of."""
        return ()

    def _running_s(self, at_ns: int) -> float:
        return self._position_s + (at_ns - self._at_ns) * 1e-9
