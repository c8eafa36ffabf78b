"""What arrives at one port, in plain words, for an operator who looks which cable carries what.

It needs no project, follows nobody and gives no orders: whatever comes is named, also what this program has no use
for. The stamps come as arguments.
"""

from typing import Literal

from sequencer.errors import PeerError
from sequencer.sync.facts import Ear, Fact, Facts, shown
from sequencer.sync.ltc_ear import LtcEar
from sequencer.sync.midi_ear import MidiEar
from sequencer.sync.pad_ear import PadEar
from sequencer.wire.osc import decode

Kind = Literal["midi", "ltc", "osc", "pads"]

_SILENT_NS = 2_000_000_000


class Describer:
    """Describes one port. `kind` is what its chunks hold: MIDI bytes, words of timecode, OSC packets, rows of pads."""

    def __init__(self, kind: Kind, now_ns: int) -> None:
        self._ear: Ear = _EARS[kind]()
        self._heard_ns = now_ns
        self.chunks = 0

    def feed(self, stamp_ns: int, data: bytes) -> None:
        """Take what arrived at `stamp_ns`; a byte stream may be split in any way."""
        self.chunks += 1
        self._heard_ns = max(self._heard_ns, stamp_ns)
        self._ear.feed(stamp_ns, data)

    def facts(self, now_ns: int) -> tuple[Fact, ...]:
        """Return what has been heard, time first."""
        return self._ear.facts(now_ns)

    def silence(self, now_ns: int) -> str:
        """Return how long nothing came, in words; empty while something comes."""
        silent_ns = now_ns - self._heard_ns
        if silent_ns < _SILENT_NS and self.chunks:
            return ""
        return f"nothing for {silent_ns // 1_000_000_000} s" if silent_ns >= _SILENT_NS else "nothing yet"

    def words(self, now_ns: int) -> tuple[str, ...]:
        """Return a line for each kind of thing that is heard, and one for silence."""
        silence = self.silence(now_ns)
        return (*((silence,) if silence else ()), *(str(fact) for fact in self.facts(now_ns)))


class OscEar:
    """Hears OSC packets: each address is a kind."""

    def __init__(self) -> None:
        self._facts = Facts()

    def feed(self, stamp_ns: int, data: bytes) -> None:
        try:
            messages = decode(data)
        except PeerError as fault:
            self._facts.add("no OSC", f"{fault}: {shown(data)}", stamp_ns, wrong=True)
            return
        for message in messages:
            arguments = " ".join(str(one) for one in message.arguments)
            self._facts.add(f"OSC {message.address}", arguments, stamp_ns)

    def facts(self, now_ns: int) -> tuple[Fact, ...]:
        return self._facts.all()


_EARS: dict[Kind, type[MidiEar] | type[OscEar] | type[LtcEar] | type[PadEar]] = {
    "midi": MidiEar,
    "osc": OscEar,
    "ltc": LtcEar,
    "pads": PadEar,
}
