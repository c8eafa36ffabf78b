"""What ports this machine has and what each is good for, and what arrives at them, as it is stamped in a take.

It gives no orders and follows nobody: all that it hears is described, and forgotten.
"""

import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, ExitStack, contextmanager, suppress
from dataclasses import dataclass

from sequencer.adapters.audio_ports import devices
from sequencer.adapters.cards import cards
from sequencer.adapters.contract import Chunk, Source
from sequencer.adapters.listening import example, others
from sequencer.adapters.midi_ports.names import chosen
from sequencer.adapters.midi_ports.systems import systems
from sequencer.errors import LinkError
from sequencer.shell.kinds import (
    carried,
    controller_kind,
    controller_names,
    controllers_left_out,
    open_controllers,
    open_source,
    source_kind,
    source_names,
    sources_left_out,
)
from sequencer.sync.describe import Describer, Kind
from sequencer.sync.facts import Fact

_POLL_S = 0.001
_SWITCH_S = 0.0005
_OSC_PORT = 9001
_ORDERS = "triggers: start, stop, locate, mark, cue"
_KEPT = 20_000  # chunks of one port that nobody has looked at yet
_looking = threading.Lock()  # PortAudio and JACK bear one look at a time: two end the process


@dataclass(frozen=True, slots=True)
class Port:
    """One port: its name, what it is good for, and what to give to which option."""

    name: str
    good_for: str
    options: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Group:
    """The ports of one kind, or why there are none."""

    title: str
    ports: tuple[Port, ...] = ()
    missing: str = ""


def quoted(text: str) -> str:
    """Return text as it is typed into a shell."""
    if text and all(sign.isalnum() or sign in "_-.:/,@+" for sign in text):
        return text
    return '"' + "".join(f"\\{sign}" if sign in '"\\$`' else sign for sign in text) + '"'


def machine() -> tuple[Group, ...]:
    """Return all ports of this machine, by kind; a kind that is missing says why, and how to mend that."""
    return (
        _group("MIDI in", _midi_in),
        _group("MIDI out", _midi_out),
        _group("audio in", lambda: [_audio_in(one, name) for one, name in _named(devices.inputs())]),
        _group("audio out", lambda: [_audio_out(one, name) for one, name in _named(devices.outputs())]),
        Group(
            "OSC",
            (
                Port("in, from this machine", f"{_ORDERS}; any free UDP port", ("--trigger osc:9001",)),
                *_osc_in(),
                Port("out, to a rig", "setpoints to motors", ("--out osc://127.0.0.1:9000",)),
            ),
        ),
        Group(
            "byte pipe",
            (
                Port(
                    "in, any free TCP port here",
                    "MIDI bytes from a program on this machine: follow MTC or MIDI clock, triggers",
                    ("--midi-in pipe:4711", "--trigger pipe:4711"),
                ),
                Port("out, to one that listens", "give MTC", ("--give mtc:pipe:4711",)),
            ),
        ),
        *(_pads(scheme, names) for scheme, names in _pads_here().items()),
        Group("recordings", (Port("a WAV file", "LTC, from a recording", ("--audio-in file:NAME.wav",)),)),
        *(Group(f"left out: {place}", missing=why) for place, why in _left_out().items()),
    )


def _osc_in() -> list[Port]:
    """Return the interfaces by which others may be heard, once the operator names them."""
    with suppress(LinkError):
        return [
            Port(
                f"in, from other machines, by {name} ({', '.join(map(str, has))})",
                f"{_ORDERS}; ADDRESS: of the machine that may speak, or several with commas",
                (f"--trigger {quoted(example('osc', _OSC_PORT, name))}",),
            )
            for name, has in others(cards()).items()
        ]
    return []


def _left_out() -> dict[str, str]:
    return sources_left_out() | controllers_left_out()


def _pads_here() -> dict[str, tuple[str, ...] | str]:
    with _looking:
        return controller_names()


def _pads(scheme: str, names: tuple[str, ...] | str) -> Group:
    """Return the game controllers of one kind; they come in the order in which they have numbers."""
    title = f"game controllers, {scheme}"
    if isinstance(names, str):
        return Group(title, missing=names)
    good_for = f"drive the rig by hand; see what each stick and button is called: twintake ports --watch {scheme}:"
    ports = tuple(Port(f"{number}: {name}", good_for, ()) for number, name in enumerate(names))
    return Group(title, ports, "" if ports else "none now; plug one in, or pair it with this machine")


def _group(title: str, ports: Callable[[], list[Port]]) -> Group:
    try:
        with _looking:
            found = ports()
    except LinkError as fault:
        return Group(title, missing=str(fault))
    return Group(title, tuple(found), "" if found else "none now; plug one in, or start its program or sound server")


def _midi_in() -> list[Port]:
    names = [name for system in systems() for name in system.senders()]
    good_for = "follow MTC or MIDI clock; triggers by notes, programs and machine control"
    ports = [
        Port(name, good_for, (f"--midi-in {quoted(name)}", f"--trigger {quoted(f'midi:{name}')}")) for name in names
    ]
    options = ("--midi-in virtual:NAME", "--trigger virtual:NAME")
    own = Port("a port of our own", f"{good_for}; others connect to it", options)
    return [*ports, own]


