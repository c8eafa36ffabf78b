"""A device of docs/device.md by script, on a link without sockets: packets in and out, and time is what it is set to.

It plays nothing and moves nothing: it keeps what it is told, and says what the test wants it to.
"""

import struct
from collections.abc import Callable
from dataclasses import dataclass, field

from sequencer.errors import LinkError
from sequencer.wire.device import NUMBERS, device_ns, device_tag
from sequencer.wire.osc import Message, Numbers, actual_addresses, command, decode
from sequencer.wire.timetag import IMMEDIATELY

MS_NS = 1_000_000
SECOND_NS = 1_000 * MS_NS


@dataclass
class Time:
    """This machine's clock, and the device's beside it."""

    now_ns: int = 50 * SECOND_NS
    apart_ns: int = 1_000 * SECOND_NS

    @property
    def there_ns(self) -> int:
        return self.now_ns + self.apart_ns


@dataclass
class ScriptedLink:
    """The link of a test: what is put goes to `hear` after `way_ns`, what the device says comes back after as long.

    `delay` is asked for each packet, where it is not None: how long it takes, or None for one that gets lost.
    """

    time: Time
    hear: Callable[[bytes], None] = field(default=lambda packet: None)
    way_ns: int = MS_NS
    delay: Callable[[], int | None] | None = None
    where: str = "the test"
    times: int = 3
    dropped: int = 0
    garbage: int = 0
    waiting: int = 0
    gone: str = ""
    full: bool = False
    put_at: list[tuple[int, bytes]] = field(default_factory=list)
    _out: list[tuple[int, bytes]] = field(default_factory=list)
    _back: list[tuple[int, bytes]] = field(default_factory=list)

    def fileno(self) -> int | None:
        return None

    def put(self, packet: bytes) -> bool:
        if self.gone:
            raise LinkError(self.gone)
        if self.full:
            self.dropped += 1
            return False
        self.put_at.append((self.time.now_ns, packet))
        self._enter(self._out, packet)
        return True

    def put_urgent(self, packet: bytes, *, clears: bool = False) -> bool:
        return self.put(packet)

    def say(self, packet: bytes) -> None:
        """Have the device say something, now."""
        self._enter(self._back, packet)

    def _enter(self, way: list[tuple[int, bytes]], packet: bytes) -> None:
        takes_ns = self.way_ns if self.delay is None else self.delay()
        if takes_ns is not None:
            way.append((self.time.now_ns + takes_ns, packet))

    def carry(self) -> None:
        """Hand the device what has come to it by now."""
        come, self._out = self._come(self._out)
        for packet in come:
            self.hear(packet)

    def _come(self, way: list[tuple[int, bytes]]) -> tuple[list[bytes], list[tuple[int, bytes]]]:
        """Return what has come by now, in the order of its coming, and what is still on its way."""
        come = sorted((one for one in way if one[0] <= self.time.now_ns), key=lambda one: one[0])
        return [packet for _, packet in come], [one for one in way if one[0] > self.time.now_ns]

    def packets(self) -> list[bytes]:
        if self.gone:
            raise LinkError(self.gone)
        come, self._back = self._come(self._back)
        return come

    def go_on(self) -> None:
        if self.gone:
            raise LinkError(self.gone)

    def trouble(self) -> str:
        return ""


def text(words: str) -> bytes:
    return words.encode() + b"\0" * (4 - len(words) % 4)


def able(version: int, name: str, room: int, most_hz: int, boot: int, axes: tuple[str, ...]) -> bytes:
    kinds = ",isiiii" + "s" * len(axes)
    numbers = struct.pack(">iiii", len(axes), room, most_hz, boot)
    strings = b"".join(text(axis) for axis in axes)
    return text("/device/able") + text(kinds) + struct.pack(">i", version) + text(name) + numbers + strings


def time_answer(number: int, received_ns: int, answered_ns: int) -> bytes:
    stamps = struct.pack(">iQQ", number, device_tag(received_ns), device_tag(answered_ns))
    return text("/device/time") + text(",itt") + stamps


def held(level: int, first: int, mask: int) -> bytes:
    signed = mask - (1 << 64) if mask >> 63 else mask
    return text("/device/held") + text(",iih") + struct.pack(">iiq", level, first, signed)


@dataclass
class Scripted:
    """The device. `sets` are the packets of those that it took, by number; `heard` every other message."""

    time: Time
    link: ScriptedLink
    version: int = 1
    axes: tuple[str, ...] = ("pan", "tilt")
    room: int = 512
    most_hz: int = 500
    boot: int = 11
    answers_time: bool = True
    sets: dict[int, tuple[Message, ...]] = field(default_factory=dict)
    lose: Callable[[int], bool] = field(default=lambda number: False)
    heard: list[Message] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.link.hear = self.hear

    def hear(self, packet: bytes) -> None:
        messages = decode(packet)
        if messages[0].address == "/plan/number":
            (number,) = messages[0].arguments
            assert isinstance(number, int)
            if not self.lose(number):
                self.sets[number] = messages
            return
        for message in messages:
            self.heard.append(message)
            match message.address, message.arguments:
                case "/device/hello", _:
                    self.link.say(able(self.version, "crane", self.room, self.most_hz, self.boot, self.axes))
                case "/device/time", (int(number),) if self.answers_time:
                    self.link.say(time_answer(number, self.time.there_ns, self.time.there_ns))

    def hold(self, first: int, level: int | None = None) -> None:
        """Say which sets have come, from `first` on."""
        while first in self.sets:
            first = (first + 1) % NUMBERS
        mask = sum(1 << bit for bit in range(64) if (first + 1 + bit) % NUMBERS in self.sets)
        self.link.say(held(len(self.sets) if level is None else level, first, mask))

    def stand(self, values: list[float], at_ns: int | None = None) -> None:
        """Say where the axes stand, at an instant of the device's clock or without one."""
        tag = IMMEDIATELY if at_ns is None else device_tag(at_ns)
        self.link.say(Numbers(actual_addresses(self.axes)).pack(tag, values))

    def run_out(self, number: int) -> None:
        self.link.say(command("/device/ran-out", number))

    def due_ns(self, number: int) -> int:
        """Return when a set is due, as this machine's clock has it."""
        return device_ns(self.sets[number][0].tag) - self.time.apart_ns

    def count(self, address: str) -> int:
        return sum(message.address == address for message in self.heard)
