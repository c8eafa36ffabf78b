"""MIDI ports of the operating system through RtMidi. It asks for messages and lets no driver call into Python.

A driver's thread should not wait for Python; so messages are polled, and their stamps are made from the distances that
RtMidi measures in that thread. JACK is not read this way: where a busy server misses cycles, RtMidi 5.0 reads a
message that has gone meanwhile, and takes the process down with it (seen); `jack_ports` asks whether it is there.
"""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sequencer.adapters.contract import Chunk
from sequencer.adapters.midi_ports.arrival import DeltaChain
from sequencer.errors import LinkError

_CLIENT = "twintake"
_AT_A_TIME = 256
_STILL_THERE_NS = 1_000_000_000
_ACTIVE_SENSING = b"\xfe"
_ALSA_SEQUENCER = Path("/dev/snd/seq")


def _binding() -> Any:
    try:
        import rtmidi
    except (ImportError, OSError):
        return None
    return rtmidi


def installed() -> bool:
    """Whether the package is there."""
    return _binding() is not None


@contextmanager
def _port(kind: str, driver: int) -> Iterator[Any]:
    """Yield RtMidi's `MidiIn` or `MidiOut`; its errors become ours."""
    rtmidi = _binding()
    if rtmidi is None:
        raise LinkError("MIDI ports need a package: pip install 'twintake[midi]'; or use pipe:PORT")
    try:
        port = getattr(rtmidi, kind)(driver, name=_CLIENT)
    except rtmidi.RtMidiError as error:
        raise LinkError(f"the MIDI system cannot be opened ({error}); check that it runs, or use pipe:PORT") from error
    try:
        yield port
    except rtmidi.RtMidiError as error:
        raise LinkError(f"the MIDI port failed ({error}); open it again") from error
    finally:
        port.close_port()
        port.delete()


class RtmidiIn:
    """MIDI from a port of the system, polled; stamps from the distances between messages, tied to the looks."""

    def __init__(self, port: Any, address: str, sender: str | None = None) -> None:
        self.address = address
        self._port = port
        self._sender = sender
        self._chain = DeltaChain()
        self._absent_ns: int | None = None
        self._checked_ns = time.monotonic_ns()

    def fileno(self) -> None:
        """Return None: RtMidi has no descriptor to wait on."""

    def notices(self) -> tuple[str, ...]:
        """Return nothing: short of its end, RtMidi tells nothing about a port."""
        return ()

    def read(self, heard_ns: int) -> tuple[Chunk, ...]:
        """Return the messages since the last call. Error: LinkError once the port that it listens to is gone."""
        chunks: list[Chunk] = []
        for _ in range(_AT_A_TIME):
            looked_ns = time.monotonic_ns()
            got = self._port.get_message()
            if got is None:
                self._absent_ns = looked_ns
                self._check(looked_ns)
                break
            message, delta_s = got
            stamp_ns = self._chain.stamp(round(delta_s * 1e9), self._absent_ns, time.monotonic_ns())
            self._checked_ns = stamp_ns
            data = bytes(message)
            if data != _ACTIVE_SENSING:
                chunks.append(Chunk(stamp_ns, data))
        return tuple(chunks)

    def _check(self, now_ns: int) -> None:
        """Look whether the port is still there, each second without a message; RtMidi itself does not say."""
        if self._sender is None or now_ns - self._checked_ns < _STILL_THERE_NS:
            return
        self._checked_ns = now_ns
        if self._sender not in self._port.get_ports():
            raise LinkError(f"the MIDI port {self._sender!r} is gone; plug its device in or start its program again")


def _hear_all(port: Any) -> None:
    # a kind of message that RtMidi drops takes its distance with it and would break the chain; `timing` is also
    # RtMidi's word for quarter frames
    port.ignore_types(sysex=False, timing=False, active_sense=False)


def _place(name: str, port: Any) -> int:
    names = port.get_ports()
    if name not in names:
        raise LinkError(f"the MIDI port {name!r} went away just now; plug its device in or start its program again")
    return int(names.index(name))


