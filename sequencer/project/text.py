"""JSON text of a project folder: read strictly, in words that name the place, and laid out so that a diff reads well.

It refuses what a JSON reader would let pass and a hand edit would lose: names written twice, numbers that are none.
"""

import json
import math
import re
from itertools import chain
from typing import Any, TypeVar

import msgspec

from sequencer.errors import ProjectError

MAX_DEPTH = 32
_WIDTH = 110
_MANY = 16  # objects in a row that are looked at all at once
_ENDLESS = re.compile(r"\d{300}")
# so many digits in a row among every sixteenth character there are where that is found, and hardly anywhere else
_MAYBE_ENDLESS = re.compile(r"\d{18}")
_ONE_LINE_EACH = frozenset(
    {"cues", "markers", "marks", "passes", "keys", "changes", "sync", "midi", "people", "boxes", "sticks"}
    | {"points"}
    | {"focus_table", "zoom_table", "breathing", "pupil"}
)
_WORDS = {
    "str": "text",
    "int": "a whole number",
    "float": "a number",
    "bool": "true or false",
    "null": "null",
    "array": "a list",
    "object": "an object {…}",
}
_JSON = json.JSONEncoder(ensure_ascii=False, allow_nan=False)
T = TypeVar("T")


class _Twice(dict[str, Any]):
    """An object in which a name is written more than once."""

    name: str


def read(data: bytes, file: str) -> dict[str, Any]:
    """Return the object that the JSON text `data` holds.

    Accepted: UTF-8, with or without a byte order mark. Error: ProjectError with the line, or the path, of the fault.
    """
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise ProjectError(f"line {line}", "not UTF-8 text", "save the file as UTF-8", file) from error
    if not text.strip():
        raise ProjectError("", "the file is empty", f"restore the last good one, {file}.bak", file)
    endless = bool(_MAYBE_ENDLESS.search(text[::16]) and _ENDLESS.search(text))
    if not endless and (whole := _sound(text)) is not None:
        return whole
    try:
        tree = json.loads(text, object_pairs_hook=_object, parse_int=_whole_number if endless else int)
    except json.JSONDecodeError as error:
        raise _syntax(error, file) from error
    except RecursionError as error:
        raise ProjectError("", f"nested deeper than {MAX_DEPTH} levels", "flatten it", file) from error
    if found := _fault(tree, 0):
        path, what, mend = found
        raise ProjectError(printable(path.removeprefix(".")), what, mend, file)
    if not isinstance(tree, dict):
        raise ProjectError("", "the file must hold one object {…}", "see docs/schema", file)
    return tree


def convert(tree: object, into: type[T], file: str, path: str = "") -> T:
    """Return `tree` as a value of `into`. Error: ProjectError with the path of what does not fit, in plain words."""
    try:
        return msgspec.convert(tree, into)
    except msgspec.ValidationError as error:
        what, _, inside = str(error).rpartition(" - at `$") if " - at `$" in str(error) else (str(error), "", "")
        place = (path + inside.removesuffix("`")).removeprefix(".")
        raise ProjectError(printable(place), *_plain_words(what), file) from error


def printable(text: str) -> str:
    """Return `text` fit for a terminal line: control characters escaped, and at most 300 characters."""
    shown = "".join(one if one.isprintable() else one.encode("unicode_escape").decode() for one in text[:300])
    return shown if len(text) <= 300 else f"{shown}…"


def lay_out(tree: dict[str, Any]) -> str:
    """Return `tree` as JSON text in its own order; every key, cue, marker, mark, pass and change on a line of its own.

    Error: ValueError for a number that is not finite.
    """
    return f"{_laid_out(tree, 0, broken=True)}\n"


class _Unsure(Exception):
    """A text has to be looked at more closely."""


def _sound(text: str) -> dict[str, Any] | None:
    """Return the object that `text` holds, where it surely has no fault; else None.

    The reader that is fast refuses all that `_fault` refuses but two things: an object nested too deep, and a name
    written twice, of which it keeps the last. Each name has a colon behind it: where as many colons are written as
    there are names and colons inside texts, no name was lost. Colons that are written as an escape are not looked for.
    """
    if "\\" in text and "\\u" in text:  # one sign is found many times as fast as two, and is hardly ever there
        return None
    try:
        tree = msgspec.json.decode(text)
        return tree if isinstance(tree, dict) and _colons(tree, 0) == text.count(":") else None
    except (msgspec.DecodeError, RecursionError, OverflowError, _Unsure):
        return None  # who reads it slowly finds the words


def _colons(value: Any, depth: int) -> int:
    """Return how many colons stand in `value` as it is written. Error: _Unsure for one that is nested too deep."""
    if isinstance(value, str):
        return value.count(":")
    if not isinstance(value, dict | list):
        return 0
    if depth > MAX_DEPTH:
        raise _Unsure
    if isinstance(value, dict):
        return len(value) + "".join(value).count(":") + sum(_colons(item, depth + 1) for item in value.values())
    if len(value) < _MANY or set(map(type, value)) != {dict}:
        return sum(_colons(item, depth + 1) for item in value)
    # thousands of keys at once
    if depth + 1 > MAX_DEPTH or ":" in "".join(set(chain.from_iterable(value))):
        raise _Unsure
    items = list(chain.from_iterable(map(dict.values, value)))
    count = sum(map(len, value)) + "".join([item for item in items if type(item) is str]).count(":")
    if set(map(type, items)).isdisjoint((dict, list)):
        return count
    return count + sum(_colons(item, depth + 2) for item in items if type(item) is dict or type(item) is list)


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    read = dict(pairs)
    if len(read) == len(pairs):
        return read
    twice = _Twice(read)
    seen: set[str] = set()
    for name, _ in pairs:
        if name in seen:
            twice.name = name
            break
        seen.add(name)
    return twice


