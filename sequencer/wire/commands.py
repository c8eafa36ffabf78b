"""Orders that are sent again until they are answered, as MAVLink's command protocol has it. It sends nothing itself.

An order that is sent again carries how many times it was sent before; the other side answers with the order's number
and a result. Source: MAVLink command protocol (COMMAND_LONG, COMMAND_ACK, MAV_RESULT); how often and how long is ours.
"""

from dataclasses import dataclass, replace

AGAIN_NS = 300_000_000
TIMES = 4
ACCEPTED, REJECTED_FOR_NOW, IN_PROGRESS = 0, 1, 5


@dataclass(frozen=True, slots=True)
class Order:
    """One order to one component, with its seven numbers; `what` says in words what it is for."""

    number: int
    component: int
    params: tuple[float, ...]
    what: str


@dataclass(frozen=True, slots=True)
class _Open:
    order: Order
    sent_ns: int
    times: int


class Orders:
    """The orders that wait for their answers. A new one replaces an open one of the same number and component."""

    def __init__(self) -> None:
        self._open: dict[tuple[int, int], _Open] = {}
        self.accepted: set[tuple[int, int]] = set()
        self.refused = ""  # the newest order that was refused or never answered, in words

    def begin(self, order: Order, now_ns: int) -> None:
        """Take in that `order` was sent for the first time."""
        self._open[order.number, order.component] = _Open(order, now_ns, 1)

    def waits(self, number: int, component: int) -> bool:
        """Whether such an order was sent and is not answered yet."""
        return (number, component) in self._open

    def due(self, now_ns: int) -> list[tuple[Order, int]]:
        """Return what is to be sent again now, each with how often it was sent before."""
        again = []
        for key, one in tuple(self._open.items()):
            if now_ns - one.sent_ns < AGAIN_NS:
                continue
            if one.times >= TIMES:
                del self._open[key]
                self.refused = f"{one.order.what} was not answered, although it was sent {TIMES} times"
                continue
            self._open[key] = replace(one, sent_ns=now_ns, times=one.times + 1)
            again.append((one.order, one.times))
        return again

    def hear(self, number: int, component: int, result: int, now_ns: int) -> None:
        """Take in an answer. One to an order that is not open, or comes twice, says nothing."""
        key = (number, component)
        one = self._open.get(key)
        if one is None:
            return
        if result in (IN_PROGRESS, REJECTED_FOR_NOW):
            # not sent again while it is being done; what is rejected for now is tried again as if it was lost
            if result == IN_PROGRESS:
                self._open[key] = replace(one, sent_ns=now_ns)
            return
        del self._open[key]
        if result == ACCEPTED:
            self.accepted.add(key)
            if self.refused.startswith(one.order.what):
                self.refused = ""
        else:
            self.accepted.discard(key)
            self.refused = f"{one.order.what} was refused (result {result})"
