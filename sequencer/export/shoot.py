"""What a shoot report says of each take, in numbers: how it went, what it asked of the motors, how they followed.

A take is measured by itself, and may then be let go: hundreds need not be held at once.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sequencer.rig.axis import Camera, Rig
from sequencer.takes.align import align
from sequencer.takes.compare import Comparison
from sequencer.takes.frames import GAP_S, cue_frames, positions_at
from sequencer.takes.rates import largest_rates
from sequencer.takes.take import Take

Floats = NDArray[np.float64]
Three = tuple[float | None, float | None, float | None]  # speed, acceleration, jerk

_SKIPPED = 1.5  # ticks from one setpoint to the next, above which some were left out


@dataclass(frozen=True, slots=True, kw_only=True)
class AxisUse:
    """What one axis did in the cue of a take; None where nobody knows.

    `limits` are those of the rig that the take was shot with, `sent` and `actual` the largest speed, acceleration and
    jerk of the setpoints and of the rig's answers. `error_rms` and `error_peak` are of actual less asked position.
    Unit: the axis's own, a second to the power of the order.
    """

    axis: str
    unit: str
    limits: Three
    sent: Three
    actual: Three
    error_rms: float | None
    error_peak: float | None
    error_at: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Noted:
    """A line of a take's log. `at` is the timecode, empty where playback's clock did not run."""

    at: str
    code: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """How a take went within its cue.

    `skipped` setpoints were left out, the longest time between two was `longest_s`; answers of the rig lay further
    apart than takes.frames.GAP_S `gaps` times, at most `gap_s`; at `unanswered` of `frames` frames no position is
    known of some axis. `basis` says how frames were placed in time, by `messages` of timecode with a `scatter_ms`;
    playback's clock was `ahead_ms` ahead (mean, standard deviation), the master's seconds were `ppm` too fast.
    """

    rate: str
    speed: Fraction
    span: tuple[str, str]
    frames: int
    tick_s: float | None
    skipped: int
    longest_s: float | None
    gaps: int
    gap_s: float | None
    unanswered: int
    basis: str
    messages: int
    scatter_ms: float | None
    ahead_ms: tuple[float, float] | None
    ppm: float | None
    camera: Camera | None
    by_hand: tuple[str, ...]
    uses: tuple[AxisUse, ...]
    log: tuple[Noted, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Listed:
    """A take in the list. `standing` is how it went in a word or two, `fault` why; `measured`: its numbers, if any."""

    name: str
    path: Path
    cue: str
    run: str
    started: str
    standing: str
    fault: str = ""
    circled: bool = False
    note: str = ""
    size: int = 0
    measured: Measured | None = None

    @property
    def whole(self) -> bool:
        return self.standing == "whole"


@dataclass(frozen=True, slots=True, kw_only=True)
class Use:
    """What the project's move asks of one axis now: speed, acceleration, jerk; infinite where it jumps."""

    axis: str
    peaks: tuple[float, float, float]
    limits: tuple[float, float, float]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Group:
    """The takes of one cue and pass. `planned` is None where the project has these no more.

    `comparison` is None where nothing could be compared; `compared` says what was, or why nothing.
    """

    cue: str
    run: str
    takes: tuple[Listed, ...]
    planned: tuple[Use, ...] | None
    comparison: Comparison | None
    compared: str


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Shoot:
    """All that a shoot report is made of. `outputs` and `sync` are what the project has now, in words."""

    project: str
    rig: str
    made: str
    timebase: str
    outputs: str
    sync: str
    takes: tuple[Listed, ...]
    groups: tuple[Group, ...]


