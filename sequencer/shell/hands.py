"""Hands on their way to the core: game controllers, while the operator has them in hand, and the editor's screen."""

from sequencer.live.handling import Handling
from sequencer.live.hands import begin, feel, let_go, sent_off, wishes
from sequencer.live.pads import Done, Pad
from sequencer.live.screen import SCREEN, Push, press
from sequencer.live.wish import Wish
from sequencer.rig.axis import Rig
from sequencer.shell.messages import PadSet
from sequencer.wire.pad import unpacked

_MOST_SHOWN = 4  # two operators, and two pads that only stop
_NAME_LENGTH = 24


class HandsOn:
    """What the pads and the screen said last, and whether that moves anything."""

    def __init__(self, rig: Rig, handlings: tuple[Handling, ...]) -> None:
        self._hands = begin(rig, handlings)
        self._done: list[Done] = []
        self.taken = False

    def take(self, on: bool) -> None:
        """Have the pads drive, or no longer. Each must be let go of before it moves anything."""
        if on is not self.taken:
            self.let_go()
        self.taken = on

    def let_go(self) -> None:
        """Have what is held now count for nothing, until it has been let go of."""
        self._hands = let_go(self._hands)

    def send_off(self) -> None:
        """Have what hands had begun not go on: the rig is sent somewhere."""
        self._hands = sent_off(self._hands)

    def press(self, push: Push, at_ns: int) -> None:
        """Take in what the screen says. Error: ValueError for numbers that cannot be."""
        self._hands, done = press(self._hands, push, at_ns)
        self._done += done

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
        if not self._hands.pads:
            return None
        self._hands, wished = wishes(self._hands, now_ns, position)
        return wished

    def settings(self) -> tuple[PadSet, ...]:
        """Return how each pad that is here is set now; of many the first, since a status has a largest size."""
        here = sorted(
            (pad for pad in self._hands.pads if pad.here and pad.number != SCREEN), key=lambda pad: pad.number
        )
        return tuple(_setting(pad) for pad in here[:_MOST_SHOWN])


def _setting(pad: Pad) -> PadSet:
    return PadSet(
        number=pad.number,
        name=pad.name[:_NAME_LENGTH],
        sticks=bool(pad.handling.sticks),
        manner=pad.manner,
        range_deg=pad.range_deg,
        top=pad.part,
        fine=pad.fine,
    )
