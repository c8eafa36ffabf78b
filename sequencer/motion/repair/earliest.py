"""The least time along the path that a move draws, through the same keys, within speed, acceleration and jerk.

It refuses to round corners: where the drawn curve steps in speed or acceleration, gentler laws come first (`soften`).
All axes share one clock along the path, so that what arrives together stays together. The path is cut where every axis
rests: rests keep their length, and each part between them is run in its own least time. Cues go with keys, not markers.
"""

from dataclasses import replace
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.compile import compile_legs, compile_move
from sequencer.motion.legs import Legs, legs
from sequencer.motion.peaks import over
from sequencer.motion.repair.outcome import Cancelled, Impossible, Reason, Repaired, Tell, Unrepaired
from sequencer.motion.repair.pathgrid import STILL, Part, parts_of
from sequencer.motion.repair.retimed import Retimed, retimed
from sequencer.motion.repair.stretch import retimed as retimed_keys
from sequencer.motion.repair.written import drawn, frame_at
from sequencer.motion.trajectory import Trajectory
from sequencer.rig.axis import Rig
from sequencer.score.easing import Laws
from sequencer.score.move import Key, Move
from sequencer.timebase.instants import instant
from sequencer.timebase.rate import Rate

Floats = NDArray[np.float64]

_STEP = 1e-6
_SHORTER = 1e-3


def earliest(rig: Rig, move: Move, rate: Rate, laws: Laws, *, tell: Tell | None = None) -> Repaired | Impossible:
    """Return the move whose keys stand as early as its motors can follow the drawn path, and its curve.

    A part of the path after which a pinned key stands is left as it is.
    Error: ProjectError as in `compile_move`; Cancelled; Unrepaired where the arithmetic does not suffice.
    """
    whole = legs(rig, move, rate, laws)
    path = compile_legs(rig, whole)
    if reasons := _steps(rig, whole, path) + _beyond(rig, path):
        return Impossible(reasons=reasons)
    pins = [(key, track.axis) for track in move.tracks for key in track.keys if key.pin]
    pinned_s = max((float(rate.seconds(key.at)) for key, _ in pins), default=-np.inf)
    parts = parts_of(rig, whole, path, pinned_s)
    kept = [part for part in parts if part.at_s[0] < pinned_s - STILL]
    names = _pinned(pins)
    if reasons := tuple(reason for part in kept for reason in _too_fast(rig, path, part, names)):
        return Impossible(reasons=reasons)

    so_far = 0.0

    def told(done: float) -> None:
        nonlocal so_far
        so_far = max(so_far, done)
        if tell is not None and not tell(so_far):
            raise Cancelled

    done = [each for each in retimed(rig, whole, path, parts[len(kept) :], rate, told) if _helps(rig, path, each)]
    words = []
    if kept:
        words.append(
            f"{len(kept)} of {len(parts)} stretches between rests stay as they are, since {names}; unpin what need not "
            "stay there to shorten them"
        )
    found = _written(move, whole, rate, done, words)
    for each in over(compile_move(rig, found.move, rate, laws), rig):
        why = ", since limits that hold while another axis is in a range are not planned here" if rig.combined else ""
        raise Unrepaired(
            f"along this path {each.axis} would break its {each.of} limit at {each.at_s:.3f} s{why}; "
            "stretch still works"
        )
    return found


def _pinned(pins: list[tuple[Key, str]]) -> str:
    """Say which keys are pinned last: they hold the time of all before them."""
    last = max((key.at for key, _ in pins), default=Fraction(0))
    axes = [axis for key, axis in pins if key.at == last]
    one = len(axes) == 1
    return f"the key{'' if one else 's'} of {' and '.join(axes)} at {instant(last)} {'is' if one else 'are'} pinned"


def _helps(rig: Rig, path: Trajectory, part: Retimed) -> bool:
    """Return whether a part becomes shorter, or was too fast."""
    drawn_s = float(np.ptp(part.at_s))
    if part.since_s[-1] <= drawn_s * (1 - _SHORTER):
        return True
    return bool(over(path.between(float(part.at_s[0]), float(part.at_s[-1])), rig))


