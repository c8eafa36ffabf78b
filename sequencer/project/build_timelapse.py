"""A timelapse, from the project file to exact values and back. It refuses what is none; its arithmetic is `score`'s."""

from datetime import date
from fractions import Fraction
from typing import Any
from zoneinfo import ZoneInfo

from msgspec import UNSET, UnsetType, structs

from sequencer.errors import ProjectError
from sequencer.project.timelapse_file import PlaceFile, RampFile, StartFile, StockFile, TimelapseFile
from sequencer.project.values import exact, exact_text, placed, said
from sequencer.rig.axis import Rig
from sequencer.score.interval import Known
from sequencer.score.move import Move
from sequencer.score.ramp import Intervals
from sequencer.score.stock import Stock
from sequencer.score.timelapse import Place, Start, Timelapse

_PATH = "timelapse"
_LENGTHS = ("event_s", "clip_s", "interval_s", "exposure_s", "settle_s", "camera_s")


def build_timelapse(written: TimelapseFile, move: Move, rig: Rig) -> Timelapse:
    """Return the timelapse. Error: ProjectError with the place of the first fault."""
    cue = said(written.cue, "")
    if cue and cue not in [one.name for one in move.cues]:
        there = ", ".join(one.name for one in move.cues) or "none"
        raise ProjectError(f"{_PATH}.cue", f"there is no cue {cue!r}", f"cues: {there}")
    tolerance = tuple(said(written.tolerance, {}).items())
    for axis, _ in tolerance:
        if axis not in rig.names:
            raise ProjectError(f"{_PATH}.tolerance", f"the rig has no axis {axis!r}", f"it has {', '.join(rig.names)}")
    lengths: dict[str, Any] = {
        name: exact(there, f"{_PATH}.{name}") for name in _LENGTHS if (there := getattr(written, name)) is not UNSET
    }
    ramp = None if written.ramp is UNSET else _ramp(written.ramp)
    known = placed(_PATH, Known, frames=said(written.frames, None), ramp=ramp, **lengths)
    given = {
        name: there for name in ("manner", "poses_by", "still_s") if (there := getattr(written, name)) is not UNSET
    }
    if written.speed is not UNSET:
        given["speed"] = exact(written.speed, f"{_PATH}.speed")
    return placed(
        _PATH,
        Timelapse,
        cue=cue,
        known=known,
        tolerance=tolerance,
        stock=Stock() if written.stock is UNSET else _stock(written.stock),
        start=Start() if written.start is UNSET else _start(written.start),
        **given,
    )


def _ramp(written: list[RampFile]) -> Intervals:
    points = tuple((one.frame, exact(one.interval_s, f"{_PATH}.ramp[{i}].interval_s")) for i, one in enumerate(written))
    return placed(f"{_PATH}.ramp", Intervals, points=points)


def _stock(written: StockFile) -> Stock:
    there = {name: value for name, value in structs.asdict(written).items() if value is not UNSET}
    for name in ("battery_wh", "load_w"):
        if name in there:
            there[name] = exact(there[name], f"{_PATH}.stock.{name}")
    return placed(f"{_PATH}.stock", Stock, **there)


def _start(written: StartFile) -> Start:
    path = f"{_PATH}.start"
    there = {name: value for name, value in structs.asdict(written).items() if value is not UNSET}
    if written.place is not UNSET:
        given = {name: value for name, value in structs.asdict(written.place).items() if value is not UNSET}
        there["place"] = placed(f"{path}.place", Place, **given)
    if written.date is not UNSET:
        _date(written.date, path)
    if written.zone is not UNSET:
        try:
            ZoneInfo(written.zone)
        except (KeyError, ValueError, OSError) as fault:
            what = f"there is no time zone {written.zone!r} on this machine"
            raise ProjectError(f"{path}.zone", what, 'write a name as "Europe/Amsterdam", or leave it out') from fault
    return placed(path, Start, **there)


def _date(written: str, path: str) -> None:
    try:
        date.fromisoformat(written)
    except ValueError as fault:
        raise ProjectError(f"{path}.date", f"{written!r} is no date", "write it as 2026-06-21") from fault


def plain_timelapse(timelapse: Timelapse | None) -> TimelapseFile | UnsetType:
    """Return the timelapse as it is written; what is as usual is left out."""
    if timelapse is None:
        return UNSET
    known, usual = timelapse.known, Timelapse()
    lengths = {name: _text(getattr(known, name)) for name in _LENGTHS if name != "camera_s"}
    ramp = known.ramp
    return TimelapseFile(
        cue=timelapse.cue or UNSET,
        manner=UNSET if timelapse.manner == usual.manner else timelapse.manner,
        frames=UNSET if known.frames is None else known.frames,
        ramp=UNSET if ramp is None else [RampFile(frame=f, interval_s=exact_text(s)) for f, s in ramp.points],
        camera_s=exact_text(known.camera_s) if known.camera_s else UNSET,
        poses_by=UNSET if timelapse.poses_by == usual.poses_by else timelapse.poses_by,
        speed=UNSET if timelapse.speed == usual.speed else exact_text(timelapse.speed),
        tolerance={axis: float(value) for axis, value in timelapse.tolerance} or UNSET,
        still_s=UNSET if timelapse.still_s == usual.still_s else float(timelapse.still_s),
        stock=_plain_stock(timelapse.stock),
        start=_plain_start(timelapse.start),
        **lengths,
    )


def _text(value: Fraction | None) -> str | UnsetType:
    return UNSET if value is None else exact_text(value)


def _plain_stock(stock: Stock) -> StockFile | UnsetType:
    if stock == Stock():
        return UNSET
    return StockFile(
        frame_bytes=UNSET if stock.frame_bytes is None else stock.frame_bytes,
        card_bytes=UNSET if stock.card_bytes is None else stock.card_bytes,
        battery_wh=_text(stock.battery_wh),
        load_w=_text(stock.load_w),
    )


def _plain_start(start: Start) -> StartFile | UnsetType:
    if start == Start():
        return UNSET
    place: PlaceFile | UnsetType = UNSET
    if start.place is not None:
        height: float | UnsetType = float(start.place.height_m) if start.place.height_m else UNSET
        place = PlaceFile(
            latitude_deg=float(start.place.latitude_deg),
            longitude_deg=float(start.place.longitude_deg),
            height_m=height,
        )
    return StartFile(
        at=start.at or UNSET,
        date=start.date or UNSET,
        zone=start.zone or UNSET,
        place=place,
        facing_deg=float(start.facing_deg) if start.facing_deg else UNSET,
    )