class RtmidiOut:
    """A port of the system that MIDI goes out of at once."""

    ahead_ns = 0

    def __init__(self, port: Any, hearer: str | None = None) -> None:
        self._port = port
        self._hearer = hearer
        self._checked_ns = time.monotonic_ns()

    def send(self, data: bytes, due_ns: int) -> None:
        """Send the message `data` now; RtMidi cannot send at an instant. Error: LinkError where it refuses."""
        try:
            self._port.send_message(data)
        except _binding().RtMidiError as error:
            raise LinkError(f"the MIDI port failed ({error}); open it again") from error

    def check(self, now_ns: int) -> None:
        """Look each second whether the port is still there; RtMidi itself does not say. Error: LinkError."""
        if self._hearer is None or now_ns - self._checked_ns < _STILL_THERE_NS:
            return
        self._checked_ns = now_ns
        if self._hearer not in self._port.get_ports():
            raise LinkError(f"the MIDI port {self._hearer!r} is gone; plug its device in or start its program again")


@dataclass(frozen=True, slots=True)
class RtMidi:
    """The MIDI ports of one of RtMidi's drivers. Error: LinkError from any method where it does not work."""

    driver: int

    def senders(self) -> tuple[str, ...]:
        """Return the names of the ports that MIDI comes out of."""
        with _port("MidiIn", self.driver) as port:
            return tuple(port.get_ports())

    def hearers(self) -> tuple[str, ...]:
        """Return the names of the ports that MIDI can be sent to."""
        with _port("MidiOut", self.driver) as port:
            return tuple(port.get_ports())

    @contextmanager
    def listen(self, sender: str) -> Iterator[RtmidiIn]:
        """Listen to the port called exactly `sender`."""
        with _port("MidiIn", self.driver) as port:
            _hear_all(port)
            port.open_port(_place(sender, port), "timecode")
            yield RtmidiIn(port, f"midi:{sender}", sender)

    @contextmanager
    def listen_virtual(self, name: str) -> Iterator[RtmidiIn]:
        """Open an input port called `name` for others to connect to."""
        with _port("MidiIn", self.driver) as port:
            _hear_all(port)
            port.open_virtual_port(name)
            yield RtmidiIn(port, f"virtual:{name}")

    @contextmanager
    def speak(self, hearer: str) -> Iterator[RtmidiOut]:
        """Send to the port called exactly `hearer`."""
        with _port("MidiOut", self.driver) as port:
            port.open_port(_place(hearer, port), "timecode")
            yield RtmidiOut(port, hearer)

    @contextmanager
    def speak_virtual(self, name: str) -> Iterator[RtmidiOut]:
        """Open an output port called `name` for others to connect to."""
        with _port("MidiOut", self.driver) as port:
            port.open_virtual_port(name)
            yield RtmidiOut(port)


def drivers() -> tuple[RtMidi, ...]:
    """Return the driver interfaces that this machine can use now, that to JACK left out: see `to_jack`."""
    rtmidi = _binding()
    if rtmidi is None:
        return ()
    return tuple(
        RtMidi(driver)
        for driver in rtmidi.get_compiled_api()
        if driver not in (rtmidi.API_RTMIDI_DUMMY, rtmidi.API_UNIX_JACK)
        # asked beforehand, since the library prints on standard error when it is opened in vain
        and (driver != rtmidi.API_LINUX_ALSA or _ALSA_SEQUENCER.exists())
    )


def to_jack() -> RtMidi:
    """Return RtMidi's own way to a JACK server, by which most programs reach it. Error: LinkError."""
    rtmidi = _binding()
    if rtmidi is None or rtmidi.API_UNIX_JACK not in rtmidi.get_compiled_api():
        raise LinkError("RtMidi with JACK is not installed: pip install 'twintake[midi]'; or use pipe:PORT")
    return RtMidi(rtmidi.API_UNIX_JACK)
