"""A motor board that reads RS-274/NGC lines from a serial port. It does not say where it stands.

Address: `gcode:/dev/ttyUSB0?baud=115200&pan=A&tilt=B&slide=X`: the port, then for each axis its letter, of X Y Z A B
C, and the options
- `hz=50`: pieces a second; `digits=4`: behind the point;
- `window=127` and `lines=8`: how many characters, and how many lines, the board may have unacknowledged;
- `held=0.12`, more where `holds` needs it: how many seconds of motion it is handed at most;
- `holds=N`: how many lines it acknowledges before they are done: 0 where it acknowledges a line when it is done, else
  its queue and the one that it works on. Left out: nobody knows, and the two clocks are not compared;
- `begin=here` (it is told, by G92, that it stands where the first setpoint is) or `begin=board` (it was homed, and
  counts already as the axes do);
- `greeting=TEXT`: how the line begins that it says after it was switched on, where it is not heard at the opening;
- `shutter=M7`, `record=M8`, `cut=M9`: what the camera hangs on; `halt=M0`: the line for a stop.

What goes out: `G21 G90 G93` until it is acknowledged. Then for each piece of the way `G1`, a word for each axis that
moves, and F as inverse time. A piece goes when its end is no more than `held` away; the first one after a rest when it
shall begin, less its time on the wire. At rest nothing goes out. Until then the pieces are here, where a changed plan,
or a stop, withdraws them. An M word goes between two pieces; boards may come to rest for one.

What comes in: `ok` for each line. `error` for a piece is a link that is gone, since the rig is not where it should be;
so is a line that is not acknowledged 0.3 s after it should be done, and a board that greets, since it has lost its
place. `error` for an M word is told.

Clocks: where `holds` is known, the acknowledgement of a line says when the line so many before it was done. From how
late that is the next pieces are said to take up to one part in a hundred less or more, so that axes may be that much
faster by the board's clock. Where it is not known, a fast board is never ahead by more than `held`, as it has no more;
a slow one is found when its acknowledgements stay away; and every rest sets both right.

To stop: nothing more goes out, and the board ends what it holds, `held` seconds of motion at most; then `halt`, once,
as soon as there is room for it. RS-274/NGC has no word that stops at once: M0 waits its turn (clause 3.6.1, from
memory). Setpoints are left aside until the next question (`ask`); what a stop left undone is then made up at a tenth of
each axis's speed, once they move.
Source: NISTIR 6556, as wire.gcode names it.
"""

import select
import time
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Protocol

from sequencer.adapters.contract import Carries, LinkState, Output, OutputKind
from sequencer.adapters.gcode_boards.board import Board, addresses, carries_board, read_board
from sequencer.adapters.serial_ports.line import open_line
from sequencer.errors import LinkError
from sequencer.rig.axis import Rig
from sequencer.rig.signals import Feedback, Setpoint, Trigger
from sequencer.timebase.timecode import Timebase
from sequencer.wire.gcode import BEGIN, Answers, Handed, Window, meant
from sequencer.wire.segments import Code, Piece, Segments, Steering

_OVERDUE_NS = 300_000_000
_AGAIN_NS = 500_000_000
_QUIET_NS = 100_000_000
_BOOT_NS = (
    3_000_000_000  # boards that begin anew when their port is opened take two seconds (common practice, no source)
)
_TURN_NS = 10_000_000  # an acknowledgement that takes longer than this was waited for
_OFF_S = 0.05
_LATE_NS = 15_000_000

_opened: set[str] = set()  # addresses that were open once: only the first opening may wait


class Line(Protocol):
    """What is needed of a serial line. Error: LinkError once it is gone."""

    def fileno(self) -> int | None: ...

    def write(self, message: bytes) -> bool: ...

    def urgent(self, message: bytes) -> object: ...

    def go_on(self) -> None: ...

    def read(self) -> bytes: ...


