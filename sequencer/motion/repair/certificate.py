"""Why the keys of a run cannot be kept, with the proof where there is one, and the least changes that make a move.

It refuses to offer what it has not seen solved, and to call proven what only its own kind of curve fails at.
"""

from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise

from sequencer.motion.legs import legs
from sequencer.motion.program import Unsolved
from sequencer.motion.repair.offers import Spot, offers
from sequencer.motion.repair.outcome import Impossible, Reason, Tell, unforeseen
from sequencer.motion.repair.proof import Glance, Verdict, Wanted, glances
from sequencer.motion.repair.relaxation import prove
from sequencer.rig.axis import Rig
from sequencer.score.easing import Laws
from sequencer.score.move import Move, Track
from sequencer.timebase.instants import instant
from sequencer.timebase.rate import Rate

# keys on each side of the legs that were kept within limits: what lies beyond does not matter there
_REACH = 12
# a key takes part in a reason when it weighs more than this part of the heaviest
_WEIGHS = 1e-3
_QUANTITY = ("position", "speed", "acceleration", "jerk")
_TIMES = ("", "/s", "/s²", "/s³")


def explain(
    rig: Rig,
    move: Move,
    rate: Rate,
    laws: Laws,
    axis: int,
    first_key: int,
    last_key: int,
    hot_legs: Sequence[int],
    *,
    overshoot: bool = True,
    tell: Tell | None = None,
) -> Impossible:
    """Return why no curve keeps keys `first_key` to `last_key` of axis number `axis`, and what would make one.

    They are a run between two rests; `hot_legs` are the first keys of the legs that had to be kept within limits. An
    offer is a move whose curves are solved already, in that run and wherever else a key of it moved; pinned keys stay.
    Error: ProjectError as in `legs`; Cancelled.
    """
    step = unforeseen(tell)
    whole = legs(rig, move, rate, laws)
    reasons: list[Reason] = []
    spots = []
    for begin, end in windows(first_key, last_key, hot_legs):
        spot = Spot(
            rig=rig, move=move, rate=rate, laws=laws, whole=whole, axis=axis, run=(first_key, last_key),
            keys=(begin, end), overshoot=overshoot,
        )  # fmt: skip
        spots.append(spot)
        step()
        reasons += _reasons(spot, hot_legs)
    return Impossible(reasons=tuple(reasons), offers=tuple(offers(spots, step)))


def windows(first_key: int, last_key: int, hot_legs: Sequence[int]) -> list[tuple[int, int]]:
    """Return the stretches of keys, first and last, that decide whether the hot legs can be kept."""
    hot = sorted(hot_legs) or [first_key, last_key - 1]
    ends = [number for number, (leg, after) in enumerate(pairwise(hot), 1) if after - leg > 2 * _REACH]
    groups = [hot[begin:end] for begin, end in pairwise([0, *ends, len(hot)])]
    return [(max(group[0] - _REACH, first_key), min(group[-1] + 1 + _REACH, last_key)) for group in groups]


def _reasons(spot: Spot, hot_legs: Sequence[int]) -> list[Reason]:
    """Return the proofs for these keys, or that there is none."""
    wanted = spot.wanted()
    seen = _worst(glances(wanted))
    if seen:
        return [_at_a_glance(spot, glance) for glance in seen]
    try:
        fixed = [key for key, still in enumerate(wanted.fixed) if still]
        if len(fixed) > 1:
            _, verdict, needed = prove(wanted.only(fixed))
            if verdict.proven:
                return [_fixed(spot, _in_track(spot, _heavy(verdict, needed, wanted)))]
        _, verdict, needed = prove(wanted)
        if verdict.proven:
            return _apart(spot, wanted, verdict, needed)
    except Unsolved:
        pass  # nothing is proven, and that is what is said
    keys = sorted({key for leg in hot_legs for key in (leg, leg + 1) if spot.keys[0] <= key <= spot.keys[1]})
    span = f"keys {keys[0] + 1} to {keys[-1] + 1} ({_between(spot.track, keys)})"
    kind = "of this kind" if spot.overshoot else "that stays between the values of its keys"
    words = f"{spot.name}: no curve {kind} was found through {span}; that proves nothing about the motor"
    return [_reason(spot, keys, words, proven=False)]


