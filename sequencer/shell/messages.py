"""All that the command, the editor and the engine say to each other: commands, events and status, as typed values.

They travel as length-prefixed MessagePack over one loopback socket; status goes through shared memory instead, so that
a reader that hangs holds up nobody.
"""

import struct
from collections.abc import Iterator
from typing import Generic, Literal, TypeVar

import msgspec

from sequencer.rig.signals import TriggerName
from sequencer.takes.rows import Heading

Late = Literal["refuse", "join"]
Standing = Literal["up", "down", "unknown"]  # of the link to the rig; unknown where the rig never answers
Sync = Literal["internal", "mtc", "ltc", "clock", "audio"]
T = TypeVar("T")
LENGTH = struct.Struct("<I")
_LARGEST = 1 << 20


class Setup(msgspec.Struct, frozen=True, kw_only=True):
    """How an engine is set up, once, when its process starts."""

    project: str
    run: str | None  # the pass
    output: str
    sync: Sync
    sources: tuple[str, ...] = ()  # addresses where time may come in; the first one is followed
    triggers: tuple[str, ...] = ()  # addresses where orders come in
    audio_out: str = ""  # the sound card that plays the music; empty for the system's own choice
    controllers: str = ""  # the address of the game controllers; empty for none
    give: tuple[str, ...] = ()  # where time goes out
    offset_frames: str | None = None  # in place of the project's own, as an exact fraction
    delay_ms: float | None = None
    tick_hz: int = 250
    precise: bool = False
    realtime: bool = True
    freewheel_s: float = 2.0
    answers_needed: bool = True
    port: int = 0  # of the command's control socket
    token: str = ""

    @property
    def inlets(self) -> tuple[str, ...]:
        """The addresses to listen at, each once; a chunk's port is its place here. The playback has the next one."""
        return tuple(dict.fromkeys((*self.sources, *self.triggers)))

    @property
    def pads_port(self) -> int:
        """The port at which rows of game controllers come in, after the playback's."""
        return len(self.inlets) + 1


class Hello(msgspec.Struct, frozen=True, tag="hello"):
    """The first message of a process that was started by the command; the token proves that it is the one."""

    role: str
    token: str


class Arm(msgspec.Struct, frozen=True, tag="arm", kw_only=True):
    """Move to the start of the cue and be ready to follow. With a path, the take is recorded there.

    `speed` is a part of the pass's own, as an exact fraction. `late` says what becomes of timecode in mid-move. The
    program's own clock is set `preroll_s` before the start. `remote` lets triggers choose another cue or marker.
    `by_hand` are the axes that hands perform while the others play: from the start, or from a `Punch` on.
    """

    cue: str | None = None
    until_s: float | None = None
    speed: str = "1"
    late: Late = "refuse"
    preroll_s: float = 0.0
    remote: bool = False
    by_hand: tuple[str, ...] = ()
    punched: bool = True
    take: str | None = None
    heading: Heading | None = None


class Start(msgspec.Struct, frozen=True, tag="start"):
    """Start the program's own clock, or its playback, from where it stands."""


class Drive(msgspec.Struct, frozen=True, tag="drive"):
    """Somebody holds the control by which axes are driven; said anew all the time for as long as it is in hand.

    `parts` says how far each axis is pushed, from -1 to 1, in the rig's order. Without `range_deg` that is its speed, a
    part of `top` of its own limit. With it, it is how far from where it was: by half that range to each side, at up to
    `top` of its speed; a push of nothing returns it. Not `held` any more: axes brake, and stay.
    """

    parts: tuple[float, ...]
    top: float = 1.0
    range_deg: float | None = None
    held: bool = True


class TakeHands(msgspec.Struct, frozen=True, tag="take hands"):
    """From now on the game controllers drive the rig, or no longer. An operator's act, at this machine."""

    on: bool


class Go(msgspec.Struct, frozen=True, tag="go", kw_only=True):
    """Go to a pose that is called `name`; axes that it does not name stay. An operator's act, at this machine.

    `part` of each axis's speed is used, or the way takes `lasts_s`; both are exact numbers as text. Without either it
    is as fast as it may.
    """

    name: str
    position: tuple[tuple[str, float], ...]
    part: str = ""
    lasts_s: str = ""


class Fire(msgspec.Struct, frozen=True, tag="fire"):
    """Have the camera do something now: expose a frame, start or stop recording. It moves nothing."""

    name: TriggerName


class Clapped(msgspec.Struct, frozen=True, tag="clapped"):
    """The slate was clapped at `at_ns`; `text` says what it showed, for the take's log. It moves nothing."""

    at_ns: int
    text: str


class Punch(msgspec.Struct, frozen=True, tag="punch"):
    """Hands have the axes that they perform from now on, or no longer."""

    within: bool


class Reset(msgspec.Struct, frozen=True, tag="reset"):
    """Clear a latched stop. An operator's act, never the program's."""


