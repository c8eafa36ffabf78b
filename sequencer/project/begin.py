"""A new project from a few answers: a rig with honest guesses, a small first move within them, and one cue.

It refuses to claim that a guess was measured: `GUESSED` says so, and so does the rig's name.
"""

from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

from sequencer.errors import ProjectError
from sequencer.project import files
from sequencer.project.document import Project
from sequencer.project.values import named
from sequencer.rig.axis import Axis, AxisKind, Rig, Unit
from sequencer.score.move import Cue, Ease, Key, Move, Pass, Track
from sequencer.timebase.rate import RATES, Rate
from sequencer.timebase.timecode import Counting, Timebase, parse

GUESSED = "limits guessed, to be measured"
_LAW = "poly345"
_REST_S, _LEG_S, _CUE_S = 1, 4, 6
_MOST = 0.4  # of each limit in the first move
# peaks of the law on the unit square: speed, acceleration, jerk
_SPEED, _ACCELERATION, _JERK = 15 / 8, 10 / 3**0.5, 60.0


def _guess(kind: AxisKind, unit: Unit, travel: tuple[float, float], home: float, limits: tuple[float, ...]) -> Axis:
    speed, acceleration, jerk = limits
    return Axis(
        name=kind,
        kind=kind,
        unit=unit,
        travel=travel,
        speed=speed,
        acceleration=acceleration,
        jerk=jerk,
        home=home,
    )


# slow enough for about any motor that moves such an axis at all: common practice, no source
GUESSES: dict[AxisKind, Axis] = {
    "pan": _guess("pan", "deg", (-90, 90), 0, (20, 30, 120)),
    "tilt": _guess("tilt", "deg", (-30, 30), 0, (15, 25, 100)),
    "roll": _guess("roll", "deg", (-20, 20), 0, (15, 25, 100)),
    "slide": _guess("slide", "mm", (0, 600), 0, (100, 150, 600)),
    "lift": _guess("lift", "mm", (0, 300), 0, (50, 80, 300)),
    "focus": _guess("focus", "part", (0, 1), 0.5, (0.5, 1.5, 8)),
    "iris": _guess("iris", "part", (0, 1), 0.5, (0.5, 1.5, 8)),
    "zoom": _guess("zoom", "part", (0, 1), 0.5, (0.3, 0.8, 4)),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Answers:
    """What a new project is asked for: its name, which axes the rig has, the rate, and the label at which it starts."""

    name: str
    axes: tuple[AxisKind, ...]
    rate: Rate = RATES["25"]
    drop: bool = False
    start: str = "10:00:00:00"


def begin(answers: Answers) -> Project:
    """Return the project. Error: ProjectError, whose path is the answer that cannot be: name, axes, drop or start."""
    name = named(answers.name, "name")
    if not answers.axes:
        raise ProjectError("axes", "a rig has at least one axis", "tick one")
    timebase = _timebase(answers)
    axes = tuple(guess(kind) for kind in dict.fromkeys(answers.axes))
    rate = answers.rate.nominal  # labels of whole seconds, at any rate
    tracks = tuple(_first_track(axis, rate, answers.rate) for axis in axes)
    move = Move(
        tracks=tracks,
        cues=(Cue("first move", Fraction(0), Fraction(_CUE_S * rate)),),
        passes=(Pass("main"),),
    )
    return Project(name=name, timebase=timebase, rig=Rig(name=f"Rig ({GUESSED})", axes=axes), move=move)


def guess(kind: AxisKind, name: str = "") -> Axis:
    """Return an axis of this kind with limits that are guesses."""
    axis = GUESSES[kind]
    return replace(axis, name=name) if name else axis


def empty() -> Project:
    """Return what lies on the desk before a project is there: one axis, and no move."""
    rate = Rate(25)
    timebase = Timebase(Counting(rate), parse("10:00:00:00", Counting(rate)))
    rig = Rig(name=f"Rig ({GUESSED})", axes=(guess("pan"),))
    return Project(name="no project", timebase=timebase, rig=rig, move=Move(tracks=()))


def is_guessed(axis: Axis) -> bool:
    """Return whether the axis's speed limits are the guesses still."""
    first = GUESSES[axis.kind]
    there = (axis.speed, axis.acceleration, axis.jerk)
    return axis.unit == first.unit and there == (first.speed, first.acceleration, first.jerk)


def demos(folder: Path) -> tuple[Path, ...]:
    """Return the demo projects in a folder; none where there is no such folder."""
    return tuple(
        sorted(path.parent for path in folder.glob(f"*/{files.PROJECT}") if (path.parent / files.RIG).exists())
    )


def _timebase(answers: Answers) -> Timebase:
    try:
        counting = Counting(answers.rate, answers.drop)
    except ValueError as fault:
        raise ProjectError("drop", str(fault), "untick it, or choose another rate") from fault
    try:
        start = parse(answers.start.strip(), counting)
    except ValueError as fault:
        raise ProjectError("start", str(fault), "write a label like 10:00:00:00") from fault
    if start.part:
        raise ProjectError("start", f"{answers.start} is not a whole frame", "leave out the part of a frame")
    return Timebase(counting, start)


def _first_track(axis: Axis, a_second: int, rate: Rate) -> Track:
    """Return two keys: from home towards the further end, as far as a part of each limit lets it in the leg's time."""
    assert axis.travel is not None
    low, high = axis.travel
    end = high if high - axis.home >= axis.home - low else low
    lasts_s = float(rate.seconds(_LEG_S * a_second))
    way = min(
        abs(end - axis.home) * 0.5,
        _MOST * axis.speed * lasts_s / _SPEED,
        _MOST * axis.acceleration * lasts_s**2 / _ACCELERATION,
        _MOST * axis.jerk * lasts_s**3 / _JERK,
    )
    decimals = 2 if axis.unit == "part" else 0
    way = int(way * 10**decimals) / 10**decimals
    value = axis.home + (way if end > axis.home else -way)
    from_at, to_at = Fraction(_REST_S * a_second), Fraction((_REST_S + _LEG_S) * a_second)
    return Track(axis.name, (Key(from_at, float(axis.home), Ease(_LAW)), Key(to_at, float(value), Ease(_LAW))))