def _whole_number(digits: str) -> int | float:
    # beyond some thousand digits int() refuses; as a float the number becomes infinite, and is refused with its path
    return int(digits) if len(digits) < 300 else float(digits)


def _syntax(error: json.JSONDecodeError, file: str) -> ProjectError:
    place = f"line {error.lineno}, column {error.colno}"
    if error.pos >= len(error.doc.rstrip()) or error.msg.startswith("Unterminated string"):
        return ProjectError(place, "the file ends in the middle", f"restore the last good one, {file}.bak", file)
    return ProjectError(place, f"not JSON: {error.msg}", "correct this line", file)


def _fault(value: Any, depth: int) -> tuple[str, str, str] | None:
    """Return (path, fault, mend) of the first thing that a JSON reader lets pass and no project file may hold."""
    if isinstance(value, float):
        return None if math.isfinite(value) else ("", f"{value} is not a finite number", "write a number")
    if isinstance(value, str):
        whole = value.isascii() or not any("\ud800" <= one <= "\udfff" for one in value)
        return None if whole else ("", "half of a surrogate pair", "write the character itself")
    if not isinstance(value, dict | list):
        return None
    if depth > MAX_DEPTH:
        return "", f"nested deeper than {MAX_DEPTH} levels", "flatten it"
    if isinstance(value, _Twice):
        return f".{value.name}", "written twice", "keep one of the two"
    if isinstance(value, list) and len(value) >= _MANY and _all_sound(value, depth):
        return None
    inside = value.items() if isinstance(value, dict) else enumerate(value)
    for place, item in inside:
        if found := _fault(place, depth) or _fault(item, depth + 1):
            path, what, mend = found
            return f".{place}{path}" if isinstance(value, dict) else f"[{place}]{path}", what, mend
    return None


def _all_sound(rows: list[Any], depth: int) -> bool:
    """Whether all of these are objects without a fault, by looking at all of them at once; False where it may be else.

    Most of a project file is keys, thousands of small objects: item by item they take longer than reading them.
    """
    if set(map(type, rows)) != {dict} or depth >= MAX_DEPTH:
        return False
    names = set(chain.from_iterable(rows))
    items = list(chain.from_iterable(map(dict.values, rows)))
    kinds = set(map(type, items))
    if not kinds <= {str, float, int, bool, type(None), dict, list}:
        return False
    texts = "".join([item for item in items if type(item) is str])
    numbers = sum([item for item in items if type(item) is float])
    # a sum of finite numbers may be infinite, but none of others is finite
    if not ("".join(names).isascii() and texts.isascii() and math.isfinite(numbers)):
        return False
    return kinds.isdisjoint((dict, list)) or not any(
        _fault(item, depth + 2) for item in items if type(item) is dict or type(item) is list
    )


def _plain_words(what: str) -> tuple[str, str]:
    """Return a decoder's message as (fault, mend) for somebody who edits the file by hand."""
    for pattern, fault, mend in (
        (r"Object missing required field `(.*)`", "{0} is missing", "add it"),
        (r"Object contains unknown field `(.*)`", "there is no field {0!r} here", "correct its name or remove it"),
        (r"Invalid enum value (.*)", "{0} is not one of the words allowed here", ""),
        (r"Expected `array` of length (\d+), got (\d+)", "needs {0} values, has {1}", ""),
        (r"Number out of range", "a number too large", "write a smaller one"),
    ):
        if found := re.fullmatch(pattern, what, re.DOTALL):
            return printable(fault.format(*found.groups())), mend
    if found := re.fullmatch(r"Expected `(.*)`, got `(.*)`", what):
        expected, got = (" or ".join(_WORDS.get(word, word) for word in group.split(" | ")) for group in found.groups())
        return f"must be {expected}, not {got}", ""
    return printable(what), ""


def _laid_out(value: Any, indent: int, *, broken: bool, items_whole: bool = False) -> str:
    if not broken or not value:
        return _line(value)
    pad = "  " * (indent + 1)
    if isinstance(value, dict):
        parts = [
            f"{_line(name)}: "
            f"{_laid_out(item, indent + 1, broken=_breaks(item, indent), items_whole=name in _ONE_LINE_EACH)}"
            for name, item in value.items()
        ]
    elif items_whole:
        return f"[\n{pad}{_rows(value, pad)}\n{'  ' * indent}]"
    else:
        parts = [_laid_out(item, indent + 1, broken=_breaks(item, indent)) for item in value]
    opening, closing = "{}" if isinstance(value, dict) else "[]"
    return opening + "\n" + ",\n".join(pad + part for part in parts) + "\n" + "  " * indent + closing


def _rows(items: list[Any], pad: str) -> str:
    """Return each item on a line of its own; thousands of keys are written at once, and then taken apart."""
    text, between = _line(items), "}, {"
    # there are no fewer of these than there are gaps between objects; one more stands inside a text, or in a list
    if all(type(item) is dict for item in items) and text.count(between) == len(items) - 1:
        return text[1:-1].replace(between, f"}},\n{pad}{{")
    return f",\n{pad}".join(map(_line, items))


def _line(value: Any) -> str:
    return _JSON.encode(value)


def _breaks(value: Any, indent: int) -> bool:
    """Whether `value` takes more than a line: lists of objects always, others where they are too wide."""
    if isinstance(value, dict):
        if any(_breaks(item, indent) for item in value.values()):
            return True
    elif isinstance(value, list | tuple):
        if any(isinstance(item, dict) for item in value):
            return True
    else:
        return False
    return len(_line(value)) + 2 * indent > _WIDTH
