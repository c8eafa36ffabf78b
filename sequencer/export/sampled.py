"""The camera path of a take: what was asked of the rig, or where it says that it stood, at the master's own frames.

Frames are found as for a comparison (`takes.align`), and so do not trust playback's clock where there was timecode.
Nothing is filled in: a frame without answers is NaN, or, at the ends, left out, and named in the remarks.
"""

import math
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

import numpy as np

from sequencer.errors import ExportError
from sequencer.export.delivery import CameraPath, Floats, Source
from sequencer.export.lensed import instants, path_of
from sequencer.export.opening import NOBODY_SAID, Opening
from sequencer.rig.axis import Rig
from sequencer.rig.pose import READ_AS
from sequencer.score.move import Cue
from sequencer.takes.align import Alignment, Basis, align
from sequencer.takes.frames import GAP_S, positions_at
from sequencer.takes.take import Stamps, Take
from sequencer.timebase.rate import Rate

_LENS = ("focus", "iris", "zoom")
_SLACK = Fraction(1, 10**7)  # of a frame: the cue's ends are kept as floats
_MOST_HOLES = 12  # that are named one by one


def span_of(cue_s: tuple[float, float], rate: Rate) -> tuple[Fraction, Fraction]:
    """Return where a take's cue lies on the master's timeline, in frames, as exact as it was meant."""
    ends = [rate.frames(Fraction(end_s)) for end_s in cue_s]
    start, end = (near if abs((near := one.limit_denominator(1000)) - one) < _SLACK else one for one in ends)
    return start, end


def cue_of(take: Take) -> Cue:
    """Return the cue of a take as the project has it: its end by the speed at which the pass ran."""
    start, end = span_of(take.cue_s, take.timebase.rate)
    return Cue(take.cue, start, start + (end - start) * take.speed)


def sampled(
    take: Take, source: Source, rig: Rig, opening: Opening = NOBODY_SAID, camera: Fraction | None = None
) -> CameraPath:
    """Return the path of a take that was shot with `rig`; `source` is `asked` or `actual`.

    `camera` is what the camera ran at, None for what the take says, else the project's rate. Unit: frames a second.
    Error: ExportError for another rig, an axis that never answered, or a take in which no frame was answered.
    """
    order = _places(take, rig)
    rate, (start, end) = take.timebase.rate, span_of(take.cue_s, take.timebase.rate)
    shot_hz = camera or (None if take.shot_as is None else take.shot_as.rate) or rate.fraction
    between = rate.fraction / shot_hz
    first = math.ceil(start)
    count = math.floor((end - start - (first - start) * between) / between) + 1
    if count < 1:
        raise ExportError(f"{take.name}: the cue {take.cue} holds no whole frame; choose a longer one")
    frames = instants(first, between, count, opening.parts, start)
    found = align(take, (frames * rate.den / rate.num).ravel())
    values, said = _values(take, source, rig, found, order)
    step = between * take.speed
    origin = start + (first - start) * step
    remarks = (*_told(take, source, found), *said)
    whole = path_of(rig, values.reshape(count, len(opening.parts), -1), first, origin, step, opening, remarks)
    return _trimmed(replace(whole, shot_hz=shot_hz), take, source)


def unanswered(path: CameraPath) -> tuple[tuple[int, int], ...]:
    """Return the runs of frames of which an instant is not known: each one's first and last, counted from 0."""
    missing = ~np.isfinite(path.position_m).all(axis=(1, 2))
    edges = np.flatnonzero(np.diff(missing, prepend=False, append=False))
    return tuple((int(begin), int(end) - 1) for begin, end in zip(edges[::2], edges[1::2], strict=True))


def _places(take: Take, rig: Rig) -> list[int]:
    """Return where each axis of the rig stands in the take. Error: ExportError for a rig that did not shoot it."""
    shot = dict(zip(take.axes, zip(take.kinds, take.units, strict=True), strict=True))
    wants = {axis.name: (axis.kind, axis.unit) for axis in rig.axes}
    if shot != wants:
        differ = sorted(name for name in shot.keys() | wants.keys() if shot.get(name) != wants.get(name))
        raise ExportError(
            f"{take.name}: it was not shot with the rig {rig.name}: {', '.join(differ)} differs; name the project it "
            "was shot with"
        )
    return [take.axes.index(name) for name in rig.names]


