"""A performance that is to become keys: which stretches of a take there are, and the keys with how near they come.

It refuses to know Qt, and to choose.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor
from pathlib import Path

import numpy as np

from sequencer.errors import ProjectError, TakeError
from sequencer.live.capture import Captured
from sequencer.live.performed import Clocked, Gap, Stretch
from sequencer.motion.check import Check, check
from sequencer.project.document import Project
from sequencer.project.performance import parts, performance
from sequencer.project.store import dump
from sequencer.project.takefile import read
from sequencer.rig.axis import Axis
from sequencer.score.easing import Laws
from sequencer.score.move import Move
from sequencer.takes.pixels import moves_picture, pixels
from sequencer.takes.take import Take
from sequencer.timebase.rate import Rate
from ui.language import translate
from ui.panels.job import Tell

_READING = 0.1  # of the work
_LEAST = Fraction(1)  # frames


class GivenUp(Exception):
    """Nobody wants the keys any more."""


@dataclass(frozen=True, slots=True)
class Span:
    """What hands did in one piece, in whole frames from the project's start."""

    start: Fraction
    end: Fraction


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Performance:
    """A take in which hands had axes: the spans that they performed, the longest first, and the clock's gaps."""

    take: Take
    spans: tuple[Span, ...]
    gaps: tuple[Gap, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """Which axes are to have keys, each to within how much of its own unit, and from where to where."""

    within: Mapping[str, float]
    span: Span
    coasts: bool = False


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Keyed:
    """The move with the keys, what became of each axis, and what the move then asks of the rig."""

    move: Move
    captured: tuple[Captured, ...]
    within: Mapping[str, float]
    judged: Check


def opened(path: Path, project: Project, coasts: bool) -> Performance:
    """Read what was performed in a take. Error: TakeError."""
    take = read(path)
    if not take.by_hand:
        words = translate("capture", "{take}: no axis was performed by hand in it; choose another take")
        raise TakeError(words.format(take=take.name))
    clock, pieces, gaps = parts(take, coasts)
    latency_s = max((one.latency_s for one in project.rig.axes if one.name in take.by_hand), default=0.0)
    spans = [_span(clock, one, project.timebase.rate, latency_s) for one in pieces]
    found = sorted((one for one in spans if one.end - one.start >= _LEAST), key=lambda one: one.start - one.end)
    return Performance(take=take, spans=tuple(found), gaps=gaps)


def _span(clock: Clocked, one: Stretch, rate: Rate, latency_s: float) -> Span:
    """Return the whole frames of a stretch in which every axis was where it was sent."""
    first_s, last_s = float(clock.timeline_s[one.first]), float(clock.timeline_s[one.last])
    start = rate.frames(Fraction(first_s + latency_s * clock.pace))
    return Span(Fraction(ceil(start)), Fraction(floor(rate.frames(Fraction(last_s)))))


def keyed(project: Project, laws: Laws, take: Take, wanted: Wanted, speed: Fraction, tell: Tell) -> Keyed:
    """Make the keys, axis by axis, and judge the move. Error: TakeError; GivenUp when `tell` says so."""
    found: list[Captured] = []
    after = project
    for number, (name, within) in enumerate(wanted.within.items()):
        if not tell(_READING + (1 - _READING) * number / (len(wanted.within) + 1)):
            raise GivenUp
        try:
            done = performance(
                after,
                laws,
                take,
                {name: within},
                start=wanted.span.start,
                end=wanted.span.end,
                coasts=wanted.coasts,
            )
            dump(done.project)
        except ProjectError as fault:
            raise TakeError(f"{fault.what}; {fault.mend}" if fault.mend else fault.what) from fault
        found += done.captured
        after = done.project
    judged = check(after.rig, after.move, after.timebase.rate, laws, speed)
    return Keyed(move=after.move, captured=tuple(found), within=wanted.within, judged=judged)


def off_px(project: Project, axis: Axis, off: float) -> float | None:
    """Return by how many pixels the picture is off where an axis is, None where that is not known."""
    camera = project.rig.camera
    if camera is None or not moves_picture(axis.kind, axis.unit):
        return None
    return float(pixels(np.array(off), axis.kind, axis.unit, camera))
