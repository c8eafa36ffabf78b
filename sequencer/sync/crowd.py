"""How many messages of one MIDI port go on to the engine. It reads no clock.

What a show sends is far below; what is above comes from a loop between ports, a stuck sender or somebody who means
harm, and would make the engine late. A stop is not held up by it: machine control's stop and pause to us, and the notes
and programs that the project maps to a stop, pass once a millisecond whatever else floods the port.
"""

from sequencer.sync.allowance import Allowance
from sequencer.sync.midi_orders import by_message
from sequencer.sync.orders import Mapped, Order, StopClock, StopRig
from sequencer.wire import mmc
from sequencer.wire.mmc import ALL_CALL, Transport

TIME_PER_S = 1000  # 120 quarter frames and as many clocks are usual
PLAYED_PER_S = 500
OTHERS_PER_S = 1000  # a MIDI cable carries no more
AT_ONCE = 50  # of each: what the engine reads in one tick must not make it late
LONGEST = 64  # bytes of an exclusive message: time and machine control have 13 at most
AGAIN_NS = 1_000_000
_SECOND_NS = 1_000_000_000
_EXCLUSIVE, _NOTE_ON, _PROGRAM = 0xF0, 0x90, 0xC0
_OFF = b"\0"  # velocity 0: a note off
_TIME = frozenset({0xF1, 0xF2, 0xF8, 0xFA, 0xFB, 0xFC})
_STOPS = frozenset({Transport.STOP, Transport.PAUSE})


class Crowd:
    """The gate of one port, `address` as people read it; what may stop there is as its reader of orders has it.

    `left_aside` counts the messages that did not pass.
    """

    def __init__(self, address: str, mapped: tuple[Mapped, ...] = (), mmc_device: int | None = None) -> None:
        self._address = address
        self._orders = by_message(mapped)
        self._device = mmc_device
        self._time, self._played = Allowance(TIME_PER_S, 2 * AT_ONCE), Allowance(PLAYED_PER_S, AT_ONCE)
        self._others = Allowance(OTHERS_PER_S, AT_ONCE)
        self._stopped_ns: dict[type[Order], int] = {}  # since something else passed that may be an order
        self._notices: list[str] = []
        self._flood_ns: int | None = None
        self._before_flood = 0
        self.left_aside = 0

    def lets(self, message: bytes, at_ns: int) -> bool:
        """Whether the message, which came at `at_ns`, may go on."""
        stop = self.stop(message)
        if stop is not None and not 0 <= at_ns - self._stopped_ns.get(stop, -AGAIN_NS) < AGAIN_NS:
            self._stopped_ns[stop] = at_ns
            return True
        kind = message[0] if message else 0
        passes = len(message) <= LONGEST and self._room(kind, message).grants(at_ns)
        if not passes:
            self.left_aside += 1
            self._flooded(at_ns)
        elif stop is None and kind not in _TIME:
            self._stopped_ns.clear()  # the clock may run again: the next stop is no mere repetition
        return passes

    def stop(self, message: bytes) -> type[Order] | None:
        """Return which kind of stop is in a message; None where there is none."""
        if message[:1] == b"\xf0":
            asked = mmc.decode(message) if len(message) <= LONGEST else None
            ours = asked is not None and (self._device is None or asked.device in (self._device, ALL_CALL))
            return StopClock if asked is not None and ours and not _STOPS.isdisjoint(asked.commands) else None
        order = self._orders.get((message[0], message[1])) if len(message) > 1 else None
        return type(order) if isinstance(order, StopClock | StopRig) and message[2:] != _OFF else None

    def notices(self, now_ns: int) -> tuple[str, ...]:
        """Return what happened since the last call, in words for the operator."""
        if self._flood_ns is not None and now_ns - self._flood_ns >= _SECOND_NS:
            self._flood_ns = None
            count, self._before_flood = self.left_aside - self._before_flood, self.left_aside
            self._notices.append(f"the flood at {self._address} is over; {count} MIDI messages were left aside")
        said, self._notices = tuple(self._notices), []
        return said

    def _room(self, kind: int, message: bytes) -> Allowance:
        if kind in _TIME:
            return self._time
        return self._played if kind & 0xF0 in (_NOTE_ON, _PROGRAM) and message[2:] != _OFF else self._others

    def _flooded(self, at_ns: int) -> None:
        if self._flood_ns is None:
            self._notices.append(
                f"more MIDI arrives at {self._address} than a show sends; the rest is left aside, but for stops. Look "
                "for a loop between ports, and for what sends so much"
            )
        self._flood_ns = at_ns
