"""From the outputs of rig.json to their values, and back. Every fault is a ProjectError with its place."""

from collections.abc import Sequence
from dataclasses import fields
from typing import Any

from msgspec import UNSET, structs

from sequencer.project import files
from sequencer.project.outlet_file import OutletFile
from sequencer.project.values import placed
from sequencer.rig.outlet import Outlet


def build_outlets(written: Sequence[OutletFile]) -> tuple[Outlet, ...]:
    """Return the outputs that the file describes. Error: ProjectError."""
    return tuple(_built(one, f"outputs[{i}]") for i, one in enumerate(written))


def _built(written: OutletFile, path: str) -> Outlet:
    values = {name: value for name, value in structs.asdict(written).items() if value is not UNSET}
    return placed(path, Outlet, files.RIG, **values | {"axes": tuple(values.get("axes", ()))})


def plain_outlets(outlets: Sequence[Outlet]) -> list[OutletFile]:
    """Return the outputs as they are written; what is usual is not."""
    usual = Outlet(address="usual:")
    return [OutletFile(**_unusual(one, usual)) for one in outlets]


def _unusual(outlet: Outlet, usual: Outlet) -> dict[str, Any]:
    values = {field.name: getattr(outlet, field.name) for field in fields(outlet)}
    there = {name: value for name, value in values.items() if value != getattr(usual, name)}
    return there | {"axes": list(outlet.axes) or UNSET}
