"""Single values of a project's files, from text to exact and back; each fault is a ProjectError with its place.

It knows no file as a whole.
"""

import re
from collections.abc import Callable
from fractions import Fraction
from typing import Any, TypeVar

from msgspec import UnsetType

from sequencer.errors import ProjectError
from sequencer.project import files, text
from sequencer.timebase.timecode import Timebase

_EXACT = re.compile(r"\d{1,9}(/\d{1,10}|\.\d{1,9})?", re.ASCII)
_NUMBERS = 'write "2", "1/2" or "0.5", with up to nine digits'
_TOO_FINE = re.compile(r"\.\d{10}")
_FINE_AT = len("0:0:0:0.0123456789")  # no shorter label is too fine
T = TypeVar("T")
D = TypeVar("D")


def placed(path: str, make: Callable[..., T], file: str = files.PROJECT, **values: Any) -> T:
    """Make a value whose type checks itself, and give its complaint a place."""
    try:
        return make(**values)
    except ValueError as error:
        raise ProjectError(path, text.printable(str(error)), file=file) from error


def said(value: T | UnsetType, otherwise: D) -> T | D:
    """Return what a file says, or what counts where it says nothing."""
    return otherwise if isinstance(value, UnsetType) else value


def named(name: str, path: str, file: str = files.PROJECT) -> str:
    """Return a name that is one."""
    if not name.strip() or not name.isprintable():
        raise ProjectError(path, f"{text.printable(name)!r} is no name", "write one or more printable characters", file)
    return name


def exact(written: str, path: str) -> Fraction:
    """Return the number above zero that is written."""
    if value := _fraction(written):
        return value
    raise ProjectError(path, f"{text.printable(written)!r} is not a number above zero", _NUMBERS)


def signed(written: str, path: str) -> Fraction:
    """Return the number that is written, which may be below zero."""
    value = _fraction(written.removeprefix("-"))
    if value is None:
        raise ProjectError(path, f"{text.printable(written)!r} is not a number", 'write "2", "-1/2" or "-0.5"')
    return -value if written.startswith("-") else value


def _fraction(written: str) -> Fraction | None:
    try:
        return Fraction(written) if _EXACT.fullmatch(written) else None
    except ZeroDivisionError:
        return None


def exact_text(number: Fraction) -> str:
    """Write what `exact` and `signed` read: from one as a decimal number where that has an end, else as a fraction."""
    if number < 0:
        return f"-{exact_text(-number)}"
    billionths = number * 10**9
    if number < 1 or billionths.denominator > 1:
        return str(number)
    whole, part = divmod(billionths.numerator, 10**9)
    return f"{whole}.{part:09}".rstrip("0").rstrip(".")


def instant(
    written: str,
    path: str,
    timebase: Timebase,
    read: Callable[[str], Fraction] | None = None,
    places: tuple[int, ...] = (),
) -> Fraction:
    """Return the frame that is written as timecode; `read` is the timebase's reader, where it is at hand.

    `places` are put into the path where it has braces: a path for each of thousands of keys takes its time.
    """
    if read is not None and (len(written) < _FINE_AT or not _TOO_FINE.search(written)):
        try:
            return read(written)
        except ValueError:
            pass  # it is said below
    path = path.format(*places) if places else path
    if _TOO_FINE.search(written):
        fault = f"{text.printable(written)} is finer than a billionth of a frame"
        raise ProjectError(path, fault, "write nine decimals at most")
    return placed(path, timebase.frames, text=written)


def timecode(at: Fraction, path: str, timebase: Timebase) -> str:
    """Write what `instant` reads. Error: ProjectError for an instant that no label tells apart."""
    label = str(timebase.label(at))
    half = Fraction(timebase.counting.day, 2)
    if not -half <= at < half:
        raise ProjectError(path, f"{label} is half a day or more from the project's start", "bring it nearer")
    return label
