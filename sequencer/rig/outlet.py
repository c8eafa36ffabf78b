"""By which output axes are reached, as the rig's description says: the address, the pace, and what a loss means."""

import math
from dataclasses import dataclass
from typing import Literal, get_args

OnLoss = Literal["stop", "go on"]
AtEnd = Literal["hold", "decelerate", "drop power", "unknown"]
ON_LOSS: tuple[OnLoss, ...] = get_args(OnLoss)
AT_END: tuple[AtEnd, ...] = get_args(AtEnd)


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlet:
    """One output and the axes behind it.

    `axes` are names; empty for all that no other outlet names. `rate_hz` is how many setpoint sets a second it gets at
    most, None for one a tick. `latency_s` is the link's own: playback leads by it, beside each axis's. `on_loss` is
    what becomes of the run when the link is lost: the whole rig stops, or it goes on and says so; None for what is
    usual for the kind of output. `at_end` is what the device does when setpoints end, as its builder found out.
    Error: ValueError naming the field.
    """

    address: str
    axes: tuple[str, ...] = ()
    rate_hz: float | None = None
    latency_s: float = 0.0
    on_loss: OnLoss | None = None
    at_end: AtEnd = "unknown"

    def __post_init__(self) -> None:
        if ":" not in self.address:
            raise ValueError(f"address is {self.address!r}; it must begin with a kind of output, as in osc://HOST:PORT")
        if self.rate_hz is not None and not (math.isfinite(self.rate_hz) and 0 < self.rate_hz <= 1000):
            raise ValueError(f"rate_hz is {self.rate_hz}; it must be above 0 and at most 1000")
        if not (math.isfinite(self.latency_s) and 0 <= self.latency_s <= 2):
            raise ValueError(f"latency_s is {self.latency_s}; it must be from 0 to 2")
        if self.on_loss is not None and self.on_loss not in ON_LOSS:
            raise ValueError(f"on_loss is {self.on_loss!r}; it must be one of {', '.join(ON_LOSS)}")
        if self.at_end not in AT_END:
            raise ValueError(f"at_end is {self.at_end!r}; it must be one of {', '.join(AT_END)}")
        for name in self.axes:
            if self.axes.count(name) > 1:
                raise ValueError(f"axes has {name!r} twice; name it once")
