"""The shoot report: which takes there are, with what they were shot, what they asked of the motors, how they match."""

from collections.abc import Iterable, Iterator
from datetime import UTC, datetime

import numpy as np

from sequencer.export.cautions import CAUTIONS
from sequencer.export.matched import axes_table, lens_words, verdict_box
from sequencer.export.paper import Block, Boxed, Facts, Heading, Items, Paper, Table, Words, number
from sequencer.export.plots import axis_plot, shift_plot
from sequencer.export.shoot import AxisUse, Group, Listed, Measured, Shoot, Use
from sequencer.takes.compare import Comparison
from sequencer.takes.frames import GAP_S
from sequencer.takes.rates import WHILES_S

_QUANTITIES = ("speed", "acceleration", "jerk")
_PER = {
    "deg": ("deg/s", "deg/s²", "deg/s³"),
    "mm": ("mm/s", "mm/s²", "mm/s³"),
    "part": ("of its range/s", "of its range/s²", "of its range/s³"),
}
_HEADS_LOG = ("take", "at", "what", "in words")
_LONGEST_NOTE = 120  # characters in the table; longer ones stand in full below it
_MOST_LINES = 60  # of one take's log
_STANDING = ("whole", "stopped", "broken off", "cannot be used")
_STILL = 1e-9  # of an axis's own unit
_FEW = 12  # takes of which each is listed; of more, the worst one of each axis
# what is said in every take that goes well
_ROUTINE = (
    "locating",
    "ready",
    "waiting",
    "waits",
    "locked",
    "running",
    "finished",
    "going",
    "at mark",
    "heard",
    "kept",
)


def shoot_report(shoot: Shoot) -> Paper:
    """Return the report. It reads no file and no clock: the same takes give the same report."""
    blocks: list[Block] = [Facts(_facts(shoot)), Heading("Takes"), *_takes(shoot)]
    for group in shoot.groups:
        blocks += [Heading(f"{group.cue}, {group.run}"), *_group(group)]
    blocks += [Heading("How the numbers are made"), *(Words(text, small=True) for text in _METHOD)]
    blocks.append(Boxed("", (CAUTIONS,)))
    return Paper(f"{shoot.project}: shoot report", tuple(blocks))


def _facts(shoot: Shoot) -> tuple[tuple[str, str], ...]:
    takes = shoot.takes
    dates = sorted({_utc(one.started)[:10] for one in takes if one.started})
    rows = [
        ("Project", shoot.project),
        ("Rig", shoot.rig),
        ("Shot on", "nothing was shot" if not dates else dates[0] if len(dates) == 1 else f"{dates[0]} to {dates[-1]}"),
        ("Takes", counted(takes)),
        ("Timebase", shoot.timebase),
        ("Outputs", shoot.outputs),
        ("Sync", shoot.sync),
        ("Made with", shoot.made),
    ]
    return tuple(rows)


def _utc(started: str) -> str:
    """Return when a take was started, on a clock that is the same wherever the report is made."""
    try:
        return f"{datetime.fromisoformat(started).astimezone(UTC):%Y-%m-%d %H:%M:%S}"
    except (ValueError, OverflowError):
        return started


def counted(takes: tuple[Listed, ...]) -> str:
    """Say how many takes there are, and how they went: `12, of these 9 whole, 2 stopped, 1 broken off; 3 circled`."""
    if not takes:
        return "none"
    standing = [one.standing for one in takes]
    kinds = [(kind, standing.count(kind)) for kind in dict.fromkeys((*_STANDING, *standing)) if kind in standing]
    how = ", ".join(f"{count} {kind}" for kind, count in kinds)
    circled = sum(one.circled for one in takes)
    return f"{len(takes)}, of these {how}; {circled or 'none'} circled"


def _takes(shoot: Shoot) -> Iterator[Block]:
    if not shoot.takes:
        yield Words("There are no takes.")
        return
    rows = []
    for one in shoot.takes:
        note = one.note if len(one.note) <= _LONGEST_NOTE else f"{one.note[:_LONGEST_NOTE].rstrip()}… (in full below)"
        rows.append(
            (
                one.name,
                one.cue or "–",
                one.run or "–",
                _utc(one.started),
                one.standing,
                "yes" if one.circled else "",
                note,
            )
        )
    heads = ("take", "cue", "pass", "started, UTC", "how it went", "circled", "note")
    yield Table("All takes", heads, tuple(rows), left=len(heads))
    yield from _notes(shoot.takes)
    faults = tuple(f"{one.name} – {one.standing}: {one.fault}" for one in shoot.takes if one.fault)
    if faults:
        yield Heading("Takes that are not whole", level=3)
        yield Items(faults)


