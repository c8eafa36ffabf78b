"""The line through the newest stamps, over as long a memory as agrees with all shorter ones (variable-memory fit).

It knows ticks and seconds, not timecode, and asks no clock. The stamp of tick n is taken to be x + (n - n_newest) v
plus jitter; the phase x and the seconds a tick v come from least squares over a window that grows while the master's
speed holds and shrinks when it moves.

Source: least-squares line and its Cramér-Rao bound: Kay, Fundamentals of Statistical Signal Processing: Estimation
Theory, section 3; windows that must overlap: intersection of confidence intervals, Goldenshluger and Nemirovski,
"On spatially adaptive estimation of nonparametric regression", 1997. Both from memory; constants tuned by experiment.
"""

from collections import deque
from functools import cache
from itertools import pairwise
from math import inf, sqrt
from typing import NamedTuple

from sequencer.sync.stamps import Stamps, Sums

_LENGTHS = (6, 8, 12, 16, 24, 32, 48, 64, 96, 128, 192, 256, 384, 512, 768, 1024)
_BAND = 3.0  # standard deviations each side of a window's estimate
_BOW = 3.3  # standard deviations of the middle third against the outer two: a line that bends
_BOW_FROM = 64
_BACK = 2  # windows to step back from the longest that agrees: bias of a bend and noise then balance
_LATE, _EARLY = 4.0, 4.5  # standard deviations at which a stamp is held back, or nonsense
_READMIT = 4  # outliers that, evenly spaced, are the truth
_SLOWEST = 0.2  # of the nominal gap: what comes closer together was held back
_SETTLED = 32  # stamps from which the speed needs no prior
_PRIOR = 0.03  # of nominal speed
_SHUTTLE = 0.1  # of nominal speed: plainly not meant to be nominal
_KEEP = 12  # newest fits, of which the longest coasts
_SAME = 3.0  # of its own standard deviations that a shorter fit may lie off the longest: no sign of a change
_COAST_AFTER = 2.5  # ticks without a stamp
_VAGUE = 1e-4  # of nominal speed: a rate known worse than this may be taken for the nominal one
_SIGMA_MIN_S, _SIGMA_START_S = 1e-4, 2e-3
_SIGMA_STEP = 1 / 64
_NEVER = -(1 << 62)
_SECOND_DIFFERENCE = 1.954  # E|N(0, 6)|: mean size of a second difference of unit noise


class _Window(NamedTuple):
    """What a window of `length` stamps in a row needs, worked out once. Unit: `band` and `bow` in sigma."""

    length: int
    share: float  # 1 / length
    half: float  # ticks from the centroid to the newest
    slope: float  # 1 / sum of squares of the ticks about the centroid
    band: float  # of the value at the newest stamp
    third: int  # stamps in an outer third, 0 in a window too short to be tested for a bow
    bow: float  # that the middle third may lie off the line

    @classmethod
    def over(cls, w: int) -> "_Window":
        slope = 12 / (w * (w * w - 1)) if w > 1 else 0.0
        band = _BAND * sqrt(2 * (2 * w - 1) / (w * (w + 1)))
        if w < _BOW_FROM:
            return cls(w, 1 / w, (w - 1) / 2, slope, band, 0, inf)
        third = w // 3
        middle = w - 2 * third
        # the residuals of the whole sum to zero, so the outer thirds have what the middle lacks
        bow = _BOW * sqrt(1 / middle + 0.5 / third) / (1 + middle / (2 * third))
        return cls(w, 1 / w, (w - 1) / 2, slope, band, third, bow)


@cache
def _table(held: int) -> tuple[_Window, ...]:
    """Return the windows that `held` stamps allow, the last one clipped to them."""
    lengths = [w for w in _LENGTHS if w < held]
    return tuple(_Window.over(w) for w in (*lengths, min(held, _LENGTHS[-1])))


