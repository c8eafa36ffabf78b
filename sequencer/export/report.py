"""A comparison of takes as a document, made to be filed with the slates.

It reads no file and no clock: the same takes give the same document.
"""

from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from sequencer.export.cautions import CAUTIONS
from sequencer.export.matched import axes_table, lens_words, verdict_box
from sequencer.export.paper import Block, Boxed, Facts, Heading, Items, Paper, Table, Words, number
from sequencer.export.plots import axis_plot, clock_plot, shift_plot
from sequencer.takes.align import Alignment, Basis
from sequencer.takes.compare import CLOCK_STEP_S, AxisMatch, Comparison
from sequencer.takes.frames import GAP_S
from sequencer.takes.take import Take

_MOST_EVENTS = 200


def report(comparison: Comparison) -> Paper:
    """Return the report on a comparison."""
    first = comparison.takes[0]
    blocks: list[Block] = [
        _facts(comparison),
        verdict_box(comparison),
        Heading("How well the takes match"),
        axes_table(comparison.axes),
        Words(
            "Mean, RMS and peak are of the size of the difference between two takes at the same frame, over all "
            "frames and every pair of takes.",
            small=True,
        ),
        *_clock_cost(comparison.axes),
        *_shift(comparison),
        *_missing(comparison),
        Heading("Each axis"),
    ]
    for place in range(len(comparison.axes)):
        blocks += _axis(comparison, place)
    blocks += [
        Heading("Timecode and playback"),
        _clock_table(comparison),
        clock_plot(comparison),
        Heading("What happened"),
    ]
    for take, found in _pairs(comparison):
        blocks += _events(take, found, comparison)
    blocks += [
        Heading("How the numbers are made"),
        *(Words(text, small=True) for text in _method(comparison)),
        Boxed("", (CAUTIONS,)),
    ]
    return Paper(f"{first.project}: {first.cue}, {len(comparison.takes)} takes compared", tuple(blocks))


def _pairs(comparison: Comparison) -> Iterable[tuple[Take, Alignment]]:
    return zip(comparison.takes, comparison.alignments, strict=True)


def _facts(comparison: Comparison) -> Facts:
    first, timebase, frames, camera = (
        comparison.takes[0],
        comparison.timebase,
        comparison.frames,
        comparison.camera,
    )
    span = f"{timebase.label(int(frames[0]))} to {timebase.label(int(frames[-1]))}, {len(frames)} frames"
    drop = ", drop-frame" if timebase.counting.drop else ""
    speed = "" if first.speed == 1 else f", pass at {first.speed} speed"
    lens = lens_words(camera) if camera else "not one and the same in all takes, or not named in the rig file"
    rows = [
        ("Project", first.project),
        ("Cue", f"{first.cue}, {span}"),
        ("Rate", f"{timebase.rate} frames a second{drop}{speed}"),
        ("Camera", lens),
        *(
            (f"Take {place}", f"{take.name} – {take.run}, started {take.started}")
            for place, take in enumerate(comparison.takes, 1)
        ),
    ]
    return Facts(tuple(rows))


def _clock_cost(axes: Sequence[AxisMatch]) -> Iterator[Block]:
    """Say what a clock error costs where each axis is fastest."""
    known = [one for one in axes if one.pixels_per_step is not None and one.fastest]
    if known:
        costs = "; ".join(
            f"{one.axis}, at most {one.fastest:.1f} {one.unit}/s: {number(one.pixels_per_step, 2)} pixels"
            for one in known
        )
        yield Words(
            f"What {CLOCK_STEP_S * 1000:g} ms of clock error is on this lens and sensor, where an axis is fastest in "
            f"the cue – {costs}. (For scale: with a 35 mm lens and 4096 pixels over 24.9 mm it is about 0.6 pixel "
            "at 60 deg/s of pan.)"
        )


def _shift(comparison: Comparison) -> Iterator[Block]:
    if comparison.shift is not None:
        yield Words("The most that the picture can shift between any two takes, all axes together.", small=True)
        yield shift_plot(comparison)


def _missing(comparison: Comparison) -> Iterator[Block]:
    if comparison.missing:
        yield Heading("Frames that were not compared", level=3)
        yield Items(tuple(one.words for one in comparison.missing))


