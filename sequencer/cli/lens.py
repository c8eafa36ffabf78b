"""`twintake lens`: what the lens does at an instant of the move: field of view, depth of field, where its motors stand.

The JSON document: `at` in timecode; `marked_focal_mm`, and `focal_mm` with breathing; `fields_deg` across, up and along
the diagonal; `distance_m`, at which it is focused, from the sensor plane; `pupil_mm` ahead of that plane (null: not
known); `f_number` and `circle_of_confusion_mm`; `near_m`, `far_m`, `total_m` and `hyperfocal_m` (all null without an
f-number, or where a lens cannot be focused there); `focus` and `zoom`, each with its `axis` and `position` (null: no
such motor, or no way to say); `notes`. A distance that is infinite is the text "inf".
"""

import json as plain_json
import math
from dataclasses import dataclass
from typing import Annotated, Any

import typer
from rich import box
from rich.table import Table

from sequencer.cli.exits import console, exits
from sequencer.cli.lens_words import distance
from sequencer.cli.options import Folder, Json, instant, number
from sequencer.errors import ProjectError
from sequencer.motion.compile import compile_move
from sequencer.project.document import Project
from sequencer.project.files import RIG
from sequencer.project.store import load
from sequencer.rig.axis import AxisKind, Camera, Rig
from sequencer.rig.distance import INFINITY, Scale, distance_text, scale_of
from sequencer.rig.optics import Depth, depth_of_field, fields_deg, usual_circle_mm
from sequencer.rig.reading import Floats, Reading, reading
from sequencer.shell.kinds import laws


@dataclass(frozen=True, slots=True, kw_only=True)
class _Lens:
    """What is said of the lens at an instant; `scale` is how its distances are said."""

    label: str
    camera: Camera
    what: Reading
    f_number: float | None
    circle_mm: float
    depth: Depth | None
    motors: dict[AxisKind, tuple[str, float | None]]
    scale: Scale
    notes: list[str]

    @property
    def focal_mm(self) -> float:
        return float(self.what.focal_mm)

    @property
    def distance_m(self) -> float:
        return float(self.what.distance_m)


def lens(
    project: Folder,
    at: Annotated[
        str | None, typer.Option("--at", metavar="TIMECODE", help="The instant of the move; else its first key.")
    ] = None,
    focus: Annotated[
        str | None, typer.Option(metavar="DISTANCE", help="As if focused there: 2.4m, 8ft, inf; from the sensor plane.")
    ] = None,
    f_number: Annotated[
        float | None, typer.Option(parser=number, metavar="N", help="The f-number; else that of rig.json.")
    ] = None,
    json: Json = False,
) -> None:
    """Show the lens's field of view, depth of field, hyperfocal distance, and where its motors stand."""
    with exits():
        opened = load(project, laws())
        found = _found(opened, at, focus, f_number)
        if json:
            print(plain_json.dumps(_facts(found), indent=2, allow_nan=False, ensure_ascii=False))
            return
        console.print(_table(found))
        for note in found.notes:
            console.print(note, markup=False, highlight=False, soft_wrap=True)


def _found(project: Project, at: str | None, focus: str | None, f_number: float | None) -> _Lens:
    rig, timebase = project.rig, project.timebase
    if rig.camera is None:
        raise ProjectError("camera", "is missing, so there is no lens", "write its sensor, focal_mm and subject_m", RIG)
    if f_number is not None and f_number <= 0:
        raise ProjectError("--f-number", f"is {f_number:g}; it must be above zero", file="command line")
    trajectory = compile_move(rig, project.move, timebase.rate, laws())
    at_s = trajectory.start_s if at is None else float(timebase.rate.seconds(instant("--at", at, timebase)))
    positions = trajectory.at(at_s)[0]
    focused_m = None if focus is None else distance("--focus", focus)
    what = reading(rig.camera, rig, positions, focused_m)
    table, notes = rig.camera.focus_table, _notes(rig, what)
    stop = rig.camera.f_number if f_number is None else f_number
    if stop is None:
        notes.append("depth of field needs an f-number: --f-number 2.8, or f_number of the camera in rig.json")
    circle = rig.camera.circle_of_confusion_mm
    if circle is None:
        circle = usual_circle_mm(rig.camera.sensor_mm)
        notes.append(
            f"circle of confusion: the sensor's diagonal by 1500, {circle:.3g} mm (common practice, no source)"
        )
    return _Lens(
        label=str(timebase.label_at(at_s)),
        camera=rig.camera,
        what=what,
        f_number=stop,
        circle_mm=circle,
        depth=None if stop is None else _depth(rig.camera, what, stop, circle, notes),
        motors=_motors(rig, positions, what, focused_m),
        scale="m" if table is None and focus is None else scale_of(focus) if focus else table.scale if table else "m",
        notes=notes,
    )


