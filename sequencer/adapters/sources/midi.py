"""Timecode from a MIDI port: one that is there already, or one of ours for others to connect to.

Where a JACK server has the port it is read from JACK, whose stamps are exact to an audio frame; every other port is
read through RtMidi. It does not look into the bytes.
"""

from contextlib import AbstractContextManager

from sequencer.adapters.contract import Source, SourceKind
from sequencer.adapters.midi_ports.systems import find, systems
from sequencer.errors import LinkError


def open_midi(address: str) -> AbstractContextManager[Source]:
    """Open `midi:NAME`, the port whose name contains NAME, or `virtual:NAME`, a port of ours called NAME.

    Error: LinkError where no port or more than one fits, or where the machine has no MIDI; it lists the ports.
    """
    scheme, _, name = address.partition(":")
    if not name:
        raise LinkError(f"{address!r} names no MIDI port; write {scheme}:NAME")
    if scheme == "virtual":
        return systems()[0].listen_virtual(name)
    system, sender = find(name, lambda system: system.senders())
    return system.listen(sender)


def names() -> tuple[str, ...]:
    """Return the addresses of the ports that send MIDI. Error: LinkError where the machine has no MIDI, saying why."""
    return tuple(f"midi:{name}" for system in systems() for name in system.senders())


KIND = SourceKind(schemes=("midi", "virtual"), blocks=True, open=open_midi, names=names)
