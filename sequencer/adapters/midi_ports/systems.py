"""The MIDI systems of this machine, the finer stamps first, and which of them has the port that is meant."""

from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import Protocol

from sequencer.adapters.contract import Source
from sequencer.adapters.midi_ports import rtmidi_ports
from sequencer.adapters.midi_ports.jack_ports import Jack, running
from sequencer.adapters.midi_ports.names import chosen, listed
from sequencer.errors import LinkError


class MidiOut(Protocol):
    """Where MIDI goes out. `ahead_ns` is how long before its due time a message must be handed over."""

    ahead_ns: int

    def send(self, data: bytes, due_ns: int) -> None:
        """Send one message, at `due_ns` where the port can, else now. Error: LinkError once the link is gone."""
        ...

    def check(self, now_ns: int) -> None:
        """Look, now and then, whether the other end is still there. Error: LinkError once it is gone."""
        ...


class System(Protocol):
    """What has MIDI ports: a JACK server, or a driver of the operating system. Error: LinkError from any method."""

    def senders(self) -> tuple[str, ...]:
        """Return the names of the ports that MIDI comes out of."""
        ...

    def hearers(self) -> tuple[str, ...]:
        """Return the names of the ports that MIDI can be sent to."""
        ...

    def listen(self, sender: str) -> AbstractContextManager[Source]:
        """Listen to the port called exactly `sender`."""
        ...

    def listen_virtual(self, name: str) -> AbstractContextManager[Source]:
        """Open an input port called `name` for others to connect to."""
        ...

    def speak(self, hearer: str) -> AbstractContextManager[MidiOut]:
        """Send to the port called exactly `hearer`."""
        ...

    def speak_virtual(self, name: str) -> AbstractContextManager[MidiOut]:
        """Open an output port called `name` for others to connect to."""
        ...


def systems() -> tuple[System, ...]:
    """Return the MIDI systems that work here now, JACK first. Error: LinkError where there is none, saying why."""
    found = (*((Jack(),) if running() else ()), *rtmidi_ports.drivers())
    if found:
        return found
    if not rtmidi_ports.installed():
        raise LinkError("MIDI ports need a package that is not here: pip install 'twintake[midi]'; or use pipe:PORT")
    raise LinkError(
        "this machine has no MIDI system now: no sequencer of the kernel (load the module snd-seq) and no JACK server "
        "(start one); or use pipe:PORT"
    )


def find(wanted: str, ports: Callable[[System], tuple[str, ...]]) -> tuple[System, str]:
    """Return the system and the full name of the port that `wanted` means, among those that `ports` lists.

    Error: LinkError that lists the ports there are, where no port fits or more than one of a system does.
    """
    there: list[str] = []
    for system in systems():
        found = ports(system)
        name = chosen(wanted, found)
        if name is not None:
            return system, name
        there += found
    raise LinkError(
        f"no MIDI port has {wanted!r} in its name; the machine has {listed(there)}; "
        f"plug the device in or start its program, or name one of these"
    )
