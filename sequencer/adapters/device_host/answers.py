"""What a device says, taken apart: where its axes stand, how their switches are, and what is the protocol's own."""

import math
from collections.abc import Sequence

from sequencer.errors import PeerError
from sequencer.wire.device import Answer, answer, device_ns
from sequencer.wire.osc import Numbers, actual_addresses, decode, split, switch_addresses
from sequencer.wire.timetag import IMMEDIATELY

_SWITCH_HOLDS_NS = 500_000_000  # what was said of a switch longer ago than this is not known any more

_OF_OTHERS = ("/actual", "/switch")  # of axes that are not ours

Actual = tuple[int | None, list[float]]


class Answers:
    """Reads the packets of one device. `left_aside` counts those not understood, `odd` the newest of them in a row.

    Shape: an actual is the device's instant, or None, and A values, NaN for an axis that it does not name.
    """

    def __init__(self, names: Sequence[str]) -> None:
        self._names = tuple(names)
        self._places = {address: place for place, address in enumerate(actual_addresses(names))}
        self._switch_places = {address: place for place, address in enumerate(switch_addresses(names))}
        self._switches: dict[int, tuple[bool, int]] = {}  # by the axis's place, with when it was heard
        self._told: Actual | None = None
        self._garbage = 0
        self.left_aside = self.odd = 0
        self.name(self._names)

    def name(self, axes: Sequence[str]) -> None:
        """Take in which axes the device has: those that are not ours are passed over."""
        self._actuals = Numbers(actual_addresses(axes))
        self._picked = [axes.index(name) for name in self._names]

    def spoilt(self, garbage: int) -> None:
        """Take in how many pieces that came in were no packets."""
        self.odd += garbage - self._garbage
        self._garbage = garbage

    def actual(self, packet: bytes) -> Actual | None:
        """Read a packet that holds nothing but where axes stand; None for any other."""
        read = self._actuals.read(packet)
        if read is None:
            return None
        tag, values = read
        position = [values[place] if math.isfinite(values[place]) else math.nan for place in self._picked]
        if all(math.isnan(value) for value in position):
            return None
        self.odd = 0
        return (None if tag == IMMEDIATELY else device_ns(tag)), position

    def others(self, packet: bytes, heard_ns: int) -> list[Answer]:
        """Return what a packet says of the protocol's own; what it says of axes is in `told` and `switches`."""
        self._told = None
        answers, understood = [], False
        try:
            for tag, message in split(packet):
                said = answer(message)
                if said is not None:
                    answers.append(said)
                else:
                    understood |= self._axis(tag, message, heard_ns)
        except PeerError:
            answers, self._told, understood = [], None, False
        if answers or understood:
            self.odd = 0
        else:
            self.left_aside += 1
            self.odd += 1
        return answers

    def told(self) -> Actual | None:
        """Return what the last packet that `others` read says of where axes stand."""
        return self._told

    def switches(self, now_ns: int) -> tuple[bool | None, ...]:
        """Return for each axis whether its switch is closed; nothing where the device never spoke of any."""
        if not self._switches:
            return ()
        said = (self._switches.get(place) for place in range(len(self._names)))
        return tuple(None if one is None or now_ns - one[1] > _SWITCH_HOLDS_NS else one[0] for one in said)

    def _axis(self, tag: int, message: bytes, heard_ns: int) -> bool:
        """Read what a message says of an axis, or the answer to a ping; return whether it does. Error: PeerError."""
        (read,) = decode(message)
        place = self._places.get(read.address)
        match read.arguments:
            case (bool(),):
                return False
            case (float() | int() as value,) if place is not None and math.isfinite(value):
                values = [math.nan] * len(self._names) if self._told is None else self._told[1]
                values[place] = float(value)
                self._told = (None if tag == IMMEDIATELY else device_ns(tag)), values
                return True
            case (0 | 1 as closed,) if read.address in self._switch_places:
                self._switches[self._switch_places[read.address]] = (bool(closed), heard_ns)
                return True
        ours = place is not None or read.address in self._switch_places
        return read.address == "/rig/pong" or (not ours and read.address.endswith(_OF_OTHERS))
