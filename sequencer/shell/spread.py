"""Works out the timelapse of a project: its plan, every frame's pose, and what speaks against it. It moves nothing."""

import hashlib
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta, tzinfo
from fractions import Fraction
from zoneinfo import ZoneInfo

import msgspec
import numpy as np

from sequencer.errors import ProjectError
from sequencer.motion.almanac import NotThen, starts
from sequencer.motion.compile import compile_move
from sequencer.motion.lapse import demand_poses, longest_way, pace, places_s, poses
from sequencer.motion.peaks import over
from sequencer.motion.trajectory import Floats, Trajectory
from sequencer.playback.timelapse import Course, course_of
from sequencer.project.document import Project
from sequencer.rig.axis import Axis
from sequencer.score.easing import Laws
from sequencer.score.interval import Known, Plan, refusal, solve
from sequencer.score.move import Cue
from sequencer.score.timelapse import STILL, Start, Timelapse

# the way depends on the frames, and where no interval is given these on the way: seven turns were the most to settle
_TURNS = 12


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Spread:
    """A timelapse worked out. `refused` says why it cannot be shot, with what works; empty where it can.

    Shape: `poses` (N, A); `tolerance` A, each axis's own unit. `way_to` is the frame to which the longest way leads.
    """

    project: Project
    timelapse: Timelapse
    cue: Cue
    move: Trajectory
    plan: Plan
    poses: Floats
    tolerance: tuple[float, ...]
    way_to: int
    refused: str

    @property
    def span_s(self) -> tuple[float, float]:
        """The cue on the timeline."""
        rate = self.project.timebase.rate
        return float(rate.seconds(self.cue.start)), float(rate.seconds(self.cue.end))

    @property
    def pace(self) -> Fraction:
        """How much of the cue passes in a second of the event, where the rig moves on."""
        start_s, end_s = self.span_s
        return Fraction(pace(self.plan, self.timelapse.poses_by, end_s - start_s) or 1.0).limit_denominator(10**9)

    @property
    def sha256(self) -> str:
        """What makes the frames what they are, in short."""
        times = [str(self.plan.at(frame)) for frame in range(self.plan.frames)]
        data = msgspec.json.encode((self.project.rig.names, self.cue.name, times, str(self.plan.exposure_s)))
        return hashlib.sha256(data + np.ascontiguousarray(self.poses).tobytes()).hexdigest()

    def course(
        self, begins_s: float, changes: frozenset[int] = frozenset(), silent: frozenset[str] = frozenset()
    ) -> Course:
        """Return what is to be done, beginning at `begins_s` of the clock that is used. Error: ValueError."""
        axes, every = self.project.rig.names, [tuple(pose) for pose in self.poses.tolist()]
        return course_of(self.plan, axes, every, begins_s, self.timelapse.still_s, self.tolerance, changes, silent)


def spread(project: Project, laws: Laws) -> Spread:
    """Work out the timelapse that the project describes. Error: ProjectError with what is missing or contradicts."""
    timelapse = project.timelapse
    if timelapse is None:
        mend = 'write "timelapse": {"interval_s": "30", "frames": 720, "exposure_s": "1/2", "settle_s": "1"}'
        raise ProjectError("timelapse", "there is none", mend)
    try:
        cue = project.cue(timelapse.cue or None)
        move = compile_move(project.rig, project.move, project.timebase.rate, laws)
        return _worked_out(project, timelapse, cue, move)
    except ValueError as fault:
        raise ProjectError("timelapse", str(fault)) from fault


def _worked_out(project: Project, timelapse: Timelapse, cue: Cue, move: Trajectory) -> Spread:
    rate, rig = project.timebase.rate, project.rig
    begin_s, end_s = float(rate.seconds(cue.start)), float(rate.seconds(cue.end))
    moving = timelapse.manner == "continuous"
    known: Known = replace(timelapse.known, rate=rate, moving=moving)
    plan, way_to = solve(known), 0
    for _ in range(_TURNS):
        every = poses(move, places_s(plan, timelapse.poses_by, begin_s, end_s))
        demand_poses(rig, every)
        if moving:
            break
        way_s, way_to = longest_way(rig, every, timelapse.speed)
        again = solve(replace(known, move_s=way_s))
        done = again.frames == plan.frames and again.intervals == plan.intervals
        plan = again
        if done:
            break
    else:
        raise ValueError(
            "how many frames there are hangs on the ways between them, and these on that; give the interval"
        )
    refused = refusal(plan)
    if moving and not refused and plan.frames > 1:
        refused = _beyond(project, move, pace(plan, timelapse.poses_by, end_s - begin_s), (begin_s, end_s))
    return Spread(
        project=project,
        timelapse=timelapse,
        cue=cue,
        move=move,
        plan=plan,
        poses=every,
        tolerance=tuple(_tolerance(axis, dict(timelapse.tolerance)) for axis in rig.axes),
        way_to=way_to,
        refused=refused,
    )


def _beyond(project: Project, move: Trajectory, speed: float, span_s: tuple[float, float]) -> str:
    """Return what the motors cannot do of a cue's move that runs at `speed`, in words."""
    part = move.between(*span_s).stretched(speed, span_s[0])
    return "; ".join(one.words(project.timebase) for one in over(part, project.rig) if one.of != "jerk")


def _tolerance(axis: Axis, said: dict[str, float]) -> float:
    """Return how near an axis must stand: as said, or what its unit usually asks for, its play and its steps let in."""
    return said.get(axis.name, max(STILL[axis.unit], axis.backlash + 2 * axis.resolution))


def begins(start: Start, now: datetime) -> datetime:
    """Return when frame 0 is exposed: at once where no time is given, the next one to come where no date is.

    `now` has a time zone. Error: ProjectError for a start that is none, or is over.
    """
    path = "timelapse.start"
    zone: tzinfo | None = ZoneInfo(start.zone) if start.zone else now.tzinfo
    assert zone is not None
    if not start.at:
        if start.date:
            raise ProjectError(f"{path}.at", f"a day is given, {start.date}, and no time", "write a time: 05:40")
        return now.astimezone(zone)
    try:
        if start.date:
            there = starts(start.at, start.place, date.fromisoformat(start.date), zone)
            if there < now:
                what = f"{start.at} on {start.date} is over"
                raise ProjectError(f"{path}.date", what, "choose another day, or leave the date out")
            return there
        return _next(start, now, zone)
    except ValueError as fault:
        raise ProjectError(path, str(fault)) from fault


def _next(start: Start, now: datetime, zone: tzinfo) -> datetime:
    """Return the next one to come. Error: ValueError, also for an event that neither today nor tomorrow has."""
    today = now.astimezone(zone).date()
    missing: NotThen | None = None
    # yesterday's too: half past midnight, sunset+8h is still to come
    for away in (-1, 0, 1):
        try:
            there = starts(start.at, start.place, today + timedelta(days=away), zone)
        except NotThen as fault:
            missing = missing if away < 0 else missing or fault
            continue
        if there >= now:
            return there
    raise missing or ValueError(f"{start.at} is over, and does not come again by tomorrow; give a date")
