"""Which keys and legs of a track are others than they were. It looks at no number of them.

It takes the change to be in one place: what lies between the first and the last key that changed counts as changed.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sequencer.score.easing import Laws, NoCurve
from sequencer.score.move import Key

Bools = NDArray[np.bool_]
Keys = tuple[Key, ...]

# how many keys are compared at once, and how many fewer where these differ: slices of a tuple find what is the very
# same key much faster than a loop does
_BLOCK, _FINER = 1024, 4


@dataclass(frozen=True, slots=True)
class Change:
    """What is another in a track of `count` keys than it was: the keys `first` up to `last`, which were those up to
    `last - more`; so the legs `legs` up to `until` are others. Before and after them are legs of the same smooth run,
    or not.
    """

    first: int
    last: int
    more: int
    legs: int
    until: int
    joins: tuple[bool, bool]


def change_of(old: Keys, new: Keys, runs: Bools, laws: Laws) -> Change | None:
    """Return what changed; None where nothing stayed. `runs` says which legs belonged to a smooth run."""
    most = min(len(old), len(new))
    head, tail, size = 0, 0, _BLOCK
    while size:
        while head + size <= most and old[head : head + size] == new[head : head + size]:
            head += size
        size //= _FINER
    ends, size = (len(old), len(new)), _BLOCK
    while size:
        while head + tail + size <= most and old[ends[0] - size : ends[0]] == new[ends[1] - size : ends[1]]:
            tail += size
            ends = len(old) - tail, len(new) - tail
        size //= _FINER
    if most < 2 or head + tail == 0:
        return None
    last, more = len(new) - tail, len(new) - len(old)
    legs, until = max(head - 1, 0), min(last, len(new) - 1)
    was = runs[legs : min(last - more, len(old) - 1)]
    are = [laws[key.ease.law].curve is NoCurve.RUN if key.ease.law in laws else False for key in new[legs:until]]
    joins = (
        bool((len(was) and was[0]) or (are and are[0])),
        bool((len(was) and was[-1]) or (are and are[-1])),
    )
    return Change(head, last, more, legs, until, joins)
