"""Orders from OSC messages: the addresses that this program obeys, and nothing else.

It opens no port, reads no timetag (whoever heard the message has made that its stamp) and knows no mark or cue.
Address patterns of OSC are not expanded: an order is given by its whole address.
Source: OSC 1.0 for the messages; the addresses are our own.
"""

from collections.abc import Callable

from sequencer.errors import PeerError
from sequencer.sync.complaints import Complaints
from sequencer.sync.orders import Due, GoToMark, Locate, Order, OrderCounts, StartClock, StopClock, StopRig, TakeCue
from sequencer.timebase.timecode import Timebase
from sequencer.wire.osc import decode

STOP, RUN_STOP = "/stop", "/run/stop"
_LONGEST_TEXT = 100

Arguments = tuple[object, ...]

# Obeyed whatever comes with it, read or not: nobody who stops should first have to mend an argument.
_STOPS: dict[str, Order] = {STOP: StopRig(), RUN_STOP: StopClock()}
_PLAIN: dict[str, Order] = {"/run/start": StartClock()}
_NAMED: dict[str, Callable[[str], Order]] = {"/mark/go": GoToMark, "/cue/take": TakeCue}
_LOCATE = "/run/locate"
ADDRESSES = (*_STOPS, *_PLAIN, _LOCATE, *_NAMED)


class OscOrders:
    """The reader of one OSC port."""

    def __init__(self, timebase: Timebase) -> None:
        self._timebase = timebase
        self._complaints = Complaints()
        self._counts = OrderCounts()

    @property
    def counts(self) -> OrderCounts:
        """What has been heard so far."""
        return self._counts

    def feed(self, stamp_ns: int, data: bytes) -> list[Due]:
        """Return the orders in the OSC packet `data`, all due at `stamp_ns`."""
        due = []
        for address, arguments in self._messages(data):
            order = self._order(address, arguments)
            if order is not None:
                self._counts.orders += 1
                due.append(Due(stamp_ns, order, f"OSC {address}"))
        return due

    def troubles(self) -> tuple[str, ...]:
        """Return what the operator should know since the last call, in plain words."""
        return self._complaints.take()

    def _messages(self, data: bytes) -> list[tuple[str, Arguments]]:
        try:
            return [(message.address, message.arguments) for message in decode(data)]
        except PeerError as fault:
            address = data.partition(b"\0")[0].decode("ascii", "replace")
            if address in _STOPS:
                return [(address, ())]
            self._wrong(f"what came is no OSC message that is read here: {fault}")
            return []

    def _order(self, address: str, arguments: Arguments) -> Order | None:
        if address in _STOPS:
            return _STOPS[address]
        if address in _PLAIN:
            if not arguments:
                return _PLAIN[address]
            self._wrong(f"OSC {address} is sent without arguments, not with {len(arguments)}; nothing was done")
        elif address == _LOCATE:
            return self._locate(arguments)
        elif address in _NAMED:
            match arguments:
                case (str(name),) if 0 < len(name) <= _LONGEST_TEXT:
                    return _NAMED[address](name)
            self._wrong(f"OSC {address} takes one argument, a name as text; nothing was done")
        else:
            self._counts.others += 1
            here = ", ".join(ADDRESSES)
            self._complaints.tell("other", f"OSC {_short(address)} is no order; orders are {here}")
        return None

    def _locate(self, arguments: Arguments) -> Order | None:
        match arguments:
            case (str(label),) if len(label) <= _LONGEST_TEXT:
                try:
                    frames = self._timebase.frames(label)
                except ValueError as fault:
                    self._wrong(f"OSC {_LOCATE}: {fault}; nothing was done")
                    return None
                return Locate(float(self._timebase.rate.seconds(frames)))
        self._wrong(f"OSC {_LOCATE} takes one argument, a timecode as text like 10:00:05:12; nothing was done")
        return None

    def _wrong(self, words: str) -> None:
        self._counts.wrong += 1
        self._complaints.tell("wrong", words)


def _short(text: str) -> str:
    return text if len(text) <= _LONGEST_TEXT else f"{text[:_LONGEST_TEXT]}..."
