"""What `twintake check` shows: first the legs and combined limits that are over, then one line for each axis."""

import math

from rich import box
from rich.table import Table
from rich.text import Text

from sequencer.motion.check import Check
from sequencer.motion.peaks import TOLERANCE, Asked, Extreme, Peak, Quantity, against, number, subject, worst
from sequencer.rig.axis import Axis, Unit
from sequencer.rig.limits import Combined
from sequencer.timebase.timecode import Timebase

# columns of a terminal from which a line holds a whole leg
_WIDE = 110
_MOST_ROWS = 20
_NAME = 13
_LITTLE = 1e-4  # of a limit: less is as good as nothing
_LABEL = len("10:00:00:00.00")
_OVER = "bold red"


def moment(at_s: float, timebase: Timebase) -> str:
    """Return an instant as timecode with two decimals of a frame: 10:00:03:07.50."""
    whole, _, part = str(timebase.label_at(at_s)).partition(".")
    return f"{whole}.{part:0<2}"


def percent(share: float) -> str:
    """Return what is left in percent, rounded down, or what is over below zero."""
    return f"-{_over_percent(-share)}" if share < -TOLERANCE else f"{math.floor(max(share, 0.0) * 100 + 1e-4)} %"


def _over_percent(excess: float) -> str:
    return "∞" if math.isinf(excess) else f"{excess * 100:.{0 if excess >= 0.1 else 1}f} %"


def down(factor: float) -> str:
    """Return a factor of speed in percent with one decimal, rounded down."""
    return f"{math.floor(factor * 1000) / 10:g} %"


def tables(done: Check, timebase: Timebase, width: int) -> list[Table]:
    """Return what is to be shown on a terminal of `width` columns."""
    wide = width >= _WIDE
    shown = [] if done.ok else [_over(done, timebase, wide)]
    return [*shown, _axes(done, timebase, wide)]


def _over(done: Check, timebase: Timebase, wide: bool) -> Table:
    """Return the table of what is over, the worst first; combined limits after the legs."""
    broken = done.over()
    titles = {axis.name: _titled(axis.name, axis.unit) for axis in done.rig.axes}
    leg = "from key to key" if wide else "from key\nto key"
    table = _table("over", ("axis", leg, "what"), ("asked", "limit", "over", "moment"), wide)
    to = " to " if wide else "\n"
    for one in broken[:_MOST_ROWS]:
        ends = (str(timebase.label_at(one.from_s)), str(timebase.label_at(one.to_s)))
        table.add_row(titles[one.axis], to.join(ends), *_asked(one.worst, timebase))
    if len(broken) > _MOST_ROWS:
        table.add_row("…", f"and {len(broken) - _MOST_ROWS} more")
    for limit, asked in done.combined_over():
        table.add_row(Text(_titled(*subject(done.rig, limit))), Text(limit.words), *_asked(asked, timebase))
    return table


def _titled(name: str, unit: Unit | None) -> str:
    return f"{name} ({unit})" if unit in ("deg", "mm") else name


def _asked(asked: Asked, timebase: Timebase) -> tuple[Text | str, ...]:
    """Return what, asked, limit, over, moment."""
    value, limit = asked.numbers()
    over = Text(_over_percent(asked.excess), style=_OVER)
    return asked.of, "a jump" if math.isinf(asked.value) else value, limit, over, moment(asked.at_s, timebase)


def _axes(done: Check, timebase: Timebase, wide: bool) -> Table:
    """Return the table of one line for each axis and combined limit: its peaks, and where least is left."""
    heads = ("speed", "acceleration" if wide else "accel.", "jerk", "travel", "reserve", "least left")
    table = _table("peaks", ("axis",), heads, wide)
    for axis, peak in zip(done.rig.axes, done.axes(), strict=True):
        table.add_row(_titled(axis.name, axis.unit), *_peaks(peak, axis, timebase, wide))
    for limit, found in zip(done.rig.combined, done.combined, strict=True):
        if found is None:
            table.add_row(Text(limit.name), "", "", "", "", "", "never in range")
        else:
            table.add_row(Text(limit.name), *_peaks(found, limit, timebase, wide))
    return table


def _peaks(peak: Peak, limits: Axis | Combined, timebase: Timebase, wide: bool) -> tuple[Text | str, ...]:
    asked = against(peak, limits)
    over = {one.of for one in asked if one.over}
    limits_of = {one.of: one.limit for one in asked}
    each: tuple[tuple[Quantity, Extreme], ...] = (
        ("speed", peak.speed),
        ("acceleration", peak.acceleration),
        ("jerk", peak.jerk),
    )
    cells: list[Text] = []
    for of, extreme in each:
        limit = limits_of.get(of, 0.0)
        little = 0 < extreme.value < _LITTLE * limit
        said = "jumps" if math.isinf(extreme.value) else "~0" if little else number(extreme.value, 3)
        cells.append(Text(said if of in limits_of else "", style=_OVER if of in over else ""))
    travel = f"{number(peak.low.value, 3)} to {number(peak.high.value, 3)}"
    most = worst(asked)
    left = "all" if most.value == 0 else f"{most.of}{' at ' if wide else chr(10)}{moment(most.at_s, timebase)}"
    return (
        *cells,
        Text(travel, style=_OVER if "travel" in over else ""),
        Text(percent(-most.excess), style=_OVER if most.over else ""),
        left,
    )


def _table(title: str, left: tuple[str, ...], right: tuple[str, ...], wide: bool) -> Table:
    """Return an empty table in which no timecode is ever cut: names give way, which may be broken."""
    table = Table(title=title, title_justify="left", box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0))
    table.pad_edge = table.show_edge = False
    for name in left:
        width = None if wide else _LABEL if "key" in name else _NAME
        table.add_column(name, width=width if "key" in name else None, max_width=width, overflow="fold")
    for name in right:
        stamped = name in ("moment", "least left")
        table.add_column(name, justify="right", no_wrap=name != "travel", min_width=_LABEL if stamped else None)
    return table
