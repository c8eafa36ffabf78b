"""What is shot in a simulated take: a small rig behind one link or two, a short move within its limits, the passes of
it, whose time it follows, and how fast the engine ticks. Seeded.

All numbers are invented.
"""

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from sequencer.project.document import Playback, Project
from sequencer.rig.axis import Axis, Rig
from sequencer.score.camera import CameraCue
from sequencer.score.marks import Mark
from sequencer.score.move import Cue, Ease, Key, Marker, Move, Pass, Track
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timebase, parse
from tests.trust.masters import Sync

_EASES = ("poly345", "cycloidal", "poly4567")
_KINDS = (("pan", "deg"), ("slide", "mm"), ("focus", "part"))
# of a law's leg: peak speed, acceleration and jerk over d/T, d/T2 and d/T3; the largest of those three laws.
# Source: the laws' own derivatives (poly4567: 2.19, 7.52, 52.5; poly345: 1.88, 5.78, 60; cycloidal: 2, 6.29, 39.5)
_PEAKS = (2.2, 7.6, 60.0)
# what a link wants ahead of time, and what of that is fixed: nothing, where all can be withdrawn
_BUFFERS = ((0.0, 0.0), (0.2, 0.06), (0.4, 0.1), (0.3, 0.0))
_SYNCS: tuple[Sync, ...] = ("internal", "mtc", "ltc", "audio")


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """One output: which axes are behind it, and what it can do.

    `answers`: its rig says where it stands. `spare`: the run goes on without it. `ahead_s` and `committed_s` as an
    output carries them: 0 for one that wants setpoints when they are due.
    """

    places: tuple[int, ...]
    answers: bool = True
    spare: bool = False
    ahead_s: float = 0.0
    committed_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Scene:
    """A project with one cue, its pass `run`, its links, who says what time it is, and how often its engine ticks."""

    project: Project
    run: str
    links: tuple[Link, ...]
    sync: Sync
    tick_hz: int


def scene(chance: np.random.Generator) -> Scene:
    """Return another scene for another state of `chance`."""
    counting = Counting(Rate(int(chance.choice((24, 25, 30)))))
    timebase = Timebase(counting, parse("10:00:00:00", counting))
    axes = tuple(_axis(chance, *_KINDS[place]) for place in range(int(chance.integers(1, 4))))
    rig = Rig(name="trial", axes=axes)
    start, length = Fraction(int(chance.integers(10, 40))), Fraction(int(chance.integers(24, 60)))
    rate = float(counting.rate.fraction)
    tracks = tuple(_track(chance, axis, start, length, rate) for axis in axes)
    move = Move(
        tracks=tracks,
        cues=(Cue("turn", start, start + length),),
        markers=(Marker("boats", start + length / 2),),
        passes=_passes(chance, axes),
    )
    marks = (Mark("quay", tuple((axis.name, _place(chance, axis)) for axis in axes)),)
    camera = (CameraCue(do="record", at="cue start", after_s=-0.2), CameraCue(do="cut", at="cue end", after_s=0.1))
    playback = Playback(file="song.wav")
    project = Project(
        name="trial", timebase=timebase, rig=rig, move=move, marks=marks, camera=camera, playback=playback
    )
    run = str(chance.choice([one.name for one in move.passes], p=(0.6, 0.2, 0.1, 0.1)))
    sync = _SYNCS[int(chance.choice(len(_SYNCS), p=(0.3, 0.35, 0.15, 0.2)))]
    tick_hz = int(chance.choice((50, 100, 125, 250), p=(0.8, 0.14, 0.04, 0.02)))
    return Scene(project, run, _links(chance, len(axes)), sync, tick_hz)


def _passes(chance: np.random.Generator, axes: tuple[Axis, ...]) -> tuple[Pass, ...]:
    """Return the move as it is, at half speed, the other way round, and a little aside."""
    aside = tuple((axis.name, 0.02 * axis.speed * float(chance.uniform(-1, 1))) for axis in axes)
    return (
        Pass("band"),
        Pass("lanterns", Fraction(1, 2)),
        Pass("clean plate", reversed=True),
        Pass("again", Fraction(3, 4), offset=aside),
    )


def _links(chance: np.random.Generator, axes: int) -> tuple[Link, ...]:
    """Return one output for all axes, or two that share them."""
    split = int(chance.integers(1, axes)) if axes > 1 and chance.random() < 0.4 else axes
    groups = [tuple(range(split)), tuple(range(split, axes))]
    links = []
    for places in filter(None, groups):
        ahead_s, committed_s = _BUFFERS[int(chance.choice(len(_BUFFERS), p=(0.7, 0.14, 0.08, 0.08)))]
        links.append(
            Link(
                places=places,
                answers=bool(chance.random() < 0.9),
                spare=bool(len(places) < axes and chance.random() < 0.25),
                ahead_s=ahead_s,
                committed_s=committed_s,
            )
        )
    return tuple(links)


def _axis(chance: np.random.Generator, name: str, unit: str) -> Axis:
    size = {"deg": 90.0, "mm": 600.0, "part": 0.5}[unit] * float(chance.uniform(0.5, 1.5))
    endless = name == "pan" and chance.random() < 0.15
    speed = size * float(chance.uniform(0.4, 1.2))
    acceleration = speed * float(chance.uniform(1.5, 4.0))
    return Axis(
        name=name,
        kind=name,  # type: ignore[arg-type]  # names are kinds here
        unit=unit,  # type: ignore[arg-type]  # as in the table above
        travel=None if endless else (-size, size),
        speed=speed,
        acceleration=acceleration,
        jerk=acceleration * float(chance.uniform(4.0, 12.0)),
        latency_s=float(chance.choice((0.0, 0.02, 0.06))),
        home=0.0,
    )


def _place(chance: np.random.Generator, axis: Axis) -> float:
    low, high = axis.travel or (-180.0, 180.0)
    return float(low + (high - low) * chance.uniform(0.1, 0.9))


def _track(chance: np.random.Generator, axis: Axis, start: Fraction, length: Fraction, rate: float) -> Track:
    """Return one or two legs that use up to 98 percent of what the axis can do."""
    at = [start, start + length] if chance.random() < 0.5 else [start, start + length / 2, start + length]
    value = _place(chance, axis)
    keys = []
    for here, there in zip(at, [*at[1:], None], strict=True):
        law = str(chance.choice(_EASES))
        keys.append(Key(here, value, Ease(law)))
        if there is not None:
            lasts_s = float(there - here) / rate
            limits = (axis.speed, axis.acceleration, axis.jerk)
            most = min(
                limit * lasts_s ** (n + 1) / peak for n, (limit, peak) in enumerate(zip(limits, _PEAKS, strict=True))
            )
            low, high = axis.travel or (-1e6, 1e6)
            # some use what there is, so that a master that is fast asks for more
            part = float(chance.choice((chance.uniform(-0.9, 0.9), -0.98, 0.98), p=(0.7, 0.15, 0.15)))
            value = float(np.clip(value + most * part, low * 0.98, high * 0.98))
    return Track(axis.name, tuple(keys))
