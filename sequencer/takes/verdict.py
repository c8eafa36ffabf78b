"""Whether takes match, in one sentence. It measures nothing; it never calls undecided frames a match."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from sequencer.timebase.timecode import Timebase


class Verdict(StrEnum):
    """The answer to "do these takes match?"."""

    MATCH = "match"
    DIFFER = "differ"
    OPEN = "open"


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Shift:
    """How far the picture shifts between takes. Shape: `each_px` (F,), NaN at the `undecided` frames. Unit: pixels."""

    each_px: NDArray[np.float64]
    peak_px: float
    at: str
    undecided: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Missing:
    """Frames of a take that could not be compared: of some axes, or (no `axes`) for want of timecode.

    `stretches` are the first and last timecode of each run of such frames.
    """

    take: str
    axes: tuple[str, ...]
    frames: int
    stretches: tuple[tuple[str, str], ...]

    @classmethod
    def of(
        cls, take: str, axes: tuple[str, ...], which: NDArray[np.bool_], frames: NDArray[np.int64], timebase: Timebase
    ) -> "Missing":
        """Gather the frames where `which` is true into stretches. Shape: (F,)."""
        edges = np.diff(np.concatenate(([0], which.astype(np.int8), [0])))
        ends = zip(np.flatnonzero(edges == 1), np.flatnonzero(edges == -1) - 1, strict=True)
        stretches = tuple(
            (str(timebase.label(int(frames[start]))), str(timebase.label(int(frames[end])))) for start, end in ends
        )
        return cls(take=take, axes=axes, frames=int(np.count_nonzero(which)), stretches=stretches)

    @property
    def words(self) -> str:
        """Say it in a sentence without its full stop, naming at most three stretches."""
        shown = [start if start == end else f"{start} to {end}" for start, end in self.stretches[:3]]
        more = len(self.stretches) - len(shown)
        where = ", ".join(shown) + (f" and {more} stretches more" if more else "")
        what = f"has no answer of {', '.join(self.axes)} for" if self.axes else "has no timecode to place"
        return f"{self.take} {what} {self.frames} frame{'' if self.frames == 1 else 's'} ({where})"


def judge(
    cue: str,
    largest: str,
    shift: Shift | None,
    missing: Sequence[Missing],
    tolerance_px: float | None,
    *,
    known_lens: bool,
) -> tuple[Verdict, str]:
    """Return the verdict and its sentence. `largest` is the largest difference of each axis, in words."""
    more = f"; and {len(missing) - 3} more" if len(missing) > 3 else ""
    gaps = f" Not compared: {'; '.join(one.words for one in missing[:3])}{more}." if missing else ""
    if shift is None:
        why = "no axis that shifts the picture was answered" if known_lens else "no one lens and sensor is known"
        return Verdict.OPEN, f"Not judged in pixels, since {why}. Largest differences: {largest}.{gaps}"
    size = f"the picture shifts by at most {shift.peak_px:.2f} pixels between any two takes of {cue} (at {shift.at})"
    if tolerance_px is None:
        return Verdict.OPEN, f"{size[0].upper()}{size[1:]}; no tolerance was given.{gaps}"
    if shift.peak_px > tolerance_px:
        return Verdict.DIFFER, f"The takes do not match: {size}, above the tolerance of {tolerance_px:g}.{gaps}"
    if shift.undecided:
        return Verdict.OPEN, (
            f"Not decided: {size}, within the tolerance of {tolerance_px:g}, but {shift.undecided} frames could not "
            f"be compared.{gaps}"
        )
    return Verdict.MATCH, f"The takes match: {size}, within the tolerance of {tolerance_px:g}.{gaps}"
