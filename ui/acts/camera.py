"""Orders to the camera and points of the set, edited; and keys that keep the lens on a point, proposed."""

from collections.abc import Callable
from dataclasses import replace
from typing import TypeVar

from sequencer.live.aiming import Aim, written
from sequencer.motion.standing import standing_at
from sequencer.project.document import Project
from sequencer.rig.pose import pose
from sequencer.rig.reading import reading
from sequencer.score.camera import CameraCue
from sequencer.score.points import Point, point_of
from ui.acts.doing import do, with_times
from ui.acts.marks import fresh_name, one_of, without
from ui.desk import Desk
from ui.language import translate

T = TypeVar("T")

WITHIN_DEG = 0.02  # a part of a pixel at common fields of view
_DECIMALS = 3  # of a metre


def add_order(desk: Desk) -> bool:
    """Have the camera expose a frame at the playhead; what else it shall do is typed then."""
    order = CameraCue(do="shutter", at=desk.playhead)
    words = translate("acts", "add an order to the camera")
    return do(desk, words, lambda project: replace(project, camera=(*project.camera, order)))


def change_order(desk: Desk, number: int, changed: Callable[[CameraCue], CameraCue]) -> bool:
    """Have `changed` make another order of one."""
    words = translate("acts", "change an order to the camera")
    return do(desk, words, lambda project: replace(project, camera=_put(project.camera, number, changed)))


def delete_order(desk: Desk, number: int) -> bool:
    """Take an order out."""
    words = translate("acts", "delete an order to the camera")
    return do(desk, words, lambda project: replace(project, camera=without(project.camera, number)))


def add_point(desk: Desk) -> bool:
    """Add a point in the middle of the picture, at the distance in focus, as the move is at the playhead."""
    name = fresh_name(translate("acts", "point"), [one.name for one in desk.project.points])
    words = translate("acts", "add the point {name}").format(name=name)
    return do(desk, words, lambda project: replace(project, points=(*project.points, Point(name, _middle(desk)))))


def change_point(desk: Desk, number: int, changed: Callable[[Point], Point]) -> bool:
    """Have `changed` make another point of one. One name for two points is refused."""
    words = translate("acts", "change a point")

    def edit(project: Project) -> Project:
        points = _put(project.points, number, changed)
        names = [one.name for one in points]
        for name in names:
            if names.count(name) > 1:
                twice = translate("acts", "there are two of the name {name}; give one another name")
                raise ValueError(twice.format(name=name))
        return replace(project, points=points)

    return do(desk, words, edit)


def delete_point(desk: Desk, number: int) -> bool:
    """Take a point out; keys that were aimed at it stay."""
    words = translate("acts", "delete a point")
    return do(desk, words, lambda project: replace(project, points=without(project.points, number)))


def propose_aim(desk: Desk, name: str) -> None:
    """Propose keys of pan, tilt and focus that keep the lens on a point, in the cue that the playhead is in.

    Error: ValueError in words.
    """
    project = desk.project
    point = point_of(project.points, name)
    cue = next((one for one in project.move.cues if one.start <= desk.playhead <= one.end), None)
    if cue is None:
        raise ValueError(translate("acts", "the playhead is in no cue; put it into the one that is to be aimed"))
    aim = Aim(at=point, start=cue.start, end=cue.end)
    try:
        found = written(project.rig, project.move, project.timebase.rate, desk.laws, aim, WITHIN_DEG)
    except ValueError as fault:
        raise ValueError(with_times(desk, str(fault))) from fault
    near_m, far_m = found.distance_m
    lines = (
        translate("acts", "{axes}: new keys in the cue {cue}").format(
            axes=", ".join(one.axis for one in found.captured), cue=cue.name
        ),
        translate("acts", "{off} degrees off the point at most, {near} to {far} m away").format(
            off=f"{found.furthest_deg:.3f}", near=f"{near_m:.2f}", far=f"{far_m:.2f}"
        ),
        *((found.unfocused,) if found.unfocused else ()),
    )
    desk.propose(found.move, translate("acts", "aim at {name}").format(name=name), lines)


def _middle(desk: Desk) -> tuple[float, float, float]:
    """Return where the optical axis is at the distance in focus, or three metres ahead where nobody says a camera."""
    rig = desk.project.rig
    positions = standing_at(rig, desk.shapes, desk.playhead_s)
    where = pose(rig, positions)
    ahead_m = 3.0 if rig.camera is None else min(float(reading(rig.camera, rig, positions).ahead_m), 1000.0)
    x, y, z = (round(value, _DECIMALS) for value in (where.position + where.forward * ahead_m).tolist())
    return x, y, z


def _put(ones: tuple[T, ...], number: int, changed: Callable[[T], T]) -> tuple[T, ...]:
    return (*ones[:number], changed(one_of(ones, number)), *ones[number + 1 :])
