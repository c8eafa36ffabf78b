"""When a ticking clock ticks, and how fast: phase and speed from jittering stamps, by several filters side by side.

It knows ticks and seconds, not timecode, and asks no clock. Each filter follows the stamps with another idea of how
restless the master's speed is, from a crystal's to a hand's on a wheel; the more likely ones count for more, so that
the memory is long while the speed holds and short while it moves, and changes smoothly from one to the other.

Source: interacting multiple models: Blom and Bar-Shalom, "The interacting multiple model algorithm for systems with
Markovian switching coefficients", 1988; Bar-Shalom, Li and Kirubarajan, Estimation with Applications to Tracking and
Navigation, section 11.6. Both from memory; constants tuned by experiment.
"""

from collections import deque
from itertools import pairwise
from math import exp, inf, sqrt
from typing import NamedTuple


class _Model(NamedTuple):
    """One idea of the master.

    `walk`: variance that the speed gains in a tick of `_TICK_S`, in sigma^2; `prior`: standard deviation of the speed
    about the nominal one where nothing is known, as a part of it; `share`: how likely the idea is then; `calms`,
    `stirs`: chance in such a tick that the master becomes what the model before or after this one says.
    """

    walk: float
    prior: float
    share: float
    calms: float
    stirs: float


_TICK_S = 1 / 120  # for which the models are written down
_MODELS = (
    _Model(1e-13, 5e-4, 0.90, 0.0, 2e-5),  # a crystal at its nominal speed, or at any other once it is known
    _Model(1e-10, 0.03, 0.04, 3e-3, 2e-4),
    _Model(1e-7, 0.03, 0.02, 1.5e-2, 1.5e-3),
    _Model(1e-5, 0.03, 0.02, 1.5e-2, 5e-3),
    _Model(1e-2, 1.0, 0.02, 0.1, 0.0),  # a hand on a wheel
)
_SUDDEN = 5e-6  # chance in a tick that a crystal becomes a hand
_FAR = 12.0  # squared standard deviations: what is farther off is no more unlikely, for jitter is not all Gaussian
_LATE, _EARLY = 5.5, 4.5  # standard deviations at which a stamp is held back, or nonsense
_YOUNG = 16  # stamps for which those are doubled, while a speed far from the nominal one may yet be found
_READMIT = 4  # outliers that, evenly spaced, are the truth
_SLOWEST = 0.2  # of the nominal gap: what comes closer together was held back; hardly a master is so fast
_HELD = 32  # ticks that a stall holds back at most as a line begins: when more come so close, the master is so fast
_NO_WIRE = 0.02  # of the nominal gap: no master is so fast, and no line goes back
_KEEP = 24  # newest fits, of which the one that knows the speed best coasts
_COAST_AFTER = 2.5  # ticks without a stamp
_LOST_TRACK = 0.5  # of the speed: how well it is known from those outliers
_SIGMA_MIN_S, _SIGMA_START_S = 1e-4, 2e-3
_SIGMA_FIRST, _SIGMA_MEMORY = 6, 64  # second differences with which sigma begins, and over which it is a mean
_NEVER = -(1 << 62)
_SECOND_DIFFERENCE = 1.954  # E|N(0, 6)|: mean size of a second difference of unit noise


# what one model has found: phase and speed in s and s a tick off the line's, their variances and covariance in sigma^2
_State = tuple[float, float, float, float, float]
_Step = tuple[float, float, list[tuple[int, float]]]


def _step(at: int, scale: float) -> _Step:
    """Return how the model `at` goes on: its walk, its chance to stay, and who comes with what chance.

    Unit: `scale` is a tick, in those for which the models are written down.
    """
    model = _MODELS[at]
    ways = [(other, _MODELS[other].stirs) for other in (at - 1,) if at > 0]
    ways += [(other, _MODELS[other].calms) for other in (at + 1,) if other < len(_MODELS)]
    ways += [(0, _SUDDEN)] * (at == len(_MODELS) - 1)
    leaves = min(0.5, (model.calms + model.stirs) * scale)
    return model.walk * scale**3, 1 - leaves, [(other, min(0.5, chance * scale)) for other, chance in ways]


