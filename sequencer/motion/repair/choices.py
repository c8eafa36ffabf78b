"""The repairs that an operator can choose from, each with what it leaves as it is and what it changes."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

from sequencer.motion.compile import compile_move
from sequencer.motion.peaks import over
from sequencer.motion.repair.certificate import explain
from sequencer.motion.repair.earliest import earliest
from sequencer.motion.repair.outcome import AS_IT_IS, Impossible, Offer, Repaired, Tell
from sequencer.motion.repair.smooth import smooth
from sequencer.motion.repair.soften import soften
from sequencer.motion.repair.spread import spread
from sequencer.motion.repair.stretch import stretch, stretch_and_smooth
from sequencer.rig.axis import Rig
from sequencer.score.easing import Laws
from sequencer.score.move import Move
from sequencer.timebase.rate import Rate


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Task:
    """A move to be repaired, for a rig. `overshoot` lets a smoothed leg leave its keys' values."""

    rig: Rig
    move: Move
    rate: Rate
    laws: Laws
    overshoot: bool = False
    tell: Tell | None = None


@dataclass(frozen=True, slots=True)
class Choice:
    """One repair. `changes` says, in a few words, what it does to the move."""

    name: str
    changes: str
    run: Callable[[Task], Repaired | Impossible]


def _smooth(task: Task) -> Repaired | Impossible:
    """Where it is only possible when legs overshoot their keys, that is the first offer."""
    rig, move, rate, laws = task.rig, task.move, task.rate, task.laws
    why = partial(explain, overshoot=task.overshoot, tell=task.tell)
    found = smooth(rig, move, rate, laws, overshoot=task.overshoot, tell=task.tell, explain=why)
    if isinstance(found, Repaired) or task.overshoot:
        return _spoken(found)
    freer = smooth(rig, move, rate, laws, tell=task.tell)
    if not isinstance(freer, Repaired):
        return found
    words = "; ".join(("every key stays, and legs overshoot the values of their keys", *freer.words))
    return replace(found, offers=(Offer(move=freer.move, words=words), *found.offers))


def _earliest(task: Task) -> Repaired | Impossible:
    return earliest(task.rig, task.move, task.rate, task.laws, tell=task.tell)


def _stretch(task: Task) -> Repaired | Impossible:
    return stretch(task.rig, task.move, task.rate, task.laws)


def _stretch_and_smooth(task: Task) -> Repaired | Impossible:
    def solve(move: Move) -> Repaired | Impossible:
        # why it cannot be done at a smaller factor, nobody asks
        found = smooth(task.rig, move, task.rate, task.laws, overshoot=task.overshoot)
        # each axis is smoothed by itself; what ties them together takes the time
        if isinstance(found, Repaired) and task.rig.combined:
            drawn = compile_move(task.rig, found.move, task.rate, task.laws)
            return Impossible(reasons=()) if over(drawn, task.rig) else found
        return found

    return _spoken(stretch_and_smooth(task.rig, task.move, task.rate, task.laws, solve, tell=task.tell))


def _spoken(found: Repaired | Impossible) -> Repaired | Impossible:
    return replace(found, words=(AS_IT_IS,)) if isinstance(found, Repaired) and not found.words else found


def _spread(task: Task) -> Repaired | Impossible:
    return spread(task.rig, task.move, task.rate, task.laws, tell=task.tell)


def _soften(task: Task) -> Repaired | Impossible:
    return soften(task.rig, task.move, task.rate, task.laws, tell=task.tell)


CHOICES: dict[str, Choice] = {
    choice.name: choice
    for choice in (
        Choice("soften", "other laws and ramps; axes still stop at the same keys", _soften),
        Choice("smooth", "the smoothest curve through the same keys, without a stop", _smooth),
        Choice("spread", "keys between pins move in time, so that each leg has what it needs", _spread),
        Choice("stretch", "the whole move slower by one factor, its curves as they are drawn", _stretch),
        Choice("stretch-smooth", "slower by one factor and smoothed: less than stretch", _stretch_and_smooth),
        Choice("earliest", "the same path as fast as the motors can; keys move in time", _earliest),
    )
}
