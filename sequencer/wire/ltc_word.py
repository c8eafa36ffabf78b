"""What the 80 bits of a linear timecode word say: label, flags and user bits to ten bytes and back.

It counts no frames, knows no date, and does not judge whether a label follows from another. Above 30 frames a second
there is no such word: ST 12-1 has linear timecode run at half of 48, 50 or 60 frames, one word for two frames.

Source: SMPTE ST 12-1, linear time code: bit positions, binary groups and their flags, polarity-correction bit, sync
word; checked against libltc and published copies of its tables, not against the standard itself.
"""

from typing import NamedTuple

NOMINALS = (24, 25, 30)
_SYNC = 0b1011_1111_1111_1100 << 64  # bits 64 to 79 are 0011 1111 1111 1101 in the order in which they run
_DROP, _COLOUR = 10, 11
# where a number's units and tens begin, how many bits the tens have, and how many of them there are
_NUMBERS = {"frames": (0, 8, 2, 30), "seconds": (16, 24, 3, 60), "minutes": (32, 40, 3, 60), "hours": (48, 56, 2, 24)}
_USER = (4, 12, 20, 28, 36, 44, 52, 60)
_NO_USER = (0,) * 8


class Word(NamedTuple):
    """What a word says. `user` are its binary groups 1 to 8, four bits each; `groups` the three flags of their meaning.

    Bit 0 of `groups` is BGF0, bit 2 is BGF2. The numbers of a word as heard may be out of any range (see `fault`).
    """

    hours: int
    minutes: int
    seconds: int
    frames: int
    drop: bool = False
    colour: bool = False
    user: tuple[int, ...] = _NO_USER
    groups: int = 0

    def __str__(self) -> str:
        return f"{self.hours:02}:{self.minutes:02}:{self.seconds:02}{';' if self.drop else ':'}{self.frames:02}"


def encode(word: Word, nominal: int) -> bytes:
    """Return the ten bytes of `word` where `nominal` frames are counted in a second: 24, 25 or 30.

    The polarity-correction bit makes the number of zeros even, so that every word begins with the same polarity.
    Error: ValueError for a label that does not exist, or user bits that do not fit.
    """
    if nominal not in NOMINALS:
        raise ValueError(f"linear timecode counts 24, 25 or 30 frames, not {nominal}; halve 48, 50 and 60")
    if len(word.user) != 8 or not all(0 <= four < 16 for four in word.user) or not 0 <= word.groups < 8:
        raise ValueError(f"user bits are eight groups of 0 to 15 with flags of 0 to 7, not {word.user}, {word.groups}")
    bits = _SYNC | word.drop << _DROP | word.colour << _COLOUR
    for name, (units, tens, _, limit) in _NUMBERS.items():
        number: int = getattr(word, name)
        if not 0 <= number < limit:
            raise ValueError(f"{word} has {number} {name}; there are 0 to {limit - 1}")
        bits |= number % 10 << units | number // 10 << tens
    for place, four in zip(_USER, word.user, strict=True):
        bits |= four << place
    polarity, *flags = _places(nominal)
    for number, place in enumerate(flags):
        bits |= (word.groups >> number & 1) << place
    bits |= (bits.bit_count() & 1) << polarity
    told = fault(data := bits.to_bytes(10, "little"), nominal)
    if told:
        raise ValueError(told)
    return data


def decode(bits: bytes, nominal: int = 30) -> Word:
    """Return what ten bytes say; `nominal` decides only which of their bits are the flags of the binary groups."""
    word = int.from_bytes(bits, "little")
    numbers = {
        name: (word >> units & 15) + 10 * (word >> tens & (1 << wide) - 1)
        for name, (units, tens, wide, _) in _NUMBERS.items()
    }
    _, *flags = _places(nominal)
    return Word(
        **numbers,
        drop=bool(word >> _DROP & 1),
        colour=bool(word >> _COLOUR & 1),
        user=tuple(word >> place & 15 for place in _USER),
        groups=sum((word >> place & 1) << number for number, place in enumerate(flags)),
    )


def fault(bits: bytes, nominal: int = 30) -> str:
    """Return what is wrong with a word's label, in plain words, or nothing where such a label exists."""
    if illegible := unread(bits):
        return illegible
    told = decode(bits, nominal)
    if told.frames >= nominal:
        return f"{told} has frame {told.frames}; at {nominal} frames a second they run from 0 to {nominal - 1}"
    if told.drop and nominal != 30:
        return f"{told} carries the drop-frame flag, which belongs to 30 frames a second, not to {nominal}"
    if told.drop and told.frames < 2 and told.seconds == 0 and told.minutes % 10:
        return f"{told} does not exist: drop-frame counting leaves out frames 0 and 1 of that minute"
    return ""


def unread(bits: bytes) -> str:
    """Return why a word's label is none at any rate, in plain words, or nothing."""
    word = int.from_bytes(bits, "little")
    for name, (units, tens, wide, limit) in _NUMBERS.items():
        last, first = word >> units & 15, word >> tens & (1 << wide) - 1
        if last > 9:
            return f"the last digit of the {name} reads {last}, which is no digit"
        if 10 * first + last >= limit:
            return f"the {name} read {10 * first + last}; there are 0 to {limit - 1}"
    return ""


def even(bits: bytes) -> bool:
    """Say whether the number of zeros in a word is even, as the polarity-correction bit has to make it."""
    return int.from_bytes(bits, "little").bit_count() % 2 == 0


def _places(nominal: int) -> tuple[int, int, int, int]:
    """Return the bits of polarity correction and of binary group flags 0, 1 and 2."""
    return (59, 27, 58, 43) if nominal == 25 else (27, 43, 58, 59)
