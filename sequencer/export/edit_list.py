"""The lines of an edit list in the CMX 3600 form, as events and locators, each with its line. It judges no label.

Source: the CMX 3600 form as editing systems exchange it; no standards body publishes it: common practice, no source.
`NNN REEL V C source-in source-out record-in record-out`, outs exclusive; D, W and K with a length are dissolves, wipes
and keys; `FCM:` says how labels count; `M2` a speed; `* LOC:` a locator at a record label.
"""

import re
from dataclasses import dataclass, replace

from sequencer.errors import ImportFault

MAX_BYTES = 8 * 2**20
MOST_EVENTS = 20_000
BLACK = ("BL", "BLACK")
NO_REEL = "AX"
_LABEL = re.compile(r"\d{1,2}:\d{1,2}:\d{1,2}[:;]\d{1,3}", re.ASCII)
_NUMBER = re.compile(r"\d{1,6}[A-Z]?", re.ASCII)
_EFFECT = re.compile(r"C|D|W\d{1,3}|K[BO]?", re.ASCII)
_LOCATOR = re.compile(r"(\S+)(?:\s+(.*))?", re.ASCII)
# of a locator's words the first, where it is one: whoever lists them prints a colour, or nothing
_COLOURS = frozenset(
    ("BLACK", "BLUE", "CYAN", "GREEN", "GREY", "MAGENTA", "ORANGE", "PINK", "PURPLE", "RED", "WHITE", "YELLOW")
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """One line of the list: which reel, onto which channel, how it begins, and its labels as they are written.

    `effect` is C, D, W with its number, or K; `length` how many frames it takes. `clip` is the name that a comment
    gives, `speed` the frames a second of an M2.
    """

    line: int
    number: str
    reel: str
    channel: str
    effect: str
    length: int
    source: tuple[str, str]
    record: tuple[str, str]
    clip: str = ""
    speed: str = ""

    @property
    def black(self) -> bool:
        """Whether it is black and no picture."""
        return self.reel.upper() in BLACK

    @property
    def video(self) -> str:
        """The channel of its picture, empty where it has sound alone. B is both, as AA/V is."""
        if self.channel.upper() == "B":
            return "V"
        found = re.search(r"V\d*", self.channel.upper(), re.ASCII)
        return found[0] if found else ""


@dataclass(frozen=True, slots=True)
class Locator:
    """A named record label."""

    line: int
    label: str
    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class EditList:
    """What the lines say. `modes` are the frame code modes with their lines, `unread` lines that nobody knows."""

    title: str
    modes: tuple[tuple[int, bool], ...]
    events: tuple[Event, ...]
    locators: tuple[Locator, ...]
    unread: tuple[int, ...]


def read_edit_list(data: bytes, name: str) -> EditList:
    """Return the list in the bytes of the file `name`. Error: ImportFault with the line."""
    if len(data) > MAX_BYTES:
        raise ImportFault(f"{name}: larger than {MAX_BYTES // 2**20} MB; this is no edit list")
    reading = _Reading(name)
    for number, line in enumerate(_text(data).splitlines(), 1):
        reading.take(number, line.strip())
    if not reading.events and not reading.locators:
        raise ImportFault(f"{name}: it has no event and no locator; this is no edit list in the CMX 3600 form")
    return EditList(
        title=reading.title,
        modes=tuple(reading.modes),
        events=tuple(reading.events),
        locators=tuple(reading.locators),
        unread=tuple(reading.unread),
    )


def printable(text: str) -> str:
    """Return words as one line of what can be printed."""
    return "".join(one for one in " ".join(text.split()) if one.isprintable())


def _text(data: bytes) -> str:
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")


class _Reading:
    """Takes line after line; a comment belongs to the event before it."""

    def __init__(self, name: str) -> None:
        self._name = name
        self.title = ""
        self.modes: list[tuple[int, bool]] = []
        self.events: list[Event] = []
        self.locators: list[Locator] = []
        self.unread: list[int] = []

    def take(self, number: int, line: str) -> None:
        head, _, rest = line.partition(":")
        if not line:
            return
        if head.upper() == "TITLE":
            self.title = self.title or printable(rest)
        elif head.upper() == "FCM":
            self._mode(number, printable(rest).upper())
        elif line[0] == "*":
            self._comment(number, line[1:].strip())
        elif line.split(maxsplit=1)[0].upper() == "M2":
            self._speed(number, line.split())
        elif line[0].isdecimal():
            self._event(number, line)
        else:
            self.unread.append(number)

    def _mode(self, number: int, words: str) -> None:
        if words not in ("DROP FRAME", "NON-DROP FRAME", "NON DROP FRAME"):
            raise self._fault(number, f"FCM says {words[:40]!r}", "write DROP FRAME or NON-DROP FRAME")
        self.modes.append((number, words == "DROP FRAME"))

    def _event(self, number: int, line: str) -> None:
        words = line.split()
        head, labels = words[:-4], words[-4:]
        if not (len(head) >= 4 and _NUMBER.fullmatch(head[0]) and all(_LABEL.fullmatch(one) for one in labels)):
            what = "it begins with a number and is no event"
            raise self._fault(number, what, "an event is: number, reel, channel, C, and four labels like 10:00:05:12")
        if len(self.events) >= MOST_EVENTS:
            raise self._fault(number, f"more than {MOST_EVENTS} events", "export the edit in parts")
        length = 0
        if head[-1].isdecimal() and len(head) >= 5:
            length = int(head.pop()[:6])
        effect = head.pop().upper()
        if effect in ("B", "O") and head[-1].upper() == "K":
            effect = head.pop().upper() + effect
        if not _EFFECT.fullmatch(effect) or len(head) < 3:
            raise self._fault(number, f"{effect[:20]!r} is no cut, dissolve, wipe or key", "write C, D, W001 or K")
        self.events.append(
            Event(
                line=number,
                number=head[0],
                reel=printable(" ".join(head[1:-1]))[:64],
                channel=head[-1][:16],
                effect=effect,
                length=length,
                source=(labels[0], labels[1]),
                record=(labels[2], labels[3]),
            )
        )

    def _comment(self, number: int, words: str) -> None:
        kind, _, rest = words.partition(":")
        match kind.strip().upper():
            case "LOC":
                self._locator(number, rest.strip())
            case "FROM CLIP NAME" if self.events and not self.events[-1].clip:
                self.events[-1] = replace(self.events[-1], clip=printable(rest)[:200])
            case "TO CLIP NAME" if self.events:  # of a dissolve, the one that stays
                self.events[-1] = replace(self.events[-1], clip=printable(rest)[:200])

    def _locator(self, number: int, words: str) -> None:
        found = _LOCATOR.fullmatch(words)
        if found is None or not _LABEL.fullmatch(found[1]):
            raise self._fault(number, "a locator without its label", "write * LOC: 10:00:05:12 WHITE name")
        first, _, rest = (found[2] or "").partition(" ")
        name = printable(rest if first.upper() in _COLOURS else found[2] or "")
        self.locators.append(Locator(number, found[1], name[:200] or f"line {number}"))

    def _speed(self, number: int, words: list[str]) -> None:
        if self.events and len(words) >= 3:
            speed = next((one for one in words[1:] if re.fullmatch(r"[+-]?\d{1,4}(\.\d{1,4})?", one, re.ASCII)), "")
            self.events[-1] = replace(self.events[-1], speed=speed or "?")
        else:
            self.unread.append(number)

    def _fault(self, number: int, what: str, mend: str) -> ImportFault:
        return ImportFault(f"{self._name}: line {number}: {what}; {mend}")
