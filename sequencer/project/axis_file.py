"""How a simulated motor behaves, where its switch is, what the rig itself has shown: pieces of an axis in rig.json.

Nothing is computed or judged here.
"""

from typing import Annotated

from msgspec import UNSET, Meta, Struct, UnsetType

from sequencer.rig.axis import ENDS, REFERENCES

ReferenceName = Annotated[
    str,
    Meta(
        description="What the head takes setpoints against: the world, or the base that carries it.",
        extra_json_schema={"enum": list(REFERENCES)},
    ),
]


class SimulatedFile(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    lag_s: Annotated[float, Meta(description="Time constant with which the simulated servo follows.")] = 0.02
    transport_s: Annotated[float, Meta(description="From receipt of a setpoint to its effect.")] = 0.005
    noise: Annotated[float, Meta(description="Standard deviation of the measured position, in the axis's unit.")] = 0.0
    speed: Annotated[float | UnsetType, Meta(description="What it truly has; without it, the axis's own.")] = UNSET
    acceleration: Annotated[float | UnsetType, Meta(description="Likewise.")] = UNSET
    backlash: Annotated[float | UnsetType, Meta(description="Likewise.")] = UNSET
    switch_at: Annotated[float | UnsetType, Meta(description="Where its homing switch truly closes.")] = UNSET


class HomingFile(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A switch from which the axis learns where it stands. It stays closed from there to the end of the way."""

    towards: Annotated[str, Meta(description="The end at which it sits.", extra_json_schema={"enum": list(ENDS)})]
    speed: Annotated[
        float,
        Meta(description="At which the axis goes there, in units a second.", extra_json_schema={"exclusiveMinimum": 0}),
    ]
    at: Annotated[float, Meta(description="The position at which it opens as the axis comes off it.")]


class FigureFile(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    value: Annotated[float, Meta(extra_json_schema={"minimum": 0})]
    spread: Annotated[float, Meta(description="Standard deviation of the trials.", extra_json_schema={"minimum": 0})]
    trials: Annotated[int, Meta(extra_json_schema={"minimum": 1})]
    at_least: Annotated[
        bool | UnsetType, Meta(description="Nothing beyond the value was tried, or could be: it may be more.")
    ] = UNSET


class MeasuredFile(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What the rig itself has shown, as evidence beside the axis's limits. It limits nothing."""

    on: Annotated[str, Meta(description="The day: 2026-11-30.", extra_json_schema={"pattern": r"^\d{4}-\d{2}-\d{2}$"})]
    speed: FigureFile | UnsetType = UNSET
    acceleration: FigureFile | UnsetType = UNSET
    latency_s: FigureFile | UnsetType = UNSET
    lag_s: Annotated[
        FigureFile | UnsetType, Meta(description="The part of latency_s that is a first-order lag's time constant.")
    ] = UNSET
    backlash: FigureFile | UnsetType = UNSET
    resolution: FigureFile | UnsetType = UNSET
    noise: FigureFile | UnsetType = UNSET
