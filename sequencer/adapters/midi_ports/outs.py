"""The sending end of a timecode link, for a sender that makes time code: into a pipe, or out of a MIDI port."""

import socket
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager

from sequencer.adapters.midi_ports.rtmidi_ports import to_jack
from sequencer.adapters.midi_ports.systems import MidiOut, find, systems
from sequencer.errors import LinkError

SCHEMES = ("pipe", "midi", "virtual", "rtmidi")


class PipeOut:
    """The sending end of the built-in byte pipe."""

    ahead_ns = 0

    def __init__(self, link: socket.socket) -> None:
        self._link = link

    def send(self, data: bytes, due_ns: int) -> None:
        """Send the bytes now. Error: LinkError once the listener is gone."""
        try:
            self._link.sendall(data)
        except OSError as error:
            raise LinkError(f"the timecode pipe is gone ({error.strerror}); start its listener again") from error

    def check(self, now_ns: int) -> None:
        """Do nothing: what is sent into a pipe that is gone raises."""


@contextmanager
def _open_pipe(text: str) -> Iterator[PipeOut]:
    if not (text.isascii() and text.isdigit() and 0 < int(text) < 65_536):
        raise LinkError(f"pipe:{text}: no port of a pipe; write a number from 1 to 65535, as in pipe:4711")
    try:
        link = socket.create_connection(("127.0.0.1", int(text)), timeout=2.0)
    except OSError as error:
        raise LinkError(
            f"nobody listens on pipe:{text} ({error.strerror or error}); start the listener first"
        ) from error
    with link:
        # a quarter frame must not wait for the next one to fill a packet
        link.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        yield PipeOut(link)


@contextmanager
def open_out(address: str) -> Iterator[MidiOut]:
    """Open `pipe:PORT`, `midi:NAME` (the port whose name contains NAME), `virtual:NAME` or `rtmidi:NAME`.

    The last two are output ports of ours called NAME that others connect to; `rtmidi:` goes into JACK by RtMidi, as
    most programs do, where `virtual:` would send at exact audio frames. Error: LinkError.
    """
    scheme, _, name = address.partition(":")
    if scheme not in SCHEMES or not name:
        raise LinkError(f"{address!r} is no place for MIDI; write pipe:PORT, midi:NAME, virtual:NAME or rtmidi:NAME")
    with _opening(scheme, name) as out:
        yield out


def _opening(scheme: str, name: str) -> AbstractContextManager[MidiOut]:
    if scheme == "pipe":
        return _open_pipe(name)
    if scheme == "rtmidi":
        return to_jack().speak_virtual(name)
    if scheme == "virtual":
        return systems()[0].speak_virtual(name)
    system, hearer = find(name, lambda system: system.hearers())
    return system.speak(hearer)
