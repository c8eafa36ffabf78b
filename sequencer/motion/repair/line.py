"""The least time in which one axis alone follows its path, from rest to rest: a line, walked from turn to turn.

It refuses paths of several axes: there the shape of the path counts too (`pathspeed`). On a line nothing but the turns
does: between them the axis goes as fast as it can, and at each it has some acceleration, chosen for the whole.
Source: textbook (time-optimal motion with limited jerk: three phases up to a peak speed, cruise, three down).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_LEVELS = 9
_ROUNDS = 7
_CLOSER = 0.3
# to compare levels, and for the walk itself
_ROUGHLY = 20
_HALVINGS = 48
# phases shorter than this are none
_NOTHING_S = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class Walk:
    """How an axis goes: from the instants `at_s` on it has the state `state` and the jerk `jerk`, until the next.

    Shape: `at_s` (Q+1,) rising from 0; `state` (Q+1, 3) position, speed and acceleration; `jerk` (Q,); `turn_s` (M+1,),
    the instants of the begin, of the turns and of the end.
    """

    at_s: Floats
    state: Floats
    jerk: Floats
    turn_s: Floats

    def states(self, t_s: Floats) -> Floats:
        """Return the states at instants. Shape: (N,), result (N, 3)."""
        piece = np.clip(np.searchsorted(self.at_s, t_s, "right") - 1, 0, len(self.jerk) - 1)
        since, jerk = t_s - self.at_s[piece], self.jerk[piece]
        place, speed, pull = self.state[piece].T
        return np.stack(
            (
                place + since * (speed + since * (pull / 2 + since * jerk / 6)),
                speed + since * (pull + since * jerk / 2),
                pull + since * jerk,
            ),
            axis=1,
        )

    def reaches(self, values: Floats, leg: NDArray[np.int64]) -> Floats:
        """Return when the axis is at `values`, each on its way from one turn to the next. Shape: both (N,)."""
        low, high = self.turn_s[leg], self.turn_s[leg + 1]
        up = self.states(high)[:, 0] > self.states(low)[:, 0]
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            early = (self.states(middle)[:, 0] < values) == up
            low, high = np.where(early, middle, low), np.where(early, high, middle)
        return (low + high) / 2


def walked(turns: Floats, limits: Floats) -> Walk:
    """Return the least time through `turns`, at whose first and last the axis rests.

    Shape: `turns` (M+1,), each the other way than the one before; `limits` (3,) speed, acceleration, jerk.
    """
    way = np.abs(np.diff(turns))
    pull = _pulls(way, limits)
    begin, end = pull[:-1], pull[1:]
    peak, cruise_s, _ = _fastest(way, begin, end, limits)
    phases = _ramps(peak, np.stack((begin, end)), limits)[0]
    lasts_s = np.stack((*phases[:, 0], cruise_s, *phases[::-1, 1]), axis=1)
    lasts_s[lasts_s < _NOTHING_S] = 0.0
    sign = np.sign(np.diff(turns))[:, None]
    jerk = sign * limits[2] * np.array([1.0, 0.0, -1.0, 0.0, -1.0, 0.0, 1.0])
    begins = np.concatenate(([0.0], np.cumsum(lasts_s.sum(axis=1))))
    state = np.empty((*lasts_s.shape, 3))
    now = np.stack((turns[:-1], np.zeros_like(way), sign[:, 0] * begin), axis=1)
    for phase in range(lasts_s.shape[1]):
        state[:, phase] = now
        t_s, j = lasts_s[:, phase], jerk[:, phase]
        place, speed, a = now.T
        now = np.stack(
            (place + t_s * (speed + t_s * (a / 2 + t_s * j / 6)), speed + t_s * (a + t_s * j / 2), a + t_s * j), axis=1
        )
    at_s = begins[:-1, None] + np.cumsum(lasts_s, axis=1) - lasts_s
    kept = (lasts_s > 0).ravel()
    last = np.array([[turns[-1], 0.0, 0.0]])
    return Walk(
        np.append(at_s.ravel()[kept], begins[-1]),
        np.concatenate((state.reshape(-1, 3)[kept], last)),
        jerk.ravel()[kept],
        begins,
    )


def _pulls(way: Floats, limits: Floats) -> Floats:
    """Return how hard the axis is pulled back at each turn, by comparing some levels, closer and closer. Shape: (M+1,).

    Bellman's principle: what is best from a turn on does not depend on what was before.
    """
    speed, most, jerk = limits
    most = min(most, float(np.sqrt(2 * jerk * speed)))
    around = np.linspace(-1.0, 1.0, _LEVELS)
    best, reach = np.full(len(way) + 1, most / 2), most / 2
    best[[0, -1]] = 0.0
    for number in range(_ROUNDS):
        levels = np.clip(best[:, None] + reach * around, 0.0, most)
        levels[[0, -1]] = 0.0
        if number == 0:
            levels[:, 0] = 0.0  # always possible
        lasts_s = _fastest(way[:, None, None], levels[:-1, :, None], levels[1:, None, :], limits, _ROUGHLY)[2]
        so_far, came = np.zeros(_LEVELS), []
        for each in lasts_s:
            total = so_far[:, None] + each
            came.append(total.argmin(axis=0))
            so_far = total.min(axis=0)
        place = 0
        for turn in range(len(way) - 1, -1, -1):
            place = int(came[turn][place])
            best[turn] = levels[turn, place]
        reach *= _CLOSER
    return best


def _fastest(
    way: Floats, begin: Floats, end: Floats, limits: Floats, halvings: int = _HALVINGS
) -> tuple[Floats, Floats, Floats]:
    """Return the peak speed between two turns, how long it is kept, and how long all lasts: infinite if impossible."""
    both = np.stack(np.broadcast_arrays(begin, end))
    low = both.max(axis=0) ** 2 / (2 * limits[2])
    high = np.full(low.shape, limits[0])
    impossible = _ramps(low, both, limits)[1] > way * (1 + 1e-12)
    cruise_s = np.maximum(way - _ramps(high, both, limits)[1], 0.0) / limits[0]
    for _ in range(halvings):
        peak = (low + high) / 2
        far = _ramps(peak, both, limits)[1] > way
        low, high = np.where(far, low, peak), np.where(far, peak, high)
    peak = np.where(cruise_s > 0, limits[0], (low + high) / 2)
    lasts_s = _ramps(peak, both, limits)[0].sum(axis=(0, 1)) + cruise_s
    return peak, cruise_s, np.where(impossible, np.inf, lasts_s)


def _ramps(peak: Floats, pull: Floats, limits: Floats) -> tuple[Floats, Floats]:
    """Return how long the phases last between speed 0 with acceleration `pull` and `peak` with none, and the way.

    Shape: `pull` (2, ...), at both ends; the phases (3, 2, ...), the way of both together (...).
    """
    _, most, jerk = limits
    top = np.minimum(np.sqrt(jerk * peak + pull**2 / 2), most)
    rise_s, fall_s = np.maximum(top - pull, 0.0) / jerk, top / jerk
    speed = (pull + top) / 2 * rise_s
    held_s = np.maximum(peak - speed - top * fall_s / 2, 0.0) / np.maximum(top, np.finfo(np.float64).tiny)
    way = rise_s**2 * (pull / 2 + jerk * rise_s / 6) + held_s * (speed + top * held_s / 2)
    way += fall_s * (speed + top * held_s + fall_s * (top / 2 - jerk * fall_s / 6))
    return np.stack((rise_s, held_s, fall_s)), way.sum(axis=0)