class Quit(msgspec.Struct, frozen=True, tag="quit"):
    """Stop the rig if it moves, and end the process."""


Command = Arm | Start | Drive | TakeHands | Go | Punch | Fire | Clapped | Reset | Quit


class Opened(msgspec.Struct, frozen=True, tag="opened"):
    """The process `role` stands ready. `sources` are the addresses of the inlets that it opened, by their place in the
    setup; `timing` says in words how punctual it can be."""

    role: str
    sources: dict[int, str] = {}
    timing: str = ""


class Said(msgspec.Struct, frozen=True, tag="said"):
    """Something happened. `code` is for programs, `text` for people."""

    at_ns: int
    code: str
    text: str


class Pressed(msgspec.Struct, frozen=True, tag="pressed"):
    """Somebody asked for `deed` on pad number `pad`, in the words of `live.handling.Deed`."""

    deed: str
    pad: int


class Kept(msgspec.Struct, frozen=True, tag="kept"):
    """A take's file is closed, whole, and on disk; or `trouble` says why it is not whole."""

    path: str
    trouble: str = ""


class Refused(msgspec.Struct, frozen=True, tag="refused"):
    """A command was not obeyed; everything stays as it was. The exit status is the command's."""

    text: str
    exit_status: int


class Failed(msgspec.Struct, frozen=True, tag="failed"):
    """The process cannot go on; the exit status that the command then has."""

    text: str
    exit_status: int


class Ended(msgspec.Struct, frozen=True, tag="ended"):
    """The engine ended in order. Lateness and work of its ticks at the median, 99 and 99.9 percent, in microseconds."""

    ticks: int
    skipped: int
    late_us: tuple[float, ...]
    work_us: tuple[float, ...]


Report = Hello | Opened | Said | Pressed | Kept | Refused | Failed | Ended


class PadSet(msgspec.Struct, frozen=True, array_like=True, kw_only=True):
    """How a game controller that is here is set now, by its buttons too, in the words and units of `live.handling`.

    `top` is the part of each axis's full speed that it can ask for, the reduction where it is `fine` included.
    """

    number: int
    name: str  # not all of a long one: a status has a largest size
    sticks: bool  # whether it drives any axis
    manner: str
    range_deg: float
    top: float
    fine: bool


class Status(msgspec.Struct, frozen=True, kw_only=True):
    """What the engine's newest tick saw and did."""

    at_ns: int
    phase: str
    cause: str
    source: str  # what is followed, in words
    lost: int  # its messages
    lock: str
    timeline_s: float
    speed: float
    uncertainty_s: float
    asked: tuple[float, ...]
    actual: tuple[float | None, ...]
    ticks: int
    skipped: int
    late_ns: int
    hands: bool = False  # whether game controllers drive
    punched: bool = False  # whether hands have the axes that they perform
    link: Standing = "unknown"
    silent_s: float = 0.0  # how long the rig has not answered
    round_trip_s: float | None = None  # to the rig and back; None where it does not echo
    lost_part: float | None = None  # of what was sent to the rig to be echoed
    switches: tuple[bool | None, ...] = ()  # each axis's homing switch, closed or not; empty where the rig never says
    mark: str = ""  # where the rig was sent last, by whomever; its name as the engine knows it
    pads: tuple[PadSet, ...] = ()  # the first game controllers of those that are here
    work_ns: int = 0  # that the tick before this one took, from when it began; a tick cannot say it of itself
    camera_s: float = 0.0  # in how long it has its last order behind the end, if the clock runs on


COMMANDS: msgspec.msgpack.Decoder[Command] = msgspec.msgpack.Decoder(Command)
REPORTS: msgspec.msgpack.Decoder[Report] = msgspec.msgpack.Decoder(Report)


def frame(message: Command | Report) -> bytes:
    """Return the message as it travels."""
    body = msgspec.msgpack.encode(message)
    return LENGTH.pack(len(body)) + body


class Unframer(Generic[T]):
    """Bytes in, messages out. Error: ValueError for what is no message of ours; the stream is then of no use."""

    def __init__(self, decoder: msgspec.msgpack.Decoder[T]) -> None:
        self._decoder = decoder
        self._held = bytearray()

    def feed(self, data: bytes) -> Iterator[T]:
        self._held += data
        while len(self._held) >= LENGTH.size:
            (length,) = LENGTH.unpack_from(self._held)
            if length > _LARGEST:
                raise ValueError(f"a message of {length} bytes is none of ours")
            if len(self._held) < LENGTH.size + length:
                return
            body = bytes(self._held[LENGTH.size : LENGTH.size + length])
            del self._held[: LENGTH.size + length]
            try:
                yield self._decoder.decode(body)
            except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as fault:
                raise ValueError(f"not a message of ours: {fault}") from fault
