"""From a performance to a few keys in the track: where they stand, how they join what was there, how near they come.

It refuses to give back anything that it has not measured: the run is compiled, and held against the samples and what
may lie between them. Where a run asks too much of the motor it is made to follow the performance, which did not, more
closely; what then still is too much is said.
"""

from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil, isfinite, log10

import numpy as np
from numpy.typing import NDArray

from sequencer.errors import ProjectError
from sequencer.live.joints import settled, unjoined
from sequencer.live.performed import Path
from sequencer.live.prepared import ROUNDED, STILL, Point, Work, beside, prepared
from sequencer.motion.band import Band
from sequencer.motion.check import Check, check
from sequencer.motion.fewest import fewest
from sequencer.motion.peaks import TOLERANCE
from sequencer.rig.axis import Axis, Rig
from sequencer.score.easing import Laws
from sequencer.score.move import Ease, Key, Move, Track
from sequencer.score.turning import ROUND
from sequencer.timebase.instants import instant
from sequencer.timebase.rate import Rate

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_MOST = 1 / 10  # of the travel: a tolerance above it is a slip of the pen
_STEPS = (Fraction(1), Fraction(1, 2), Fraction(1, 4), Fraction(1, 8))  # frames: keys stand on the first that will do
_SAMPLES_A_STEP = 2.5
_ROUNDS = 6
_NEAR = 1 + 1e-9
_CALM = 0.3  # what the largest jerk of the axis costs, beside being off by all the room: by experience
_LOOKED_S = 0.01
_RUN, _STAY = Ease("through"), Ease("hold")


@dataclass(frozen=True, slots=True, kw_only=True)
class Captured:
    """What became of one axis's performance, from frame `start` to frame `end`.

    `keys` stand there now, in the place of `samples`; `furthest`, from frame `at` on, is the most by which the axis
    then is from the straight lines between the samples, at them and between them: there by no more than the curve can
    bend away in the time between two. `beside` is the most by which the axis is elsewhere than before outside of it, 0
    where it had no track. `added` are keys before or after it, which lead an axis that is in motion there or away.
    `over` says whether a leg of it asks too much of its motor. Unit: the axis's own.
    """

    axis: str
    start: Fraction
    end: Fraction
    keys: int
    samples: int
    furthest: float
    at: Fraction
    beside: float
    added: tuple[Fraction, ...]
    over: bool


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Tried:
    """A track, compiled and measured.

    Shape: `off`, `over` (N,): the most by which the axis may be off from a sample to the next one, and whether its leg
    there asks too much. `runs` are the points of each run.
    """

    track: Track
    runs: tuple[tuple[Point, ...], ...]
    judged: Check
    off: Floats
    over: Bools


def capture(
    rig: Rig,
    move: Move,
    rate: Rate,
    laws: Laws,
    axis: str,
    path: Path,
    span: tuple[Fraction, Fraction],
    within: float,
    still: float = STILL,
) -> tuple[Move, Captured]:
    """Return the move in which `axis` does in the span what was performed, to within a tolerance, and how well it does.

    Keys of the axis in the span are replaced, others stay; other tracks are not touched. Where the span begins or ends
    in motion, the smooth run goes on to the next old key: position, speed and acceleration have no jump.
    Unit: `path` in seconds, `span` in frames, `within` in the axis's own unit; `still`, what is no movement, in parts
    of it.
    Error: ValueError for a tolerance that makes no sense or cannot be kept, and a span that was not performed;
    ProjectError for a pinned key, and as in `compile_move`.
    """
    machine = rig.axes[rig.index(axis)]
    _refuse(machine, path, span, within, rate)
    number = next((place for place, track in enumerate(move.tracks) if track.axis == axis), len(move.tracks))
    track = move.tracks[number] if number < len(move.tracks) else Track(axis, ())
    _refuse_pins(number, track, span)
    work, best = _best(prepared(machine, track, rate, laws, path, span, within, still), laws)
    inner = np.where(work.inner, best.off, 0.0)
    worst = int(inner.argmax())
    at = rate.frames(Fraction(float(work.at_s[worst])))
    if inner[worst] > within:
        what = f"{axis} can be brought to within {inner[worst]:.3g} of the performance at {instant(at)}, not {within:g}"
        raise ValueError(f"{what}; {_mend(track, span, at)}")
    there = {key.at for key in track.keys}
    tracks = (*move.tracks[:number], best.track, *move.tracks[number + 1 :])
    captured = Captured(
        axis=axis,
        start=span[0],
        end=span[1],
        keys=sum(span[0] <= key.at <= span[1] for key in best.track.keys),
        samples=int(work.inner.sum()),
        furthest=float(inner[worst]),
        at=at,
        beside=_changed(work, best),
        added=tuple(key.at for key in best.track.keys if not span[0] <= key.at <= span[1] and key.at not in there),
        over=bool(best.over.any()),
    )
    return replace(move, tracks=tracks), captured