def _axis(comparison: Comparison, place: int) -> Iterator[Block]:
    one = comparison.axes[place]
    yield Heading(one.axis, level=3)
    if one.peak is not None and one.peak_takes is not None:
        in_pixels = "" if one.pixels_peak is None else f" ({one.pixels_peak:.2f} pixels)"
        first, second = one.peak_takes
        yield Words(
            f"Largest difference {one.peak:.4f} {one.unit}{in_pixels} between {first} and {second} at {one.peak_at}."
        )
    else:
        yield Words("The rig did not say where this axis stood.")
    yield axis_plot(comparison, place)
    if one.pairs:
        rows = tuple(
            (
                f"{pair.second} less {pair.first}",
                *(number(value) for value in (pair.spread.offset, pair.spread.rms, pair.spread.peak)),
                pair.spread.at,
                number(pair.pixels_peak, 2),
            )
            for pair in one.pairs
        )
        title = f"{one.axis}: the later take less the earlier one, in {one.unit}"
        yield Table(title, ("difference", "mean", "RMS", "peak", "at", "peak, pixels"), rows)
    if one.following:
        follows = tuple(
            (
                follow.take,
                *(number(value) for value in (follow.spread.offset, follow.spread.rms, follow.spread.peak)),
                follow.spread.at,
                number(None if follow.behind_s is None else follow.behind_s * 1000, 2),
            )
            for follow in one.following
        )
        title = f"{one.axis}: actual less asked, in {one.unit}"
        yield Table(title, ("take", "mean", "RMS", "peak", "at", "behind, ms"), follows)


def _clock_table(comparison: Comparison) -> Table:
    def row(take: Take, found: Alignment) -> tuple[str, ...]:
        error_ms = found.clock_error_s[np.isfinite(found.clock_error_s)] * 1000
        known = len(error_ms) > 0
        heard = found.basis is not Basis.PLAYBACK
        return (
            take.name,
            found.basis.value,
            str(len(found.heard_s)),
            number(found.spread_s * 1000 if heard else None, 3),
            number(float(error_ms.mean()) if known else None, 3),
            number(float(error_ms.std()) if known else None, 3),
            number((found.rate - 1) * 1e6 if heard else None, 1),
        )

    heads = (
        "take",
        "frames placed by",
        "messages",
        "their scatter, ms",
        "playback ahead: mean, ms",
        "SD, ms",
        "master's speed, ppm",
    )
    rows = tuple(row(take, found) for take, found in _pairs(comparison))
    return Table("How frames were placed in time, and playback against it", heads, rows, left=2)


def _events(take: Take, found: Alignment, comparison: Comparison) -> Iterator[Block]:
    """Yield a take's log, its times counted from the instant of the cue's first frame that is known."""
    known = np.flatnonzero(np.isfinite(found.at_s))
    if len(known):
        frame = int(comparison.frames[known[0]])
        zero_s, zero = float(found.at_s[known[0]]), f"s from {comparison.timebase.label(frame)}"
    else:
        zero_s, zero = 0.0, "s from the first row"
    yield Heading(take.name, level=3)
    if not take.happenings:
        yield Words("Nothing was noted.")
        return
    shown = take.happenings[:_MOST_EVENTS]
    rows = tuple((number((one.at_ns - found.origin_ns) / 1e9 - zero_s, 3), one.code, one.text) for one in shown)
    yield Table(f"The log of {take.name}", (zero, "what", "in words"), rows, left=3)
    if more := len(take.happenings) - len(shown):
        yield Words(f"{more} lines more are in the take file.")


def _method(comparison: Comparison) -> tuple[str, ...]:
    bases = {found.basis for found in comparison.alignments}
    placed = "; ".join(sorted(basis.value for basis in bases))
    return (
        f"Frames are placed in time by {placed}. Playback's own clock is not used where there is timecode, so that "
        "its errors show. A transport delay that is the same in all takes cancels. Positions at a frame are a cubic "
        f"through the rig's answers around it; where answers lie more than {GAP_S * 1000:g} ms apart, the frame is not "
        "compared.",
        "Path repeatability is RT of ISO 9283: at each frame the mean distance of the takes from their mean path plus "
        "three standard deviations of it, and of that the largest. The standard measures a robot's tool in space over "
        "ten runs; here it is a single axis at the frames of the cue, so lateness counts. With two takes it is half "
        "the largest difference; it begins to mean more with several.",
        "Pixels: pan and tilt at the middle of the frame (towards the edges it is more), roll at its corner, slide and "
        "lift for a point at the subject's distance with the axis running across the view. All axes together: pan and "
        "slide, and tilt and lift, are taken to add up; the two directions at right angles; roll on top. The true "
        "shift of a point at that distance near the middle is not more, and may be less. Lens motors are given in "
        "their own unit only.",
        "Actual less asked compares the rig's answers with the setpoints due at the same instant; “behind” is the one "
        "delay that explains most of it.",
    )
