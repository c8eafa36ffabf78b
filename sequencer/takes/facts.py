"""A comparison as plain values, for a program that reads it as JSON. It computes nothing."""

from dataclasses import asdict

import numpy as np

from sequencer.takes.align import Alignment
from sequencer.takes.compare import Comparison
from sequencer.takes.take import Take


def facts(comparison: Comparison) -> dict[str, object]:
    """Return the comparison as text, numbers, lists and dictionaries. What is not known is None, never NaN.

    For each axis: `mean`, `rms` and `peak` of the difference between any two takes, `path_repeatability` and
    `pixels_peak`, with what else AxisMatch says. Unit: each axis's own; pixels; seconds where a name ends in `_s`.
    """
    first, shift = comparison.takes[0], comparison.shift
    pairs = zip(comparison.takes, comparison.alignments, strict=True)
    return {
        "verdict": comparison.verdict.value,
        "words": comparison.words,
        "tolerance_px": comparison.tolerance_px,
        "pixels_peak": shift.peak_px if shift else None,
        "pixels_peak_at": shift.at if shift else None,
        "project": first.project,
        "cue": first.cue,
        "rate": str(first.timebase.rate),
        "speed": str(first.speed),
        "frames": len(comparison.frames),
        "takes": [_take(take, found) for take, found in pairs],
        "axes": [asdict(one) for one in comparison.axes],
        "missing": [asdict(one) for one in comparison.missing],
        "notes": list(comparison.notes),
    }


def _take(take: Take, found: Alignment) -> dict[str, object]:
    error = found.clock_error_s[np.isfinite(found.clock_error_s)]
    return {
        "name": take.name,
        "pass": take.run,
        "started": take.started,
        "complete": take.complete,
        "aligned_by": found.basis.value,
        "timecode_messages": len(found.heard_s),
        "timecode_spread_s": found.spread_s if len(found.heard_s) else None,
        "clock_error_mean_s": float(error.mean()) if len(error) else None,
        "clock_error_sd_s": float(error.std()) if len(error) else None,
    }
