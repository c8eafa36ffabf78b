"""How the plan of a timelapse is shown, as a table or as JSON.

The JSON document: `project`, `cue`, `manner`; `ok`, and `refused`, why it cannot be shot, with what works (null: it
can); the lengths `event_s`, `clip_s`, `exposure_s`, `settle_s`, `move_s`, `camera_s`, and `interval_s`, the shortest
and the longest, each as a number and, under `exact`, as a fraction; `rate`, `frames`, `shutter_angle_deg`; `begins` and
`ends` of the first and the last exposure, with the time zone; `card_bytes`, `card_full_by_frame`, `battery_wh`,
`battery_empty_by_frame` (null: not known, or never); `change_at`, all frames by which one of them is to be changed;
`guidance`, `notes` and `warnings` in words.
"""

from datetime import datetime, timedelta
from fractions import Fraction
from typing import Any

from rich import box
from rich.table import Table
from rich.text import Text

from sequencer.motion.almanac import later
from sequencer.motion.lapse import name_of
from sequencer.score.interval import guidance, number, seconds
from sequencer.score.stock import Need, need
from sequencer.shell.spread import Spread


def facts(spread: Spread, folder: str, begins: datetime) -> dict[str, Any]:
    """Return the JSON document."""
    plan, asked = spread.plan, _need(spread)
    lengths = {
        "event_s": plan.event_s,
        "clip_s": plan.clip_s,
        "exposure_s": plan.exposure_s,
        "settle_s": plan.settle_s,
        "move_s": plan.move_s,
        "camera_s": plan.camera_s,
    }
    intervals = [plan.shortest_s, plan.intervals.longest(plan.frames)[1]]
    return {
        "project": folder,
        "cue": spread.cue.name,
        "manner": spread.timelapse.manner,
        "ok": not spread.refused,
        "refused": spread.refused or None,
        **{name: float(value) for name, value in lengths.items()},
        "interval_s": [float(one) for one in intervals],
        "exact": {name: str(value) for name, value in lengths.items()}
        | {"interval_s": [str(one) for one in intervals]},
        "rate": str(plan.rate),
        "frames": plan.frames,
        "shutter_angle_deg": float(plan.angle_deg),
        "begins": begins.isoformat(timespec="seconds"),
        "ends": _last(spread, begins).isoformat(timespec="seconds"),
        "card_bytes": asked.card_bytes,
        "card_full_by_frame": next(iter(asked.card_frames), None),
        "battery_wh": None if asked.battery_wh is None else float(asked.battery_wh),
        "battery_empty_by_frame": next(iter(asked.battery_frames), None),
        "change_at": sorted({*asked.card_frames, *asked.battery_frames}),
        "guidance": guidance(plan),
        "notes": list(plan.notes),
        "warnings": list(asked.warnings()),
    }


def _need(spread: Spread) -> Need:
    return need(spread.plan, spread.timelapse.stock)


def _last(spread: Spread, begins: datetime) -> datetime:
    return later(begins, timedelta(seconds=float(spread.plan.at(spread.plan.frames - 1))))


def table(spread: Spread, begins: datetime) -> Table:
    """Return the plan, one line for each of its figures."""
    plan, asked = spread.plan, _need(spread)
    shown = Table(box=box.SIMPLE_HEAD, padding=(0, 2, 0, 0), pad_edge=False, show_edge=False, show_header=False)
    shown.add_column("figure")
    shown.add_column("value", overflow="fold")

    def line(name: str, value: str) -> None:
        shown.add_row(Text(name), Text(value))

    line("cue", f"{spread.cue.name}, {spread.timelapse.manner}")
    line("first exposure", _when(begins))
    line("last exposure", _when(_last(spread, begins)))
    line("event", seconds(plan.event_s))
    line("clip", f"{seconds(plan.clip_s)} at {plan.rate}")
    line("frames", str(plan.frames))
    line("interval", _intervals(spread))
    line("exposure", f"{seconds(plan.exposure_s)}, {guidance(plan).removeprefix('the ')}")
    if not plan.moving:
        way = f"{seconds(plan.move_s)}, the longest, to {name_of(spread.way_to)}" if spread.way_to else "no way"
        line("way", f"{way}; at {spread.timelapse.speed} of the rig's speed")
        line("settle", f"{seconds(plan.settle_s)} at the longest")
    if plan.camera_s:
        line("camera besides", seconds(plan.camera_s))
    line("left of an interval", _signed(plan.shortest_s - plan.needs_s))
    if asked.card_bytes is not None:
        line("card", f"{asked.card_bytes / 1e9:.2f} GB for all frames")
    if asked.battery_wh is not None:
        line("battery", f"{number(asked.battery_wh)} Wh for the event")
    return shown


def lines(spread: Spread) -> list[str]:
    """Return what there is to say besides, what speaks against it last."""
    said = [*spread.plan.notes, *_need(spread).warnings()]
    return [*said, f"cannot be shot: {spread.refused}"] if spread.refused else said


def _intervals(spread: Spread) -> str:
    plan = spread.plan
    points = plan.intervals.points
    if len(points) == 1:
        return seconds(points[0][1])
    return ", ".join(f"{seconds(interval_s)} at frame {frame}" for frame, interval_s in points)


def _signed(value: Fraction) -> str:
    return seconds(value) if value >= 0 else f"{seconds(-value)} too little"


def _when(at: datetime) -> str:
    return f"{at:%Y-%m-%d %H:%M:%S %Z}".rstrip()
