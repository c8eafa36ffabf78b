"""How pads are handled, a piece of project.json as written. Nothing is computed or judged here."""

from typing import Annotated

from msgspec import UNSET, Meta, Struct, UnsetType

from sequencer.live.handling import MANNERS, RANGES_DEG, Deed, Handling

_USUAL = Handling()
ControlName = Annotated[
    str,
    Meta(
        description='Where it sits on a pad that is known, as in "left x", "right trigger", "upper" or "pad up"; '
        'else its number, as in "axis 3" or "button 2".',
        extra_json_schema={"minLength": 1},
    ),
]


class StickFile(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """A control that moves an axis."""

    control: ControlName
    axis: Annotated[str, Meta(description="The name of an axis in rig.json.", extra_json_schema={"minLength": 1})]
    with_modifier: Annotated[bool, Meta(description="It does so while the modifier is held, and only then.")] = False
    reverse: Annotated[bool, Meta(description="Pushed right or up it moves the axis down.")] = False
    range: Annotated[
        float | UnsetType,
        Meta(
            description="How far spring-back swings this axis, both sides together, in its own unit. Without it, by "
            "range_deg; an axis that is not in degrees then stays with rate control.",
            extra_json_schema={"exclusiveMinimum": 0},
        ),
    ] = UNSET


class HandlingFile(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """How one game controller is handled."""

    pad: Annotated[
        str,
        Meta(description="The name of the pad that it is for; without one, any, in the order in which they come."),
    ] = _USUAL.pad
    manner: Annotated[
        str,
        Meta(
            description="What a stick says: how fast (rate), or how far from where the axis was (spring).",
            extra_json_schema={"enum": list(MANNERS)},
        ),
    ] = _USUAL.manner
    range_deg: Annotated[
        float,
        Meta(
            description="The whole sweep of spring-back: a stick pushed over fully turns an axis by half of it. "
            f"Common are {', '.join(f'{one:g}' for one in RANGES_DEG)}.",
            extra_json_schema={"exclusiveMinimum": 0},
        ),
    ] = _USUAL.range_deg
    dead_band: Annotated[
        float,
        Meta(
            description="Part of a control's way that does nothing.", extra_json_schema={"minimum": 0, "maximum": 0.9}
        ),
    ] = _USUAL.dead_band
    response: Annotated[
        float,
        Meta(
            description="How much softer the middle of its way is: 0 even, 1 as a cube.",
            extra_json_schema={"minimum": 0, "maximum": 1},
        ),
    ] = _USUAL.response
    smoothing_s: Annotated[
        float,
        Meta(
            description="Time constant in which an axis takes up what the hand says.",
            extra_json_schema={"minimum": 0, "maximum": 2},
        ),
    ] = _USUAL.smoothing_s
    top: Annotated[
        float,
        Meta(
            description="Part of each axis's speed limit that a stick can ask for.",
            extra_json_schema={"exclusiveMinimum": 0, "maximum": 1},
        ),
    ] = _USUAL.top
    fine: Annotated[
        float,
        Meta(
            description="Part of that which is left when it is switched to fine.",
            extra_json_schema={"exclusiveMinimum": 0, "maximum": 1},
        ),
    ] = _USUAL.fine
    priority: Annotated[int, Meta(description="Of two pads that drive one axis, the higher has it.")] = _USUAL.priority
    enabling: Annotated[
        ControlName | None,
        Meta(description="What must be held for anything to move; null for nothing. Without it, the left trigger."),
    ] = _USUAL.enabling
    modifier: Annotated[
        ControlName | None,
        Meta(description="What is held for a control's second axis; null for none. Without it, the left shoulder."),
    ] = _USUAL.modifier
    sticks: list[StickFile] = []
    buttons: Annotated[
        dict[str, Annotated[str, Meta(extra_json_schema={"enum": [str(one) for one in Deed]})]],
        Meta(description="What each button does, by the control's name."),
    ] = {}