def _midi_out() -> list[Port]:
    names = [name for system in systems() for name in system.hearers()]
    own = Port("a port of our own", "give MTC; others connect to it", ("--give mtc:virtual:NAME",))
    return [*(Port(name, "give MTC", (f"--give {quoted(f'mtc:midi:{name}')}",)) for name in names), own]


def _named(found: Sequence[devices.AudioDevice]) -> Iterator[tuple[devices.AudioDevice, str]]:
    """Yield each device with the shortest name that means it alone."""
    names = [one.name for one in found]
    return ((one, one.name if names.count(one.name) == 1 else one.label) for one in found)


def _audio_in(device: devices.AudioDevice, name: str) -> Port:
    return Port(
        _titled(device), "follow LTC on channel 1; for another one add ?channel=2", (f"--audio-in {quoted(name)}",)
    )


def _audio_out(device: devices.AudioDevice, name: str) -> Port:
    options = (f"--audio-out {quoted(name)}", f"--give {quoted(f'ltc:{name}')}")
    return Port(_titled(device), "playback as the master; give LTC", options)


def _titled(device: devices.AudioDevice) -> str:
    usual = ", the default" if device.is_default else ""
    return f"{device.label} ({device.channels} channels, {device.rate_hz:.0f} Hz{usual})"


def inputs() -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the address of every input that can be listened to now, and why whole kinds of input are missing."""
    with _looking:
        sources, pads = source_names(), controller_names()
    there = [name for names in sources.values() if not isinstance(names, str) for name in names]
    # pads are listened to all together, also those that come later
    there += [f"{scheme}:" for scheme, names in pads.items() if not isinstance(names, str)]
    missing = [f"{kind}: {names}" for kind, names in (sources | pads).items() if isinstance(names, str)]
    missing += [f"left out: {place}: {why}" for place, why in _left_out().items()]
    return tuple(dict.fromkeys(there)), tuple(missing)


def address(name: str) -> str:
    """Return the address of the input that the operator means by `name`, or by a part of it.

    Error: LinkError that lists the inputs there are.
    """
    for kind in (source_kind, controller_kind):
        with suppress(LinkError):
            kind(name)
            return name
    there, missing = inputs()
    found = chosen(name, there, "inputs")
    if found is None:
        why = "".join(f"; {words}" for words in missing)
        raise LinkError(f"no input has {name!r} in its name; there are {', '.join(there)}{why}")
    return found


def _opening(address: str) -> tuple[Kind, AbstractContextManager[Source]]:
    """Return what an input's chunks hold, and what opens it. Error: LinkError where nothing opens it."""
    with suppress(LinkError):
        controller_kind(address)
        return "pads", open_controllers(address)
    return carried(address), open_source(address)


class Heard:
    """One input that is listened to. `trouble` says why it could not be opened, or that it has gone."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.trouble = ""
        self.fault: Exception | None = None  # a bug, raised where somebody looks
        self.notices: deque[str] = deque()
        self._open = ExitStack()
        self._source: Source | None = None
        self._arrived: deque[Chunk] = deque(maxlen=_KEPT)
        self._describer = Describer("midi", 0)

    def open(self) -> None:
        """Open it; a fault becomes its trouble."""
        carries: Kind = "midi"
        try:
            self.name = address(self.name)
            carries, opening = _opening(self.name)
            self._source = self._open.enter_context(opening)
            self.name = self._source.address
        except LinkError as fault:
            self.trouble = str(fault)
        self._describer = Describer(carries, time.monotonic_ns())

    def hear(self) -> None:
        """Take in what has arrived; called in the listening thread."""
        if self._source is None or self.trouble:
            return
        try:
            self._arrived.extend(self._source.read(time.monotonic_ns()))
            self.notices.extend(self._source.notices())
        except LinkError as fault:
            self.trouble = str(fault)

    def look(self, now_ns: int) -> tuple[Fact, ...]:
        """Return what has been heard by now."""
        if self.fault is not None:
            raise self.fault
        while self._arrived:
            chunk = self._arrived.popleft()
            self._describer.feed(chunk.stamp_ns, chunk.data)
        return self._describer.facts(now_ns)

    def silence(self, now_ns: int) -> str:
        """Return how long nothing has come, in words; empty while something comes."""
        return self._describer.silence(now_ns)

    def close(self) -> None:
        """Close it; one that is gone has been told of."""
        with suppress(LinkError):
            self._open.close()


@contextmanager
def listening(names: Sequence[str]) -> Iterator[tuple[Heard, ...]]:
    """Open the inputs called `names`, and listen to them until the end.

    A thread of its own reads them, so that whoever shows what is heard delays no stamp.
    """
    heard = tuple(Heard(name) for name in dict.fromkeys(names))
    ended = threading.Event()

    def listen() -> None:
        while not ended.wait(_POLL_S):
            for port in heard:
                try:
                    port.hear()
                except Exception as fault:
                    port.fault = fault
                    return

    thread = threading.Thread(target=listen, name="listening")
    before_s = sys.getswitchinterval()
    sys.setswitchinterval(_SWITCH_S)
    try:
        for port in heard:
            port.open()
        thread.start()
        yield heard
    finally:
        ended.set()
        if thread.is_alive():
            thread.join()
        sys.setswitchinterval(before_s)
        for port in heard:
            port.close()
