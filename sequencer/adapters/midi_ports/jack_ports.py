"""MIDI ports of a JACK server: each event is read, and written, at its exact audio frame. It starts no server.

JACK calls `_cycle` in a thread of its own for each audio period, so that function only moves what has come, or is due,
between a port and a queue.
"""

import time
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from typing import Any

from sequencer.adapters.contract import Chunk
from sequencer.adapters.midi_ports.arrival import CycleClock
from sequencer.errors import LinkError

_CLIENT = "twintake"
_CYCLES_KEPT = 8192
_HAND_OVER_NS = 5_000_000
_DRAIN_S = 0.001
_NOT_REAL_TIME = (
    "timecode by JACK: its server runs without real-time scheduling, so a busy machine loses messages; start it with -R"
)
_NO_SERVER = "no JACK server runs; start one, or use pipe:PORT"


def _binding() -> Any:
    """Return the JACK binding, silenced, or None where it or the JACK library is not installed."""
    try:
        import jack
    except (ImportError, OSError):
        return None
    _quieten(jack)
    return jack


@cache
def _quieten(jack: Any) -> None:
    """Keep libjack from printing what its calls return anyway; once, since its threads may be in the old callback."""
    jack.set_error_function(lambda message: None)
    jack.set_info_function(lambda message: None)


@contextmanager
def _client() -> Iterator[Any]:
    jack = _binding()
    if jack is None:
        raise LinkError("JACK needs its library and a package: pip install 'twintake[midi]'; or use pipe:PORT")
    try:
        client = jack.Client(_CLIENT, no_start_server=True)
    except jack.JackOpenError as error:
        raise LinkError(_NO_SERVER) from error
    try:
        yield client
    except jack.JackError as error:
        raise LinkError(f"JACK refused ({error}); look whether the port is there, or take another name") from error
    finally:
        client.deactivate()
        client.close()


def running() -> bool:
    """Whether a JACK server runs here that can be spoken to."""
    try:
        with _client():
            return True
    except LinkError:
        return False


class JackIn:
    """MIDI from a JACK port, each message stamped with the instant of its audio frame."""

    def __init__(self, client: Any, port: Any, address: str, sender: str | None = None) -> None:
        self.address = address
        self._client = client
        self._port = port
        self._sender = sender
        self._cycles: deque[tuple[int, int, int, tuple[tuple[int, bytes], ...]]] = deque(maxlen=_CYCLES_KEPT)
        self._clock = CycleClock(client.samplerate)
        self._ended: str | None = None
        self._notices = () if client.realtime else (_NOT_REAL_TIME,)
        client.set_process_callback(self._cycle)
        client.set_shutdown_callback(self._shutdown)

    def _cycle(self, frames: int) -> None:
        now_ns = time.monotonic_ns()
        since = self._client.frames_since_cycle_start
        events = tuple((offset, bytes(event)) for offset, event in self._port.incoming_midi_events())
        self._cycles.append((self._client.last_frame_time, now_ns, since, events))

    def _shutdown(self, status: Any, reason: str) -> None:
        self._ended = reason

    def fileno(self) -> None:
        """Return None: JACK has no descriptor to wait on."""

    def notices(self) -> tuple[str, ...]:
        """Return what happened to the link since the last call, in words for the operator."""
        said, self._notices = self._notices, ()
        return said

    def read(self, heard_ns: int) -> tuple[Chunk, ...]:
        """Return the messages since the last call. Error: LinkError once the server or the connected port is gone.

        A stamp may lie up to one audio period ahead of the call: the server hands a period's messages over at its
        start, each with the frame at which it counts.
        """
        chunks: list[Chunk] = []
        while self._cycles:
            frame, now_ns, since, events = self._cycles.popleft()
            began_ns = self._clock.begin(frame, now_ns - self._clock.frames_ns(since))
            chunks += [Chunk(began_ns + self._clock.frames_ns(offset), data) for offset, data in events]
        if not chunks:
            self._check()
        return tuple(chunks)

    def _check(self) -> None:
        if self._ended is not None:
            raise LinkError(f"the JACK server ended ({self._ended}); start it again")
        if self._sender is not None and not self._port.number_of_connections:
            raise LinkError(f"the MIDI port {self._sender!r} is gone; plug its device in or start its program again")


