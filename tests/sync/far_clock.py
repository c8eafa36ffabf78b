"""A clock behind a link that jitters, loses and breaks off: exchanges as they come back, with the truth beside."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from sequencer.sync.device_clock import Exchange

SECOND_NS = 1_000_000_000
Delay = Callable[[np.random.Generator], float]


def spread(least_s: float, most_s: float) -> Delay:
    """Any delay between two is as likely as any other."""
    return lambda chance: float(chance.uniform(least_s, most_s))


def exponential(least_s: float, mean_s: float) -> Delay:
    """Short ones are likelier than long ones, without an end."""
    return lambda chance: least_s + float(chance.exponential(mean_s))


@dataclass(frozen=True, kw_only=True)
class FarClock:
    """The link and the clock at its other end.

    `step_s` is added to the clock at `step_at_s`; within `away` nothing gets through; of each way `loss` gets lost.
    """

    out: Delay
    back: Delay
    skew: float = 0.0
    apart_s: float = 100.0
    loss: float = 0.03
    away: tuple[tuple[float, float], ...] = ()
    step_at_s: float = np.inf
    step_s: float = 0.0
    begun_ns: int = 7_000 * SECOND_NS

    def here_ns(self, t_s: float) -> int:
        return self.begun_ns + round(t_s * 1e9)

    def there_ns(self, t_s: float) -> int:
        stepped_s = self.step_s if t_s >= self.step_at_s else 0.0
        return round((self.apart_s + stepped_s + t_s * (1 + self.skew)) * 1e9)

    def exchanges(self, seconds: float, per_s: float, seed: int) -> Iterator[tuple[float, Exchange]]:
        """Yield exchanges in the order in which answers come, each with the time of that."""
        chance = np.random.default_rng(seed)
        found = []
        for t_s in np.arange(0, seconds, 1 / per_s):
            came_s = t_s + self.out(chance)
            left_s = came_s + 0.0002
            back_s = left_s + self.back(chance)
            gone = any(begin <= t_s < end for begin, end in self.away)
            if chance.random() >= self.loss and chance.random() >= self.loss and not gone and back_s < seconds:
                stamps = self.here_ns(t_s), self.there_ns(came_s), self.there_ns(left_s), self.here_ns(back_s)
                found.append((float(back_s), Exchange(*stamps)))
        yield from sorted(found)
