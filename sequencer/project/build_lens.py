"""From the camera and lens of rig.json to their value, and back. Every fault is a ProjectError with its place."""

from typing import Any, TypeVar

from msgspec import UNSET, UnsetType, structs

from sequencer.project import files, lens_file, rig_file
from sequencer.project.values import placed, said
from sequencer.rig.axis import Camera
from sequencer.rig.lens_table import FocusRow, FocusTable, LensRow, LensTable, ZoomRow, ZoomTable

T = TypeVar("T")
_PLAIN = ("f_number", "circle_of_confusion_mm", "shutter_deg")


def build_lens(written: rig_file.CameraFile) -> Camera:
    """Return the camera. Error: ProjectError."""
    values = structs.asdict(written) | {name: said(getattr(written, name), None) for name in _PLAIN}
    focus = [FocusRow(row.at, row.distance) for row in said(written.focus_table, None) or ()]
    zoom = [ZoomRow(row.at, row.focal_mm) for row in said(written.zoom_table, None) or ()]
    breathing = [_row(row.factor, row) for row in said(written.breathing, None) or ()]
    pupil = [_row(row.ahead_mm, row) for row in said(written.pupil, None) or ()]
    values["focus_table"] = _table("focus_table", FocusTable, focus, written.focus_table)
    values["zoom_table"] = _table("zoom_table", ZoomTable, zoom, written.zoom_table)
    values["breathing"] = _table("breathing", LensTable, breathing, written.breathing)
    values["pupil"] = _table("pupil", LensTable, pupil, written.pupil)
    return placed("camera", Camera, files.RIG, **values)


def plain_lens(camera: Camera | None) -> rig_file.CameraFile | UnsetType:
    """Return the camera as it is written; what nobody said or measured is not."""
    if camera is None:
        return UNSET
    values: dict[str, Any] = {name: getattr(camera, name) for name in ("sensor_mm", "pixels", "focal_mm", "subject_m")}
    values |= {name: float(one) for name in _PLAIN if (one := getattr(camera, name)) is not None}
    if camera.focus_table is not None:
        rows = camera.focus_table.rows
        values["focus_table"] = [lens_file.FocusRowFile(at=float(row.at), distance=row.distance) for row in rows]
    if camera.zoom_table is not None:
        values["zoom_table"] = [
            lens_file.ZoomRowFile(at=float(row.at), focal_mm=float(row.focal_mm)) for row in camera.zoom_table.rows
        ]
    if camera.breathing is not None:
        values["breathing"] = [
            lens_file.BreathingRowFile(factor=float(row.value), **_where(row)) for row in camera.breathing.rows
        ]
    if camera.pupil is not None:
        values["pupil"] = [
            lens_file.PupilRowFile(ahead_mm=float(row.value), **_where(row)) for row in camera.pupil.rows
        ]
    return rig_file.CameraFile(**values)


def _table(name: str, kind: type[T], rows: list[Any], written: object) -> T | None:
    return None if written is UNSET else placed(f"camera.{name}", kind, files.RIG, rows=tuple(rows))


def _row(value: float, row: lens_file.BreathingRowFile | lens_file.PupilRowFile) -> LensRow:
    return LensRow(value, said(row.distance, None), said(row.focal_mm, None))


def _where(row: LensRow) -> dict[str, Any]:
    there: dict[str, Any] = {} if row.distance is None else {"distance": row.distance}
    return there if row.focal_mm is None else there | {"focal_mm": float(row.focal_mm)}
