"""A motor board that reads RS-274/NGC, as its address and its axes say; and what its serial port can carry."""

from dataclasses import dataclass
from urllib.parse import quote

from sequencer.adapters.asked import Asked
from sequencer.adapters.contract import Carries
from sequencer.adapters.serial_ports import ports
from sequencer.adapters.serial_ports.line import BITS_PER_BYTE
from sequencer.rig.axis import Rig
from sequencer.rig.signals import TRIGGER_NAMES, TriggerName
from sequencer.wire.gcode import LETTERS, Words, is_code

EXAMPLE = "gcode:/dev/ttyUSB0?baud=115200&pan=A&tilt=B&slide=X"
FURTHEST = 99_999.0  # how far out positions may be written, in an axis's own unit
_USUAL_HELD_S = 0.12
_SLACK_S = 0.28  # from a setpoint's coming to the piece that it ends


@dataclass(frozen=True, slots=True)
class Board:
    """One board, and how it is spoken to.

    `held_s` is how much motion it is handed at most. `holds` is how many lines it acknowledges before they are done,
    None where nobody knows. `window` and `lines` are what it may have unacknowledged: characters and lines.
    `begins_here` says that it is told where it stands before it moves. `halt` is the operator's line for a stop.
    """

    path: str
    baud: int
    words: Words
    hz: float
    held_s: float
    holds: int | None
    window: int
    lines: int
    begins_here: bool
    greeting: str
    halt: bytes
    codes: dict[TriggerName, bytes]
    longest: int

    @property
    def byte_ns(self) -> float:
        """How long one byte is on the wire."""
        return BITS_PER_BYTE * 1e9 / self.baud

    @property
    def most_hz(self) -> float:
        """How many of the longest lines a second the wire carries."""
        return self.baud / BITS_PER_BYTE / self.longest

    @property
    def why(self) -> str:
        """The same in words."""
        return (
            f"{self.baud} baud carry {self.baud / BITS_PER_BYTE:.0f} characters a second, and a line has up to "
            f"{self.longest}: {self.most_hz:.1f} lines a second"
        )


def addresses() -> tuple[str, ...]:
    """Return the addresses of the serial ports that this machine has now; letters for the axes are still wanting."""
    return tuple(f"gcode:{quote(name, safe='/')}?baud=115200" for name in ports.names())


def read_board(address: str, rig: Rig) -> Board:
    """Read the address. Error: LinkError that says which part is wrong, with the figure where it is one."""
    asked = Asked(address, EXAMPLE)
    if not asked.place:
        raise asked.fault("names no serial port")
    letters = _letters(asked, rig)
    digits = asked.whole("digits", 4, 0, 6)
    hz = asked.number("hz", 50, 1, 500)
    said_holds = asked.option("holds")
    if said_holds and not (said_holds.isascii() and said_holds.isdigit() and int(said_holds) <= 64):
        raise asked.fault(f"says holds={said_holds}; it must be a whole number from 0 to 64, or be left out")
    holds = int(said_holds) if said_holds else None
    usual_s = _USUAL_HELD_S if holds is None else max(_USUAL_HELD_S, (holds + 3) / hz)  # it waits, so that it tells
    words = Words(letters, digits)
    board = Board(
        path=asked.place,
        baud=asked.whole("baud", 115_200, 300, 4_000_000),
        words=words,
        hz=hz,
        held_s=asked.number("held", usual_s, 0.02, 2),
        holds=holds,
        window=asked.whole("window", 127, 16, 65_536),
        lines=asked.whole("lines", 8, 1, 256),
        begins_here=asked.one_of("begin", ("here", "board")) == "here",
        greeting=asked.option("greeting"),
        halt=_line(asked, "halt"),
        codes=_codes(asked),
        longest=words.longest(_furthest(rig)),
    )
    asked.done()
    _check(asked, board)
    return board


def carries_board(board: Board, rig: Rig) -> Carries:
    """Return what goes through."""
    return Carries(
        most_axes=len(LETTERS),
        most_hz=board.most_hz,
        why=board.why,
        resolution=(1 / board.words.per_unit,) * len(rig.axes),
        span=((-FURTHEST, FURTHEST),) * len(rig.axes),
        ahead_s=board.held_s + _SLACK_S,
        committed_s=board.held_s,
        triggers=tuple(board.codes),
    )


def _check(asked: Asked, board: Board) -> None:
    if board.hz > board.most_hz:
        raise asked.fault(f"asks for hz={board.hz:g}, but {board.why}; take a lower hz or a higher baud")
    longest = max(board.longest, *map(len, board.codes.values()), len(board.halt))
    if board.window < longest:
        raise asked.fault(f"says window={board.window}, but a line has up to {longest} characters")
    if board.held_s < 2 / board.hz:
        raise asked.fault(f"says held={board.held_s:g}, less than two pieces of hz={board.hz:g} last")


def _letters(asked: Asked, rig: Rig) -> tuple[str, ...]:
    letters: list[str] = []
    for axis in rig.axes:
        letter = asked.option(axis.name).upper()
        if len(letter) != 1 or letter not in LETTERS:
            said = f"says {axis.name}={letter}" if letter else f"gives no letter for {axis.name}"
            raise asked.fault(f"{said}; each axis needs one of {', '.join(LETTERS)}")
        if letter in letters:
            raise asked.fault(f"gives the letter {letter} to {rig.axes[letters.index(letter)].name} and {axis.name}")
        letters.append(letter)
    return tuple(letters)


def _furthest(rig: Rig) -> list[float]:
    """Return the longest position of each axis."""
    return [FURTHEST if axis.travel is None else max(1.0, *map(abs, axis.travel)) for axis in rig.axes]


def _line(asked: Asked, name: str) -> bytes:
    said = asked.option(name)
    if said and not (said.isascii() and said.isprintable() and len(said) < 80):
        raise asked.fault(f"says {name}={said!r}; it must be one short line of plain characters")
    return f"{said}\n".encode() if said else b""


def _codes(asked: Asked) -> dict[TriggerName, bytes]:
    codes: dict[TriggerName, bytes] = {}
    for name in TRIGGER_NAMES:
        said = asked.option(name)
        if said and not is_code(said):
            raise asked.fault(f"says {name}={said}; it must be an M word, as in {name}=M7")
        if said:
            codes[name] = f"{said.upper()}\n".encode()
    return codes