def _refuse(axis: Axis, path: Path, span: tuple[Fraction, Fraction], within: float, rate: Rate) -> None:
    if not (isfinite(within) and within > 0):
        raise ValueError(f"a performance cannot be captured to within {within}; give a distance above zero")
    if axis.travel is not None and within > _MOST * (axis.travel[1] - axis.travel[0]):
        raise ValueError(f"a tolerance of {within:g} is more than a tenth of the travel of {axis.name}; allow less")
    begin_s, end_s = (float(rate.seconds(at)) for at in span)
    if len(path.at_s) < 4 or not (path.at_s[0] <= begin_s < end_s <= path.at_s[-1]):
        known = [instant(rate.frames(Fraction(float(at_s)))) for at_s in path.at_s[[0, -1]]]
        what = f"{axis.name} was performed from {known[0]} to {known[1]}"
        raise ValueError(f"{what}, not from {instant(span[0])} to {instant(span[1])}; name instants between these")


def _refuse_pins(number: int, track: Track, span: tuple[Fraction, Fraction]) -> None:
    for place, key in enumerate(track.keys):
        if key.pin and span[0] <= key.at <= span[1]:
            what = f"the key of {track.axis} at {instant(key.at)} is pinned, and the performance would replace it"
            raise ProjectError(f"tracks[{number}].keys[{place}]", what, "unpin it first, or capture less")


def _mend(track: Track, span: tuple[Fraction, Fraction], at: Fraction) -> str:
    """Return what to do about a performance that is not met at `at`: at an end, a key beside it may be the reason."""
    early = [key.at for key in track.keys if key.at < span[0]][-1:] if at - span[0] <= 1 else []
    late = [key.at for key in track.keys if key.at > span[1]][:1] if span[1] - at <= 1 else []
    beside = " and ".join(instant(one) for one in (*early, *late))
    return f"allow more, or take out the key beside it at {beside}" if beside else "allow more"


def _best(work: Work, laws: Laws) -> tuple[Work, _Tried]:
    """Return the best of some rounds, each with less room where the one before strayed or asked too much."""
    tried = _tried(work, laws, None)
    strays = (tried.off > work.within) & ~work.inner
    if strays.any():
        # the old curve has a corner there that no smooth run goes round
        late = work.at_s > float(work.rate.seconds(work.start))
        cut = [strays & ~late, strays & late]
        sides = (unjoined(side) if side and own.any() else side for side, own in zip(work.sides, cut, strict=True))
        early, following = sides
        work = beside(replace(work, sides=(early, following)))
        tried = _tried(work, laws, None)
    best = work, tried
    for _ in range(_ROUNDS):
        strays = (tried.off > work.within) & work.inner
        if not strays.any():
            break
        leg = np.searchsorted(_instants(tried, work.rate), work.at_s, "right")
        again = work.closer(np.isin(leg, leg[strays]))
        tried = _tried(again, laws, (work, tried))
        work = again
        if _badness(work, tried) < _badness(*best):
            best = work, tried
    return best


def _instants(tried: _Tried, rate: Rate) -> Floats:
    return np.array([float(rate.seconds(key.at)) for key in tried.track.keys])


def _badness(work: Work, tried: _Tried) -> tuple[bool, int, int]:
    leg = np.searchsorted(_instants(tried, work.rate), work.at_s, "right")
    strays = bool(((tried.off > work.within) & work.inner).any())
    return strays, len(np.unique(leg[tried.over])), len(tried.track.keys)


