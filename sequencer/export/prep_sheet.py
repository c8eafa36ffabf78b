"""The prep sheet for the crew: a page or two to be read, filled in and hung up before anything moves."""

from collections.abc import Iterator

from sequencer.export.cautions import CAUTIONS
from sequencer.export.paper import Blanks, Block, Boxed, Facts, Heading, Paper, Table, Words
from sequencer.export.prep import Prep, PrepAxis, Top
from sequencer.export.prep_plan import hidden, plan

_BLANKS = (
    "Emergency stop (hard-wired) is at",
    "Who watches, at the emergency stop",
    "Who is responsible on the set",
    "Who operates the rig",
    "Emergency stop tried today (time, initials)",
    "Reach measured by, with the lens of today",
)
NO_REACH = (
    "How far the rig reaches was not said, so no keep-clear area is drawn and nobody is found to be within it. Measure "
    "from the point in which pan, tilt and roll meet to the furthest part that moves with them (lens, matte box, "
    "handles, loops of cable), and make the sheet again with --reach-m METRES. Until then keep everybody well away."
)


def prep_sheet(prep: Prep) -> Paper:
    """Return the sheet. The same project and options give the same sheet."""
    blocks: list[Block] = [
        Boxed("Before anything moves", (CAUTIONS,), "match"),
        Facts(_facts(prep)),
        *(Boxed("", (remark,), "open") for remark in prep.remarks),
        Heading("Keep clear"),
        *_clear(prep),
        Heading("Top speeds, and how far each axis goes when it is stopped"),
        *_speeds(prep),
        Heading("To be filled in on the set"),
        Blanks(_BLANKS),
        Heading("How the numbers are made"),
        *(Words(text, small=True) for text in _METHOD),
    ]
    return Paper(f"{prep.project}: prep sheet", tuple(blocks))


def _facts(prep: Prep) -> tuple[tuple[str, str], ...]:
    return (
        ("Rig", prep.rig),
        ("Move", f"{prep.stretch}; {prep.fits}"),
        ("Passes", ", ".join(prep.passes)),
        ("Made with", prep.made),
    )


def _clear(prep: Prep) -> Iterator[Block]:
    if prep.reach_m is None:
        yield Boxed("No keep-clear area", (NO_REACH,), "differ")
    else:
        inside = [one for one in prep.places if one.inside]
        if inside:
            names = ", ".join(f"{one.name}{'' if one.person else ' (a thing)'}" for one in inside)
            yield Boxed("Within the keep-clear area, as the set is planned", (names,), "differ")
        yield Words(area_words(prep))
    yield plan(prep)
    if out := hidden(prep):
        yield Words(f"Beyond the edges of the drawing: {', '.join(out)}.", small=True)
    low, high = prep.heights_m
    yield Facts(
        (
            ("Pivot above ground", _between(low, high)),
            ("Lens above ground", _between(*prep.lens_m)),
            ("Rig reaches", "not said" if prep.reach_m is None else _reaches(low - prep.reach_m, high + prep.reach_m)),
        )
    )


def area_words(prep: Prep) -> str:
    """Say what the area is, and what it does not hold."""
    of = "the whole travel of all axes" if prep.whole_travel else "the planned move, wherever a controlled stop ends it"
    margin = f" and a margin of {prep.margin_m:g} m" if prep.margin_m else ""
    low, high = prep.swept.bounds
    return (
        f"{prep.swept.area_m2:.2f} m², {high[0] - low[0]:.2f} m across and {high[1] - low[1]:.2f} m deep, for {of}: "
        f"the rig's reach of {prep.reach_m:g} m{margin} around every place of the pivot, whichever way pan turns and "
        "at any height. Not in it: the way to the start from elsewhere, driving by hand, cables, tracks, stands, what "
        "falls or runs on when power is cut."
    )


def _between(low: float, high: float) -> str:
    return f"{low:.2f} m" if high - low < 0.005 else f"{low:.2f} to {high:.2f} m"


def _reaches(low: float, high: float) -> str:
    return f"from the ground to {high:.2f} m" if low <= 0 else _between(low, high)


def _speeds(prep: Prep) -> Iterator[Block]:
    heads = ("axis", "top speed", "at", "pass", "of limit", "stops in, s", "goes on", "from limit, s", "goes on")
    yield Table(
        "Speeds in the move, and controlled stops from there and from the limit; lens motors in percent of the range",
        heads,
        tuple(map(_axis, prep.axes)),
    )
    rows = [
        ("Lens through the room", _top(prep.pupil, "m/s")),
        ("Camera turns", _top(prep.turn, "deg/s")),
    ]
    if prep.part is not None:
        rows.append(("Any part within reach", f"at most {_top(prep.part, 'm/s')}"))
    yield Facts(tuple(rows))
    yield Words(
        "On the way to the start, in a timelapse between its frames, and when it is driven by hand, an axis may go as "
        "fast as its limit. A stop by cutting power is another one: it is longer or shorter as the rig's brakes are, "
        "and what is lifted may fall. Try both with people clear."
    )
    rows_far = tuple(
        (one.name, one.unit, f"{_n(one.span[0])} to {_n(one.span[1])}", _travel(one.travel)) for one in prep.axes
    )
    yield Table(
        "How far each axis goes", ("axis", "unit", "in the move, stops included", "its travel"), rows_far, left=2
    )


def _axis(one: PrepAxis) -> tuple[str, ...]:
    return (
        one.name,
        f"{_own(one.top.value, one.unit)}/s",
        one.top.at or "–",
        one.top.run or "–",
        f"{one.top.value / one.limit * 100:.0f} %",
        f"{one.stop.lasts_s:.2f}",
        _own(one.stop.goes, one.unit),
        f"{one.stop_most.lasts_s:.2f}",
        _own(one.stop_most.goes, one.unit),
    )


def _own(value: float, unit: str) -> str:
    return f"{_n(value * 100)} %" if unit == "part" else f"{_n(value)} {unit}"


def _top(top: Top, unit: str) -> str:
    if top.value == 0:
        return "does not move"
    return f"{_n(top.value)} {unit} at {top.at}, {top.run}"


def _n(value: float) -> str:
    return (f"{value:.0f}" if abs(value) >= 100 else f"{value:.3g}").replace("-", "−")


def _travel(travel: tuple[float, float] | None) -> str:
    return "without end" if travel is None else f"{_n(travel[0])} to {_n(travel[1])}"


_METHOD = (
    "The area is everywhere that slides may carry the pivot, grown by the reach (Minkowski sum with a disc; its area "
    "by Steiner's formula). Where several slides carry it, every pairing of their positions counts. A person counts as "
    "a disc as wide as the shoulders, two eighths of the height; a box by its outline on the ground, whatever its "
    "height.",
    "A controlled stop holds the axis's acceleration and jerk limits: from speed v with acceleration a and jerk j it "
    "goes v²/2a + va/2j where v is a²/j or more, else v·√(v/j) (any mechanics textbook; without the limit of jerk, "
    "v²/2a). It needs the laptop, the link and the drives to work, and begins after their delays.",
    "Top speeds of axes are exact for the move as it is written; speeds of the camera are looked for at some thousands "
    "of instants. Any part within reach: the pivot's speed plus the turn's times the reach.",
)
