"""How many orders of one port are let through a second. A stop is never held up, and never counted.

What a show sends is far below; what is above comes from a loop, a stuck key or somebody who means harm.
"""

from sequencer.sync.allowance import Allowance
from sequencer.sync.complaints import Complaints
from sequencer.sync.orders import GoToMark, Order, StopClock, StopRig, TakeCue

ORDERS_PER_S = 100
CHOICES_PER_S = 5  # of where the rig goes: each has to be worked out
AT_ONCE = 20  # a plan may come as one bundle


class Pace:
    """The bound for one port, `address` as people read it. `left_aside` counts what came too fast."""

    def __init__(self, address: str) -> None:
        self._address = address
        self._orders, self._choices = Allowance(ORDERS_PER_S, AT_ONCE), Allowance(CHOICES_PER_S, AT_ONCE)
        self._complaints = Complaints()
        self.left_aside = 0

    def lets(self, order: Order, now_ns: int) -> bool:
        """Whether `order`, heard at `now_ns`, may go on its way."""
        if isinstance(order, StopClock | StopRig):
            return True
        if (self._choices if isinstance(order, GoToMark | TakeCue) else self._orders).grants(now_ns):
            return True
        self.left_aside += 1
        words = (
            f"more orders arrive at {self._address} than a show sends ({ORDERS_PER_S} a second pass, and "
            f"{CHOICES_PER_S} that choose a cue or a mark); the rest is left aside, but for stops. Look for what sends "
            "so many"
        )
        self._complaints.tell("flood", words)
        return False

    def troubles(self) -> tuple[str, ...]:
        """Return what the operator should know since the last call, in plain words."""
        return self._complaints.take()