def _tried(work: Work, laws: Laws, last: tuple[Work, _Tried] | None) -> _Tried:
    """Return the track with the fewest keys that are found; runs whose room is as in `last` stay as they are."""
    runs = []
    for number, (begin, end) in enumerate(work.runs()):
        inside = _within(work, begin, end)
        if last is not None and np.array_equal(work.room[inside], last[0].room[inside]):
            runs.append(last[1].runs[number])
        else:
            runs.append(_run(work, begin, end))
    track = _track(work, runs, laws)
    judged = check(work.rig, Move(tracks=(track,)), work.rate, laws)
    off, over = _measured(work, judged)
    return _Tried(track=track, runs=tuple(runs), judged=judged, off=off, over=over)


def _within(work: Work, begin: Point, end: Point) -> Bools:
    begin_s, end_s = float(work.rate.seconds(begin[0])), float(work.rate.seconds(end[0]))
    return (work.at_s >= begin_s) & (work.at_s <= end_s)


def _run(work: Work, begin: Point, end: Point) -> tuple[Point, ...]:
    """Return the points of a run: on frames, or on parts of them where frames are too far apart."""
    inside = _within(work, begin, end)
    pace_s = float(np.median(np.diff(work.at_s[work.inner])))
    for step in _STEPS:
        at, band = _band(work, begin, end, step, inside)
        kept = fewest(band)
        found = band.fitted(kept, limited=True)
        if (np.abs(found.off) > _NEAR).any():
            # near the performance comes first; that it then asks too much is said
            found = band.fitted(kept)
        finer_s = float(work.rate.seconds(step)) / 2
        if not (np.abs(found.off[work.inner[inside]]) > _NEAR).any() or finer_s < _SAMPLES_A_STEP * pace_s:
            break
    return tuple(zip((at[place] for place in np.flatnonzero(kept)), found.values.tolist(), strict=True))


def _band(work: Work, begin: Point, end: Point, step: Fraction, inside: Bools) -> tuple[list[Fraction], Band]:
    """Return where keys of a run may stand, and the band that it keeps."""
    known = dict([begin, *(point for side in work.sides if side for point in side.known), end])
    known = {at: value for at, value in known.items() if begin[0] <= at <= end[0]}
    # a key where the hands took over, and where they let go
    must = {*known, *(at for at in (work.start, work.end) if begin[0] < at < end[0])}
    early, late = work.sides
    # between old keys none is put
    low = max(begin[0], early.known[-1][0] if early and not early.new else work.start)
    high = min(end[0], late.known[0][0] if late and not late.new else work.end)
    axis, pace_s = work.rig.axes[0], float(np.median(np.diff(work.at_s[work.inner])))
    fixed_s = np.array(sorted(float(at) for at in must))
    grid = [step * number for number in range(ceil(begin[0] / step), ceil(end[0] / step))]
    near = np.abs(np.array([float(at) for at in grid])[:, None] - fixed_s[None, :]).min(axis=1) if grid else ()
    open_at = {at for at, apart in zip(grid, near, strict=True) if apart > float(step) / 2 and low < at < high}
    at = sorted(must | open_at)
    return at, Band(
        t_s=work.at_s[inside],
        path=work.target[inside],
        room=work.room[inside],
        calm=_CALM / axis.jerk**2 / pace_s,
        limits=(axis.speed, axis.acceleration, axis.jerk),
        held_s=_held_s(work),
        at_s=np.array([float(work.rate.seconds(one)) for one in at]),
        known=np.array([known.get(one, np.nan) for one in at]),
        must=np.array([one in must for one in at]),
        may=np.array([one in open_at for one in at]),
    )


def _held_s(work: Work) -> tuple[float, float]:
    """Return between which instants a run is held to the limits: where it goes to a key as it must, it cannot be."""
    early, late = work.sides
    begin = early.known[-1][0] if early and early.joined else work.start
    end = late.known[0][0] if late and late.joined else work.end
    return float(work.rate.seconds(begin)), float(work.rate.seconds(end))


