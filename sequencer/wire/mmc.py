"""MIDI Machine Control: what a message asks a machine to do, to bytes and back.

It obeys nothing, counts no frames and knows no device number of ours; that is for whoever reads.

Source: MIDI Machine Control, MMA/AMEI RP-013 (1992): command numbers and the layout of LOCATE as in published
implementation charts; the bits of the standard time code, and that 40 to 77 carry a count of data bytes, from memory.
"""

from collections.abc import Iterable
from enum import IntEnum
from typing import NamedTuple

ALL_CALL = 0x7F
_HEAD, _END = b"\xf0\x7f", 0xF7
_COMMANDS = 0x06
_LOCATE, _TARGET = 0x44, 0x01
_COUNTED = range(0x40, 0x78)  # commands with data: a count of bytes follows, then these
_NEGATIVE, _STATUS_LAST = 0x40, 0x20
_EXTENDED = 0x00
_NAMES = {
    0x04: "fast forward",
    0x05: "rewind",
    0x06: "record strobe",
    0x07: "record exit",
    0x08: "record pause",
    0x0A: "eject",
    0x0B: "chase",
    0x0C: "command error reset",
    0x0D: "reset",
    0x40: "write",
    0x41: "masked write",
    0x42: "read",
    0x43: "update",
    _LOCATE: "locate",
    0x45: "variable play",
    0x46: "search",
    0x47: "shuttle",
    0x48: "step",
    0x4C: "move",
    0x7C: "wait",
    0x7F: "resume",
}


class Transport(IntEnum):
    """A command that is one byte."""

    STOP = 0x01
    PLAY = 0x02
    DEFERRED_PLAY = 0x03  # play as soon as a locate under way has arrived
    PAUSE = 0x09

    def data(self) -> bytes:
        """Return the byte of the command."""
        return bytes((self,))

    def __str__(self) -> str:
        return self.name.lower().replace("_", " ")


class Locate(NamedTuple):
    """Go to a label and wait there. `rate` is its code (0: 24, 1: 25, 2: 30 drop, 3: 30), `subframes` hundredths."""

    rate: int
    hours: int
    minutes: int
    seconds: int
    frames: int
    subframes: int = 0

    def data(self) -> bytes:
        """Return the eight bytes of the command, 44 06 01 hours minutes seconds frames subframes."""
        last = (self.minutes, self.seconds, self.frames, self.subframes)
        return bytes((_LOCATE, 6, _TARGET, self.rate << 5 | self.hours, *last))

    def __str__(self) -> str:
        return "locate"


class Other(NamedTuple):
    """A command that is not read here, by its name."""

    name: str

    def __str__(self) -> str:
        return self.name


Command = Transport | Locate | Other


class Message(NamedTuple):
    """What one message asks of `device`, in its order; `fault` says why what follows cannot be read, or nothing."""

    device: int
    commands: tuple[Command, ...]
    fault: str = ""


def encode(commands: Iterable[Transport | Locate], device: int = ALL_CALL) -> bytes:
    """Return the message F0 7F device 06 commands F7."""
    asked = b"".join(command.data() for command in commands)
    return _HEAD + bytes((device, _COMMANDS)) + asked + bytes((_END,))


def decode(message: bytes) -> Message | None:
    """Return what a whole system exclusive message asks, or None where it is no MIDI Machine Control command.

    A fault ends the reading, for nobody knows where the next command begins; what came before it stands.
    """
    if len(message) < 5 or not message.startswith(_HEAD) or message[3] != _COMMANDS or message[-1] != _END:
        return None
    device, body = message[2], message[4:-1]
    commands: list[Command] = []
    fault = "" if body else "it holds no command"
    at = 0
    while at < len(body) and not fault:
        code = body[at]
        size = 2 + body[at + 1] if code in _COUNTED and at + 1 < len(body) else 1
        whole = body[at : at + size]
        if code == _EXTENDED:
            fault = "it holds a command of an extended set"
        elif len(whole) < size or (code in _COUNTED and size == 1):
            fault = f"its command {_named(code)} is cut short"
        elif code in _TRANSPORT:
            commands.append(Transport(code))
        elif code != _LOCATE:
            commands.append(Other(_named(code)))
        elif whole[2:3] != bytes((_TARGET,)):
            commands.append(Other("locate to a stored point"))
        else:
            fault = _faulty_target(whole)
            if not fault:
                commands.append(_target(whole))
        at += size
    return Message(device, tuple(commands), fault)


_TRANSPORT = frozenset(Transport)


def _named(code: int) -> str:
    return _NAMES.get(code, f"number {code:02X}")


def _faulty_target(locate: bytes) -> str:
    if len(locate) != 8:
        return f"its locate has {len(locate) - 2} bytes of data instead of 6"
    frames, subframes = locate[6:]
    if frames & _NEGATIVE:
        return "its locate names a time before zero"
    if not frames & _STATUS_LAST and subframes > 99:
        return f"its locate names subframe {subframes}; they run from 0 to 99"
    return ""


def _target(locate: bytes) -> Locate:
    """Return the target of a locate. The last byte may tell of a time code reader's status in place of subframes."""
    hours, minutes, seconds, frames, subframes = locate[3:]
    last = 0 if frames & _STATUS_LAST else subframes
    return Locate(hours >> 5 & 3, hours & 31, minutes & 63, seconds & 63, frames & 31, last)
