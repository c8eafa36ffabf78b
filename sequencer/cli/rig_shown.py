"""What `twintake rig` shows: where the axes stand, each trial as it is done, what was found; and its JSON document."""

import math
from dataclasses import asdict, dataclass
from typing import Any

from rich import box
from rich.console import Console
from rich.table import Table

from sequencer.cli.rig_options import HEADINGS_DEG
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.geometry import WAYS
from sequencer.rig.measured import Figure, Measured
from sequencer.takes.trials.course import Course, Tried
from sequencer.takes.trials.found import Offer

_NAMES = {
    "speed": "top speed",
    "acceleration": "acceleration",
    "latency_s": "latency",
    "lag_s": "of that, lag",
    "backlash": "backlash",
    "resolution": "encoder step",
    "noise": "noise at rest",
}
_MS = 1e3


@dataclass(slots=True, kw_only=True)
class Walked:
    """What came of one axis. `kept` are the offers that were not taken over."""

    before: Axis
    axis: Axis
    stands: float
    way: str = ""
    course: Course | None = None
    found: Measured | None = None
    taken: tuple[Offer, ...] = ()
    kept: tuple[Offer, ...] = ()
    trouble: str = ""
    written: bool = False

    @property
    def facts(self) -> dict[str, Any]:
        """The axis as the JSON document has it."""
        found = self.found
        return {
            "axis": self.axis.name,
            "unit": self.axis.unit,
            "stands": self.stands,
            "travel": self.axis.travel,
            "home": self.axis.home,
            "positive": self.way or None,
            "measured": None if found is None else {"on": found.on} | {k: asdict(v) for k, v in found.figures.items()},
            "limits": [asdict(one) | {"taken_over": True} for one in self.taken]
            + [asdict(one) | {"taken_over": False} for one in self.kept],
            "trials": [asdict(one) for one in self.course.tried] if self.course is not None else [],
            "trouble": self.trouble,
            "written": self.written,
        }


@dataclass(slots=True)
class Screen:
    """The terminal, as whoever watches the trials."""

    console: Console
    axis: Axis

    def tried(self, one: Tried) -> None:
        """Say how a step went."""
        asked = f" {quantity(one.asked, self.axis, one.step.partition(' ')[0])}" if one.asked else ""
        name = one.step.partition(" ")[0] if one.asked else one.step
        self.console.print(f"  {name}{asked}: {one.words}", markup=False, highlight=False)

    def said(self, words: str) -> None:
        """Say what the engine says."""
        self.console.print(f"  {words}", markup=False, highlight=False)


def unit_of(axis: Axis, of: str) -> str:
    """Return the unit of a figure as it is read."""
    plain = "of its range" if axis.unit == "part" else axis.unit
    return {"speed": f"{plain} a second", "acceleration": f"{plain} a second squared"}.get(of, plain)


def quantity(value: float, axis: Axis, of: str) -> str:
    """Return a value with its unit, for people."""
    if of.endswith("_s"):
        return f"{value * _MS:.1f} ms"
    return f"{value:.4g} {unit_of(axis, of)}"


def way_now(rig: Rig, axis: Axis) -> str:
    """Return the way that is positive for an axis now, or nothing where it has none, or none that has a word."""
    if axis.kind == "slide":
        heading_deg = rig.geometry.heading(axis.name)
        return next((word for word, angle in HEADINGS_DEG.items() if math.isclose(angle, heading_deg)), "")
    ways = WAYS.get(axis.kind)
    return "" if ways is None else ways[0 if rig.geometry.sign(axis.name, axis.kind) > 0 else 1]


def show_rig(console: Console, rig: Rig, stands: dict[str, float]) -> None:
    """Show all axes as rig.json has them, and where they stand."""
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0), pad_edge=False, title=rig.name, title_justify="left")
    for head in ("axis", "stands at", "travel", "home", "speed", "acceleration", "measured"):
        table.add_column(head, justify="left" if head == "axis" else "right", no_wrap=True)
    for axis in rig.axes:
        travel = "endless" if axis.travel is None else f"{axis.travel[0]:g} to {axis.travel[1]:g}"
        on = "never" if axis.measured is None else axis.measured.on
        numbers = (f"{value:g}" for value in (axis.home, axis.speed, axis.acceleration))
        table.add_row(f"{axis.name}, {axis.unit}", f"{stands[axis.name]:.4g}", travel, *numbers, on)
    console.print(table)


def show_found(console: Console, axis: Axis, found: Measured) -> None:
    """Show the figures with their spread."""
    table = Table(box=box.SIMPLE)
    for head in ("measured", "value", "spread", "trials"):
        table.add_column(head, justify="left" if head == "measured" else "right")
    for name, figure in found.figures.items():
        table.add_row(_NAMES[name], _value(axis, name, figure), _spread(axis, name, figure), str(figure.trials))
    console.print(table)


def _value(axis: Axis, name: str, figure: Figure) -> str:
    if name == "resolution" and figure.value == 0:
        return "too fine to see"
    return f"{'at least ' if figure.at_least else ''}{quantity(figure.value, axis, name)}"


def _spread(axis: Axis, name: str, figure: Figure) -> str:
    if figure.trials < 2:
        return ""
    return f"{figure.spread * _MS:.2f} ms" if name.endswith("_s") else f"{figure.spread:.2g}"


def offered(axis: Axis, offer: Offer) -> str:
    """Return an offer in words."""
    name = "latency" if offer.field == "latency_s" else offer.field
    new, now = (quantity(value, axis, offer.field) for value in (offer.new, offer.now))
    return f"{name}: {new} ({offer.why}) in place of {now}."
