"""The engine's hold on the link to the rig: what it raises is a fault to be told, not the end.

It sends no setpoint, and decides nothing: whether the rig is away is `playback.contact`'s to say.
"""

from collections.abc import Callable
from typing import TypeVar

from sequencer.adapters.contract import LinkState, Output
from sequencer.errors import LinkError
from sequencer.playback.contact import Contact
from sequencer.rig.signals import Feedback

_STATE_EVERY_NS = 100_000_000
_CALL_EVERY_NS = 500_000_000
_ASK_EVERY_NS = 100_000_000
_ASKS = 5  # after a reset: a link that loses one in ten loses all of them once in a hundred thousand times
_UNECHOED_NS = 5_000_000_000

T = TypeVar("T")


class Touch:
    """What is known of the link from tick to tick. Only a rig that `answers` is told of where it does not echo."""

    def __init__(self, output: Output, answers: bool, now_ns: int) -> None:
        self._output = output
        self._fault = ""
        self._trouble = ""
        self._state_ns = self._called_ns = self._asked_ns = now_ns
        self._asks = 0
        self._unechoed_ns: int | None = now_ns if answers else None
        self.state = LinkState()
        self.contact = Contact()

    def failed(self, fault: LinkError) -> None:
        """Take in that the link is gone."""
        self._fault = self._fault or str(fault)

    def _try(self, act: Callable[[], T], otherwise: T) -> T:
        try:
            return act()
        except LinkError as fault:
            self.failed(fault)
            return otherwise

    def read(self, heard_ns: int) -> tuple[Feedback, ...]:
        return self._try(lambda: self._output.read(heard_ns), ())

    def stop(self) -> None:
        """Tell the rig to brake by its own means, and to stay where it is."""
        self._asks = 0
        self._try(self._output.stop, None)

    def withdraw(self, from_ns: int) -> None:
        """Have the rig forget what it was sent for `from_ns` and later."""
        self._try(lambda: self._output.replace(from_ns), None)

    def resume(self, now_ns: int) -> None:
        """Have the rig listen to setpoints again, after it was told to stop; more than once, for links lose things."""
        self.contact = Contact()
        self._asks, self._asked_ns = _ASKS - 1, now_ns
        self._try(self._output.ask, None)

    def measure(self, now_ns: int) -> LinkState:
        """Return how the link is now."""
        self.state = self._try(lambda: self._output.link(now_ns), LinkState())
        return self.state

    def look(self, now_ns: int) -> str:
        """Look after the link, once a tick; return why it is gone, or nothing."""
        self._try(lambda: self._output.look(now_ns), None)
        if now_ns - self._state_ns >= _STATE_EVERY_NS:
            self._state_ns = now_ns
            self.measure(now_ns)
        if self._asks and now_ns - self._asked_ns >= _ASK_EVERY_NS:
            self._asked_ns, self._asks = now_ns, self._asks - 1
            self._try(self._output.ask, None)
        if self.contact.withheld and self.state.lost is None and now_ns - self._called_ns >= _CALL_EVERY_NS:
            # it does not echo, and says only to a question where it stands; the stop behind it keeps it from listening
            self._called_ns = now_ns
            self._try(self._output.ask, None)
            self._try(self._output.stop, None)
        fault, self._fault = self._fault, ""
        return fault

    def notices(self, now_ns: int) -> list[str]:
        """Return what there is to tell of the link since the last call."""
        told = []
        trouble = self._try(self._output.trouble, "")
        if trouble and trouble != self._trouble:
            told.append(trouble)
        self._trouble = trouble
        if self._unechoed_ns is not None and self.state.lost is not None:
            self._unechoed_ns = None
        elif self._unechoed_ns is not None and now_ns - self._unechoed_ns >= _UNECHOED_NS:
            self._unechoed_ns = None
            told.append("the rig does not echo, so the round trip and the loss of its link are not known")
        return told
