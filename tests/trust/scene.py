"""What is shot in a simulated take: a small rig, a short move within its limits, and how fast the engine ticks. Seeded.

All numbers are invented.
"""

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from sequencer.project.document import Project
from sequencer.rig.axis import Axis, Rig
from sequencer.score.camera import CameraCue
from sequencer.score.marks import Mark
from sequencer.score.move import Cue, Ease, Key, Marker, Move, Pass, Track
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timebase, parse

_EASES = ("poly345", "cycloidal", "poly4567")
_KINDS = (("pan", "deg"), ("slide", "mm"), ("focus", "part"))
# of a law's leg: peak speed, acceleration and jerk over d/T, d/T2 and d/T3; the largest of those three laws.
# Source: the laws' own derivatives (poly4567: 2.19, 7.52, 52.5; poly345: 1.88, 5.78, 60; cycloidal: 2, 6.29, 39.5)
_PEAKS = (2.2, 7.6, 60.0)


@dataclass(frozen=True, slots=True)
class Scene:
    """A project with one cue, and the rate at which its engine ticks."""

    project: Project
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
        passes=(Pass("band"),),
    )
    marks = (Mark("quay", tuple((axis.name, _place(chance, axis)) for axis in axes)),)
    camera = (CameraCue(do="record", at="cue start", after_s=-0.2), CameraCue(do="cut", at="cue end", after_s=0.1))
    project = Project(name="trial", timebase=timebase, rig=rig, move=move, marks=marks, camera=camera)
    return Scene(project, int(chance.choice((50, 100, 125, 250), p=(0.55, 0.3, 0.1, 0.05))))


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
    """Return one or two legs that use up to nine tenths of what the axis can do."""
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
            value = float(np.clip(value + most * chance.uniform(-0.9, 0.9), low * 0.98, high * 0.98))
    return Track(axis.name, tuple(keys))
