"""From the picture's shape, the set and the rig's geometry, as files say them, to their values, and back.

Every fault is a ProjectError with its place.
"""

from dataclasses import fields
from fractions import Fraction
from typing import Any

from msgspec import UNSET, UnsetType, structs

from sequencer.errors import ProjectError
from sequencer.project import files, rig_file
from sequencer.project.stage import Box, Ground, Person, Stage
from sequencer.project.values import exact, exact_text, named, placed, said
from sequencer.rig.geometry import Geometry, Triple
from sequencer.rig.lens import ASPECTS


def build_aspect(written: str) -> Fraction:
    """Return the width of the picture for each unit of its height."""
    aspect = exact(written, "aspect")
    low, high = ASPECTS
    if not low <= aspect <= high:
        what = f"{exact_text(aspect)} is no picture's width for its height"
        raise ProjectError("aspect", what, f'write a number from {exact_text(low)} to {exact_text(high)}, as in "16/9"')
    return aspect


def build_stage(written: files.StageFile) -> Stage:
    """Return the set."""
    ground = Ground()
    if written.ground is not UNSET:
        ground = placed("stage.ground", Ground, **structs.asdict(written.ground))
    people = tuple(_thing(one, f"stage.people[{i}]", Person) for i, one in enumerate(written.people))
    boxes = tuple(_thing(one, f"stage.boxes[{i}]", Box) for i, one in enumerate(written.boxes))
    return placed("stage", Stage, ground=ground, people=people, boxes=boxes)


def _thing(written: files.PersonFile | files.BoxFile, path: str, kind: type[Any]) -> Any:
    named(written.name, f"{path}.name")
    return placed(path, kind, **structs.asdict(written))


def plain_stage(stage: Stage) -> files.StageFile | UnsetType:
    """Return the set as it is written; one with nothing in it is not."""
    if stage == Stage():
        return UNSET
    return files.StageFile(
        ground=UNSET if stage.ground == Ground() else files.GroundFile(**_numbers(stage.ground)),
        people=[files.PersonFile(**_numbers(one)) for one in stage.people],
        boxes=[files.BoxFile(**_numbers(one)) for one in stage.boxes],
    )


def _numbers(value: Ground | Person | Box) -> dict[str, Any]:
    """Return the fields, each number as the float that is read again."""
    there = {one.name: getattr(value, one.name) for one in fields(value)}
    for name, one in there.items():
        if isinstance(one, tuple):
            there[name] = tuple(float(number) for number in one)
        elif not isinstance(one, str):
            there[name] = float(one)
    return there


def build_geometry(written: rig_file.GeometryFile) -> Geometry:
    """Return what the axes do to the camera; whether the rig has such axes is for the rig."""
    there = {
        "height_m": said(written.height_m, None),
        "positive": tuple(said(written.positive, {}).items()),
        "heading_deg": tuple(said(written.heading_deg, {}).items()),
        "pupil_mm": said(written.pupil_mm, None),
        "sensor_plane_mm": said(written.sensor_plane_mm, None),
    }
    given = {name: value for name, value in there.items() if value is not None}
    return placed("geometry", Geometry, files.RIG, **given)


def plain_geometry(geometry: Geometry) -> rig_file.GeometryFile | UnsetType:
    """Return the geometry as it is written; one that is what every rig's is, is not."""
    plain, usual = Geometry(), geometry.height_m == Geometry().height_m
    if geometry == plain:
        return UNSET
    return rig_file.GeometryFile(
        height_m=UNSET if usual else float(geometry.height_m),
        positive=dict(geometry.positive) or UNSET,
        heading_deg={name: float(value) for name, value in geometry.heading_deg} or UNSET,
        pupil_mm=_triple(geometry.pupil_mm),
        sensor_plane_mm=_triple(geometry.sensor_plane_mm),
    )


def _triple(value: Triple | None) -> Triple | UnsetType:
    return UNSET if value is None else (float(value[0]), float(value[1]), float(value[2]))
