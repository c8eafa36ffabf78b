"""How a rig follows: how long after a setpoint's due time it stands there, and which part of that is a first-order lag.

It needs legs at two speeds: what grows with speed is time, and what does not is the gear's play.
Source: textbook (first-order lag with dead time, its response to straight pieces; least squares).
"""

import math
from dataclasses import dataclass

import numpy as np

from sequencer.takes.trials.seen import Floats, Seen
from sequencer.takes.trials.step import Leg

_TAKEN_UP = 0.3  # the part of a leg in which play and friction are overcome
_UNDER_WAY = 0.1  # of the way that it went: it moves, however late
_MOST_S = 0.5  # of delay that is looked for
_LAGS_S = (0.0, *(float(one) for one in np.geomspace(0.001, _MOST_S, 24)))
_GOLDEN = (math.sqrt(5) - 1) / 2
_FINE_S = 1e-6
_FEWEST = 20  # answers


@dataclass(frozen=True, slots=True, kw_only=True)
class Following:
    """`delay_s`: how far behind at an even speed. `lag_s`: what of it is a lag; the rest is transport.

    `offset`: by how much more it stands behind whichever way it goes, which is half of the play. `peak`: the largest
    distance from this model.
    """

    delay_s: float
    lag_s: float
    offset: float
    peak: float


def lagged(at_s: Floats, asked: Floats, lag_s: float) -> Floats:
    """Return a first-order lag's answer to straight pieces between `asked`, exactly. Shape: (N,)."""
    if lag_s <= 0:
        return asked
    answer = np.empty_like(asked)
    behind = 0.0  # asked less answered
    answer[0] = asked[0]
    for i in range(1, len(asked)):
        span_s = at_s[i] - at_s[i - 1]
        steady = lag_s * (asked[i] - asked[i - 1]) / span_s
        behind = steady + (behind - steady) * math.exp(-span_s / lag_s)
        answer[i] = asked[i] - behind
    return answer


def following(seen: Seen, legs: tuple[Leg, ...]) -> Following | None:
    """Return how the axis follows in these legs, or None where too few answers are there to say."""
    windows = [(leg, _window(seen, leg)) for leg in legs]
    if any(len(at_s) < _FEWEST for _, (at_s, _) in windows):
        return None
    at_s = np.concatenate([found[0] for _, found in windows])
    actual = np.concatenate([found[1] for _, found in windows])
    ways = np.concatenate([np.full(len(found[0]), leg.way) for leg, found in windows])

    def fit(lag_s: float) -> tuple[float, float, Floats]:
        return _delayed(seen.asked_s, lagged(seen.asked_s, seen.asked, lag_s), at_s, actual, ways)

    cost = {lag_s: fit(lag_s)[1] for lag_s in _LAGS_S}
    best = _LAGS_S.index(min(cost, key=lambda lag_s: cost[lag_s]))
    low, high = _LAGS_S[max(best - 1, 0)], _LAGS_S[min(best + 1, len(_LAGS_S) - 1)]
    while high - low > _FINE_S * 10:
        left, right = high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)
        low, high = (low, right) if fit(left)[1] < fit(right)[1] else (left, high)
    lag_s = (low + high) / 2
    if cost[0.0] <= fit(lag_s)[1]:
        lag_s = 0.0
    transport_s, _, left_over = fit(lag_s)
    model = np.interp(at_s - transport_s, seen.asked_s, lagged(seen.asked_s, seen.asked, lag_s))
    above, below = (float(np.mean((model - actual)[ways == way])) for way in (1.0, -1.0))
    return Following(
        delay_s=transport_s + lag_s,
        lag_s=lag_s,
        offset=(above - below) / 2,
        peak=float(np.max(np.abs(left_over))),
    )


def _window(seen: Seen, leg: Leg) -> tuple[Floats, Floats]:
    """Return the answers from where play and friction are overcome to the middle of the rest."""
    till_s = leg.ends_s + leg.rests_s / 2
    at_s, actual = seen.between(leg.at_s, till_s)
    if not len(at_s):
        return at_s, actual
    went = (actual - actual[0]) * leg.way
    under_way = int(np.argmax(went >= _UNDER_WAY * float(np.max(went))))
    return seen.between(max(leg.at_s + leg.ramp_s / 2 + _TAKEN_UP * leg.lasts_s, float(at_s[under_way])), till_s)


def _delayed(
    asked_s: Floats, answer: Floats, at_s: Floats, actual: Floats, ways: Floats
) -> tuple[float, float, Floats]:
    """Return the transport that fits best, the mean square that it leaves, and what it leaves. Each way has its own
    offset. Shape: (K,)."""
    columns = np.stack((ways == 1.0, ways == -1.0), axis=1).astype(float)
    slope = np.gradient(answer, asked_s)
    transport_s = 0.0
    for _ in range(30):
        model = np.interp(at_s - transport_s, asked_s, answer)
        rate = np.interp(at_s - transport_s, asked_s, slope)
        found = np.linalg.lstsq(np.column_stack((-rate, columns)), actual - model, rcond=None)[0]
        further = min(max(transport_s + float(found[0]), -_MOST_S), _MOST_S)
        done = abs(further - transport_s) < _FINE_S
        transport_s = further
        if done:
            break
    model = np.interp(at_s - transport_s, asked_s, answer)
    offsets = np.linalg.lstsq(columns, actual - model, rcond=None)[0]
    left_over = actual - model - columns @ offsets
    return transport_s, float(np.mean(left_over**2)), left_over
