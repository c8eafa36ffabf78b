"""What is tried next where something is tried harder and harder: up by a quarter until it fails, then nearer to that.

A fold: a ladder knows what was tried and how it went, and says the next rung or that it is done. Unit: whatever is
tried.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

GROWTH = 1.25
_STRIDE = 4  # rungs between two of the growing ones, for coming nearer afterwards
_FAILURES = 2  # trials beyond, for a figure with a spread


@dataclass(frozen=True, slots=True, kw_only=True)
class Ladder:
    """`rungs` from careful to the most that may be tried; `good`, `bad`: the places of those tried, in order.

    `most` is the last rung that may still be tried: it comes down where the rig itself cannot be brought to one.
    """

    rungs: tuple[float, ...]
    most: int
    good: tuple[int, ...] = ()
    bad: tuple[int, ...] = ()

    def next(self, safe: Callable[[int, int], bool] = lambda held, place: True) -> int | None:
        """Return the place of the rung to try next, None where nothing is left to learn, or the first one failed.

        `safe` says whether a rung may be tried where no more is known than that another was held; a nearer one is
        tried where it says no.
        """
        held = max((place for place in self.good if place < min(self.bad, default=len(self.rungs))), default=None)
        if self.most < 0:
            return None
        if not self.bad:
            if held is None:
                return 0
            farthest = min(held + _STRIDE, self.most)
            if farthest == held:
                return None
            # the one after it is tried in any case: nothing nearer is left
            return next((place for place in range(farthest, held + 1, -1) if safe(held, place)), held + 1)
        failed = min(self.bad)
        if held is None:
            return None
        if failed - held > 1:
            return (failed + held) // 2
        return failed if len(self.bad) < _FAILURES else None

    @property
    def at_least(self) -> float | None:
        """The highest rung that was held, None where not even the first was."""
        below = [place for place in self.good if place < min(self.bad, default=len(self.rungs))]
        return self.rungs[max(below)] if below else None


def ladder(first: float, most: float) -> Ladder:
    """Return the rungs from about `first` to exactly `most`. Error: ValueError for numbers that are out of order."""
    if not 0 < first <= most < math.inf:
        raise ValueError(f"a ladder from {first:g} to {most:g} has no rungs")
    coarse = math.ceil(math.log(most / first) / math.log(GROWTH) - 1e-9)
    fine = GROWTH ** (1 / _STRIDE)
    count = coarse * _STRIDE + 1
    return Ladder(rungs=tuple(most / fine ** (count - 1 - place) for place in range(count)), most=count - 1)


def climbed(ladder: Ladder, place: int, held: bool) -> Ladder:
    """Return the ladder after a rung was tried."""
    if held:
        return replace(ladder, good=(*ladder.good, place))
    return replace(ladder, bad=(*ladder.bad, place))


def lowered(ladder: Ladder, place: int) -> Ladder:
    """Return the ladder on which nothing from `place` on can be tried."""
    return replace(ladder, most=min(ladder.most, place - 1))
