"""Give legs that ask too much another law, one that the motors take more easily; keys and times stay.

Which laws there are is an argument: every one that runs from rest to rest without a jolt by its own defaults is tried.
It refuses to change a leg that is within limits, and to change one for nothing: where no law is enough it says how much
time the leg would need.
"""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from sequencer.motion.compile import compile_legs
from sequencer.motion.legs import Legs, legs
from sequencer.motion.repair.load import KEPT, load, place_of, reason, said
from sequencer.motion.repair.need import gentlest, least_s, ratios
from sequencer.motion.repair.outcome import AS_IT_IS, Impossible, Offer, Reason, Repaired, Tell, Unrepaired, unforeseen
from sequencer.motion.repair.spread import spread
from sequencer.rig.axis import Axis, Rig
from sequencer.score.easing import Laws
from sequencer.score.move import Ease, Move
from sequencer.timebase.instants import instant
from sequencer.timebase.rate import Rate

# a track, and the key in it that begins the leg
Place = tuple[int, int]


def soften(rig: Rig, move: Move, rate: Rate, laws: Laws, *, tell: Tell | None = None) -> Repaired | Impossible:
    """Give each leg that is over a limit the law whose worst peak is the smallest part of its limit.

    A leg of a smooth run that is over leaves the run, which then ends before it and begins again after it. Where no
    law is enough, offers are what does work: going through the keys between legs of one direction, or more time.
    Error: ProjectError as in `compile_move`; ValueError where no law of the table suits a motor; Cancelled.
    """
    eases = gentle(laws)
    if not eases:
        raise ValueError("none of these laws runs from rest to rest without a jolt")
    changed: dict[Place, Ease] = {}
    step = unforeseen(tell)
    while True:
        step()
        softer = _eased(move, changed)
        whole = legs(rig, softer, rate, laws)
        found = load(rig, whole, compile_legs(rig, whole))
        over = [int(leg) for leg in np.flatnonzero(found.over)]
        fresh = [leg for leg in over if place_of(whole, leg)[1:] not in changed]
        if not fresh:
            break
        for leg in fresh:
            number, *place = place_of(whole, leg)
            axis, way, lasts_s = rig.axes[number], float(whole.way[leg]), float(whole.lasts_s[leg])
            fit, worst = min((gentlest(ease, laws, axis, way, lasts_s) for ease in eases), key=lambda each: each[1])
            if worst > 1 + KEPT:
                fit = min(eases, key=lambda ease: least_s(ease, laws, axis, way))
            changed[place[0], place[1]] = fit
    if not over:
        words = tuple(_said(move, place, ease) for place, ease in sorted(changed.items()))
        return Repaired(move=softer, words=words or (AS_IT_IS,))
    reasons = tuple(_stuck(rig, softer, rate, laws, whole, leg, outside=bool(found.outside[leg])) for leg in over)
    stuck = [place_of(whole, leg)[1:] for leg in over]
    return Impossible(reasons=reasons, offers=tuple(_offers(rig, softer, rate, laws, stuck, tell)))


def gentle(laws: Laws) -> list[Ease]:
    """Return the laws, with their defaults, that run from rest to rest without a jolt."""
    axis = Axis(name="unit", kind="pan", unit="deg", travel=None, speed=1.0, acceleration=1.0, jerk=1.0)
    found = []
    for name in sorted(laws):
        try:
            peak = max(ratios(Ease(name), laws, axis, 1.0, 10.0))
        except ValueError:  # it needs settings, which nobody but the operator knows
            continue
        found += [Ease(name)] if np.isfinite(peak) else []
    return found


def _eased(move: Move, changed: dict[Place, Ease]) -> Move:
    tracks = []
    for number, track in enumerate(move.tracks):
        own = {key: ease for (of, key), ease in changed.items() if of == number}
        keys = [replace(key, ease=own[place]) if place in own else key for place, key in enumerate(track.keys)]
        tracks.append(replace(track, keys=tuple(keys)))
    return replace(move, tracks=tuple(tracks))


def _said(move: Move, place: Place, ease: Ease) -> str:
    track, key = place
    begin, end = move.tracks[track].keys[key : key + 2]
    span = f"{move.tracks[track].axis} at {instant(begin.at)} to {instant(end.at)}"
    return f"{span}: {begin.ease.law} becomes {ease.law}"


def _stuck(rig: Rig, move: Move, rate: Rate, laws: Laws, whole: Legs, leg: int, *, outside: bool) -> Reason:
    """Say what a leg would need that the law which needs the least cannot do."""
    number, track, key = place_of(whole, leg)
    keys = move.tracks[track].keys[key : key + 2]
    places = (key, key + 1)[: len(keys)]
    if outside:
        return reason(move, track, places, "the axis leaves its travel, or a combined one; move its keys")
    axis, way = rig.axes[number], float(whole.way[leg])
    need = least_s(keys[0].ease, laws, axis, way) * float(rate.fraction)
    if need <= float(keys[1].at - keys[0].at) * (1 + KEPT):
        return reason(move, track, places, "together with another axis this leg breaks a combined limit; stretch it")
    unit = "of its range" if axis.unit == "part" else axis.unit
    words = (
        f"no law goes {abs(way):.6g} {unit} in {said(keys[1].at - keys[0].at)} frames; {keys[0].ease.law} needs "
        f"{said(need)}"
    )
    return reason(move, track, places, f"{words}; give the leg more time, or pass through its keys")


def _offers(rig: Rig, move: Move, rate: Rate, laws: Laws, stuck: list[Place], tell: Tell | None) -> Iterator[Offer]:
    """Yield what was tried and works: to go through keys, and to spread the time between pins."""
    through = _joined(move, stuck)
    if through != move:
        whole = legs(rig, through, rate, laws)
        if not load(rig, whole, compile_legs(rig, whole)).over.any():
            yield Offer(move=through, words="the legs that need more time go through their keys without a stop")
    try:
        more = spread(rig, move, rate, laws, tell=tell)
    except Unrepaired:
        return
    if isinstance(more, Repaired):
        yield Offer(move=more.move, words="; ".join(("the legs get more time", *more.words)))


def _joined(move: Move, stuck: list[Place]) -> Move:
    """Return the move in which stuck legs and those beside them in one direction are one smooth run."""
    run: dict[Place, Ease] = {}
    for track, key in stuck:
        values = [each.value for each in move.tracks[track].keys]
        way = np.sign(np.diff(values))
        first = last = key
        while first > 0 and way[first - 1] == way[key]:
            first -= 1
        while last + 1 < len(way) and way[last + 1] == way[key]:
            last += 1
        if last > first:
            run |= {(track, place): Ease("through") for place in range(first, last + 1)}
    return _eased(move, run)