class Fit(NamedTuple):
    """Where the clock ticks. Unit: `x_s` at tick `n`, `v_s` a tick; `p`, `q` their variances and `c` both, in sigma^2.

    `memory` is how many stamps of a steady clock would tell the phase as well.
    """

    memory: int
    n: int
    x_s: float
    v_s: float
    p: float
    c: float
    q: float

    def spread(self, ticks: float) -> float:
        """Return the standard deviation `ticks` past tick `n` of a clock whose speed holds, in sigma."""
        return sqrt(self.p + ticks * (2 * self.c + ticks * self.q))


class Line:
    """Phase and speed of a ticking clock from its stamps. Ticks count up, whatever way the timeline runs.

    Unit: seconds of one clock of ours for stamps, `gap_s` nominal seconds a tick.
    """

    def __init__(self, gap_s: float) -> None:
        self._gap_s = gap_s
        self._steps = [_step(at, gap_s / _TICK_S) for at in range(len(_MODELS))]
        self.sigma_s = _SIGMA_START_S
        self._first: list[float] = []  # second differences until sigma has begun
        self._sizes = 0
        self.clear()

    def clear(self) -> None:
        """Forget the line; the jitter of the transport stays known."""
        self._raw = (_NEVER, 0.0, _NEVER, 0.0)  # tick and stamp of the newest two, taken or not
        self._pending: list[tuple[int, float]] = []
        self._states: list[_State] = []
        self._shares: list[float] = []
        self._count = self._anew = 0
        self._fits: deque[Fit] = deque(maxlen=_KEEP)
        self.fit: Fit | None = None
        self.heard_s = -inf
        self.outliers = 0

    @property
    def speed(self) -> float:
        """Seconds a tick, now."""
        return self.fit.v_s if self.fit else self._gap_s

    def now(self, t_s: float) -> tuple[float, Fit]:
        """Return the tick at `t_s`, with its part, and the fit that says so. Error: ValueError before the first stamp.

        When ticks end, that of the newest fits goes on that knows the speed best: jitter alone makes the clock look
        restless for a moment now and then.
        """
        fit = self.fit
        if fit is None:
            raise ValueError("no stamp has been fed yet")
        if t_s - self.heard_s > _COAST_AFTER * fit.v_s:
            fit = min(self._fits, key=lambda one: one.q)
        return fit.n + (t_s - fit.x_s) / fit.v_s, fit

    def feed(self, n: int, t_s: float) -> bool:
        """Add the stamp `t_s` of tick `n`; return whether it was taken, not set aside as held back or nonsense.

        Error: ValueError for a tick that is not later than the one before.
        """
        if n <= self._raw[0]:
            raise ValueError(f"tick {n} comes after tick {self._raw[0]}; ticks rise")
        self._jitter(n, t_s)
        fit = self.fit
        if fit is None:
            self._begin(n, t_s, self._gap_s, [model.prior * self._gap_s for model in _MODELS])
            return True
        ahead = n - fit.n
        off = t_s - (fit.x_s + ahead * fit.v_s)
        spread = fit.spread(ahead)
        sd = self.sigma_s * sqrt(1 + spread * spread) * (1 + _YOUNG / self._count)
        if off > _LATE * sd or off < -_EARLY * sd:
            self.outliers += 1
            return self._set_aside(n, t_s)
        self._pending.clear()
        self._take(n, t_s)
        return True

    def _jitter(self, n: int, t_s: float) -> None:
        """Learn sigma from three stamps in a row; their second difference does not see the speed."""
        n1, t1, n2, t2 = self._raw
        self._raw = n, t_s, n1, t1
        if n1 != n - 1 or n2 != n - 2:
            return
        size = abs(t_s - 2 * t1 + t2) / _SECOND_DIFFERENCE
        self._sizes += 1
        if self._sizes <= _SIGMA_FIRST:
            self._first.append(size)
            if self._sizes == _SIGMA_FIRST:
                # one of them may be of a stamp that was held back
                self.sigma_s = max(_SIGMA_MIN_S, sum(sorted(self._first)[:-1]) / (_SIGMA_FIRST - 1))
            return
        sigma = self.sigma_s
        step = (min(size, 4 * sigma) - sigma) / min(self._sizes, _SIGMA_MEMORY)
        self.sigma_s = max(_SIGMA_MIN_S, sigma + step)

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
        first, *rest = self._pending
        self._begin(*first, v, [_LOST_TRACK * v] * len(_MODELS))
        for tick, stamp in rest:
            self._take(tick, stamp)
        self._pending.clear()
        return True

    def _begin(self, n: int, t_s: float, v_s: float, priors: list[float]) -> None:
        """Start from one stamp, and a speed that each model knows as well as in `priors`."""
        self._count, self.heard_s = 1, t_s
        self._fits.clear()
        self._shares = [model.share for model in _MODELS]
        self._states = [(0.0, v_s - self._gap_s, 1.0, 0.0, (prior / self.sigma_s) ** 2) for prior in priors]
        self._combine(n, t_s)

    def _take(self, n: int, t_s: float) -> None:
        """Let each model take a stamp, and weigh them by how well they foresaw it."""
        fit = self.fit
        assert fit is not None
        self._count += 1
        self.heard_s = t_s
        ticks = n - fit.n
        reference_s = fit.x_s + ticks * self._gap_s
        off = t_s - reference_s
        scale = 1 / self.sigma_s**2
        states, shares = self._states, self._shares
        found, weights = [], []
        whole = 0.0
        for (walk, stay, ways), share, state in zip(self._steps, shares, states, strict=True):
            weight = share * stay
            y, d, p, c, q = state
            for other, chance in ways:
                came = shares[other] * chance
                weight += came
                came /= weight
                y1, d1, p1, c1, q1 = states[other]
                y1 -= y
                d1 -= d
                y += came * y1
                d += came * d1
                apart = (1 - came) * scale
                p += came * (p1 - p + apart * y1 * y1)
                c += came * (c1 - c + apart * y1 * d1)
                q += came * (q1 - q + apart * d1 * d1)
            walked = walk * ticks
            p += ticks * (2 * c + ticks * (q + walked / 3))
            c += ticks * (q + walked / 2)
            q += walked
            precision = 1 / (p + 1)
            r = off - y - ticks * d
            far = r * r * scale * precision
            weight *= exp(-0.5 * far if far < _FAR else -0.5 * _FAR) * sqrt(precision)
            p *= precision
            gain = c * precision
            found.append((off - r + p * r, d + gain * r, p, gain, q - c * gain))
            weights.append(weight)
            whole += weight
        self._shares = [weight / whole for weight in weights]
        self._states = found
        self._combine(n, reference_s)
        young = self._count <= _YOUNG and self._anew < _HELD
        if self.speed < (_SLOWEST if young else _NO_WIRE) * self._gap_s:
            self._anew += 1
            # of a line that has hardly begun: its stamps were held back and came at once, this one the least late
            self._begin(n, t_s, self._gap_s, [model.prior * self._gap_s for model in _MODELS])

    def _combine(self, n: int, reference_s: float) -> None:
        """Make one fit of what the models found, and let them count from it."""
        shares, states = self._shares, self._states
        scale = 1 / self.sigma_s**2
        y = d = p = c = q = yy = yd = dd = 0.0
        for share, (y1, d1, p1, c1, q1) in zip(shares, states, strict=True):
            y += share * y1
            d += share * d1
            p += share * p1
            c += share * c1
            q += share * q1
        for share, (y1, d1, _, _, _) in zip(shares, states, strict=True):
            yy += share * (y1 - y) * (y1 - y)
            yd += share * (y1 - y) * (d1 - d)
            dd += share * (d1 - d) * (d1 - d)
        p, c, q = p + yy * scale, c + yd * scale, q + dd * scale
        self._states = [(y1 - y, d1, p1, c1, q1) for y1, d1, p1, c1, q1 in states]
        memory = min(self._count, int(4 / p))
        self.fit = Fit(memory, n, reference_s + y, self._gap_s + d, p, c, q)
        self._fits.append(self.fit)
