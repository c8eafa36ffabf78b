"""A cue made ready to be played: which part of the timeline, from where, and how far ahead each axis is sent.

It does not judge whether the motors can do the move; the check has done that, and the guard does it once more.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.trajectory import Floats, Trajectory
from sequencer.rig.axis import Axis, Rig

_AT_REST = 1e-6  # of an axis's speed: what rounding leaves of zero


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Cued:
    """One cue of a compiled timeline, cut to [`start_s`, `rest_s`]; outside, every axis holds the value it has there.

    Shape: `position` (A,), where the cue starts; `approach` (A,), from where each axis comes to it last, so that its
    play is taken up the way that it will move first, whatever was before; `leads` one entry for each latency that the
    rig has, with the axes that have it. Unit: seconds from the project's start; `rest_s` is the first instant from the
    cue's end on at which every axis rests: a cue that ends in mid-move is played to there. `lead_s` is the longest
    latency. `pace` is the part of its written speed at which it runs, at most 1, and at which it is joined too.
    `moving` names the axes that do not rest at the start, `beyond` those that would start outside their
    travel: such a cue cannot be played.
    """

    timeline: Trajectory
    start_s: float
    rest_s: float
    position: Floats
    approach: Floats
    leads: tuple[tuple[float, NDArray[np.intp]], ...]
    moving: tuple[str, ...]
    beyond: tuple[str, ...]
    pace: float

    @property
    def lead_s(self) -> float:
        return max(latency_s for latency_s, _ in self.leads)

    def ahead(self, t_s: float, speed: float) -> tuple[Floats, Floats]:
        """Return position and velocity along the timeline for a clock at `t_s` that runs at `speed`.

        Each axis is ahead by what the clock runs during its latency. Shape: (A,) each. Unit: the axis's own; that for a
        second of the timeline.
        """
        (latency_s, _), *others = self.leads
        position, velocity = self.timeline.at(t_s + speed * latency_s)
        for latency_s, axes in others:
            late_position, late_velocity = self.timeline.at(t_s + speed * latency_s)
            position[axes], velocity[axes] = late_position[axes], late_velocity[axes]
        return position, velocity

    def leads_s(self, speed: float) -> Floats:
        """Return how far ahead each axis is for a clock that runs at `speed`. Shape: (A,)."""
        leads_s = np.zeros(len(self.position))
        for latency_s, axes in self.leads:
            leads_s[axes] = speed * latency_s
        return leads_s


def cue_up(rig: Rig, timeline: Trajectory, start_s: float, end_s: float, speed: float = 1.0) -> Cued:
    """Return the part [`start_s`, `end_s`] of `timeline`, which runs at `speed` of what is written, ready for `rig`.

    Error: ValueError where the timeline is not of this rig's axes, or the span is empty.
    """
    if timeline.axes != rig.names:
        raise ValueError(f"the timeline is of {', '.join(timeline.axes)}, the rig has {', '.join(rig.names)}")
    if not start_s < end_s:
        raise ValueError(f"the cue starts at {start_s} s and ends at {end_s} s; it must end later")
    slow = _AT_REST * np.array([axis.speed for axis in rig.axes])
    position, velocity = timeline.at(start_s)
    later = np.unique(timeline.from_s[timeline.from_s > end_s])
    rests = (t_s for t_s in (end_s, *later.tolist()) if np.all(np.abs(timeline.at(t_s)[1]) <= slow))
    rest_s = next(rests)  # every axis holds after its last piece, so there is one
    latencies = np.array([axis.latency_s for axis in rig.axes])
    return Cued(
        timeline=timeline.between(start_s, rest_s),
        start_s=start_s,
        rest_s=rest_s,
        position=position,
        approach=_approach(rig, timeline, start_s, position),
        leads=tuple((float(one), np.flatnonzero(latencies == one)) for one in np.unique(latencies)),
        pace=min(speed, 1.0),
        beyond=tuple(axis.name for axis, x in zip(rig.axes, position.tolist(), strict=True) if not _inside(axis, x)),
        moving=tuple(name for name, fast in zip(rig.names, np.abs(velocity) > slow, strict=True) if fast),
    )


def _approach(rig: Rig, timeline: Trajectory, start_s: float, position: Floats) -> Floats:
    """Return, twice the backlash before `position`, from where each axis sets out in the direction that it moves first.

    An axis that does not move comes from below, so that it too always comes from the same side. Shape: (A,).
    """
    approach = position.copy()
    for number, axis in enumerate(rig.axes):
        later = timeline.from_s[timeline.first[number] : timeline.first[number + 1]]
        # between two breaks a first motion is seen in the middle at the latest
        instants = np.unique(np.concatenate((later, (later[1:] + later[:-1]) / 2)))
        ways = timeline.sample(instants[instants > start_s])[:, number] - position[number]
        moved = ways[np.abs(ways) > _AT_REST]
        way = math.copysign(2 * axis.backlash, moved[0] if len(moved) else 1.0)
        # at an end of the travel there is only one side to come from, and it too is always the same
        approach[number] -= way if _inside(axis, float(position[number] - way)) else -way
    return approach


def _inside(axis: Axis, position: float) -> bool:
    low, high = axis.travel or (-math.inf, math.inf)
    return math.isfinite(position) and low <= position <= high
