"""By which output axes are reached: a piece of rig.json. Nothing is computed or judged here."""

from typing import Annotated

from msgspec import UNSET, Meta, Struct, UnsetType

from sequencer.rig.outlet import AT_END, ON_LOSS


class OutletFile(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """An output of the rig, and what there is to know of its link and its device."""

    address: Annotated[str, Meta(description="As --out takes it: osc://192.168.1.20:9000.")]
    axes: Annotated[
        list[str] | UnsetType, Meta(description="The axes behind it; without them, all that no other output names.")
    ] = UNSET
    rate_hz: Annotated[
        float | UnsetType, Meta(description="Setpoint sets a second, at most; without it, one a tick.")
    ] = UNSET
    latency_s: Annotated[
        float | UnsetType, Meta(description="Of the link; playback leads by it, beside each axis's own.")
    ] = UNSET
    on_loss: Annotated[
        str | UnsetType,
        Meta(
            description="What becomes of the run when the link is lost; without it, a rig stops and the rest goes on.",
            extra_json_schema={"enum": list(ON_LOSS)},
        ),
    ] = UNSET
    at_end: Annotated[
        str | UnsetType,
        Meta(
            description="What the device does when setpoints end, as its builder found out.",
            extra_json_schema={"enum": list(AT_END)},
        ),
    ] = UNSET
