"""A timelapse as the operator wrote it: what is known of its lengths, how it is shot, and when it begins."""

import math
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal, get_args

from sequencer.score.interval import Known
from sequencer.score.stock import Stock

Manner = Literal["shoot-move-shoot", "continuous"]
PosesBy = Literal["frame", "time"]
MANNERS: tuple[Manner, ...] = get_args(Manner)
POSES_BY: tuple[PosesBy, ...] = get_args(PosesBy)
# how still is still, where nobody said; common practice, no source
STILL = {"deg": 0.02, "mm": 0.1, "part": 0.002}
STILL_S = 0.4


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where on earth the event is. Unit: degrees, north and east above zero; metres. Error: ValueError."""

    latitude_deg: float
    longitude_deg: float
    height_m: float = 0.0

    def __post_init__(self) -> None:
        if not (math.isfinite(self.latitude_deg) and abs(self.latitude_deg) <= 90):
            raise ValueError(f"latitude_deg is {self.latitude_deg:g}; it must be from -90 to 90, north above zero")
        if not (math.isfinite(self.longitude_deg) and abs(self.longitude_deg) <= 180):
            raise ValueError(f"longitude_deg is {self.longitude_deg:g}; it must be from -180 to 180, east above zero")
        if not (math.isfinite(self.height_m) and -500 <= self.height_m <= 9000):
            raise ValueError(f"height_m is {self.height_m:g}; it must be from -500 to 9000")


@dataclass(frozen=True, slots=True, kw_only=True)
class Start:
    """When frame 0 is exposed: `at` is 05:40, or an event of the sky with an offset, sunrise+20m; empty: at once.

    `date` is 2026-06-21, empty for today; `zone` a name of the time zone database, empty for the machine's own.
    `facing_deg` is where the camera looks when pan stands at zero, from north over east.
    """

    at: str = ""
    date: str = ""
    zone: str = ""
    place: Place | None = None
    facing_deg: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Timelapse:
    """How a cue is spread over an event.

    `known.rate` is None: it is the project's. `poses_by` frame: the cue is divided evenly among the frames, so that the
    move is as smooth in the clip as it is written, whatever the intervals; by time: a frame's pose is that of its
    instant. `tolerance` is pairs of an axis and how near to its pose it must stand for `still_s` before a frame is
    exposed, in the axis's unit. `speed` is the part of each axis's speed that is used from pose to pose.
    Error: ValueError naming the field.
    """

    cue: str = ""
    manner: Manner = "shoot-move-shoot"
    known: Known = field(default_factory=Known)
    poses_by: PosesBy = "frame"
    speed: Fraction = Fraction(1, 2)
    tolerance: tuple[tuple[str, float], ...] = ()
    still_s: float = STILL_S
    stock: Stock = field(default_factory=Stock)
    start: Start = field(default_factory=Start)

    def __post_init__(self) -> None:
        if self.manner not in MANNERS:
            raise ValueError(f"manner is {self.manner!r}; it must be one of {', '.join(MANNERS)}")
        if self.poses_by not in POSES_BY:
            raise ValueError(f"poses_by is {self.poses_by!r}; it must be one of {', '.join(POSES_BY)}")
        if not 0 < self.speed <= 1:
            raise ValueError(f"speed is {self.speed}; it is a part of each axis's limit, above 0 and at most 1")
        if not (math.isfinite(self.still_s) and 0 <= self.still_s <= 60):
            raise ValueError(f"still_s is {self.still_s:g}; it must be from 0 to 60")
        for axis, value in self.tolerance:
            if not (math.isfinite(value) and value > 0):
                raise ValueError(f"tolerance of {axis} is {value:g}; it must be above zero")
        if self.manner == "continuous" and self.known.ramp is not None and self.poses_by == "frame":
            raise ValueError(
                "a continuous move runs evenly on the clock, and a ramp spreads frames unevenly; write poses_by time"
            )