def _values(take: Take, source: Source, rig: Rig, found: Alignment, order: list[int]) -> tuple[Floats, tuple[str, ...]]:
    """Return where each axis of the rig stood at each instant, and what must be known of it. Shape: (N, A)."""
    if source == "asked":
        return _asked(take, rig, found, order)
    values = positions_at(_since(take.actual_ns, found), take.actual[:, order], found.at_s)
    silent = [number for number in range(len(order)) if not np.isfinite(take.actual[:, order[number]]).any()]
    if not silent:
        return values, ()
    asked, (*said,) = _asked(take, rig, found, order)
    for number in silent:
        axis, own = rig.axes[number], take.asked[:, order[number]]
        moves = axis.kind in READ_AS and bool(len(own)) and bool(np.ptp(own) > 0)
        if moves or not len(own):
            raise ExportError(
                f"{take.name}: the rig never said where {axis.name} stood, so it is not known where the camera was; "
                "ask for what was asked of it (--source asked)"
            )
        values[:, number] = asked[:, number]
        why = "" if axis.kind in _LENS else ", which did not move"
        said.append(f"the rig never said where {axis.name} stood: what was asked of it is given{why}")
    return values, tuple(said)


def _asked(take: Take, rig: Rig, found: Alignment, order: list[int]) -> tuple[Floats, tuple[str, ...]]:
    """Return where each axis was to be: setpoints are sent ahead by the axis's latency. Shape: (N, A)."""
    due_s, latencies_s = _since(take.due_ns, found), np.array([axis.latency_s for axis in rig.axes])
    values = np.empty((len(found.at_s), len(order)))
    for latency_s in np.unique(latencies_s):
        axes = np.flatnonzero(latencies_s == latency_s)
        values[:, axes] = positions_at(due_s, take.asked[:, np.array(order)[axes]], found.at_s - latency_s)
    if not latencies_s.any():
        return values, ()
    most = f"{latencies_s.max() * 1e3:g} ms"
    return values, (f"setpoints were sent ahead by what each axis is late, {most} at most; that is taken off here",)


def _since(stamps_ns: Stamps, found: Alignment) -> Floats:
    return np.asarray((stamps_ns - found.origin_ns) / 1e9, dtype=np.float64)


def _told(take: Take, source: Source, found: Alignment) -> Iterator[str]:
    """Yield how the frames were found, and what is wrong with the take."""
    yield f"frames were found by {found.basis.value}"
    if found.basis is not Basis.PLAYBACK:
        yield f"the timecode's messages came with a spread of {found.spread_s * 1e3:.3g} ms around it"
    if source == "actual":
        yield "between the rig's answers a cubic is laid; nothing is smoothed"
    if not take.complete:
        yield f"the take is not complete: {take.fault}"


def _trimmed(path: CameraPath, take: Take, source: Source) -> CameraPath:
    """Leave out the frames at both ends that are not known, and name them and the holes. Error: ExportError."""
    holes, last = unanswered(path), path.frames - 1
    if holes and holes[0] == (0, last):
        what, mend = (
            ("the rig said where it stood, or answered", "ask for what was asked of it (--source asked)")
            if source == "actual"
            else ("the take has setpoints", "choose another take")
        )
        raise ExportError(f"{take.name}: at no frame of {take.cue} {what} at least each {GAP_S * 1e3:.0f} ms; {mend}")
    ends = [hole for hole in holes if 0 in hole or last in hole]
    inner = [hole for hole in holes if hole not in ends]

    def words(hole: tuple[int, int]) -> str:
        begin, end = (str(take.timebase.label(path.first + one)) for one in hole)
        return begin if begin == end else f"{begin} to {end}"

    remarks = [*path.remarks]
    if ends:
        remarks.append(f"left out, since nothing is known of them: {', '.join(map(words, ends))}")
    if inner:
        named = ", ".join(map(words, inner[:_MOST_HOLES]))
        more = f", and {len(inner) - _MOST_HOLES} more" if len(inner) > _MOST_HOLES else ""
        number = sum(end - begin + 1 for begin, end in inner)
        remarks.append(f"not known, {number} frames: {named}{more}")
    begin = holes[0][1] + 1 if holes and holes[0][0] == 0 else 0
    end = holes[-1][0] if holes and holes[-1][1] == last else path.frames
    kept = slice(begin, end)
    return replace(
        path,
        first=path.first + begin,
        origin=path.origin + begin * path.step,
        position_m=path.position_m[kept],
        angles_deg=path.angles_deg[kept],
        focal_mm=path.focal_mm[kept],
        focus_m=path.focus_m[kept],
        values=path.values[kept],
        remarks=tuple(remarks),
    )
