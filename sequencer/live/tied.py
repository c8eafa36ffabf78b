"""Limits that tie axes together, while a hand drives: boxes of what each axis may sweep until it stands keep them.

A box holds all that an axis may do in the step and in braking after it. Boxes that do not break a limit cannot,
wherever within them the axes are; and braking leads from inside a box to inside it, so that from one tick to the next
nothing is lost. They err on the safe side: axes that would make up for each other are held apart until they are slow.
"""

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

from sequencer.live.steering import Step, flown, step, way
from sequencer.live.wish import Towards, Wish
from sequencer.motion.profile import Phase, State, braking, span
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.limits import Combined, SumLimit

_HALVINGS = 10


class Swept(NamedTuple):
    """How low, how high and how fast an axis comes at most."""

    low: float
    high: float
    speed: float


def softened(rig: Rig, part: float) -> Rig:
    """Return the rig with axes soft enough for the acceleration and jerk of combined limits, which are left out of it.

    `part` of each such limit is used.
    """
    axes = list(rig.axes)
    for limit in rig.combined:
        weights = limit.sum if isinstance(limit, SumLimit) else ((limit.axis, 1.0),)
        numbers = [rig.index(name) for name, _ in weights]
        sizes = [abs(weight) for _, weight in weights]
        if limit.acceleration is not None:
            asked = sum(size * axes[number].acceleration for size, number in zip(sizes, numbers, strict=True))
            soft = min(limit.acceleration * part / asked, 1.0)
            for number in numbers:
                axes[number] = replace(axes[number], acceleration=axes[number].acceleration * soft)
        if limit.jerk is not None:
            asked = sum(size * axes[number].jerk for size, number in zip(sizes, numbers, strict=True))
            soft = min(limit.jerk * part / asked, 1.0)
            for number in numbers:
                axes[number] = replace(axes[number], jerk=axes[number].jerk * soft)
    left = tuple(limit for limit in rig.combined if limit.travel is not None or limit.speed is not None)
    return replace(rig, axes=tuple(axes), combined=left)


def tied(
    rig: Rig, states: Sequence[State], wanted: Sequence[Wish], steps: Sequence[Step], lasts_s: float
) -> list[Step]:
    """Return the steps with as much of each as its combined limits let it do, if braking alone keeps them."""
    numbers = {name: number for number, name in enumerate(rig.names)}
    limits = [(limit, tuple(numbers[name] for name in limit.axes)) for limit in rig.combined]
    boxes = {number: _braked(rig.axes[number], states[number]) for _, places in limits for number in places}
    found = list(steps)
    for number in sorted(boxes):
        own = [(limit, places, _excess(limit, places, boxes)) for limit, places in limits if number in places]
        axis, state = rig.axes[number], states[number]
        if _does(axis, state, found[number], number, own, boxes):
            continue
        fastest = min(_fastest(limit, places, number, boxes) for limit, places, _ in own)
        slow = step(axis, state, _slowed(wanted[number], fastest), lasts_s)
        if not _does(axis, state, slow, number, own, boxes):
            slow = _less(axis, state, slow, number, own, boxes, lasts_s)
        found[number] = slow
    return found


Own = list[tuple[Combined, tuple[int, ...], tuple[float, float]]]


def _does(axis: Axis, state: State, one: Step, number: int, own: Own, boxes: dict[int, Swept]) -> bool:
    """Whether a step goes together with the others' boxes, its own then among them; else nothing is changed."""
    before = boxes[number]
    boxes[number] = _swept(state, way(axis, state, one.speed, one.until_s))
    for limit, places, was in own:
        position, speed = _excess(limit, places, boxes)
        if position > was[0] or speed > was[1]:
            boxes[number] = before
            return False
    return True


def _less(axis: Axis, state: State, one: Step, number: int, own: Own, boxes: dict[int, Swept], lasts_s: float) -> Step:
    """Return the step that brakes as early as it must."""
    least_s, most_s = 0.0, one.until_s
    for _ in range(_HALVINGS):
        middle_s = (least_s + most_s) / 2
        if _does(axis, state, one._replace(until_s=middle_s), number, own, boxes):
            least_s = middle_s
        else:
            most_s = middle_s
    after = flown(state, way(axis, state, one.speed, least_s), lasts_s, 0.0)
    return Step(after, one.speed, least_s)


def _slowed(wish: Wish, fastest: float) -> Wish:
    if isinstance(wish, Towards):
        return replace(wish, speed=min(wish.speed, fastest))
    return min(max(wish, -fastest), fastest) if math.isfinite(wish) else 0.0


def _fastest(limit: Combined, places: tuple[int, ...], number: int, boxes: dict[int, Swept]) -> float:
    """Return how fast an axis may go beside the others' boxes."""
    if limit.speed is None:
        return math.inf
    if isinstance(limit, SumLimit):
        weights = {place: abs(weight) for place, (_, weight) in zip(places, limit.sum, strict=True)}
        others = sum(weight * boxes[place].speed for place, weight in weights.items() if place != number)
        return max(limit.speed - others, 0.0) / weights[number]
    return limit.speed if number == places[0] else math.inf


def _excess(limit: Combined, places: tuple[int, ...], boxes: dict[int, Swept]) -> tuple[float, float]:
    """Return by how much boxes break a limit at most: its travel, and its speed; 0 where they cannot."""
    if isinstance(limit, SumLimit):
        low = high = speed = 0.0
        for place, (_, weight) in zip(places, limit.sum, strict=True):
            box = boxes[place]
            one, other = weight * box.low, weight * box.high
            low, high = low + min(one, other), high + max(one, other)
            speed += abs(weight) * box.speed
    else:
        other_box = boxes[places[1]]
        if other_box.high < limit.between[0] or other_box.low > limit.between[1]:
            return 0.0, 0.0
        low, high, speed = boxes[places[0]]
    beyond = 0.0 if limit.travel is None else max(limit.travel[0] - low, high - limit.travel[1], 0.0)
    return beyond, 0.0 if limit.speed is None else max(speed - limit.speed, 0.0)


def _braked(axis: Axis, state: State) -> Swept:
    return _swept(state, braking(axis, state[1], state[2]))


def _swept(state: State, phases: tuple[Phase, ...]) -> Swept:
    """Return what an axis sweeps in these phases."""
    low, high = span(state, phases)
    _, v, a = state
    speed = abs(v)
    for jerk, lasts_s in phases:
        turns_s = -a / jerk if jerk else 0.0
        if 0 < turns_s < lasts_s:
            speed = max(speed, abs(v + a * turns_s / 2))
        v += lasts_s * (a + lasts_s * jerk / 2)
        a += lasts_s * jerk
        speed = max(speed, abs(v))
    return Swept(low, high, speed)