def _notes(takes: Iterable[Listed]) -> Iterator[Block]:
    notes = [one for one in takes if len(one.note) > _LONGEST_NOTE]
    if notes:
        yield Heading("Long notes", level=3)
        yield from (Words(f"{one.name}: {one.note}") for one in notes)


def _group(group: Group) -> Iterator[Block]:
    known = [(one, one.measured) for one in group.takes if one.measured is not None]
    if known:
        yield Facts(_settings(known))
        yield _limits(group.planned, known)
        if group.planned is None:
            yield Words("The project has no such cue and pass now, so what was planned is not known.", small=True)
        yield _following(known)
        yield _recorded(known)
        yield _clock(known)
    elif group.takes:
        yield Words("No take of these can be measured.")
    yield from _log(known)
    yield Heading("How well the takes match", level=3)
    yield from _match(group.comparison, group.compared)


def _settings(known: list[tuple[Listed, Measured]]) -> tuple[tuple[str, str], ...]:
    """Return what the takes have in common, each fact once; where takes differ, all that there is."""

    def each(texts: Iterable[str]) -> str:
        return "; ".join(dict.fromkeys(texts))

    found = [one for _, one in known]
    return (
        ("Cue", each(f"{one.span[0]} to {one.span[1]}, {one.frames} frames" for one in found)),
        ("Rate and speed", each(f"{one.rate} frames a second, pass at speed {one.speed}" for one in found)),
        ("Setpoints", each("none" if not one.tick_s else f"{1 / one.tick_s:.4g} a second" for one in found)),
        ("Sync heard", each(_heard(one) for one in found)),
        ("Frames placed by", each(one.basis for one in found)),
        ("Camera", each(_camera(one) for one in found)),
        ("By hand", each(", ".join(one.by_hand) or "nothing" for one in found)),
    )


def _heard(one: Measured) -> str:
    """Return what was heard of a master, as the log has it: its kind and rate."""
    kinds = dict.fromkeys(line.text.partition(":")[0] for line in one.log if line.code == "heard")
    return " and ".join(kinds) or "not said in the take"


def _camera(one: Measured) -> str:
    return "not named in the rig file" if one.camera is None else lens_words(one.camera)


def _limits(planned: tuple[Use, ...] | None, known: list[tuple[Listed, Measured]]) -> Table:
    """Return what was used of each limit: of all takes the most, and in which take."""
    plans = {use.axis: use for use in planned or ()}
    rows = []
    names = dict.fromkeys((use.axis, use.unit) for _, one in known for use in one.uses)
    for axis, unit in names:
        uses = [(take.name, use) for take, one in known for use in one.uses if (use.axis, use.unit) == (axis, unit)]
        for order, quantity in enumerate(_QUANTITIES):
            limits = {use.limits[order] for _, use in uses}
            limit = next(iter(limits)) if len(limits) == 1 else None
            plan = plans.get(axis)
            sent, _ = _most(uses, order, sent=True)
            actual, take = _most(uses, order, sent=False)
            rows.append(
                (
                    f"{axis}, {quantity}",
                    _PER[unit][order],
                    _figures(limit) if len(limits) == 1 else "differs",
                    _figures(plan.peaks[order] if plan else None),
                    _share(plan.peaks[order] if plan else None, plan.limits[order] if plan else None),
                    _figures(sent),
                    _share(sent, limit),
                    _figures(actual),
                    _share(actual, limit),
                    take,
                )
            )
    heads = ("axis", "unit", "limit", "planned", "of limit", "sent", "of limit", "actual", "of limit", "most in")
    return Table("What was used of the limits: the most in any take", heads, tuple(rows), left=2)


def _most(uses: list[tuple[str, AxisUse]], order: int, *, sent: bool) -> tuple[float | None, str]:
    values = [(value, take) for take, use in uses if (value := (use.sent if sent else use.actual)[order]) is not None]
    return max(values, key=lambda each: each[0]) if values else (None, "–")


def _figures(value: float | None) -> str:
    if value is None:
        return "–"
    return "a jump" if value == float("inf") else f"{value:.3g}" if abs(value) < 1000 else f"{value:.0f}"


def _share(value: float | None, limit: float | None) -> str:
    if value is None or limit is None or value == float("inf"):
        return "–"
    return f"{value / limit * 100:.0f} %"


