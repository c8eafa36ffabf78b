"""Works out what an order to arm means: which part of the move, from where to where, and what speaks against it.

It takes longer than a tick may. It arms nothing.
"""

from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from sequencer.motion.peaks import over
from sequencer.motion.trajectory import Trajectory
from sequencer.playback.cued import Cued, cue_up
from sequencer.playback.firing import Firing, planned
from sequencer.project.document import Project
from sequencer.rig.axis import Rig
from sequencer.shell.messages import Arm


@dataclass(frozen=True, slots=True, eq=False)
class Called:
    """What can be armed, and what the camera does along it.

    `refused` says why the motors cannot do it; `rough` what they will not like. Unit: seconds.
    """

    cued: Cued
    start_s: float
    end_s: float
    refused: str
    rough: str
    firing: Firing


@dataclass(frozen=True, slots=True)
class Stretch:
    """A part of the move as it was written. Unit: seconds from the project's start; speed 1."""

    start_s: float
    end_s: float


def whole(project: Project, timeline: Trajectory) -> Stretch:
    """Return the part from the first cue or key to the last key."""
    cues = [float(project.timebase.rate.seconds(cue.start)) for cue in project.move.cues]
    return Stretch(min([timeline.start_s, *cues]), timeline.end_s)


def of_cue(project: Project, name: str, run: str | None = None) -> Stretch:
    """Return the part that the cue is, in the pass `run`. Error: ValueError that lists the cues there are."""
    _refuse_other(project, run, name in [cue.name for cue in project.move.cues], name)
    cue = project.cue(name)
    rate = project.timebase.rate
    return Stretch(float(rate.seconds(cue.start)), float(rate.seconds(cue.end)))


def _refuse_other(project: Project, run: str | None, inside: bool, name: str) -> None:
    """Error: ValueError for what is not inside the cue to which the pass belongs; other cues are not in it."""
    of = project.run(run).of
    if of is not None and not inside:
        raise ValueError(f"the pass {project.run(run).name} belongs to the cue {of}; {name} is not in it")


def from_marker(project: Project, timeline: Trajectory, name: str, run: str | None = None) -> Stretch:
    """Return the part from the first marker of that name to the end of the cue that it is in, or of the move.

    Error: ValueError that lists the markers there are; for one beside the cue to which the pass `run` belongs.
    """
    marker = next((one for one in project.move.markers if one.name == name), None)
    if marker is None:
        there = ", ".join(dict.fromkeys(one.name for one in project.move.markers)) or "none"
        raise ValueError(f"no marker {name!r} in {project.name}; markers: {there}")
    rate = project.timebase.rate
    ends = [float(rate.seconds(cue.end)) for cue in project.move.cues if cue.start <= marker.at < cue.end]
    _refuse_other(project, run, bool(ends), name)
    return Stretch(float(rate.seconds(marker.at)), min(ends, default=timeline.end_s))


def performing(rig: Rig, project: Project, order: Arm) -> tuple[bool, ...]:
    """Return for each axis whether hands are to perform it; nothing where none is. Error: ValueError in words."""
    places = [rig.index(name) for name in order.by_hand]
    if not places:
        return ()
    if order.remote:
        raise ValueError("what triggers choose cannot be performed by hand; choose one of them")
    if order.late == "join":
        raise ValueError("axes cannot be performed by hand where timecode may be joined; choose one of them")
    keyless = set(order.by_hand) - {track.axis for track in project.move.tracks if track.keys}
    if keyless and not order.punched:
        names = " and ".join(sorted(keyless))
        raise ValueError(f"there is nothing to play on {names} before the punch in; let hands have it from the start")
    return tuple(place in places for place in range(len(rig.axes)))


def as_it_stands(cued: Cued, project: Project, by_hand: tuple[bool, ...], standing: tuple[float, ...]) -> Cued:
    """Return the cue that leaves each axis which hands perform, and which has no keys, where it stands.

    It stays there also where the hands never have it, or no longer. Shape: `by_hand` A, or 0; `standing` A.
    """
    keyed = {track.axis for track in project.move.tracks if track.keys}
    stays = [own and axis.name not in keyed for own, axis in zip(by_hand, project.rig.axes, strict=bool(by_hand))]
    if not any(stays):
        return cued
    still, played = Trajectory.still(cued.timeline.axes, np.array(standing), cued.start_s), cued.timeline
    kept = [still if own else played for own in stays]
    pieces = [(*way.of(axis), float(way.coeffs[-1, way.first[axis + 1] - 1])) for axis, way in enumerate(kept)]
    return replace(
        cued,
        timeline=Trajectory.joined(played.axes, pieces, played.fit_error),
        position=np.where(stays, standing, cued.position),
        approach=np.where(stays, standing, cued.approach),
    )


def call_up(  # the move, its project and what is wanted of it
    rig: Rig, project: Project, timeline: Trajectory, part: Stretch, speed: Fraction, until_s: float | None
) -> Called:
    """Return `part` of the timeline at `speed` of what is written, ready to be armed.

    Error: ValueError where it cannot be one; ZeroDivisionError for no speed.
    """
    start_s = part.start_s
    stretched = timeline.stretched(speed, start_s)
    end_s = until_s if until_s is not None else start_s + (part.end_s - start_s) / float(speed)
    cued = cue_up(rig, stretched, start_s, end_s, float(speed))
    worst = over(cued.timeline, rig)
    refused = "; ".join(one.words(project.timebase) for one in worst if one.of != "jerk")
    if cued.moving:
        # to begin there would break limits too, but no other ease mends that
        there = project.timebase.label_at(start_s)
        refused = f"at {there} the move is already under way ({', '.join(cued.moving)}); start where it rests"
    return Called(
        cued=cued,
        start_s=start_s,
        end_s=end_s,
        refused=refused,
        rough="; ".join(one.words(project.timebase) for one in worst if one.of == "jerk"),
        firing=planned(project.camera, (start_s, end_s), start_s, speed, project.timebase.rate.fraction),
    )
