"""A camera on a serial port: a control line that is raised for a pulse, or words that are sent. No axis is behind it.

Address: `serial:PORT?shutter=rts&record=text:REC&cut=text:STOP`. Each trigger that the camera has (`shutter`, `record`,
`cut`) says how it goes out:
- `rts` or `dtr`: that control line is raised for `pulse` seconds (0.1), and is low otherwise. Only record and cut may
  share one;
- `text:WORDS`: the words, and behind them what `end` says: `lf` (so it is unless said), `cr`, `crlf`, `none`. They are
  ASCII of at most 200 signs; what an address cannot hold is written in per cent, as in `%20` for a space and `%02`.
Other options: `baud` (9600), for words. Eight bits, no parity, one stop bit, no flow control.

What the camera says is left aside. An order that comes while its line is still raised, or was less than 20 ms ago, does
not go out, and that is said. Words wait for a port that stalls, which is said too.
A driver may raise both lines for an instant when the port is opened, before anybody can lower them (so pyserial's
documentation has it too). Lines fall when the port is closed, also by a program that was killed, as the system's usual
setting (HUPCL) has it.
Source: TIA-232-F names the lines (from memory); POSIX.1-2017, 11.2.4, HUPCL.
"""

import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from urllib.parse import quote

from sequencer.adapters.asked import Asked
from sequencer.adapters.camera_contacts import CameraOutput, Deed, Pulses, demand_apart, read_pulse, read_ways
from sequencer.adapters.contract import Carries, Output, OutputKind
from sequencer.adapters.serial_ports import ports
from sequencer.adapters.serial_ports.line import SerialLine, open_line
from sequencer.adapters.serial_ports.ports import CONTROLS, Control
from sequencer.rig.axis import Rig
from sequencer.rig.signals import TriggerName
from sequencer.timebase.timecode import Timebase

_EXAMPLE = "serial:/dev/ttyUSB0?shutter=rts or serial:/dev/ttyUSB0?baud=9600&record=text:REC&cut=text:STOP"
_WORDS = "text:"
_ENDS = {"lf": b"\n", "cr": b"\r", "crlf": b"\r\n", "none": b""}
_LONGEST = 200
_STALLS_NS = 500_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What an address says: for each trigger a control line, or words."""

    port: str
    baud: int
    pulse_ns: int
    lines: Mapping[TriggerName, Control]
    words: Mapping[TriggerName, bytes]


def parse_address(address: str) -> Wanted:
    """Read an address. Error: LinkError that says which part is wrong."""
    asked = Asked(address, _EXAMPLE)
    if asked.network or not asked.place:
        raise asked.fault("names no serial port")
    ways = read_ways(asked, "a control line, rts or dtr, or text:WORDS")
    end = _ENDS[asked.one_of("end", tuple(_ENDS))]
    lines: dict[TriggerName, Control] = {}
    words: dict[TriggerName, bytes] = {}
    for name, way in ways.items():
        line = next((one for one in CONTROLS if one == way), None)
        if line is not None:
            lines[name] = line
        else:
            words[name] = _said(asked, name, way) + end
    demand_apart(asked, lines)
    baud = asked.whole("baud", 9600, 300, 4_000_000)
    wanted = Wanted(port=asked.place, baud=baud, pulse_ns=read_pulse(asked), lines=lines, words=words)
    asked.done()
    return wanted


def _said(asked: Asked, name: str, way: str) -> bytes:
    text = way.removeprefix(_WORDS)
    if text == way:
        raise asked.fault(f"says {name}={way}, which is neither rts nor dtr nor text:WORDS")
    if not text or not text.isascii() or len(text) > _LONGEST:
        raise asked.fault(f"says {name}={way}, whose words are not 1 to {_LONGEST} signs of ASCII")
    return text.encode("ascii")


class _Cable:
    """The open line, looked after. `now_ns` is the monotonic clock."""

    def __init__(self, line: SerialLine, now_ns: Callable[[], int]) -> None:
        self._line, self._now_ns = line, now_ns
        self._waits_ns: int | None = None

    def tend(self) -> str:
        """Write on what waits, leave aside what the camera said; return what is wrong in words. Error: LinkError."""
        self._line.read()
        if not self._line.waiting:
            self._waits_ns = None
            return ""
        now_ns = self._now_ns()
        self._waits_ns = now_ns if self._waits_ns is None else self._waits_ns
        if now_ns - self._waits_ns < _STALLS_NS:
            return ""
        return f"the serial port {self._line.path} takes nothing, and an order to the camera waits; check its cable"


def output_on(line: SerialLine, wanted: Wanted, now_ns: Callable[[], int] = time.monotonic_ns) -> CameraOutput[Control]:
    """Return the camera on an open line."""
    pulses = Pulses(line.control, wanted.pulse_ns, now_ns)
    deeds: dict[TriggerName, Deed] = {name: partial(pulses.begin, one) for name, one in wanted.lines.items()}
    deeds |= {name: partial(line.urgent, words) for name, words in wanted.words.items()}
    return CameraOutput(f"the serial port {line.path}", deeds, pulses, _Cable(line, now_ns).tend, line.fileno)


@contextmanager
def open_serial(address: str, _rig: Rig, _timebase: Timebase) -> Iterator[Output]:
    """Open the port, its control lines low. Error: LinkError where it is not there, or has no such lines."""
    wanted = parse_address(address)
    with open_line(wanted.port, wanted.baud, low=tuple(dict.fromkeys(wanted.lines.values()))) as line:
        output = output_on(line, wanted)
        try:
            yield output
        finally:
            output.close()


def carries_serial(address: str, _: Rig) -> Carries:
    """Return which triggers the address has a way for. Error: LinkError."""
    wanted = parse_address(address)
    return Carries(triggers=(*wanted.lines, *wanted.words))


def names() -> tuple[str, ...]:
    """Return how addresses of the serial ports of this machine begin, whatever is behind them."""
    return tuple(f"serial:{quote(name, safe='/')}" for name in ports.names())


KIND = OutputKind(
    schemes=("serial",),
    answers=False,
    stop_action="nothing: no axis is behind it, and the camera goes on with what it does",
    carries=carries_serial,
    open=open_serial,
    drives=False,
    shared=False,
    names=names,
)