def _steps(rig: Rig, whole: Legs, path: Trajectory) -> tuple[Reason, ...]:
    """Return where the drawn curve steps in speed or acceleration: no clock can run along such a path."""
    reasons = []
    for number, axis in enumerate(rig.axes):
        span = slice(path.first[number], path.first[number + 1])
        from_s, coeffs = path.from_s[span], path.coeffs[:, span]
        before = np.diff(from_s)
        values = []
        for _ in range(3):
            end, most = np.zeros(len(before)), np.zeros(len(before))
            for row in coeffs[:, :-1]:
                end, most = end * before + row, most * before + np.abs(row)
            values.append((end, coeffs[-1, 1:], float(most.max(initial=0.0))))
            coeffs = coeffs[:-1] * np.arange(len(coeffs) - 1, 0, -1)[:, None] if len(coeffs) > 1 else 0 * coeffs
        for name, (left, right, size) in zip(("speed", "acceleration"), values[1:], strict=True):
            jumps = np.flatnonzero(np.abs(left - right) > _STEP * size)
            if len(jumps):
                keys = whole.keys(number)
                key = int(np.searchsorted(whole.at_s[keys], from_s[jumps[0] + 1], "right")) - 1
                what = f"{axis.name} steps in {name} at or after key {key + 1}, at {from_s[jumps[0] + 1]:.3f} s"
                reasons.append(
                    _reason(axis.name, f"{what}; soften its laws first, then ask for the earliest", (max(key, 0),))
                )
                break
    return tuple(reasons)


def _beyond(rig: Rig, path: Trajectory) -> tuple[Reason, ...]:
    """Return which axes leave their travel: no clock mends that."""
    return tuple(
        _reason(
            each.axis,
            f"{each.axis} goes to {each.value:.3f} at {each.at_s:.3f} s, its travel ends at {each.limit:g}; "
            "move the key inside the travel",
        )
        for each in over(path, rig)
        if each.of == "travel"
    )


def _too_fast(rig: Rig, path: Trajectory, part: Part, names: str) -> tuple[Reason, ...]:
    return tuple(
        _reason(
            each.axis,
            f"{each.axis} asks too much {each.of} at {each.at_s:.3f} s and may take no longer, since {names}; "
            "unpin that key, or move it",
        )
        for each in over(path.between(float(part.at_s[0]), float(part.at_s[-1])), rig)
    )


def _reason(axis: str, words: str, keys: tuple[int, ...] = ()) -> Reason:
    """Return why this path cannot be run; another path through the same keys may be."""
    return Reason(axis=axis, keys=keys, at=(), proven=False, words=words)


def _written(move: Move, whole: Legs, rate: Rate, done: list[Retimed], words: list[str]) -> Repaired:
    """Return the move with the parts in their new time, and everything after a part as much earlier or later."""
    if not done:
        return Repaired(move=move, words=(*words, "the move is as early as its motors can follow: it stays as it is"))
    begins_s = [float(each.at_s[0]) for each in done]
    ends_s = [float(each.at_s[-1]) for each in done]
    tracks = list(move.tracks)
    for each in done:
        for run in each.runs:
            number = whole.track[run.axis]
            at_s = whole.at_s[whole.keys(run.axis)][run.first : run.last + 1]
            keys_s = each.since_s[np.searchsorted(each.at_s, at_s)]
            tracks[number] = drawn(tracks[number], run.first, run.last, keys_s, run.nodes_s, run.state)
    shift, new_begin = [Fraction(0)], []
    frames = {float(rate.seconds(key.at)): key.at for track in move.tracks for key in track.keys}
    for each, begin_s, end_s in zip(done, begins_s, ends_s, strict=True):
        begin = frames[begin_s] + shift[-1]
        new_begin.append(begin)
        shift.append(begin + frame_at(float(each.since_s[-1]), rate) - frames[end_s])

    def moved(at: Fraction) -> Fraction:
        at_s = float(rate.seconds(at))
        part = int(np.searchsorted(begins_s, at_s, "right")) - 1
        if part < 0:
            return at
        if at_s >= ends_s[part]:
            return at + shift[part + 1]
        # a key at which its axis rests while others move is on its way from theirs to theirs
        own = done[part]
        return new_begin[part] + frame_at(float(np.interp(at_s, own.at_s, own.since_s)), rate)

    # axes mostly have their keys at the same instants
    new = {at: moved(at) for at in {key.at for track in tracks for key in track.keys}}
    found = retimed_keys(replace(move, tracks=tuple(tracks)), new)
    gained_s = -float(rate.seconds(shift[-1]))
    worst = max(each.deviation for each in done)
    words = [
        f"the move is {abs(gained_s):.3f} s {'shorter' if gained_s >= 0 else 'longer'}; rests keep their length, "
        "cues go with their keys, and markers stay where they are",
        f"it keeps to the drawn path within {max(worst, 0.0001):.4f} of the axes' units",
        *words,
    ]
    return Repaired(move=found, words=tuple(words))
