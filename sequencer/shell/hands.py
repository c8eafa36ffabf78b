"""The game controllers of this machine on their way to the core: they drive while the operator has them in hand."""

from sequencer.live.handling import Handling
from sequencer.live.hands import begin, feel, let_go, wishes
from sequencer.live.pads import Done
from sequencer.live.wish import Wish
from sequencer.rig.axis import Rig
from sequencer.wire.pad import unpacked


class HandsOn:
    """What the pads said last, and whether that moves anything."""

    def __init__(self, rig: Rig, handlings: tuple[Handling, ...]) -> None:
        self._hands = begin(rig, handlings)
        self._done: list[Done] = []
        self._rest: tuple[Wish, ...] = (0.0,) * len(rig.axes)
        self.taken = False

    def take(self, on: bool) -> None:
        """Have the pads drive, or no longer. Each must be let go of before it moves anything."""
        if on is not self.taken:
            self.let_go()
        self.taken = on

    def let_go(self) -> None:
        """Have what is held now count for nothing, until it has been let go of."""
        self._hands = let_go(self._hands)

    def feed(self, stamp_ns: int, data: bytes) -> None:
        """Take in a row of a pad."""
        self._hands, done = feel(self._hands, unpacked(data), stamp_ns, self.taken)
        self._done += done

    def deeds(self) -> list[Done]:
        """Return what was asked for by buttons since the last call."""
        done, self._done = self._done, []
        return done

    def wishes(self, now_ns: int, position: tuple[float, ...]) -> tuple[Wish, ...] | None:
        """Return what the hands wish for, or None where nobody holds on. Shape: `position` A, the last setpoint.

        Hands that are taken away wish for rest until it is there.
        """
        self._hands, wished = wishes(self._hands, now_ns, position)
        return wished if self.taken or wished is None else self._rest