class JackOut:
    """A JACK port that MIDI goes out of, each message at the audio frame that it is due at."""

    def __init__(self, client: Any, port: Any, hearer: str | None = None) -> None:
        self._client = client
        self._port = port
        self._hearer = hearer
        self._ended: str | None = None
        self._waiting: deque[tuple[int, bytes]] = deque()
        self._clock = CycleClock(client.samplerate)
        # a message must be here before the cycle begins that it falls into
        self.ahead_ns = _HAND_OVER_NS + self._clock.frames_ns(2 * client.blocksize)
        client.set_process_callback(self._cycle)
        client.set_shutdown_callback(self._shutdown)

    def _shutdown(self, status: Any, reason: str) -> None:
        self._ended = reason

    def check(self, now_ns: int) -> None:
        """Raise LinkError once the server or the connected port is gone."""
        if self._ended is not None:
            raise LinkError(f"the JACK server ended ({self._ended}); start it again")
        if self._hearer is not None and not self._port.number_of_connections:
            raise LinkError(f"the MIDI port {self._hearer!r} is gone; plug its device in or start its program again")

    def _cycle(self, frames: int) -> None:
        woke_ns = time.monotonic_ns() - self._clock.frames_ns(self._client.frames_since_cycle_start)
        began_ns = self._clock.begin(self._client.last_frame_time, woke_ns)
        self._port.clear_buffer()
        while self._waiting and self._waiting[0][0] < began_ns + self._clock.frames_ns(frames):
            due_ns, data = self._waiting.popleft()
            offset = round((due_ns - began_ns) * self._client.samplerate / 1e9)
            self._port.write_midi_event(min(max(offset, 0), frames - 1), data)

    def send(self, data: bytes, due_ns: int) -> None:
        """Send the message `data` at `due_ns`, not before that of an earlier call; hand it over `ahead_ns` before."""
        self._waiting.append((due_ns, data))

    def __enter__(self) -> "JackOut":
        return self

    def __exit__(self, *fault: object) -> None:
        """Let what was handed over go out before the port closes."""
        give_up_ns = time.monotonic_ns() + 2 * self.ahead_ns
        while self._ended is None and self._waiting and time.monotonic_ns() < give_up_ns:
            time.sleep(_DRAIN_S)


class Jack:
    """The JACK server as a MIDI system. Error: LinkError from any method where no server runs."""

    def senders(self) -> tuple[str, ...]:
        """Return the names of the ports that MIDI comes out of."""
        with _client() as client:
            return tuple(port.name for port in client.get_ports(is_midi=True, is_output=True))

    def hearers(self) -> tuple[str, ...]:
        """Return the names of the ports that MIDI can be sent to."""
        with _client() as client:
            return tuple(port.name for port in client.get_ports(is_midi=True, is_input=True))

    @contextmanager
    def listen(self, sender: str) -> Iterator[JackIn]:
        """Listen to the port called exactly `sender`."""
        with _client() as client:
            port = client.midi_inports.register("timecode")
            source = JackIn(client, port, f"midi:{sender}", sender)
            client.activate()
            client.connect(sender, port)
            yield source

    @contextmanager
    def listen_virtual(self, name: str) -> Iterator[JackIn]:
        """Open an input port called `name` for others to connect to."""
        with _client() as client:
            source = JackIn(client, client.midi_inports.register(name), f"virtual:{name}")
            client.activate()
            yield source

    @contextmanager
    def speak(self, hearer: str) -> Iterator[JackOut]:
        """Send to the port called exactly `hearer`."""
        with _client() as client:
            port = client.midi_outports.register("timecode")
            sink = JackOut(client, port, hearer)
            client.activate()
            client.connect(port, hearer)
            with sink:
                yield sink

    @contextmanager
    def speak_virtual(self, name: str) -> Iterator[JackOut]:
        """Open an output port called `name` for others to connect to."""
        with _client() as client:
            sink = JackOut(client, client.midi_outports.register(name))
            client.activate()
            with sink:
                yield sink