def _track(work: Work, runs: list[tuple[Point, ...]], laws: Laws) -> Track:
    """Return the track with the points as keys, between the old ones."""
    old, rate = work.old, work.rate
    early = [key for key in old.keys if key.at < work.start]
    late = [key for key in old.keys if key.at > work.end]
    turns = float(old.values[max(len(early) - 1, 0)]) - old.keys[max(len(early) - 1, 0)].value if old.keys else 0.0
    new = _keys(work, runs, turns, {key.at for key in (*early, *late)})
    if early:
        last = replace(early[-1], turn=None)
        early[-1] = replace(last, ease=_RUN) if work.sides[0] else settled(last, new[0], work.rig.axes[0], rate, laws)
    if late:
        if not work.sides[1]:
            law = next((key.ease for key in reversed(old.keys) if key.at <= work.end), Ease("poly345"))
            new[-1] = settled(replace(new[-1], ease=law), late[0], work.rig.axes[0], rate, laws)
        following = float(old.values[len(old.keys) - len(late)])
        if abs(following - late[0].value - turns) > ROUND / 2:
            up = following > new[-1].value + turns
            new[-1] = replace(new[-1], turn="up" if up else "down")
    return Track(work.rig.axes[0].name, (*early, *new, *late))


def _keys(work: Work, runs: list[tuple[Point, ...]], turns: float, there: set[Fraction]) -> list[Key]:
    """Return the new keys, in order; `there` are the instants of old ones. Values are rounded, but where it rests."""
    decimals = max(0, ceil(-log10(work.within * ROUNDED)))
    found = {begin: Key(begin, value - turns, _STAY) for begin, _, value in work.stays}
    found |= {end: Key(end, value - turns, Ease("poly345")) for _, end, value in work.stays}
    for points in runs:
        before = None
        for place, (at, value) in enumerate(points):
            inner = 0 < place < len(points) - 1
            rounded = round(value - turns, decimals) if inner else value - turns
            # two alike in a row would be a rest
            rounded = value - turns if rounded == before else rounded
            before = rounded
            if at not in there and (place < len(points) - 1 or at not in found):
                ease = _RUN if place < len(points) - 1 else Ease("poly345")
                found[at] = Key(at, rounded, ease, "free" if inner else "pass")
    return [found[at] for at in sorted(found)]


def _measured(work: Work, judged: Check) -> tuple[Floats, Bools]:
    """Return how far off the axis may be from each sample to the next, and whether its leg asks too much there.

    Between two samples it is at most as far from their straight line as at the worse of them, and an eighth of its
    largest acceleration times the square of the time between. Shape: (N,) each.
    Source: textbook (error of linear interpolation).
    """
    apart = np.abs(judged.trajectory.sample(work.at_s)[:, 0] - work.heard)
    leg = np.searchsorted(judged.whole.at_s[1:], work.at_s, "right")
    peak = judged.found.peak[1, leg]
    bend = np.diff(work.at_s) ** 2 / 8 * np.maximum(peak[:-1], peak[1:])
    # from the performance to the old curve beside it is no line
    bend = np.where(work.inner[:-1] & work.inner[1:], bend, 0.0)
    off = np.append(np.maximum(apart[:-1], apart[1:]) + bend, apart[-1])
    return off, np.asarray(judged.excess[leg] > TOLERANCE)


def _changed(work: Work, tried: _Tried) -> float:
    """Return by how much the axis is elsewhere than before outside of what was performed."""
    curve = work.old.curve
    if curve is None:
        return 0.0
    span_s = [float(work.rate.seconds(at)) for at in (work.start, work.end)]
    begin_s, end_s = min(curve.start_s, span_s[0]), max(curve.end_s, span_s[1])
    looked_s = np.arange(begin_s, end_s + _LOOKED_S, _LOOKED_S)
    looked_s = looked_s[(looked_s < span_s[0]) | (looked_s > span_s[1])]
    apart = np.abs(tried.judged.trajectory.sample(looked_s)[:, 0] - curve.sample(looked_s)[:, 0])
    return float(apart.max(initial=0.0))
