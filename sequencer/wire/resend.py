"""Which numbered packets go out again: those not named by the other side, while they are of use (selective repeat).

It sends nothing and reads no clock. Memory and work are bounded: what is due is forgotten, and a call gives back few.
Source: selective repeat as in any textbook of data links (from memory); the pace is our own.
"""

from dataclasses import dataclass

from sequencer.wire.device import Held, after

MOST_AT_ONCE = 16
_MOST_KEPT = 4096
_MASK_BITS = 64


@dataclass(slots=True)
class _Kept:
    packet: bytes
    due_ns: int
    sent_ns: int | None  # None: it found no room


class Unheard:
    """Packets that were sent and not yet named as received. `again` counts those sent more than once."""

    def __init__(self) -> None:
        self._kept: dict[int, _Kept] = {}  # in the order of their numbers
        self.again = 0

    def __len__(self) -> int:
        return len(self._kept)

    def clear(self) -> None:
        """Forget all, as after a stop."""
        self._kept.clear()

    def sent(self, number: int, packet: bytes, due_ns: int, sent_ns: int | None) -> None:
        """Keep a packet that is due at `due_ns`; `sent_ns` is None where there was no room for it."""
        self._kept[number] = _Kept(packet, due_ns, sent_ns)
        while len(self._kept) > _MOST_KEPT:
            del self._kept[next(iter(self._kept))]

    def replace(self, from_ns: int) -> None:
        """Forget what is due at `from_ns` or later, since others take its place."""
        self._kept = {number: one for number, one in self._kept.items() if one.due_ns < from_ns}

    def hear(self, held: Held) -> None:
        """Forget what has come, as the other side says."""
        first, mask = held.first, held.mask
        came = []
        for number in self._kept:
            ahead = after(number, first)
            if ahead > _MASK_BITS:
                break
            if ahead < 0 or (ahead and mask >> (ahead - 1) & 1):
                came.append(number)
        for number in came:
            del self._kept[number]

    def due(self, now_ns: int, patience_ns: int, travel_ns: int) -> list[bytes]:
        """Return the packets to send now, taken as sent; those that are due soonest, in their order.

        `patience_ns` is a round trip, within which nothing goes out twice; `travel_ns` what a packet needs at least:
        one that could not be there in time is forgotten.
        """
        useless = []
        packets = []
        for number, one in self._kept.items():
            if one.due_ns - travel_ns <= now_ns:
                useless.append(number)
            elif one.sent_ns is None or now_ns - one.sent_ns >= patience_ns:
                self.again += one.sent_ns is not None
                one.sent_ns = now_ns
                packets.append(one.packet)
                if len(packets) == MOST_AT_ONCE:
                    break
        for number in useless:
            del self._kept[number]
        return packets
