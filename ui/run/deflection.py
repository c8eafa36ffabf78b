"""How far a pad is pushed: from where the pointer is to how far that is. It knows no pointer and no screen."""

import math
from collections.abc import Collection
from dataclasses import dataclass

from sequencer.rig.axis import Rig

DEAD = 0.08  # part of the reach in which nothing is asked for
_ACROSS = 1e-9  # a slide that goes to neither side is pushed right to where its position grows
_PAIRS = (("pan", "tilt"),)  # kinds that one pad drives, across and up


@dataclass(frozen=True, slots=True)
class Driven:
    """The axes that one pad drives, by their place in the rig: across, and up. None where it drives but one."""

    across: int | None
    up: int | None


def pads(rig: Rig) -> tuple[Driven, ...]:
    """Return the pads of a rig: one for its first pan and tilt together, one for each other axis."""
    kinds = [axis.kind for axis in rig.axes]
    left = list(range(len(kinds)))
    found = []
    for across, up in _PAIRS:
        if across in kinds and up in kinds:
            pair = Driven(kinds.index(across), kinds.index(up))
            left = [place for place in left if place not in (pair.across, pair.up)]
            found.append(pair)
    # what goes up and down is pushed up and down
    upright = ("tilt", "lift")
    found += [Driven(None, at) if kinds[at] in upright else Driven(at, None) for at in left]
    return tuple(found)


def deflection(off_px: float, reach_px: float) -> float:
    """Return how far a push of `off_px` is, from -1 to 1: fine near the middle."""
    part = min(1.0, abs(off_px) / reach_px)
    if part <= DEAD:
        return 0.0
    pushed = (part - DEAD) / (1 - DEAD)
    return pushed * pushed * (1.0 if off_px > 0 else -1.0)


def parts(
    rig: Rig, pushed: dict[Driven, tuple[float, float]], only: Collection[str] | None = None
) -> tuple[float, ...]:
    """Return how far each axis is pushed, from -1 to 1, when pads are pushed so far across and up.

    A push to the right or up moves the camera right or up, whichever way the axis counts. Axes that are not among
    `only` are pushed nowhere. Shape: A.
    """
    wanted = [0.0] * len(rig.axes)
    for pad, (across, up) in pushed.items():
        if pad.across is not None:
            wanted[pad.across] = across * _rightward(rig, pad.across)
        if pad.up is not None:
            wanted[pad.up] = up * _sign(rig, pad.up)
    return tuple(part if only is None or name in only else 0.0 for name, part in zip(rig.names, wanted, strict=True))


def _sign(rig: Rig, place: int) -> float:
    axis = rig.axes[place]
    return rig.geometry.sign(axis.name, axis.kind)


def _rightward(rig: Rig, place: int) -> float:
    """Return which way an axis counts to the right: a pan to the left unless its rig says otherwise."""
    axis = rig.axes[place]
    if axis.kind == "slide":
        leftward = math.sin(math.radians(rig.geometry.heading(axis.name)))
        return -1.0 if leftward > _ACROSS else 1.0
    return -_sign(rig, place) if axis.kind == "pan" else _sign(rig, place)
