"""Timecode labels and how they count frames. A label is not a count, and neither is an instant."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

from sequencer.timebase.rate import Rate

_LABEL = re.compile(r"(\d{1,2}):(\d{1,2}):(\d{1,2})[:;](\d{1,3})(?:\.(\d+))?", re.ASCII)
_DECIMALS = 9


@dataclass(frozen=True, slots=True)
class Counting:
    """How labels count frames: the rate, and whether labels are dropped.

    Source: SMPTE ST 12-1 drop-frame compensation: at 30000/1001 the labels :00 and :01 (at 60000/1001 :00 to :03) are
    left out at the start of each minute but every tenth.
    """

    rate: Rate
    drop: bool = False

    def __post_init__(self) -> None:
        if self.drop and self.rate not in (Rate(30000, 1001), Rate(60000, 1001)):
            raise ValueError(f"{self.rate} is not counted so; drop-frame counting belongs to 30000/1001 and 60000/1001")

    @property
    def dropped(self) -> int:
        """Labels left out at the start of a minute."""
        return self.rate.nominal // 15 if self.drop else 0

    @property
    def day(self) -> int:
        """Frames from 00:00:00:00 to the next 00:00:00:00."""
        return self.rate.nominal * 86_400 - self.dropped * (24 * 54)


@dataclass(frozen=True, slots=True)
class Timecode:
    """One label, with a part of a frame in [0, 1). It says nothing of its rate."""

    hours: int
    minutes: int
    seconds: int
    frames: int
    part: Fraction = Fraction(0)
    drop: bool = False

    def __str__(self) -> str:
        """Print as `10:00:05:12`, or `10:00:05:12.25`; the last colon is a semicolon where labels are dropped.

        A part of a frame that has no end in decimals is rounded to nine of them, far below a nanosecond of time.
        """
        text = f"{self.hours:02}:{self.minutes:02}:{self.seconds:02}{';' if self.drop else ':'}{self.frames:02}"
        decimals = round(self.part * 10**_DECIMALS)
        # rounding never carries into the next frame: a label that changed by printing would be another frame
        decimals = min(decimals, 10**_DECIMALS - 1)
        return f"{text}.{decimals:0{_DECIMALS}}".rstrip("0") if decimals else text


def count(label: Timecode, how: Counting) -> Fraction:
    """Return the frames from 00:00:00:00 to `label`, its part of a frame included.

    Error: ValueError for a label that does not exist in this counting, naming the part that is wrong.
    """
    nominal = how.rate.nominal
    for value, limit, name in (
        (label.hours, 24, "hours"),
        (label.minutes, 60, "minutes"),
        (label.seconds, 60, "seconds"),
    ):
        if not 0 <= value < limit:
            raise ValueError(f"{label} has {value} {name}; they run from 0 to {limit - 1}")
    if not 0 <= label.frames < nominal:
        raise ValueError(f"{label} has frame {label.frames}; at {how.rate} frames run from 0 to {nominal - 1}")
    if not 0 <= label.part < 1:
        raise ValueError(f"{label.part} is no part of a frame; it lies in [0, 1)")
    minutes = label.hours * 60 + label.minutes
    if label.frames < how.dropped and label.seconds == 0 and minutes % 10:
        raise ValueError(f"{label} is left out by drop-frame counting; the next label is frame {how.dropped}")
    whole = (minutes * 60 + label.seconds) * nominal + label.frames - how.dropped * (minutes - minutes // 10)
    return whole + label.part


def label(frames: Fraction | int, how: Counting) -> Timecode:
    """Return the label of the frame `frames` after 00:00:00:00; past midnight, labels begin again.

    Source: SMPTE ST 12-1; inverse of `count` for every frame of the day.
    """
    whole, part = divmod(frames, 1)
    return Timecode(*_fields(whole, how), Fraction(part), how.drop)


def _fields(whole: int, how: Counting) -> tuple[int, int, int, int]:
    """Return hours, minutes, seconds and frames of a whole frame."""
    whole %= how.day
    nominal = how.rate.nominal
    if how.drop:
        ten_minutes = nominal * 600 - how.dropped * 9
        minute = nominal * 60 - how.dropped
        tens, rest = divmod(whole, ten_minutes)
        # the first minute of ten keeps all its labels, so it is longer than the nine others
        later = 0 if rest < nominal * 60 else 1 + (rest - nominal * 60) // minute
        whole += how.dropped * (tens * 9 + later)
    seconds, number = divmod(whole, nominal)
    minutes, seconds = divmod(seconds, 60)
    return *divmod(minutes, 60), seconds, number


def parse(text: str, how: Counting) -> Timecode:
    """Read a label that exists in this counting: `10:00:05:12`, `10:00:05;12` or `10:00:05:12.25`.

    Error: ValueError that says what is wrong with `text`.
    """
    found = _LABEL.fullmatch(text)
    if found is None:
        raise ValueError(f"{text!r} is not a timecode; write one like 10:00:05:12 or 10:00:05:12.25")
    hours, minutes, seconds, frames = (int(group) for group in found.groups()[:4])
    part = Fraction(f"0.{found[5]}") if found[5] else Fraction(0)
    read = Timecode(hours, minutes, seconds, frames, part, how.drop)
    count(read, how)
    return read


@dataclass(frozen=True, slots=True)
class Timebase:
    """The project's exact time: how its labels count, and the label at which its own seconds begin."""

    counting: Counting
    start: Timecode

    @property
    def rate(self) -> Rate:
        return self.counting.rate

    def frames(self, text: str) -> Fraction:
        """Return the frames from the project's start to the label `text`, negative before it.

        Unit: frames in [-half a day, half a day): midnight between start and label is crossed the short way.
        Error: ValueError from `parse`.
        """
        return self.wrap(count(parse(text, self.counting), self.counting))

    def reader(self) -> Callable[[str], Fraction]:
        """Return what reads labels as `frames` does, many times as fast: a document has thousands."""
        how, origin = self.counting, count(self.start, self.counting)
        nominal, dropped, day = how.rate.nominal, how.dropped, how.day
        half = day // 2  # a day has an even number of frames at any rate
        begin = origin.numerator if origin.denominator == 1 else None

        def read(text: str) -> Fraction:
            found = _LABEL.fullmatch(text)
            if found is None or begin is None:
                return self.frames(text)
            *fields, decimals = found.groups()
            hours, minutes, seconds, frames = map(int, fields)
            everything = hours * 60 + minutes
            left_out = frames < dropped and seconds == 0 and everything % 10
            if hours >= 24 or minutes >= 60 or seconds >= 60 or frames >= nominal or left_out:
                return self.frames(text)  # which says what is wrong
            whole = (everything * 60 + seconds) * nominal + frames - dropped * (everything - everything // 10)
            whole = (whole - begin + half) % day - half
            if not decimals:
                return Fraction(whole)
            scale = 10 ** len(decimals)
            return Fraction(whole * scale + int(decimals), scale)

        return read

    def writer(self) -> Callable[[Fraction], str]:
        """Return what writes an instant as the label that `label` gives it, many times as fast."""
        how, origin = self.counting, count(self.start, self.counting)
        begin = origin.numerator if origin.denominator == 1 else None
        mark = ";" if how.drop else ":"
        known: dict[int, str] = {}  # tracks have keys in the same frames

        def write(at: Fraction) -> str:
            above, below = at.as_integer_ratio()
            whole, rest = divmod(above, below)
            decimals, finer = divmod(rest * 10**_DECIMALS, below) if rest else (0, 0)
            if finer or begin is None:
                return str(self.label(at))
            text = known.get(whole)
            if text is None:
                hours, minutes, seconds, frames = _fields(whole + begin, how)
                text = known[whole] = f"{hours:02}:{minutes:02}:{seconds:02}{mark}{frames:02}"
            return f"{text}.{decimals:0{_DECIMALS}}".rstrip("0") if decimals else text

        return write

    def wrap(self, since_midnight: Fraction | int) -> Fraction:
        """Return frames from the project's start for a count from midnight, the short way round the day."""
        day = self.counting.day
        return (since_midnight - count(self.start, self.counting) + Fraction(day, 2)) % day - Fraction(day, 2)

    def label(self, frames: Fraction | int) -> Timecode:
        """Return the label that stands `frames` frames after the project's start."""
        return label(count(self.start, self.counting) + frames, self.counting)

    def label_at(self, seconds: float) -> Timecode:
        """Return the label nearest to `seconds` after the project's start, to a hundredth of a frame, for people."""
        return self.label(Fraction(round(seconds * self.rate.num / self.rate.den * 100), 100))