class Fit(NamedTuple):
    """A line over the newest `memory` stamps. Unit: `x_s` at tick `n`, `v_s` a tick; `mid_n`, `mid_s` the centroid."""

    memory: int
    n: int
    x_s: float
    v_s: float
    mid_n: float
    mid_s: float

    def rate_sd(self, sigma_s: float) -> float:
        """Return the standard deviation of `v_s`. Source: 12 sigma^2 / K^3 for long K."""
        return 3.46 * sigma_s / (self.memory * sqrt(self.memory))

    def spread(self, ticks: float) -> float:
        """Return the standard deviation of the line `ticks` past its newest stamp, in sigma.

        Source: Cramér-Rao bound of a line, 1/K + ((K-1)/2 + a)^2 12 / (K (K^2 - 1)).
        """
        k = self.memory
        if k < 2:
            return inf
        return sqrt(1 / k + ((k - 1) / 2 + ticks) ** 2 * 12 / (k * (k * k - 1)))


class Line:
    """Phase and speed of a ticking clock from its stamps. Ticks count up, whatever way the timeline runs.

    Unit: seconds of one clock of ours for stamps, `gap_s` nominal seconds a tick.
    """

    def __init__(self, gap_s: float) -> None:
        self._gap_s = gap_s
        self.sigma_s = _SIGMA_START_S
        self._first: list[float] | None = []  # second differences until sigma has begun
        self.clear()

    def clear(self) -> None:
        """Forget the line; the jitter of the transport stays known."""
        self._stamps: Stamps | None = None
        self._nominal = True  # whether the speed is likely to be the nominal one
        self._raw = (_NEVER, 0.0, _NEVER, 0.0)  # tick and stamp of the newest two, taken or not
        self._pending: list[tuple[int, float]] = []
        self._fits: deque[Fit] = deque(maxlen=_KEEP)
        self._coast: Fit | None = None
        self.fit: Fit | None = None
        self.heard_s = -inf
        self.outliers = 0

    @property
    def speed(self) -> float:
        """Seconds a tick, now."""
        return self.fit.v_s if self.fit else self._gap_s

    def feed(self, n: int, t_s: float) -> bool:
        """Add the stamp `t_s` of tick `n`; return whether it was taken, not set aside as held back or nonsense.

        Error: ValueError for a tick that is not later than the one before.
        """
        if n <= self._raw[0]:
            raise ValueError(f"tick {n} comes after tick {self._raw[0]}; ticks rise")
        self._jitter(n, t_s)
        fit = self.fit
        if fit is not None:
            ahead = n - fit.n
            off = t_s - (fit.x_s + ahead * fit.v_s)
            sd = self.sigma_s * sqrt(1 + 4 / fit.memory * (1 + 3 * ahead / fit.memory))
            if off > _LATE * sd or off < -_EARLY * sd:
                self.outliers += 1
                return self._set_aside(n, t_s)
        self._pending.clear()
        self._push(n, t_s)
        self._solve()
        return True

    def _jitter(self, n: int, t_s: float) -> None:
        """Learn sigma from three stamps in a row; their second difference does not see the speed."""
        n1, t1, n2, t2 = self._raw
        self._raw = n, t_s, n1, t1
        if n1 != n - 1 or n2 != n - 2:
            return
        size = abs(t_s - 2 * t1 + t2) / _SECOND_DIFFERENCE
        if self._first is not None:
            self._first.append(size)
            if len(self._first) == 6:
                self.sigma_s = max(_SIGMA_MIN_S, sum(sorted(self._first)[:5]) / 5)
                self._first = None
            return
        sigma = self.sigma_s
        self.sigma_s = max(_SIGMA_MIN_S, sigma + _SIGMA_STEP * (min(size, 4 * sigma) - sigma))

    def _set_aside(self, n: int, t_s: float) -> bool:
        """Keep an outlier; several that are evenly spaced show that the clock moved, not that they were held back."""
        self._pending.append((n, t_s))
        if len(self._pending) < _READMIT:
            return False
        del self._pending[:-_READMIT]
        (n1, t1), (n2, t2) = self._pending[0], self._pending[-1]
        v = (t2 - t1) / (n2 - n1)
        if v < _SLOWEST * self._gap_s:
            return False  # held back, and come all at once
        for (n1, t1), (n2, t2) in pairwise(self._pending):
            if not 0.5 * v <= (t2 - t1) / (n2 - n1) <= 2 * v:
                return False
        # what went before says nothing of where the clock is now
        self._stamps = None
        self._nominal = abs(v - self._gap_s) <= _SHUTTLE * self._gap_s
        for tick, stamp in self._pending:
            self._push(tick, stamp)
        self._pending.clear()
        self._solve()
        return True

    def _push(self, n: int, t_s: float) -> None:
        if self._stamps is None:
            self._stamps = Stamps(self._gap_s, n, t_s)
        self._stamps.push(n, t_s)
        self.heard_s = t_s

    def _solve(self) -> None:
        """Fit each window, the shortest first, until one disagrees with the shorter ones or bends."""
        stamps = self._stamps
        assert stamps is not None
        sums, newest = stamps.sums, stamps.x
        held = len(sums) - 1
        table = _table(min(held, _LENGTHS[-1]))
        ex, exx, ey, exy = sums[-1]
        sigma = self.sigma_s
        ridge = self._ridge(sums[-1], held) if held < _SETTLED else 0.0
        in_a_row = 0 if ridge else stamps.in_a_row
        low, high = -inf, inf
        agreed = 0
        for w, share, half, slope, width, third, bow in table:
            sx, sxx, sy, sxy = sums[held - w]
            sy = ey - sy
            y = sy * share
            if w <= in_a_row:
                x = newest - half
                d = (exy - sxy - x * sy) * slope
                a = y + d * half
            else:
                sx = ex - sx
                x = sx * share
                d = (exy - sxy - x * sy) / (exx - sxx - x * sx + ridge)
                a = y + d * (newest - x)
            band = width * sigma
            low = a - band if a - band > low else low
            high = a + band if a + band < high else high
            if low > high:
                break
            if third:
                from_x, _, from_y, _ = sums[held - w + third]
                to_x, _, to_y, _ = sums[held - third]
                off = (to_y - from_y - d * (to_x - from_x)) / (w - 2 * third) - y + d * x
                if off > bow * sigma or off < -bow * sigma:
                    break
            agreed += 1
        w = table[agreed - 1 if agreed == len(table) else max(0, agreed - 1 - _BACK)].length
        sx, sxx, sy, sxy = sums[held - w]
        x, y = (ex - sx) / w, (ey - sy) / w
        d = (exy - sxy - x * y * w) / (exx - sxx + ridge - x * x * w)
        a = y + d * (newest - x)
        t0, gap = stamps.t0, self._gap_s
        self.fit = Fit(w, stamps.n0 + int(newest), t0 + newest * gap + a, gap + d, stamps.n0 + x, t0 + x * gap + y)
        self._fits.append(self.fit)
        self._coast = None

    def _ridge(self, total: Sums, held: int) -> float:
        """Return how much the nominal speed counts beside few stamps; nothing once they plainly run at another."""
        sx, sxx, sy, sxy = total
        if not self._nominal:
            return 0.0
        if held >= _LENGTHS[0]:
            spread = sxx - sx * sx / held
            off = abs(sxy - sx * sy / held) / spread
            if off > _SHUTTLE * self._gap_s + 4 * self.sigma_s / sqrt(spread):
                return 0.0
        return (self.sigma_s / (_PRIOR * self._gap_s)) ** 2

    def coast(self) -> Fit:
        """Return the line to go on along when ticks end: the longest of the newest fits.

        A speed that is hardly known and might be the nominal one is taken to be that.
        """
        if self._coast is None:
            best = max(self._fits, key=lambda fit: fit.memory)
            sd = best.rate_sd(self.sigma_s)
            gap = self._gap_s
            if sd > _VAGUE * gap and abs(best.v_s - gap) < 3 * sd:
                x_s = best.mid_s + (best.n - best.mid_n) * gap
                best = Fit(best.memory, best.n, x_s, gap, best.mid_n, best.mid_s)
            self._coast = best
        return self._coast

    def now(self, t_s: float) -> tuple[float, Fit]:
        """Return the tick at `t_s`, with its part, and the line that says so.

        Jitter alone makes a fit fall back to a short memory now and then. While that lies where the longest of the
        newest fits does, by its own precision, it is no sign of a change, and the long one goes on.
        """
        fit = self.fit
        if fit is None:
            raise ValueError("no stamp has been fed yet")
        if t_s - self.heard_s > _COAST_AFTER * fit.v_s:
            fit = self.coast()
        tick = fit.n + (t_s - fit.x_s) / fit.v_s
        longest = self.coast()
        if longest.memory > fit.memory:
            along = longest.n + (t_s - longest.x_s) / longest.v_s
            if abs(along - tick) * fit.v_s <= _SAME * self.sigma_s * fit.spread(tick - fit.n):
                return along, longest
        return tick, fit
