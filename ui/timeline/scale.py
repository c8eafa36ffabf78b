"""The values that a lane's scale names. It refuses to know Qt, and to name more than can be read."""

from functools import lru_cache
from math import ceil, floor, log10

from ui.timeline.geometry import Lane

_APART_PX = 18.0
_EDGE_PX = 8.0


@lru_cache(maxsize=256)
def steps(lane: Lane) -> tuple[tuple[float, str], ...]:
    """Return round values in the lane and how they are written, far enough from each other and from its edges."""
    px_a_value = lane.height_px / (lane.high - lane.low)
    power = floor(log10(_APART_PX / px_a_value))
    step = next(
        unit * 10.0 ** (power + more)
        for more in range(3)
        for unit in (1, 2, 5)
        if unit * 10.0 ** (power + more) * px_a_value >= _APART_PX
    )
    decimals = max(0, -floor(log10(step) + 1e-9))
    edge = _EDGE_PX / px_a_value
    numbers = range(ceil((lane.low + edge) / step), floor((lane.high - edge) / step) + 1)
    return tuple((number * step, f"{number * step + 0.0:.{decimals}f}") for number in numbers)
