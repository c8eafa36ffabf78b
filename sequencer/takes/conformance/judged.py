"""What a clause of the protocol came to, and how a measured way is compared with the plan."""

import math
from collections.abc import Callable, Generator
from dataclasses import dataclass

import numpy as np

from sequencer.rig.signals import Floats
from sequencer.takes.conformance.bench import Bench

_LEAST = 5  # places without which nothing can be judged
_SHIFTS_S = np.arange(-0.5, 0.5005, 0.001)


@dataclass(frozen=True, slots=True)
class Judged:
    """Whether a clause is kept (None: not there, or it could not be tried), and what was seen, in words."""

    kept: bool | None
    words: str


Check = Callable[[Bench], Generator[float, None, Judged]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Clause:
    """One thing that a device must do. `moves`: the trial moves the rig. `plain`: asked of one without a buffer too."""

    name: str
    asks: str
    check: Check
    moves: bool = False
    plain: bool = False


def kept(words: str = "") -> Judged:
    """Say that a clause is kept."""
    return Judged(True, words)


def broken(words: str) -> Judged:
    """Say that a clause is broken, and how."""
    return Judged(False, words)


def untold(words: str) -> Judged:
    """Say why nothing can be said of a clause."""
    return Judged(None, words)


@dataclass(frozen=True, slots=True)
class Hump:
    """There and back by `by` in `lasts_s`, as a cosine: it begins and ends at rest. Unit: seconds from its begin."""

    by: float
    lasts_s: float

    def position(self, t_s: Floats) -> Floats:
        return self.by / 2 * (1 - np.cos(2 * np.pi * np.clip(t_s / self.lasts_s, 0, 1)))

    def speed(self, t_s: Floats) -> Floats:
        rate = 2 * np.pi / self.lasts_s
        return self.by / 2 * rate * np.sin(2 * np.pi * np.clip(t_s / self.lasts_s, 0, 1))


def instants(lasts_s: float, hz: float) -> Floats:
    """Return `hz` instants a second from 0 on, the last at `lasts_s` or just behind it, where a hump stands."""
    return np.arange(math.ceil(lasts_s * hz - 1e-6) + 1) / hz


@dataclass(frozen=True, slots=True)
class Fit:
    """How a way was followed: how much later than planned, and how far off at the worst with that taken out.

    `gap_s` is the longest time in which the device did not say where it was.
    """

    delay_s: float
    worst: float
    gap_s: float


def fit(times_s: Floats, positions: Floats, plan: Callable[[Floats], Floats], lasts_s: float) -> Fit:
    """Compare places with what `plan` says for its `lasts_s`, both from the plan's begin and the place there.

    The delay is the shift, in whole milliseconds up to half a second either way, that leaves the least squares.
    """
    if len(times_s) < _LEAST:
        return Fit(0.0, float("inf"), lasts_s)
    during = np.sort(times_s[(times_s > 0) & (times_s < lasts_s)])
    gap_s = float(np.diff([0.0, *during, lasts_s]).max())
    off = positions - plan(times_s[None, :] - _SHIFTS_S[:, None])
    best = int((off**2).sum(axis=1).argmin())
    return Fit(float(_SHIFTS_S[best]), float(np.abs(off[best]).max()), gap_s)