def _apart(spot: Spot, wanted: Wanted, verdict: Verdict, needed: Wanted) -> list[Reason]:
    """Return what is proven, as a reason for each group of neighbours that contradict each other alone."""
    keys = _heavy(verdict, needed, wanted)
    cuts = [number for number, (key, after) in enumerate(pairwise(keys), 1) if after - key > 1]
    groups = [keys[begin:end] for begin, end in pairwise([0, *cuts, len(keys)])]
    found = []
    for group in groups if len(groups) > 1 else []:
        alone = wanted.only(range(max(group[0] - 1, 0), min(group[-1] + 2, len(wanted.at))))
        _, verdict_alone, needed_alone = prove(alone)
        if verdict_alone.proven:
            heavy = _heavy(verdict_alone, needed_alone, wanted)
            found.append(_proven(spot, verdict_alone, needed_alone, _in_track(spot, heavy)))
    return found or [_proven(spot, verdict, needed, _in_track(spot, keys))]


def _worst(found: list[Glance]) -> list[Glance]:
    """Return the glances that go furthest beyond a limit, none of which shares a leg with a worse one."""
    kept: list[Glance] = []
    for glance in sorted(found, key=_ratio, reverse=True):
        if not any(glance.first <= other.last and other.first <= glance.last for other in kept):
            kept.append(glance)
    return sorted(kept, key=lambda glance: glance.first)


def _ratio(glance: Glance) -> Fraction:
    """Return how far beyond its limit it is, in parts of that; a key outside the travel comes before all else."""
    return glance.asked / Fraction(glance.limit) if glance.order else Fraction(10**9)


def _at_a_glance(spot: Spot, glance: Glance) -> Reason:
    keys = list(range(spot.keys[0] + glance.first, spot.keys[0] + glance.last + 1))
    unit = spot.unit + _TIMES[glance.order]
    if glance.order == 0:
        words = (
            f"{spot.name}: key {keys[0] + 1} at {_between(spot.track, keys)} stands at "
            f"{float(glance.asked):.6g}{unit}, beyond the end of travel at {glance.limit:g}{unit}; move the key inside"
        )
    else:
        words = (
            f"{spot.name}: from key {keys[0] + 1} to key {keys[-1] + 1} ({_between(spot.track, keys)}) any motion "
            f"comes to {_QUANTITY[glance.order]} {float(glance.asked):.4g}{unit} somewhere, limit {glance.limit:g}; "
            "give these keys more time, or less way"
        )
    return _reason(spot, keys, words, proven=True)


def _fixed(spot: Spot, keys: list[int]) -> Reason:
    """Return that keys which nothing may move contradict each other, and the mend."""
    pinned = [key for key in keys if spot.track.keys[key].pin]
    name = ", ".join(str(key + 1) for key in keys)
    words = (
        f"{spot.name}: keys {name} ({_between(spot.track, keys)}) must stay, and no motion within its limits keeps them"
    )
    mend = " or ".join(f"key {key + 1}" for key in pinned)
    mend = f"unpin {mend} of {spot.name}" if pinned else "move the keys beside the rests before and after them too"
    return _reason(spot, keys, f"{words}; {mend}, or stretch the move", proven=True)


def _proven(spot: Spot, verdict: Verdict, needed: Wanted, keys: list[int]) -> Reason:
    """Return that keys contradict each other, and by how much their values must give way at least."""
    total, largest = verdict.least_total(needed.fixed), verdict.least_largest(needed.fixed)
    words = f"{spot.name}: no motion within its limits keeps keys {keys[0] + 1} to {keys[-1] + 1}"
    words = f"{words} ({_between(spot.track, keys)})"
    if total is not None and largest is not None:
        at_least = f"{float(total):.3g}{spot.unit} in all, and one of them by {float(largest):.3g}{spot.unit}"
        words = f"{words}; at these times their values would have to move by at least {at_least}"
    return _reason(spot, keys, words, proven=True)


def _heavy(verdict: Verdict, needed: Wanted, wanted: Wanted) -> list[int]:
    """Return the places in `wanted` of the keys that carry a proof about `needed`."""
    most = max(abs(weight) for weight in verdict.keys)
    carrying = [
        at for at, weight in zip(needed.at, verdict.keys, strict=True) if abs(weight) > most * Fraction(_WEIGHS)
    ]
    return [wanted.at.index(at) for at in carrying]


def _in_track(spot: Spot, keys: Sequence[int]) -> list[int]:
    """Return the places in the track of keys of the spot."""
    return [spot.keys[0] + key for key in keys]


def _reason(spot: Spot, keys: Sequence[int], words: str, *, proven: bool) -> Reason:
    return Reason(
        axis=spot.name,
        keys=tuple(keys),
        at=tuple(spot.track.keys[key].at for key in keys),
        proven=proven,
        words=words,
    )


def _between(track: Track, keys: Sequence[int]) -> str:
    first, last = track.keys[keys[0]].at, track.keys[keys[-1]].at
    return instant(first) if first == last else f"{instant(first)} to {instant(last)}"
