"""A rig as a move sees it that is run at another speed. It refuses to change where an axis can go."""

from dataclasses import replace
from fractions import Fraction

from sequencer.rig.axis import Rig
from sequencer.rig.limits import Combined


def at_speed(rig: Rig, speed: Fraction | float) -> Rig:
    """Return the rig with the limits that a move must keep as it is written, so that it keeps them at `speed`.

    At half speed a move may ask twice the speed, four times the acceleration and eight times the jerk as written.
    Error: ValueError for a speed that is not above zero.
    """
    factor = float(speed)
    if not factor > 0:
        raise ValueError(f"a move cannot run at the speed {speed}; give one above zero")
    if factor == 1:
        return rig
    axes = tuple(
        replace(
            axis,
            speed=axis.speed / factor,
            acceleration=axis.acceleration / factor**2,
            jerk=axis.jerk / factor**3,
        )
        for axis in rig.axes
    )
    return replace(rig, axes=axes, combined=tuple(_limit(limit, factor) for limit in rig.combined))


def _limit(limit: Combined, factor: float) -> Combined:
    return replace(
        limit,
        speed=None if limit.speed is None else limit.speed / factor,
        acceleration=None if limit.acceleration is None else limit.acceleration / factor**2,
        jerk=None if limit.jerk is None else limit.jerk / factor**3,
    )
