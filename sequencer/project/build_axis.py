"""From an axis of rig.json to its value, and back. Every fault is a ProjectError with its place."""

from dataclasses import asdict, fields
from typing import Any

from msgspec import UNSET, UnsetType, structs

from sequencer.project import files, rig_file
from sequencer.project.axis_file import FigureFile, HomingFile, MeasuredFile, SimulatedFile
from sequencer.project.values import named, placed, said
from sequencer.rig.axis import Axis, Homing, Simulated
from sequencer.rig.measured import Figure, Measured


def build_axis(written: rig_file.AxisFile, path: str) -> Axis:
    """Return the axis. Error: ProjectError."""
    named(written.name, f"{path}.name", files.RIG)
    simulated = placed(f"{path}.simulated", Simulated, files.RIG, **_there(written.simulated))
    measured = None
    if not isinstance(written.measured, UnsetType):
        measured = _measured(written.measured, f"{path}.measured")
    homing = None
    if not isinstance(written.homing, UnsetType):
        homing = placed(f"{path}.homing", Homing, files.RIG, **structs.asdict(written.homing))
    values = structs.asdict(written) | {
        "simulated": simulated,
        "measured": measured,
        "reference": said(written.reference, None),
        "homing": homing,
    }
    return placed(path, Axis, files.RIG, **values)


def plain_axis(axis: Axis) -> rig_file.AxisFile:
    """Return the axis as it is written; what nobody said or measured is not."""
    values = {one.name: getattr(axis, one.name) for one in fields(axis)}
    simulated: dict[str, Any] = {one.name: getattr(axis.simulated, one.name) for one in fields(axis.simulated)}
    values["simulated"] = SimulatedFile(**{name: value for name, value in simulated.items() if value is not None})
    values["measured"] = UNSET if axis.measured is None else _plain_measured(axis.measured)
    values["reference"] = UNSET if axis.reference is None else axis.reference
    values["homing"] = UNSET if axis.homing is None else HomingFile(**asdict(axis.homing))
    return rig_file.AxisFile(**values)


def _there(written: Any) -> dict[str, Any]:
    return {name: value for name, value in structs.asdict(written).items() if value is not UNSET}


def _measured(written: MeasuredFile, path: str) -> Measured:
    figures = {
        name: placed(f"{path}.{name}", Figure, files.RIG, **_there(figure))
        for name, figure in _there(written).items()
        if isinstance(figure, FigureFile)
    }
    return placed(path, Measured, files.RIG, on=written.on, **figures)


def _plain_measured(measured: Measured) -> MeasuredFile:
    figures = {
        name: FigureFile(
            value=float(figure.value),
            spread=float(figure.spread),
            trials=figure.trials,
            at_least=figure.at_least or UNSET,
        )
        for name, figure in measured.figures.items()
    }
    return MeasuredFile(on=measured.on, **figures)
