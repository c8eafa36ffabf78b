"""Finds what may be a stop in MIDI bytes that come too fast to be read: in one look, and nothing else.

Source: MIDI 1.0 Detailed Specification for running status; MIDI Machine Control, RP-013, for the layout of commands.
"""

import re
from collections.abc import Iterable

from sequencer.wire.midi import REAL_TIME
from sequencer.wire.mmc import ALL_CALL, Transport

_REAL_TIME_BYTES = bytes(range(REAL_TIME, 0x100))
_DATA_BYTES = bytes(range(0x80))
_SYSEX, _NOTE_ON, _END = 0xF0, 0x90, b"\xf7"
_LONGEST = 256  # of an unfinished system exclusive message; no command of machine control is as long
_DATA = rb"[\x00-\x7f]"
# commands that stand before the stop: those of one byte, and those that say how many bytes follow
_PLAIN = rb"[\x02-\x08\x0a-\x3f\x78-\x7f]"
_COUNTED = rb"|".join(rb"[\x40-\x77]%b%b{%d}" % (re.escape(bytes((count,))), _DATA, count) for count in range(0x80))


class Stops:
    """Looks for stops in a stream: notes and programs that are mapped to one, and machine control's stop and pause.

    `mapped` are their status bytes and numbers; `device` is our number in machine control, None for any. Of several of
    one kind in one look the first is found, for they all say the same.
    """

    def __init__(self, mapped: Iterable[tuple[int, int]], device: int | None) -> None:
        self._kinds = [_machine(device), *(_played(status, number) for status, number in mapped)]
        self.begun = b""  # by what was passed by or looked through: a status byte that still holds, and what followed

    def pass_by(self, data: bytes) -> None:
        """Take note of bytes that somebody else reads."""
        self.begun = _begun(self.begun + data.translate(None, _REAL_TIME_BYTES))

    def find(self, data: bytes) -> list[bytes]:
        """Return the messages in `data`, or completed by it, that may be a stop, each whole."""
        whole = self.begun + data.translate(None, _REAL_TIME_BYTES)
        self.begun = _begun(whole)
        found = [(match.start(), match) for kind in self._kinds if (match := kind.search(whole)) is not None]
        return [
            match[1] + match[2] + (_END if match[1][0] == _SYSEX else b"") for _, match in sorted(found, key=_place)
        ]


def _place(found: tuple[int, re.Match[bytes]]) -> int:
    return found[0]


def _machine(device: int | None) -> re.Pattern[bytes]:
    to = _DATA if device is None else b"[%b%b]" % (re.escape(bytes((device,))), re.escape(bytes((ALL_CALL,))))
    stops = re.escape(Transport.STOP.data() + Transport.PAUSE.data())
    return re.compile(rb"(\xf0\x7f%b\x06)(?:%b|%b)*([%b])" % (to, _PLAIN, _COUNTED, stops), re.DOTALL)


def _played(status: int, number: int) -> re.Pattern[bytes]:
    begins, wanted = re.escape(bytes((status,))), re.escape(bytes((number,)))
    if status & 0xF0 == _NOTE_ON:
        return re.compile(rb"(%b)(?:%b{2})*?(%b[\x01-\x7f])" % (begins, _DATA, wanted), re.DOTALL)
    return re.compile(rb"(%b)%b*?(%b)" % (begins, _DATA, wanted), re.DOTALL)


def _begun(data: bytes) -> bytes:
    """Return the last status byte and what of its message is there, or nothing where none can go on."""
    at = len(data.rstrip(_DATA_BYTES)) - 1
    if at < 0 or data[at] > _SYSEX:
        return b""
    follows = data[at + 1 :]
    if data[at] == _SYSEX:
        return data[at:] if len(follows) < _LONGEST else b""
    if data[at] & 0xF0 == _NOTE_ON and len(follows) % 2:
        return data[at : at + 1] + follows[-1:]
    return data[at : at + 1]