class GcodeOutput:
    """The open link to one board. `ready`: it has answered. `left_aside` counts the lines that were no answers."""

    def __init__(self, line: Line, board: Board, rig: Rig) -> None:
        self._line, self._board = line, board
        self._names = rig.names
        self._lead_ns = round(board.held_s * 1e9)
        self._longest_ns = round(board.longest * board.byte_ns)
        self._wire_ns = 0  # how long the newest piece is on the wire
        speeds = tuple(axis.speed * board.words.per_unit for axis in rig.axes)
        self._segments = Segments(round(1e9 / board.hz), speeds)
        self._steering = Steering()
        self._window = Window(board.window, board.lines)
        self._answers = Answers()
        self._orders: deque[bytes] = deque()  # what waits for a rest
        self._recent: deque[Handed] = deque(maxlen=1 + (board.holds or 0))
        self._greetings: set[str] = set()
        self._declared = not board.begins_here
        self._first = True
        self._stopped = self._moved = False
        self._answered = False
        self._halts = 0  # written, and not acknowledged: that may never come, as a board that halts waits for somebody
        self._halt_waits = False
        self._since_ns: int | None = None
        self._begun_ns: int | None = None
        self._heard_ns = 0
        self._fault = self._refused = self._strange = ""
        self._late_ns, self._off_s = 0, 0.0  # the worst since `trouble` was asked
        self.ready = False
        self.left_aside = 0

    def fileno(self) -> int | None:
        return self._line.fileno()

    def send(self, setpoint: Setpoint) -> None:
        if self._stopped:
            return
        if not self.ready:
            self._segments.clear()  # what went by until then is not made up
        self._segments.add(setpoint.due_ns, self._board.words.steps(setpoint.position.tolist()))

    def replace(self, from_ns: int) -> None:
        self._segments.replace(from_ns)

    def fire(self, trigger: Trigger) -> bool:
        code = self._board.codes.get(trigger.name)
        if code is None or not self.ready:
            return False
        self._segments.fire(Code(trigger.due_ns, code))
        return True

    def ask(self) -> None:
        self._stopped = False

    def stop(self) -> None:
        self._stopped = True
        self._segments.clear()
        self._halt_waits |= self._moved and bool(self._board.halt)
        self._moved = False
        self._halt()

    def here(self, axis: str, value: float) -> None:
        place = self._names.index(axis)
        (steps,) = self._board.words.steps((value,))
        self._orders.append(self._board.words.here({place: steps}))
        self._segments.stands(place, steps)

    def look(self, now_ns: int) -> None:
        self._line.go_on()
        if not self.ready:
            self._begin(now_ns)
        else:
            self._hand_over(now_ns)
        oldest = self._window.oldest
        if oldest is not None and now_ns - max(oldest.done_ns, oldest.written_ns) > _OVERDUE_NS and not self._fault:
            self._fault = (
                f"the board at {self._board.path} has not acknowledged {_shown(oldest.text)} for "
                f"{_OVERDUE_NS / 1e9:g} s; check its power and its cable, and where it stands"
            )
        if self._fault:
            raise LinkError(self._fault)

    def link(self, now_ns: int) -> LinkState:
        return LinkState()

    def read(self, heard_ns: int) -> tuple[Feedback, ...]:
        for said in self._answers.lines(self._line.read()):
            self._heard_ns = heard_ns
            match meant(said):
                case "ok":
                    self._acknowledged(heard_ns)
                case "error":
                    self._is_refused(said)
                case "other":
                    self._other(said)
        if self.ready:
            self._hand_over(heard_ns)
        return ()

    def trouble(self) -> str:
        where = f"the board at {self._board.path}"
        if not self.ready:
            return f"{where} has not answered yet; check its power and its baud"
        if self._refused:
            return self._refused
        late_ns, off_s, self._late_ns, self._off_s = self._late_ns, self._off_s, 0, 0.0
        if abs(off_s) > _OFF_S:
            return f"{where} is {abs(off_s) * 1e3:.0f} ms {'late' if off_s > 0 else 'early'}; its clock is too far off"
        if late_ns > _LATE_NS:
            return f"{where} was handed a piece {late_ns / 1e6:.0f} ms late; take a lower hz, or a larger window"
        if self._window.extra:
            return f"{where} acknowledged {self._window.extra} lines more than it was sent; look at its cable"
        return f"{where} says {self._strange!r}; if it began anew, it has lost its place" if self._strange else ""

    def _begin(self, now_ns: int) -> None:
        """Speak until the board answers, and is quiet then."""
        self._since_ns = now_ns if self._since_ns is None else self._since_ns
        if self._answered:
            self.ready = now_ns - self._heard_ns > _QUIET_NS
        elif now_ns - self._since_ns > _BOOT_NS:
            said = f" (it says {self._strange!r})" if self._strange else ""
            self._fault = (
                f"no board answers at {self._board.path} at {self._board.baud} baud{said}; check its power, the baud, "
                f"and that it answers ok to {_shown(BEGIN)}"
            )
        elif self._begun_ns is None or now_ns - self._begun_ns > _AGAIN_NS:
            self._begun_ns = now_ns
            self._line.write(BEGIN)

    def _hand_over(self, now_ns: int) -> None:
        """Write what is due, as far as the board has room for it."""
        self._halt()
        if self._halt_waits:
            return
        if not self._declared and self._segments.at is not None:
            self._declared = True
            self._orders.append(self._board.words.here(dict(enumerate(self._segments.at))))
        while True:
            if self._orders and now_ns >= self._segments.until_ns:
                if not self._write(self._orders[0], now_ns, now_ns):
                    return
                self._orders.popleft()
                continue
            due = self._due(now_ns)
            if due is None:
                return
            if isinstance(due, Code):
                if not self._write(due.text, now_ns, max(now_ns, self._segments.until_ns)):
                    return
            elif not self._move(due, now_ns):
                return
            self._segments.take(due)

    def _halt(self) -> None:
        """Write the line for a stop once the board has room for it, before anything else."""
        if self._halt_waits and self._window.room(self._board.halt):
            self._line.urgent(self._board.halt)
            self._halts += 1
            self._halt_waits = False

    def _due(self, now_ns: int) -> Piece | Code | None:
        """Return what is to go now, reckoned with its own time on the wire: long lines must begin earlier."""
        due = self._segments.due(now_ns, self._lead_ns, self._longest_ns)
        if isinstance(due, Code):
            due = self._segments.due(now_ns, self._lead_ns, self._takes_ns(due.text))
        if isinstance(due, Piece):
            self._wire_ns = self._takes_ns(self._way(due, due.begins_ns))
            due = self._segments.due(now_ns, self._lead_ns, self._wire_ns)
        return due

    def _takes_ns(self, text: bytes) -> int:
        return round(len(text) * self._board.byte_ns)

    def _move(self, piece: Piece, now_ns: int) -> bool:
        if piece.begins_ns - piece.late_ns != self._segments.until_ns:
            self._steering.rest()
        text = self._way(piece, piece.begins_ns)
        if piece.begins_ns <= now_ns + self._wire_ns:
            # the board has nothing to do, so it begins once this line is there, however long the line is
            text = self._way(piece, now_ns + self._takes_ns(text))
        if not self._write(text, now_ns, piece.ends_ns, moves=True):
            return False
        self._first, self._moved = False, True
        self._late_ns = max(self._late_ns, piece.late_ns)
        return True

    def _way(self, piece: Piece, begins_ns: float) -> bytes:
        lasts_s = (piece.ends_ns - begins_ns) * 1e-9 * self._steering.factor
        return self._board.words.move(piece.to, lasts_s, None if self._first else piece.at)

    def _write(self, text: bytes, now_ns: int, done_ns: int, moves: bool = False) -> bool:
        if not (self._window.room(text) and self._line.write(text)):
            return False
        self._window.hand(Handed(text, now_ns, done_ns, moves))
        return True

    def _acknowledged(self, heard_ns: int) -> None:
        if not self.ready:
            self._answered = True
            return
        if self._halts and not self._window:
            self._halts -= 1
            return
        line = self._window.acknowledge()
        if line is None or self._board.holds is None or not line.moves:
            return
        self._recent.append(line)
        if len(self._recent) <= self._board.holds:
            return
        done = self._recent[0]  # the line that the board is through with, now that it takes this one
        # an answer that did not have to wait says nothing of when the other line was done
        if heard_ns - line.written_ns > _TURN_NS + self._takes_ns(line.text):
            late_s = (heard_ns - done.done_ns) * 1e-9
            self._steering.hear(late_s, heard_ns)
            self._off_s = max(self._off_s, late_s, key=abs)

    def _is_refused(self, said: str) -> None:
        if not (self.ready and self._window):
            self._strange = said
            return
        line = self._window.acknowledge()
        assert line is not None
        words = f"the board at {self._board.path} refused {_shown(line.text)}: {said}"
        if line.moves:
            self._fault = f"{words}; look at its settings and where it stands, then home the rig"
        else:
            self._refused = f"{words}; correct the line in the rig's file"

    def _other(self, said: str) -> None:
        if not self.ready:
            self._greetings.add(said)
            return
        greeted = self._board.greeting and said.startswith(self._board.greeting)
        if greeted or said in self._greetings:
            self._fault = f"the board at {self._board.path} began anew ({said}): it has lost its place; home the rig"
            return
        self.left_aside += 1
        self._strange = said