def measured(take: Take, rig: Rig | None) -> Measured:
    """Return how a take went. `rig` is the one that it was shot with, None where nobody knows it."""
    frames, frame_s = cue_frames(take)
    found = align(take, frame_s)
    due_s, answered_s = ((stamps - found.origin_ns) / 1e9 for stamps in (take.due_ns, take.actual_ns))
    known = found.at_s[np.isfinite(found.at_s)]
    span_s = (float(known[0]), float(known[-1])) if len(known) else (0.0, 0.0)
    labels = [str(take.timebase.label(int(frame))) for frame in frames]
    actual = positions_at(answered_s, take.actual, found.at_s)
    asked = positions_at(due_s, take.asked, found.at_s)
    sent = largest_rates(due_s, take.asked, span_s)
    went = largest_rates(answered_s, take.actual, span_s)
    heard = len(found.heard_s) > 0
    ahead = found.clock_error_s[np.isfinite(found.clock_error_s)] * 1000
    named = answered_s[np.isfinite(take.actual).any(axis=1)]
    ticks, gaps = _within(due_s, span_s), _within(named, span_s)
    tick_s = float(np.median(ticks)) if len(ticks) else None
    late = ticks[ticks > _SKIPPED * (tick_s or 1.0)]
    return Measured(
        rate=str(take.timebase.rate),
        speed=take.speed,
        span=(labels[0], labels[-1]) if labels else ("", ""),
        frames=len(frames),
        tick_s=tick_s,
        skipped=int(np.sum(np.round(late / tick_s) - 1)) if tick_s else 0,
        longest_s=float(ticks.max()) if len(ticks) else None,
        gaps=int(np.count_nonzero(gaps > GAP_S)),
        gap_s=float(gaps.max()) if len(gaps) else None,
        unanswered=int(np.count_nonzero(~np.isfinite(actual).all(axis=1))),
        basis=found.basis.value,
        messages=len(found.heard_s),
        scatter_ms=found.spread_s * 1000 if heard else None,
        ahead_ms=(float(ahead.mean()), float(ahead.std())) if len(ahead) else None,
        ppm=(found.rate - 1) * 1e6 if heard else None,
        camera=take.camera,
        by_hand=take.by_hand,
        uses=tuple(
            _use(take, number, rig, (sent[:, number], went[:, number]), actual[:, number] - asked[:, number], labels)
            for number in range(len(take.axes))
        ),
        log=_log(take),
    )


def chosen(takes: Sequence[Listed], most: int) -> tuple[Listed, ...]:
    """Return the takes that are compared: whole ones, of these the circled ones and then the latest, in their order."""
    whole = [one for one in takes if one.whole]
    best = sorted(range(len(whole)), key=lambda place: (not whole[place].circled, -place))[:most]
    return tuple(whole[place] for place in sorted(best))


def _within(stamps_s: Floats, span_s: tuple[float, float]) -> Floats:
    """Return the times between stamps that reach into a span."""
    stamps = np.unique(stamps_s)
    steps = np.diff(stamps)
    return steps[(stamps[1:] > span_s[0]) & (stamps[:-1] < span_s[1])]


def _use(
    take: Take, number: int, rig: Rig | None, rates: tuple[Floats, Floats], error: Floats, labels: Sequence[str]
) -> AxisUse:
    name, unit = take.axes[number], take.units[number]
    axis = next((one for one in rig.axes if (one.name, one.unit) == (name, unit)), None) if rig else None
    known = error[np.isfinite(error)]
    worst = int(np.nanargmax(np.abs(error))) if len(known) else 0
    return AxisUse(
        axis=name,
        unit=unit,
        limits=(axis.speed, axis.acceleration, axis.jerk) if axis else (None, None, None),
        sent=_three(rates[0]),
        actual=_three(rates[1]),
        error_rms=float(np.sqrt(np.mean(known**2))) if len(known) else None,
        error_peak=float(np.abs(known).max()) if len(known) else None,
        error_at=labels[worst] if len(known) else "",
    )


def _three(values: Floats) -> Three:
    speed, acceleration, jerk = (float(value) if np.isfinite(value) else None for value in values)
    return speed, acceleration, jerk


def _log(take: Take) -> tuple[Noted, ...]:
    lines = []
    for one in take.happenings:
        inside = len(take.due_ns) and take.due_ns[0] <= one.at_ns <= take.due_ns[-1]
        at = ""
        if inside:
            timeline_s = float(np.interp(one.at_ns - take.due_ns[0], take.due_ns - take.due_ns[0], take.timeline_s))
            at = str(take.timebase.label_at(timeline_s)).partition(".")[0] if np.isfinite(timeline_s) else ""
        lines.append(Noted(at=at, code=one.code, text=one.text))
    return tuple(lines)
