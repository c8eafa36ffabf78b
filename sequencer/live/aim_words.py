"""What keeps a camera from looking at a point, or makes it hard, in words with the nearest thing that works.

Instants are as `timebase.instants` has them.
"""

from fractions import Fraction

import numpy as np

from sequencer.motion.aim import Aimed, Missed, Why
from sequencer.motion.overhead import Near
from sequencer.rig.axis import Axis, Rig
from sequencer.timebase.instants import instant
from sequencer.timebase.rate import Rate

_ROOM = 4  # of the tolerance: the part of it in which a point may pass beside the top and still count as through it


def missed(found: Missed, names: str, rate: Rate) -> str:
    """Say why a point cannot be looked at."""
    of = "that axis" if found.why is Why.ASIDE else "the point where pan, tilt and roll meet"
    need = f"it is {found.far_m:.3f} m away from {of}, and must be {found.need_m:.3f} m or more"
    mend = "put the camera or the point elsewhere"
    return f"{names} cannot be looked at at {_at(found.at_s, rate)}: {found.why}; {need}; {mend}"


def beyond(rig: Rig, found: Aimed, names: str, rate: Rate) -> str:
    """Say which axis cannot turn so far, and where in the stretch it can."""
    words = []
    for one in found.beyond:
        low, high = rig.axes[rig.index(one.axis)].travel or (-np.inf, np.inf)
        asks = f"{one.axis} would have to be at {one.worst:.4g} and goes from {low:.4g} to {high:.4g}"
        words.append(f"{asks}, from {_at(one.at_s, rate)} on")
    inside = found.beyond[0].inside_s
    mend = "it can be turned there nowhere in this stretch: move the rig, or the point"
    if inside is not None:
        mend = f"it can be turned there from {_at(inside[0], rate)} to {_at(inside[1], rate)}: aim in that stretch only"
    return f"{names} is where the camera cannot be turned to: {'; '.join(words)}; {mend}"


def near(one: Near, pan: Axis, rate: Rate) -> str:
    """Say what a point that passes nearly above or below the camera costs."""
    where = f"straight {'above' if one.up else 'below'} the camera at {_at(one.at_s, rate)}"
    speed = f"{pan.name} turns at up to {one.pan_speed:.3g} deg/s there (limit {pan.speed:.3g})"
    if one.over:
        return f"the point passes {where}; tilt goes on over the top, so the picture is upside down after it; {speed}"
    words = f"the point comes to within {one.off_deg:.3g} deg of {where}, where pan has to turn round: {speed}"
    if one.pan_speed <= pan.speed:
        return words
    wide = _ROOM * one.off_deg
    return f"{words}; move the slide or the point further aside, or allow {wide:.2g} deg, to go over the top instead"


def _at(at_s: float, rate: Rate) -> str:
    return instant(rate.frames(Fraction(at_s)))
