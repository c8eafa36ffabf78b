"""`twintake aim --at`: keys of pan, tilt and focus that keep the lens on a point, and what they ask of the motors."""

from dataclasses import dataclass, replace
from fractions import Fraction

from sequencer.cli.options import instant
from sequencer.errors import ProjectError
from sequencer.live.aiming import Aim, Written, written
from sequencer.motion.check import Check, check
from sequencer.playback.cued import cue_up
from sequencer.project import build
from sequencer.project.document import Project
from sequencer.score.move import Cue, Ease
from sequencer.score.points import point_of
from sequencer.shell.kinds import laws


@dataclass(frozen=True, slots=True)
class Asked:
    """What the command is told: names, seconds, a timecode, a law, a cue, degrees."""

    at: str
    then: str | None
    blend_s: Fraction | None
    blend_at: str | None
    ease: str
    cue: str | None
    within_deg: float
    over_the_top: bool


@dataclass(frozen=True, slots=True, eq=False)
class Aimed:
    """The project with its aimed move, and how well it does. `moving`: axes that are in motion where the cue starts."""

    project: Project
    aim: Aim
    cue: Cue
    within_deg: float
    done: Written
    check: Check
    moving: tuple[str, ...]


def aimed(opened: Project, asked: Asked) -> Aimed:
    """Return the project in which the camera is kept on the point. Error: ProjectError, ValueError in words."""
    cue, rate = opened.cue(asked.cue), opened.timebase.rate
    aim = _aim(opened, asked, cue)
    done = written(opened.rig, opened.move, rate, laws(), aim, asked.within_deg, over_the_top=asked.over_the_top)
    build.check(done.move, opened.rig, laws())
    judged = check(opened.rig, done.move, rate, laws(), opened.run(None).speed)
    start = cue_up(opened.rig, judged.trajectory, float(rate.seconds(cue.start)), float(rate.seconds(cue.end)))
    return Aimed(replace(opened, move=done.move), aim, cue, asked.within_deg, done, judged, start.moving)


def _aim(opened: Project, asked: Asked, cue: Cue) -> Aim:
    one = point_of(opened.points, asked.at)
    if asked.then is None:
        if asked.blend_s is not None or asked.blend_at is not None:
            what = "there is no second point to turn to"
            raise ProjectError("--blend, --blend-at", what, "name it with --then", file="command line")
        return Aim(at=one, start=cue.start, end=cue.end)
    other = point_of(opened.points, asked.then)
    if asked.blend_s is None or asked.blend_s <= 0:
        what = f"it takes some time to turn from {one.name} to {other.name}"
        raise ProjectError("--blend", what, "say how many seconds", file="command line")
    lasts = opened.timebase.rate.frames(asked.blend_s)
    leaves = (cue.start + cue.end - lasts) / 2
    if asked.blend_at is not None:
        leaves = instant("--blend-at", asked.blend_at, opened.timebase)
    if leaves < cue.start or leaves + lasts > cue.end:
        label = opened.timebase.label
        what = f"turning there would last from {label(leaves)} to {label(leaves + lasts)}"
        mend = f"stay inside the cue, which is from {label(cue.start)} to {label(cue.end)}"
        raise ProjectError("--blend, --blend-at", what, mend, file="command line")
    return Aim(
        at=one,
        start=cue.start,
        end=cue.end,
        then=other,
        leaves=leaves,
        arrives=leaves + lasts,
        ease=Ease(asked.ease),
    )
