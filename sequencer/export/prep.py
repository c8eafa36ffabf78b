"""What a prep sheet says, in numbers: where nobody may stand, how fast each axis gets, how far it goes in a stop."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.stopping import Stopping
from sequencer.motion.swept import Zone

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Top:
    """A largest speed, the timecode and the pass of it; both empty for what stands."""

    value: float
    at: str
    run: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PrepAxis:
    """What one axis does. `stop` is from its top speed, `stop_most` from its speed limit.

    `span` is how far it goes in the move, a stop at any instant included; `travel` what the motor can do.
    Unit: the axis's own.
    """

    name: str
    unit: str
    top: Top
    limit: float
    stop: Stopping
    stop_most: Stopping
    span: tuple[float, float]
    travel: tuple[float, float] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A person or a box on the ground: a convex outline, grown by `radius_m`. Shape: `outline` (N, 2). Unit: metres.

    `clear_m` is how far it is from the keep-clear area, zero or less within it; None where no reach is known.
    """

    name: str
    person: bool
    outline: Floats
    radius_m: float
    clear_m: float | None

    @property
    def inside(self) -> bool:
        return self.clear_m is not None and self.clear_m <= 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Stand:
    """Where the pivot is, and where the camera looks, from above. Shape: (2,). Unit: metres; length one or less."""

    at: Floats
    forward: Floats


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Prep:
    """All that a prep sheet is made of.

    `swept` is where the pivot may be, with reach and margin where they are known (else zero). `paths` are the
    ways of the pivot from above in each pass, (T, 2) each. `heights_m` are the lowest and highest of the pivot,
    `lens_m` of the entrance pupil. `fits` says whether the motors can do it. `remarks` must be read.
    """

    project: str
    rig: str
    made: str
    stretch: str
    passes: tuple[str, ...]
    whole_travel: bool
    reach_m: float | None
    margin_m: float
    swept: Zone
    paths: tuple[Floats, ...]
    start: Stand
    end: Stand
    places: tuple[Place, ...]
    axes: tuple[PrepAxis, ...]
    pupil: Top
    turn: Top
    part: Top | None
    heights_m: tuple[float, float]
    lens_m: tuple[float, float]
    fits: str
    remarks: tuple[str, ...]