def _depth(camera: Camera, what: Reading, f_number: float, circle_mm: float, notes: list[str]) -> Depth | None:
    pupil_mm = None if camera.pupil is None else float(what.pupil_mm)
    try:
        return depth_of_field(float(what.focal_mm), f_number, circle_mm, float(what.distance_m), pupil_mm)
    except ValueError as fault:
        notes.append(f"no depth of field: {fault}")
        return None


def _notes(rig: Rig, what: Reading) -> list[str]:
    """Return what is not known of the lens, and what holds in its place."""
    camera, notes = rig.camera, []
    for kind, table, holds in (
        ("zoom", "zoom_table", f"taken at {float(what.marked_mm):g} mm"),
        ("focus", "focus_table", f"taken at {float(what.ahead_m):g} m"),
    ):
        if kind in what.guessed:
            there = getattr(camera, table) is not None
            notes.append(f"{kind} stands beyond its table: {holds}" if there else f"{kind} has no {table}: {holds}")
        elif getattr(camera, table) is not None and not any(axis.kind == kind for axis in rig.axes):
            notes.append(f"there is a {table}, but no axis of the kind {kind} to use it")
    if camera is not None and camera.pupil is not None and rig.geometry.sensor_plane_mm is None:
        notes.append("the sensor plane is taken to be where pan, tilt and roll meet: geometry has no sensor_plane_mm")
    return notes


def _motors(
    rig: Rig, positions: Floats, what: Reading, focused_m: float | None
) -> dict[AxisKind, tuple[str, float | None]]:
    """Return where the lens's motors stand, or would stand where it is focused elsewhere. Error: ProjectError."""
    found: dict[AxisKind, tuple[str, float | None]] = {}
    for place, axis in enumerate(rig.axes):
        if axis.kind not in ("focus", "zoom") or axis.kind in found:
            continue
        position: float | None = float(positions[place])
        if axis.kind == "focus" and focused_m is not None:
            table = None if rig.camera is None else rig.camera.focus_table
            try:
                position = None if table is None else table.position(focused_m)
            except ValueError as fault:
                raise ProjectError("--focus", str(fault), file="command line") from fault
            if table is None and axis.unit == "mm" and math.isfinite(focused_m):
                position = 1000 * float(what.ahead_m)
        found[axis.kind] = axis.name, position
    return found


def _table(found: _Lens) -> Table:
    def said(distance_m: float) -> str:
        return distance_text(distance_m, found.scale)

    table = Table(title=f"lens at {found.label}", title_justify="left", box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0))
    table.show_header = table.pad_edge = table.show_edge = False
    table.add_column("what")
    table.add_column("value", overflow="fold")
    marked = float(found.what.marked_mm)
    breathing = "" if marked == found.focal_mm else f" ({marked:.4g} mm, breathing)"
    across, up, diagonal = fields_deg(found.camera.sensor_mm, found.focal_mm)
    table.add_row("focal length", f"{found.focal_mm:.4g} mm{breathing}")
    table.add_row("field of view", f"{across:.1f}° across, {up:.1f}° up, {diagonal:.1f}° diagonal")
    far = "" if math.isinf(found.distance_m) else " from the sensor plane"
    table.add_row("focused at", f"{said(found.distance_m)}{far}")
    if found.camera.pupil is not None:
        table.add_row("entrance pupil", f"{float(found.what.pupil_mm):.1f} mm ahead of the sensor plane")
    if found.depth is not None:
        table.add_row("sharp", f"from {said(found.depth.near_m)} to {said(found.depth.far_m)}, at f/{found.f_number:g}")
        table.add_row("depth of field", said(found.depth.total_m))
        table.add_row("hyperfocal", said(found.depth.hyperfocal_m))
    for kind, (axis, position) in found.motors.items():
        named = f"{kind} motor" if axis == kind else f"{kind} motor, {axis}"
        table.add_row(named, "not known" if position is None else f"{position:.6g}")
    return table


def _facts(found: _Lens) -> dict[str, Any]:
    depth = found.depth
    across, up, diagonal = fields_deg(found.camera.sensor_mm, found.focal_mm)
    sharp = {
        name: None if depth is None else _endless(getattr(depth, name))
        for name in ("near_m", "far_m", "total_m", "hyperfocal_m")
    }
    motors = {
        kind: None if kind not in found.motors else dict(zip(("axis", "position"), found.motors[kind], strict=True))
        for kind in ("focus", "zoom")
    }
    return {
        "at": found.label,
        "marked_focal_mm": float(found.what.marked_mm),
        "focal_mm": found.focal_mm,
        "fields_deg": {"across": across, "up": up, "diagonal": diagonal},
        "distance_m": _endless(found.distance_m),
        "pupil_mm": None if found.camera.pupil is None else float(found.what.pupil_mm),
        "f_number": found.f_number,
        "circle_of_confusion_mm": found.circle_mm,
        **sharp,
        **motors,
        "notes": found.notes,
    }


def _endless(distance_m: float) -> float | str:
    return INFINITY if math.isinf(distance_m) else distance_m