def _following(known: list[tuple[Listed, Measured]]) -> Table:
    pairs = [(take.name, use) for take, one in known for use in one.uses]
    title = "Following error: actual less asked position at the frames"
    if len(known) > _FEW:
        title += f"; of {len(known)} takes the worst of each axis"
        worst: dict[str, tuple[str, AxisUse]] = {}
        for name, use in pairs:
            if use.axis not in worst or (use.error_peak or 0.0) > (worst[use.axis][1].error_peak or 0.0):
                worst[use.axis] = name, use
        pairs = list(worst.values())
    rows = [
        (name, use.axis, use.unit, number(use.error_rms), number(use.error_peak), use.error_at or "–")
        for name, use in pairs
    ]
    return Table(title, ("take", "axis", "unit", "RMS", "peak", "at"), tuple(rows), left=3)


def _recorded(known: list[tuple[Listed, Measured]]) -> Table:
    rows = [
        (
            take.name,
            str(one.skipped),
            number(None if one.longest_s is None else one.longest_s * 1000, 1),
            str(one.gaps),
            number(None if one.gap_s is None else one.gap_s * 1000, 1),
            f"{one.unanswered} of {one.frames}",
        )
        for take, one in known
    ]
    heads = (
        "take",
        "setpoints left out",
        "longest time between two, ms",
        "gaps in answers",
        "longest, ms",
        "frames without",
    )
    return Table("Gaps in the recording, within the cue", heads, tuple(rows))


def _clock(known: list[tuple[Listed, Measured]]) -> Table:
    rows = [
        (
            take.name,
            str(one.messages),
            number(one.scatter_ms, 3),
            number(one.ahead_ms[0] if one.ahead_ms else None, 3),
            number(one.ahead_ms[1] if one.ahead_ms else None, 3),
            number(one.ppm, 1),
        )
        for take, one in known
    ]
    heads = ("take", "messages", "their scatter, ms", "playback ahead: mean, ms", "SD, ms", "master's speed, ppm")
    return Table("Lateness: timecode, and playback against it", heads, tuple(rows))


def _log(known: list[tuple[Listed, Measured]]) -> Iterator[Block]:
    rows = []
    for take, one in known:
        lines = [line for line in one.log if line.code not in _ROUTINE]
        rows += [(take.name, line.at or "–", line.code, line.text) for line in lines[:_MOST_LINES]]
        more = len(lines) - _MOST_LINES
        if more > 0:
            rows.append((take.name, "–", "", f"{more} lines more are in the take file"))
    if rows:
        yield Table("Faults, stops and what else is out of the ordinary", _HEADS_LOG, tuple(rows), left=4)
    elif known:
        yield Words("No fault, no stop and nothing else out of the ordinary was noted.")


def _match(comparison: Comparison | None, compared: str) -> Iterator[Block]:
    if comparison is None:
        yield Words(compared)
        return
    yield verdict_box(comparison)
    yield Words(compared, small=True)
    yield axes_table(comparison.axes)
    if comparison.missing:
        yield Items(tuple(f"Not compared: {one.words}" for one in comparison.missing))
    if comparison.shift is not None:
        yield Words("The most that the picture can shift between any two takes, all axes together:", small=True)
        yield shift_plot(comparison)
    for place, one in enumerate(comparison.axes):
        asked = comparison.asked[:, :, place]
        asked = asked[np.isfinite(asked)]
        if one.peak is not None and len(asked) and float(np.ptp(asked)) > _STILL:
            yield Words(f"{one.axis}: where it stood, and each take's difference from the mean path", small=True)
            yield axis_plot(comparison, place)


_METHOD = (
    "Planned is what the project's move asks now, exactly, of the legs within the cue, in this pass at its speed. Sent "
    "and actual are of the setpoints and of the rig's answers as they were recorded: the slope, bend and change of "
    f"bend of a curve that is fitted over {WHILES_S[0]:g} s (speed), {WHILES_S[1]:g} s (acceleration) and "
    f"{WHILES_S[2]:g} s (jerk), so that noise is not taken for motion (Savitzky and Golay 1964). A shorter peak is "
    "flattened by that. Limits are those of the rig that the take was shot with; where the take does not say them, "
    "those of the rig file now.",
    f"Positions at a frame are a cubic through the rig's answers around it; where answers lie more than "
    f"{GAP_S * 1000:g} ms apart there is a gap, and the frame has no position. Setpoints are left out where this "
    "machine came too late for them.",
    "Path repeatability is RT of ISO 9283, at the frames of the cue and of a single axis. Pixels: pan and tilt at the "
    "middle of the frame, roll at its corner, slide and lift for a point at the subject's distance. twintake compare "
    "has more.",
)
