"""What a course found, as figures with their spread, and what of it the operator may take over as limits.

It takes nothing over by itself. The day is an argument.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from sequencer.rig.axis import Axis
from sequencer.rig.measured import Figure, Measured
from sequencer.takes.trials.course import Course
from sequencer.takes.trials.ladder import Ladder

MARGIN = 0.9  # of what was reached, as a limit: common practice, no source
_DIGITS = 3
_SHOWN = 0.5  # of an encoder's step


@dataclass(frozen=True, slots=True)
class Offer:
    """A field of the axis, what it is `now`, and what it would be; `why` in words."""

    field: str
    now: float
    new: float
    why: str


def measured(course: Course, on: str) -> Measured:
    """Return the figures of a course, as far as it came. Error: ValueError for a day that is none."""
    follows = course.follows
    known = bool(follows)
    return Measured(
        on=on,
        speed=_limit(course.runs, course.run),
        acceleration=_limit(course.pulls, course.pull),
        latency_s=_figure(max(one.delay_s, 0.0) for one in follows) if known else None,
        lag_s=_figure(one.lag_s for one in follows) if known else None,
        backlash=_figure(max(one, 0.0) for one in course.plays) if course.plays else None,
        resolution=Figure(value=course.resolution, spread=0.0, trials=1) if known else None,
        noise=Figure(value=course.noise, spread=0.0, trials=1) if known else None,
    )


def _figure(values: Iterable[float]) -> Figure:
    found = np.array(list(values))
    spread = float(np.std(found, ddof=1)) if len(found) > 1 else 0.0
    return Figure(value=float(np.mean(found)), spread=spread, trials=len(found))


def _limit(beyond: tuple[tuple[float, float], ...], rungs: Ladder) -> Figure | None:
    """Return what was reached beyond what the axis can do, the weaker way; else what it held at the most."""
    if beyond:
        ways = {way: _figure(abs(value) for one, value in beyond if one == way) for way, _ in beyond}
        return min(ways.values(), key=lambda figure: figure.value)
    if rungs.at_least is None:
        return None
    return Figure(value=rungs.at_least, spread=0.0, trials=rungs.good.count(max(rungs.good)), at_least=True)


def offers(axis: Axis, found: Measured) -> tuple[Offer, ...]:
    """Return what the axis's fields would be by these figures, where that is not what they are."""
    offered = [
        Offer(name, getattr(axis, name), *_safe(figure))
        for name, figure in (("speed", found.speed), ("acceleration", found.acceleration))
        # what it held at the most says nothing against a limit above that
        if figure is not None and not (figure.at_least and figure.value <= getattr(axis, name))
    ]
    offered += [
        Offer(name, getattr(axis, name), round(figure.value, decimals), "as measured")
        for name, figure, decimals in (
            ("latency_s", found.latency_s, 4),
            ("backlash", _play(found), _decimals(found.backlash)),
            ("resolution", found.resolution, _decimals(found.resolution)),
        )
        if figure is not None
    ]
    return tuple(one for one in offered if not math.isclose(one.new, one.now, rel_tol=1e-3, abs_tol=1e-9))


def _play(found: Measured) -> Figure | None:
    """Return the play, none at all where it is too little for the encoder to show."""
    play, step = found.backlash, found.resolution
    return replace(play, value=0.0) if play and step and play.value < _SHOWN * step.value else play


def _safe(figure: Figure) -> tuple[float, str]:
    """Return a limit to keep, in few digits, and why it is that."""
    if figure.at_least:
        return _few(figure.value), "the most that was tried, and it followed"
    return _few(MARGIN * figure.value), f"{MARGIN:.0%} of what it reached"


def _few(value: float) -> float:
    """Return the value in few digits, never more than it is."""
    step = 10.0 ** (math.floor(math.log10(value)) - _DIGITS + 1)
    return float(f"{math.floor(value / step + 1e-9) * step:.{_DIGITS}g}")


def _decimals(figure: Figure | None) -> int:
    return 0 if figure is None or figure.value <= 0 else _DIGITS - 1 - math.floor(math.log10(figure.value))


def taken_over(axis: Axis, found: Measured, accepted: Iterable[Offer]) -> Axis:
    """Return the axis with the evidence, and with the offers that the operator accepted. Error: ValueError."""
    fields: dict[str, Any] = {offer.field: offer.new for offer in accepted}
    return replace(axis, measured=found, **fields)
