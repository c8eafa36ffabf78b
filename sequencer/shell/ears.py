"""Brings all that arrives to whom it concerns: time to the follower, orders to the agenda. It acts on neither."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from sequencer.adapters.contract import Chunk, Source
from sequencer.shell.hands import HandsOn
from sequencer.shell.kinds import carried
from sequencer.sync.agenda import Agenda
from sequencer.sync.orders import Due, Reader
from sequencer.sync.pace import Pace
from sequencer.sync.reading import Follower

_QUARTER_FRAME = b"\xf1"
# what is counted, and how the operator reads it
_TIME = {
    "quarter_frames": "quarter frames",
    "full_frames": "full frames",
    "words": "words",
    "clocks": "clocks",
    "lost": "lost",
    "doubled": "doubled",
    "misread": "misread",
    "mixed": "of two masters at once",
    "set_aside": "far off and set aside",
    "wrong_rate": "of another rate",
    "jumps": "jumps",
    "turns": "turns",
    "garbage_bytes": "bytes of garbage",
}
_ORDERS = {
    "orders": "orders",
    "wrong": "not understood",
    "elsewhere": "for another device",
    "left_aside": "bytes too fast to be read",
}
_FAST = {"left_aside": "orders too fast to be obeyed"}
_KEPT = {"dropped": "found no room", "refused": "were for a strange time", "cleared": "were forgotten at a stop"}


def _numbers(counted: object, names: Mapping[str, str]) -> str:
    numbers = {words: int(getattr(counted, name)) for name, words in names.items()}
    return ", ".join(f"{number} {words}" for words, number in numbers.items() if number)


@dataclass(slots=True, kw_only=True)
class Ears:
    """`time_port` is the port that is followed, None where nothing outside is; `readers` read orders, by port.

    `pads` takes rows of game controllers, at `pads_port`.
    `addresses` name the ports for people. `starts_ahead_ns` is how long a start of our own clock takes to be heard.
    """

    sources: tuple[Source, ...] = ()
    follower: Follower
    time_port: int | None = None
    readers: Mapping[int, Reader] = field(default_factory=dict)
    addresses: tuple[str, ...] = ()
    starts_ahead_ns: int = 0
    pads: HandsOn | None = None
    pads_port: int | None = None
    agenda: Agenda = field(default_factory=Agenda)
    _told: set[int] = field(default_factory=set)
    _paces: dict[int, Pace] = field(init=False)

    def __post_init__(self) -> None:
        self._paces = {port: Pace(self.addresses[port]) for port in self.readers}

    def filenos(self) -> list[int]:
        """Return what to wait on. A source's descriptor may change."""
        numbers = (source.fileno() for source in self.sources)
        return [number for number in numbers if number is not None]

    def hear(self, now_ns: int) -> list[str]:
        """Take in what has arrived by `now_ns`; return what happened to the links, in words."""
        notices: list[str] = []
        for source in self.sources:
            for chunk in source.read(now_ns):
                if chunk.port == self.time_port:
                    self.follower.feed(chunk.stamp_ns, chunk.data)
                elif self.pads is not None and chunk.port == self.pads_port:
                    self.pads.feed(chunk.stamp_ns, chunk.data)
                elif chunk.port not in self._told and self._is_time(chunk):
                    self._told.add(chunk.port)
                    notices.append(
                        f"timecode also comes in at {self.addresses[chunk.port]}; it is not followed. To follow it, "
                        "name it first, for the --sync of its kind"
                    )
                reader = self.readers.get(chunk.port)
                if reader is not None:
                    pace = self._paces[chunk.port]
                    for due in reader.feed(chunk.stamp_ns, chunk.data):
                        if pace.lets(due.order, now_ns):
                            self.agenda.add(due, now_ns)
            notices += source.notices()
        return notices

    def _is_time(self, chunk: Chunk) -> bool:
        carries = carried(self.addresses[chunk.port])
        return carries == "ltc" or (carries == "midi" and chunk.data[:1] == _QUARTER_FRAME)

    def due(self, now_ns: int) -> tuple[Due, ...]:
        """Return the orders that are due by `now_ns`, in order of time."""
        return self.agenda.take(now_ns, self.starts_ahead_ns)

    def heard(self) -> str:
        """Return what has been heard so far, in numbers, or nothing: `MTC, 25 frames a second: 720 quarter frames`."""
        named = [(self.follower.told, _numbers(self.follower.counts, _TIME))]
        named += [(self.addresses[port], _numbers(one.counts, _ORDERS)) for port, one in self.readers.items()]
        named += [(self.addresses[port], _numbers(one, _FAST)) for port, one in self._paces.items()]
        named += [("orders", _numbers(self.agenda, _KEPT))]
        return "; ".join(f"{name}: {numbers}" for name, numbers in named if numbers)

    def troubles(self) -> list[str]:
        """Return what the readers of orders have to tell since the last call."""
        told = [words for reader in self.readers.values() for words in reader.troubles()]
        paced = [words for pace in self._paces.values() for words in pace.troubles()]
        return [*told, *paced, *self.agenda.troubles()]
