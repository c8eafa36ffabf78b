"""How well takes of one cue match, at every frame: in each axis's unit, and in pixels on the sensor.

"Difference" is always between two takes at the same frame of the master's timecode; numbers for "all" pool every pair
of takes. The mean path of all takes serves repeatability and plots. Frames that were not answered are named and left
out, never filled in.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from sequencer.errors import TakeError
from sequencer.rig.axis import Camera
from sequencer.takes.align import Alignment, align
from sequencer.takes.frames import cue_frames, positions_at
from sequencer.takes.pixels import moves_picture, picture_shift, pixels
from sequencer.takes.repeatability import path_repeatability
from sequencer.takes.take import Take
from sequencer.takes.verdict import Missing, Shift, Verdict, judge
from sequencer.timebase.timecode import Timebase

Floats = NDArray[np.float64]

CLOCK_STEP_S = 0.0001  # the clock error whose cost in pixels a comparison states
_STILL = 1e-9  # a speed, in units a second, below which an axis stands


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """A difference over all frames where it is known: signed mean, mean and root mean square size, largest size.

    Unit: the axis's own. `at` is the timecode of the frame where the size is largest.
    """

    offset: float
    mean: float
    rms: float
    peak: float
    at: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """The second take less the first. `pixels_peak` is None where the axis does not shift the picture."""

    first: str
    second: str
    spread: Spread
    pixels_peak: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Following:
    """Actual less asked position of one axis in one take.

    `behind_s` is the delay that explains most of it (least squares against speed), None for an axis that stands.
    """

    take: str
    spread: Spread
    behind_s: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class AxisMatch:
    """How well one axis matches over all takes; None where no frame was answered in two takes, or in no lens's terms.

    `mean`, `rms` and `peak` are of the size of the difference, all pairs pooled; `peak_at` and `peak_takes` say where
    it is largest. `path_repeatability` as in ISO 9283, over frames answered in all takes. `from_mean` is each take's
    difference from the mean path, over the same frames. `fastest` is the highest speed asked for in the cue, and
    `pixels_per_step` what CLOCK_STEP_S of clock error is there.
    """

    axis: str
    kind: str
    unit: str
    mean: float | None
    rms: float | None
    peak: float | None
    peak_at: str | None
    peak_takes: tuple[str, str] | None
    path_repeatability: float | None
    path_repeatability_at: str | None
    pixels_rms: float | None
    pixels_peak: float | None
    fastest: float | None
    pixels_per_step: float | None
    pairs: tuple[Pair, ...]
    from_mean: tuple[Spread, ...]
    following: tuple[Following, ...]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Comparison:
    """K takes of one cue, compared at its F frames.

    Shape: `frames` (F,) from the project's start; `actual`, `asked` (K, F, A), NaN where not answered. `shift` is the
    most that any two takes can shift the picture against each other (all axes together, see `picture_shift`), None
    where that is not known. `verdict` and `words` judge it against `tolerance_px`.
    """

    takes: tuple[Take, ...]
    timebase: Timebase
    frames: NDArray[np.int64]
    alignments: tuple[Alignment, ...]
    actual: Floats
    asked: Floats
    axes: tuple[AxisMatch, ...]
    camera: Camera | None
    shift: Shift | None
    missing: tuple[Missing, ...]
    tolerance_px: float | None
    verdict: Verdict
    words: str
    notes: tuple[str, ...]


def compare(takes: Sequence[Take], tolerance_px: float | None = None) -> Comparison:
    """Compare takes of one cue at every frame that they have in common.

    Unit: `tolerance_px` pixels that the picture may shift between any two takes, above zero; None judges nothing.
    Error: TakeError where the takes cannot be compared, saying what differs.
    """
    if tolerance_px is not None and not (math.isfinite(tolerance_px) and tolerance_px > 0):
        raise ValueError(f"{tolerance_px} is no tolerance; give a number of pixels above zero")
    _demand_comparable(takes)
    first = takes[0]
    frames, frame_s = cue_frames(first)
    alignments = tuple(align(take, frame_s) for take in takes)
    pairs = list(zip(takes, alignments, strict=True))
    actual = np.stack([_sample(take.actual_ns, take.actual, found) for take, found in pairs])
    asked = np.stack([_sample(take.due_ns, take.asked, found) for take, found in pairs])
    missing = tuple(_missing(first.timebase, frames, pairs, actual))
    if not np.isfinite(actual).all(axis=0).any():
        told = "; ".join(one.words for one in missing) or f"the cue holds {len(frames)} frames"
        raise TakeError(f"cue {first.cue}: no frame was answered in all takes, so nothing can be compared: {told}")
    cameras = {take.camera for take in takes}
    camera = first.camera if len(cameras) == 1 else None
    axes = tuple(
        _axis(number, pairs, frames, actual[:, :, number], asked[:, :, number], camera)
        for number in range(len(first.axes))
    )
    shift = _shift(takes, frames, actual, camera) if camera else None
    verdict, words = judge(first.cue, axes_words(axes), shift, missing, tolerance_px, known_lens=camera is not None)
    return Comparison(
        takes=tuple(takes),
        timebase=first.timebase,
        frames=frames,
        alignments=alignments,
        actual=actual,
        asked=asked,
        axes=axes,
        camera=camera,
        shift=shift,
        missing=missing,
        tolerance_px=tolerance_px,
        verdict=verdict,
        words=words,
        notes=tuple(_notes(takes, len(cameras) > 1)),
    )


def axes_words(axes: Iterable[AxisMatch]) -> str:
    """Return the largest difference of each axis, in words."""
    return ", ".join(f"{one.axis} {one.peak:.3g} {one.unit}" for one in axes if one.peak is not None)


def _demand_comparable(takes: Sequence[Take]) -> None:
    if len(takes) < 2:
        raise TakeError(f"two takes or more are needed to compare, and there are {len(takes)}; record or name another")
    first = takes[0]
    half_frame_s = float(first.timebase.rate.seconds(1)) / 2
    for take in takes[1:]:
        same_span = all(abs(a - b) < half_frame_s for a, b in zip(first.cue_s, take.cue_s, strict=True))
        for name, of_first, of_this, same in (
            ("project", first.project, take.project, first.project == take.project),
            ("cue", first.cue, take.cue, first.cue == take.cue),
            ("rate", str(first.timebase.rate), str(take.timebase.rate), first.timebase.rate == take.timebase.rate),
            (
                "start of the project",
                str(first.timebase.start),
                str(take.timebase.start),
                first.timebase == take.timebase,
            ),
            ("speed of the pass", str(first.speed), str(take.speed), first.speed == take.speed),
            ("span of the cue, in seconds", str(first.cue_s), str(take.cue_s), same_span),
            ("axes", ", ".join(first.axes), ", ".join(take.axes), first.axes == take.axes),
            ("units", ", ".join(first.units), ", ".join(take.units), first.units == take.units),
        ):
            if not same:
                raise TakeError(
                    f"takes {first.name} and {take.name} cannot be compared: they differ in {name} ({of_first} against "
                    f"{of_this}); choose takes of one cue, at one speed, made with one rig"
                )


def _sample(stamps_ns: NDArray[np.int64], positions: Floats, found: Alignment) -> Floats:
    return positions_at(np.asarray((stamps_ns - found.origin_ns) / 1e9), positions, found.at_s)


def _missing(
    timebase: Timebase, frames: NDArray[np.int64], pairs: Sequence[tuple[Take, Alignment]], actual: Floats
) -> Iterable[Missing]:
    """Name each stretch of frames whose instant is not known, or at which the rig did not say where an axis stood."""
    for (take, found), positions in zip(pairs, actual, strict=True):
        unknown = ~np.isfinite(found.at_s)
        if unknown.any():
            yield Missing.of(take.name, (), unknown, frames, timebase)
        silent = ~np.isfinite(positions) & ~unknown[:, None]
        alike, which = np.unique(silent, axis=1, return_inverse=True)
        for number in range(alike.shape[1]):
            if alike[:, number].any():
                axes = tuple(name for name, place in zip(take.axes, which, strict=True) if place == number)
                yield Missing.of(take.name, axes, alike[:, number], frames, timebase)


def _axis(
    number: int,
    pairs: Sequence[tuple[Take, Alignment]],
    frames: NDArray[np.int64],
    actual: Floats,
    asked: Floats,
    camera: Camera | None,
) -> AxisMatch:
    """Compare one axis. Shape: `actual`, `asked` (K, F)."""
    takes = [take for take, _ in pairs]
    kind, unit, timebase = takes[0].kinds[number], takes[0].units[number], takes[0].timebase
    lens = camera if camera and moves_picture(kind, unit) else None
    labels = _Labels(timebase, frames)
    both = list(combinations(range(len(takes)), 2))
    differences = np.stack([actual[second] - actual[first] for first, second in both])
    whole = _spread(differences.ravel(), labels)
    moved = pixels(differences[np.isfinite(differences)], kind, unit, lens) if lens and whole else None
    worst = both[_worst(differences) // len(frames)] if whole else None
    common = np.isfinite(actual).all(axis=0)
    repeat = path_repeatability(actual[:, common, None]) if common.any() else None
    off_mean = actual - np.where(common, actual.mean(axis=0), np.nan)
    fastest = max((_fastest(take, found, number) for take, found in pairs), default=math.nan)
    return AxisMatch(
        axis=takes[0].axes[number],
        kind=kind,
        unit=unit,
        mean=whole.mean if whole else None,
        rms=whole.rms if whole else None,
        peak=whole.peak if whole else None,
        peak_at=whole.at if whole else None,
        peak_takes=(takes[worst[0]].name, takes[worst[1]].name) if worst else None,
        path_repeatability=repeat[0] if repeat else None,
        path_repeatability_at=labels.at(int(np.flatnonzero(common)[repeat[1]])) if repeat else None,
        pixels_rms=float(np.sqrt(np.mean(moved**2))) if moved is not None else None,
        pixels_peak=float(moved.max()) if moved is not None else None,
        fastest=fastest if math.isfinite(fastest) else None,
        pixels_per_step=float(pixels(np.array(fastest * CLOCK_STEP_S), kind, unit, lens))
        if lens and math.isfinite(fastest)
        else None,
        pairs=tuple(
            Pair(
                first=takes[first].name,
                second=takes[second].name,
                spread=spread,
                pixels_peak=float(pixels(np.array(spread.peak), kind, unit, lens)) if lens else None,
            )
            for (first, second), difference in zip(both, differences, strict=True)
            if (spread := _spread(difference, labels))
        ),
        from_mean=tuple(spread for row in off_mean if (spread := _spread(row, labels))),
        following=tuple(
            Following(take=take.name, spread=spread, behind_s=_behind_s(found.at_s, goal, error))
            for (take, found), goal, error in zip(pairs, asked, actual - asked, strict=True)
            if (spread := _spread(error, labels))
        ),
    )


@dataclass(frozen=True, slots=True)
class _Labels:
    """The timecode of frames by their place in the cue, counted round for several takes in a row."""

    timebase: Timebase
    frames: NDArray[np.int64]

    def at(self, place: int) -> str:
        return str(self.timebase.label(int(self.frames[place % len(self.frames)])))


def _worst(difference: Floats) -> int:
    return int(np.nanargmax(np.abs(difference)))


def _spread(difference: Floats, labels: _Labels) -> Spread | None:
    known = difference[np.isfinite(difference)]
    if not len(known):
        return None
    size = np.abs(known)
    return Spread(
        offset=float(known.mean()),
        mean=float(size.mean()),
        rms=float(np.sqrt(np.mean(size**2))),
        peak=float(size.max()),
        at=labels.at(_worst(difference)),
    )


def _fastest(take: Take, found: Alignment, number: int) -> float:
    """Return the highest speed between two setpoints in the cue, NaN where there are none."""
    due_s = (take.due_ns - found.origin_ns) / 1e9
    known = found.at_s[np.isfinite(found.at_s)]
    inside = (due_s >= known.min()) & (due_s <= known.max()) if len(known) else np.zeros(len(due_s), dtype=bool)
    times, first = np.unique(due_s[inside], return_index=True)
    if len(times) < 2:
        return math.nan
    return float(np.abs(np.diff(take.asked[inside][first, number]) / np.diff(times)).max())


def _behind_s(at_s: Floats, asked: Floats, error: Floats) -> float | None:
    """Return the delay that explains most of the error: the slope of -error over speed.

    Source: ordinary least squares with an intercept, any textbook.
    """
    known = np.isfinite(at_s) & np.isfinite(asked) & np.isfinite(error)
    if np.count_nonzero(known) < 3:
        return None
    speed = np.gradient(asked[known], at_s[known])
    about = speed - speed.mean()
    power = float(about @ about)
    if power <= _STILL**2 * len(speed):
        return None
    return float(-(about @ error[known]) / power)


def _shift(takes: Sequence[Take], frames: NDArray[np.int64], actual: Floats, camera: Camera) -> Shift | None:
    """Return the picture's largest shift between any two takes at each frame; NaN where not every take answered."""
    kinds, units = takes[0].kinds, takes[0].units
    counts = [number for number in range(len(kinds)) if moves_picture(kinds[number], units[number])]
    if not counts:
        return None
    shifts = [
        picture_shift(actual[second] - actual[first], kinds, units, camera)
        for first, second in combinations(range(len(takes)), 2)
    ]
    each = np.max(np.stack(shifts), axis=0)  # NaN stays NaN: one silent take leaves the frame undecided
    if not np.isfinite(each).any():
        return None
    worst = int(np.nanargmax(each))
    return Shift(
        each_px=each,
        peak_px=float(each[worst]),
        at=str(takes[0].timebase.label(int(frames[worst]))),
        undecided=int(np.count_nonzero(~np.isfinite(each))),
    )


def _notes(takes: Sequence[Take], lenses_differ: bool) -> Iterable[str]:
    if lenses_differ:
        yield "The takes were recorded with different lenses, sensors or distances, so nothing is given in pixels."
    for take in takes:
        if not take.complete:
            yield f"{take.name}: {take.fault or 'the recording broke off'}"
