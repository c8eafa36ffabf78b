"""Whether a long run was flat: what it held, how late it was, what went wrong. It reads samples and measures nothing.

What grows is told by the slope of Theil and Sen, the median of the slopes of all pairs, since single takes and the
machine's moods make outliers. A run that is too short for a slope says so, and is judged by how much its last quarter
holds beyond its first, both after the warm-up.
Source: P. K. Sen, Estimates of the Regression Coefficient Based on Kendall's Tau, Journal of the American Statistical
Association 63 (1968), as scipy.stats.theilslopes has it.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.stats import theilslopes

from tests.soak.processes import Held

WARM_S = 120.0  # rings of shared memory have been round, and Python's own stores are filled
SHORT_S = 1800.0  # below that after the warm-up, a slope an hour says nothing
MOST_MB_PER_H = 1.0
MOST_MB = 2.0  # in a run that is too short for a slope
FEW = 2  # descriptors that are open for a moment: a take's file, and its folder
MOST_LATER = 0.5  # of the median, over the whole run
# in a run that is too short for a slope, of the best windows of both quarters: a machine that is busy with something
# else now and then leaves some windows alone
MOST_TIMES, LEAST_US = 4.0, 250.0
MOST_SKIPPED = 0.01  # of all ticks: beyond it the machine is too busy with something else to judge by
PAUSES_PER_H = 2.0  # of the whole machine
_LEAST = 8  # samples that can be judged

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """One look, `at_s` from the run's begin, at what happened since the look before.

    `held`: each process's, by its name. `late_us`: how late ticks were at 99 %, of those that were seen, and `work_us`
    how long they took; `sent_us`: from when a setpoint was due to its arrival at a socket, so the tick's lateness and
    most of its work, at 99 % of all; None where none came. `ticks` and `skipped` since the engine began. `packets`:
    what came of each output. `shared_files` and `take_files`: how many there are; None where that is not known.
    """

    at_s: float
    held: dict[str, Held]
    late_us: float | None
    work_us: float | None
    sent_us: float | None
    ticks: int
    skipped: int
    packets: dict[str, int]
    shared_files: int | None
    take_files: int | None


@dataclass(slots=True)
class Story:
    """All of a run. `lost`: takes that are not whole, and why; `faults`: what else went wrong; `pauses`: stops since
    the whole machine stood still, as a witness beside the engine saw too."""

    samples: list[Sample] = field(default_factory=list)
    takes: int = 0
    lost: list[str] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)
    pauses: list[str] = field(default_factory=list)
    left_behind: list[str] = field(default_factory=list)

    @property
    def lasted_s(self) -> float:
        return self.samples[-1].at_s if self.samples else 0.0


@dataclass(frozen=True, slots=True)
class Verdict:
    """One thing that was judged; `held` is None for what was only told."""

    what: str
    found: str
    bar: str
    held: bool | None


def verdicts(story: Story) -> list[Verdict]:
    """Return all that there is to say of a run."""
    warm = [one for one in story.samples if one.at_s >= warm_up_s(story.lasted_s)]
    judged = [
        Verdict("takes", f"{story.takes} shot", "at least one", story.takes > 0),
        _none("takes lost", story.lost),
        _none("faults", story.faults),
        _pauses(story),
        _none("left in shared memory at the end", story.left_behind),
    ]
    if len(warm) < _LEAST:
        return [*judged, Verdict("trends", f"{len(warm)} looks after the warm-up", f"at least {_LEAST}", False)]
    for name in sorted({name for one in warm for name in one.held}):
        judged += _process(name, [one for one in warm if name in one.held])
    return [*judged, *_lateness(warm), _skipped(warm), *_packets(warm), *_files(warm)]


def warm_up_s(lasted_s: float) -> float:
    """Return what is left out of a run at its begin: a quarter of a short one."""
    return min(WARM_S, lasted_s / 4)


def slope_per_h(at_s: Sequence[float], values: Sequence[float]) -> float:
    """Return by how much values rise in an hour."""
    return 3600 * float(theilslopes(values, at_s).slope)


def _none(what: str, happened: Sequence[str]) -> Verdict:
    more = f" and {len(happened) - 3} more" if len(happened) > 3 else ""
    return Verdict(what, "; ".join(happened[:3]) + more if happened else "none", "none", not happened)


def _pauses(story: Story) -> Verdict:
    most = max(1, round(PAUSES_PER_H * story.lasted_s / 3600))
    told = f"{len(story.pauses)}" + (f": {story.pauses[0]}" if story.pauses else "")
    return Verdict("stops since the whole machine stood still", told, f"{most}", len(story.pauses) <= most)


def _process(name: str, warm: Sequence[Sample]) -> list[Verdict]:
    held = [one.held[name] for one in warm]
    ticks = warm[-1].ticks - warm[0].ticks
    spent_us = 1e6 * (held[-1].spent_s - held[0].spent_s) / max(1, ticks)
    return [
        _memory(f"{name}: own memory, MB", warm, [one.own_mb for one in held]),
        _flat(f"{name}: descriptors", [one.descriptors for one in held], FEW),
        _flat(f"{name}: threads", [one.threads for one in held], 0),
        Verdict(f"{name}: processor, us a tick", f"{spent_us:.0f}", "", None),
    ]


def _memory(what: str, warm: Sequence[Sample], own_mb: Sequence[float]) -> Verdict:
    lasted_s = warm[-1].at_s - warm[0].at_s
    first, last = _quarters(own_mb, np.median)
    if lasted_s < SHORT_S:
        found = f"{first:.1f} to {last:.1f}; too short for a slope"
        return Verdict(what, found, f"{MOST_MB:g} more", last - first <= MOST_MB)
    slope = slope_per_h([one.at_s for one in warm], own_mb)
    found = f"{first:.1f} to {last:.1f}: {slope:+.2f} an hour"
    return Verdict(what, found, f"{MOST_MB_PER_H:+g} an hour", slope <= MOST_MB_PER_H)


def _flat(what: str, counts: Sequence[int], few: int) -> Verdict:
    first, last = _quarters(counts, np.max)
    return Verdict(what, f"{first:.0f} to {last:.0f}", f"{few} more" if few else "no more", last <= first + few)


def _quarters(values: Sequence[float], of: Callable[[Floats], float]) -> tuple[float, float]:
    """Return what the first and the last quarter come to."""
    every = np.array(values, float)
    quarter = max(1, len(every) // 4)
    return float(of(every[:quarter])), float(of(every[-quarter:]))


def _lateness(warm: Sequence[Sample]) -> list[Verdict]:
    told = (
        ("late, us at 99 %", "late_us"),
        ("a tick's work, us at 99 %", "work_us"),
        ("from due to a socket, us at 99 %", "sent_us"),
    )
    judged = []
    for what, name in told:
        pairs = [(one.at_s, value) for one in warm if (value := getattr(one, name)) is not None]
        judged.append(_trend(what, [at_s for at_s, _ in pairs], [value for _, value in pairs]))
    return judged


def _trend(what: str, at_s: Sequence[float], values: Sequence[float]) -> Verdict:
    """Judge whether values rise: by a good part of what they are, and surely."""
    if len(values) < _LEAST:
        return Verdict(what, f"{len(values)} windows", f"at least {_LEAST}", False)
    middle, lasted_s = float(np.median(values)), at_s[-1] - at_s[0]
    if lasted_s < SHORT_S:
        first, last = _quarters(values, np.min)
        found = f"{middle:.0f} (median of the windows), at best {first:.0f}, then {last:.0f}; too short for a slope"
        return Verdict(what, found, f"{MOST_TIMES:g} times, at best", last <= MOST_TIMES * max(first, LEAST_US))
    fitted = theilslopes(values, at_s)
    rise = fitted.slope * lasted_s
    surely = fitted.low_slope > 0
    found = f"{middle:.0f} (median of the windows), {rise:+.0f} over the run"
    return Verdict(what, found, f"{MOST_LATER * middle:+.0f}", not (surely and rise > MOST_LATER * middle))


def _skipped(warm: Sequence[Sample]) -> Verdict:
    skipped = warm[-1].skipped - warm[0].skipped
    ticks = skipped + warm[-1].ticks - warm[0].ticks
    return Verdict("ticks left out", f"{skipped} of {ticks}", f"{MOST_SKIPPED:.0%}", skipped <= MOST_SKIPPED * ticks)


def _packets(warm: Sequence[Sample]) -> list[Verdict]:
    """Judge whether each output went on to the end: what is sent in a look depends on the takes' pauses in it."""
    judged = []
    for name in sorted(warm[0].packets):
        first, last = _quarters([one.packets[name] for one in warm], np.sum)
        judged.append(Verdict(f"packets by {name}", f"{first:.0f}, {last:.0f}", "half as many", last >= first / 2 > 0))
    return judged


def _files(warm: Sequence[Sample]) -> list[Verdict]:
    judged = []
    for what, name, few in (("files in shared memory", "shared_files", 0), ("files of takes", "take_files", 1)):
        counts = [count for one in warm if (count := getattr(one, name)) is not None]
        judged.append(_flat(what, counts, few) if counts else Verdict(what, "not known here", "", None))
    return judged
