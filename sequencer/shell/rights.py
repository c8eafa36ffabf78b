"""What an order from outside may do, at most: one table for our own clock, one for a master's. It does nothing itself.

Nobody outside arms, resets, drives or changes what is set; the least that is left is here. A stop of the clock stops
the rig wherever the clock that it halts would not: whatever it is that moves then stands.
"""

from collections.abc import Mapping
from typing import NamedTuple

from sequencer.playback.state import MOVING, ON_THE_CLOCK, RECUED_FROM, STOPS, UNARMED, Phase
from sequencer.sync.orders import GoToMark, Locate, Order, StartClock, StopClock, StopRig, TakeCue

_NONE: frozenset[Phase] = frozenset()
_ALL = frozenset(Phase)


class Right(NamedTuple):
    """In which phases an order stops the rig, latched; moves our own clock; or chooses where the rig goes.

    Choosing needs something armed that triggers may choose for, and `armed_only` something armed at all.
    """

    stops: frozenset[Phase] = _NONE
    clock: frozenset[Phase] = _NONE
    chooses: frozenset[Phase] = _NONE
    armed_only: bool = False


_OF_EITHER: Mapping[type[Order], Right] = {
    StopRig: Right(stops=_ALL),
    GoToMark: Right(chooses=RECUED_FROM, armed_only=True),
    TakeCue: Right(chooses=RECUED_FROM, armed_only=True),
}
OUR_CLOCK: Mapping[type[Order], Right] = {
    **_OF_EITHER,
    # a move on the clock ends with it
    StopClock: Right(stops=MOVING - ON_THE_CLOCK, clock=_ALL),
    StartClock: Right(clock=_ALL - STOPS, armed_only=True),
    Locate: Right(clock=_ALL - STOPS, armed_only=True),
}
ANOTHERS_CLOCK: Mapping[type[Order], Right] = {
    **_OF_EITHER,
    # a rig that is ready for a clock that cannot be halted here would begin
    StopClock: Right(stops=_ALL - UNARMED),
    StartClock: Right(),
    Locate: Right(),
}
