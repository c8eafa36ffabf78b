"""Plots of a comparison. Made to be read in print, without colour."""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, FuncFormatter
from numpy.typing import NDArray

from sequencer.export.drawn import Plot
from sequencer.takes.compare import AxisMatch, Comparison
from sequencer.takes.pixels import moves_picture, pixels

Floats = NDArray[np.float64]

_STEPS_S = (1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 1800, 3600, 7200)
_MOST_TICKS = 5
_BINS = 41
_STROKES = (("-", "#000000"), ("--", "#1a56a0"), (":", "#a03c00"), ("-.", "#256b2c"))


def axis_plot(comparison: Comparison, number: int) -> Plot:
    """Draw one axis over timecode: asked and actual above, each take's difference from the mean path below."""
    one = comparison.axes[number]
    actual, asked = comparison.actual[:, :, number], comparison.asked[:, :, number]
    off_mean = actual - actual.mean(axis=0)

    def draw(figure: Figure) -> None:
        upper, lower = figure.subplots(2, 1, sharex=True, height_ratios=(3, 2))
        upper.plot(comparison.frames, asked[0], color="#b4b4b4", linewidth=3.5, label="asked")
        _lines(upper, comparison.frames, actual, named=True)
        upper.set_ylabel(f"{one.axis}, {one.unit}")
        upper.legend(ncols=7, loc="lower left", bbox_to_anchor=(0, 1), borderaxespad=0.2, handlelength=3)
        _lines(lower, comparison.frames, off_mean)
        lower.set_ylabel(f"from mean, {one.unit}")
        _also_in_pixels(lower, one, comparison)
        _timecode(lower, comparison)

    alt = f"{one.axis} of {len(actual)} takes over timecode: where it stood, and its difference from their mean path"
    return Plot(draw=draw, height_in=3.5, alt=alt)


def shift_plot(comparison: Comparison) -> Plot:
    """Draw the picture's largest shift between any two takes over timecode. Error: ValueError where there is none."""
    shift, tolerance_px = comparison.shift, comparison.tolerance_px
    if shift is None:
        raise ValueError("the comparison has no shift in pixels to draw")

    def draw(figure: Figure) -> None:
        axes = figure.subplots()
        axes.fill_between(comparison.frames, shift.each_px, color="#d0d0d0", linewidth=0)
        axes.plot(comparison.frames, shift.each_px, color="#000000", label="any two takes, all axes")
        if tolerance_px is not None:
            axes.axhline(tolerance_px, color="#000000", linestyle="--", label=f"tolerance {tolerance_px:g}")
        axes.set_ylim(0, None)
        axes.set_ylabel("shift, pixels")
        axes.legend(ncols=2, loc="lower left", bbox_to_anchor=(0, 1), borderaxespad=0.2, handlelength=3)
        _timecode(axes, comparison)

    alt = f"the picture's largest shift between any two takes over timecode: at most {shift.peak_px:.2f} pixels"
    return Plot(draw=draw, height_in=1.9, alt=alt)


def clock_plot(comparison: Comparison) -> Plot:
    """Draw how far ahead of the master playback's clock stood, and how the lateness of timecode messages scattered."""
    ahead_ms = np.stack([found.clock_error_s for found in comparison.alignments]) * 1000
    late_ms = [found.residual_s * 1000 for found in comparison.alignments]
    heard = np.concatenate(late_ms)

    def draw(figure: Figure) -> None:
        left, right = figure.subplots(1, 2, width_ratios=(2.2, 1))
        _lines(left, comparison.frames, ahead_ms, named=True)
        left.set_ylabel("playback ahead, ms")
        left.legend(ncols=7, loc="lower left", bbox_to_anchor=(0, 1), borderaxespad=0.2, handlelength=3)
        _timecode(left, comparison, ticks=3)
        right.set_xlabel("message late, ms")
        right.set_ylabel("messages")
        if len(heard):
            # messages that came without any scatter still need a bin of some width
            low, high = float(np.percentile(heard, 0.5)) - 1e-6, float(np.percentile(heard, 99.5)) + 1e-6
            edges = np.linspace(low, high, _BINS + 1)
            for values, (style, colour) in zip(late_ms, _strokes(len(late_ms)), strict=True):
                counts, _ = np.histogram(np.clip(values, edges[0], edges[-1]), edges)
                right.stairs(counts, edges, linestyle=style, edgecolor=colour)

    alt = "how far playback was ahead of timecode in each take, and how late timecode's messages came"
    return Plot(draw=draw, height_in=2.1, alt=alt)


def _strokes(number: int) -> list[tuple[str, str]]:
    return [_STROKES[place % len(_STROKES)] for place in range(number)]


def _lines(axes: Axes, frames: NDArray[np.int64], values: Floats, *, named: bool = False) -> None:
    for place, (style, colour) in enumerate(_strokes(len(values))):
        # beyond the fourth take strokes come again, thicker
        width = 1.0 + 0.8 * (place // len(_STROKES))
        label = f"take {place + 1}" if named else None
        axes.plot(frames, values[place], style, color=colour, linewidth=width, label=label)


def _also_in_pixels(axes: Axes, one: AxisMatch, comparison: Comparison) -> None:
    camera = comparison.camera
    if camera is None or not moves_picture(one.kind, one.unit):
        return
    # in the small the picture shifts in proportion to the axis
    small = 1e-3
    each = float(pixels(np.array(small), one.kind, one.unit, camera)) / small
    there, back = (lambda value: np.asarray(value) * each), (lambda value: np.asarray(value) / each)
    beside = axes.secondary_yaxis("right", functions=(there, back))
    beside.set_ylabel("pixels")


def _timecode(axes: Axes, comparison: Comparison, ticks: int = _MOST_TICKS) -> None:
    """Label the horizontal axis with timecode at whole seconds from the project's start."""
    timebase, first, last = comparison.timebase, int(comparison.frames[0]), int(comparison.frames[-1])
    nominal = timebase.rate.nominal
    step = next(
        (seconds * nominal for seconds in _STEPS_S if (last - first) / (seconds * nominal) <= ticks),
        max((last - first) // ticks, 1),
    )
    axes.xaxis.set_major_locator(FixedLocator(list(range(-(-first // step) * step, last + 1, step))))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda frame, _: str(timebase.label(round(frame)))))
    axes.set_xlim(first, max(last, first + 1))