def _shown(text: bytes) -> str:
    return repr(text.decode().strip())


@contextmanager
def open_gcode(address: str, rig: Rig, _: Timebase) -> Iterator[Output]:
    """Open the link to the board at `address`; the first time it waits until the board answers.

    Error: LinkError that says why not, and the mend.
    """
    board = read_board(address, rig)
    with open_line(board.path, board.baud) as line:
        output = GcodeOutput(line, board, rig)
        if address not in _opened:
            _wait(output)
            _opened.add(address)
        yield output


def _wait(output: GcodeOutput) -> None:
    while not output.ready:
        output.look(time.monotonic_ns())
        descriptor = output.fileno()
        if descriptor is None:
            time.sleep(0.01)
        else:
            select.select([descriptor], [], [], 0.01)
        output.read(time.monotonic_ns())


def carries_gcode(address: str, rig: Rig) -> Carries:
    """Return what goes through. Error: LinkError, also where `hz` is more than the wire carries."""
    return carries_board(read_board(address, rig), rig)


KIND = OutputKind(
    schemes=("gcode",),
    answers=False,
    stop_action=(
        "nothing more is sent, and the board ends what it holds, 0.12 s of motion where the address says nothing else; "
        "its language has no word that stops at once"
    ),
    carries=carries_gcode,
    open=open_gcode,
    at_end="hold",
    shared=False,
    names=addresses,
)
