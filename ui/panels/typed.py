"""What an operator types, read: numbers with a unit, instants, lengths of time and factors; comma or point, both are
decimal marks.

It refuses to guess: two decimal marks, another unit, or a time without a unit where that could be two times, is an
error that says what to write. Thousands have no mark of their own.
"""

import re
from dataclasses import dataclass
from fractions import Fraction

from sequencer.timebase.tempo import TempoMap
from sequencer.timebase.timecode import Timebase
from ui.acts.written import Counted

_DIGITS = r"(?:\d+(?:[.,]\d*)?|[.,]\d+)"
_NUMBER = re.compile(rf"(?P<sign>[+-]?)\s*(?P<over>{_DIGITS})(?:\s*/\s*(?P<under>\d+))?", re.ASCII)
_BAR = re.compile(rf"bar\s*(?P<bar>[+-]?\d+)(?:\s*,?\s*beat\s*(?P<beat>{_DIGITS}(?:\s*/\s*\d+)?))?", re.ASCII)
# a bar and its beat as the ruler has them
_AS_RULED = re.compile(r"(?P<bar>\d+)(?:\.(?P<beat>\d{1,2}))?", re.ASCII)
_LONGEST = 40  # characters of what is typed: more is no number
_MOST_DIGITS = 18

# how many of an axis's own unit each word is
_UNITS: dict[str, dict[str, Fraction]] = {
    "deg": dict.fromkeys(("deg", "°", "degree", "degrees"), Fraction(1)),
    "mm": {
        **dict.fromkeys(("mm", "millimetre", "millimetres"), Fraction(1)),
        "cm": Fraction(10),
        "m": Fraction(1000),
    },
    "part": {"part": Fraction(1), "%": Fraction(1, 100), "percent": Fraction(1, 100)},
}
_OWN = {"deg": "deg", "mm": "mm", "part": "%"}
_TIMES = {
    **dict.fromkeys(("f", "fr", "frame", "frames"), "frames"),
    **dict.fromkeys(("s", "sec", "second", "seconds"), "seconds"),
    "ms": "milliseconds",
    **dict.fromkeys(("min", "minute", "minutes"), "minutes"),
    **dict.fromkeys(("beat", "beats"), "beats"),
    **dict.fromkeys(("bar", "bars"), "bars"),
}
_SECONDS = {"seconds": Fraction(1), "milliseconds": Fraction(1, 1000), "minutes": Fraction(60)}
# what a length of time without a unit counts
_LENGTHS = {"timecode": "frames", "frames": "frames", "seconds": "seconds", "bars": "beats"}


class Mistyped(ValueError):
    """What was typed cannot be read; `words` with `values` filled in say why, and what to write."""

    def __init__(self, words: str, **values: object) -> None:
        super().__init__(words.format(**values))
        self.words = words
        self.values = values


@dataclass(frozen=True, slots=True, kw_only=True)
class Times:
    """What an instant needs to be read: how time is counted, and `here`, from where `+` and `-` count."""

    timebase: Timebase
    tempo: TempoMap | None = None
    counted: Counted = "timecode"
    here: Fraction | None = None


def typed_number(text: str, unit: str = "") -> float:
    """Return the number in the axis's own `unit`: `12.5`, `12,5 deg`, `-3°`, `1.2 m` for mm, `25 %` for a part.

    Without a `unit` a plain number is asked for. Error: Mistyped.
    """
    number, word = _split(text)
    there = _UNITS.get(unit, {unit: Fraction(1)} if unit else {})
    if not word:
        return float(number)
    if word not in there:
        if not unit:
            raise Mistyped("write the number alone, without “{word}”", word=word)
        if word in _TIMES or any(word in words for words in _UNITS.values()):
            own = _OWN.get(unit, unit)
            raise Mistyped("this is counted in {unit}, not in {word}; write {number} {unit}", **_said(own, word, text))
        words = "“{word}” is no unit that counts here; write the number alone, or with {unit}"
        raise Mistyped(words, word=word, unit=_OWN.get(unit, unit))
    return float(number * there[word])


def typed_factor(text: str) -> Fraction:
    """Return how many times: `1.1`, `1,1`, `11/10`, `110 %`, `2x`. Error: Mistyped, also for what is not above zero."""
    number, word = _split(text.strip().removeprefix("×").removeprefix("x"))
    if word in ("%", "percent"):
        number /= 100
    elif word not in ("", "x", "×", "times"):
        raise Mistyped("a factor has no unit; write 1.5, 3/2 or 150 % instead of “{text}”", text=_short(text))
    if number <= 0:
        raise Mistyped("a factor is above zero; {text} is not", text=_short(text))
    return number


def typed_instant(text: str, times: Times) -> Fraction:
    """Return the instant in frames from the project's start.

    `10:00:05:12.25`; `frame 137`, `137 f`, `5.5 s`, `2 min`, from the project's start; `bar 3 beat 2`; a number alone
    in what is counted, `3.2` for bar 3 beat 2. `+10`, `-2 s`, `+1 beat` from where it stands;
    `at -2 s` before the project's start.
    Error: Mistyped.
    """
    plain = _plain(text)
    if ":" in plain or ";" in plain:
        return _timecode(plain, times.timebase)
    if found := _BAR.fullmatch(plain) or (_AS_RULED.fullmatch(plain) if times.counted == "bars" else None):
        return _bar(found, times)
    if plain[0] in "+-":
        if times.here is None:
            raise Mistyped("there is nothing that “{text}” could count from; write the time itself", text=_short(text))
        return times.here + typed_length(text, times)
    plain = plain.removeprefix("at ").strip()
    if plain.startswith("frame "):
        plain = f"{plain.removeprefix('frame ')} f"
    number, word = _split(plain)
    if not word:
        if times.counted == "timecode":
            raise Mistyped(
                "“{text}” could be frames or seconds; write {text} f, {text} s, or a timecode like {label}",
                text=_short(text),
                label=times.timebase.start,
            )
        if times.counted == "bars":
            raise Mistyped("write bar 3 beat 2.5, or 3.2 for a whole beat, instead of “{text}”", text=_short(text))
        word = {"frames": "f", "seconds": "s"}[times.counted]
    if _TIMES.get(word) in ("beats", "bars"):
        raise Mistyped("write bar 3 beat 2, or +{number} {word} from where it stands", number=number, word=word)
    return _later(Fraction(0), number, word, times)


def typed_length(text: str, times: Times) -> Fraction:
    """Return a length of time in frames, below zero for earlier: `10`, `-2 s`, `+1/2 beat`; alone in what is counted.

    Beats and bars are counted from `times.here`, or else from the project's start. Error: Mistyped.
    """
    number, word = _split(text)
    here = Fraction(0) if times.here is None else times.here
    return _later(here, number, word or _LENGTHS[times.counted], times) - here


def _later(here: Fraction, number: Fraction, word: str, times: Times) -> Fraction:
    """Return the instant that is `number` of these after `here`."""
    unit = _TIMES.get(word, word if word in _TIMES.values() else "")
    rate = times.timebase.rate
    if unit == "frames":
        return here + number
    if unit in _SECONDS:
        return here + rate.frames(number * _SECONDS[unit])
    if unit in ("beats", "bars"):
        tempo = _tempo(times)
        beat = tempo.beat(rate.seconds(here))
        if unit == "beats":
            return rate.frames(tempo.seconds(beat + number))
        bar, inside = tempo.in_bar(beat)
        if number.denominator != 1:
            raise Mistyped("bars are counted whole; write beats for a part of a bar")
        return rate.frames(tempo.seconds(tempo.beat_of(bar + int(number), inside)))
    raise Mistyped("“{word}” is no unit of time; write f for frames, s for seconds, or beat", word=word)


def _bar(found: re.Match[str], times: Times) -> Fraction:
    tempo = _tempo(times)
    bar, beat = int(found["bar"]) - 1, _split(found["beat"] or "1")[0] - 1
    if beat < 0:
        raise Mistyped("there is no beat 0 in a bar; they are counted from 1")
    begins = tempo.beat_of(bar)
    in_a_bar = tempo.at(begins).beats_per_bar
    if beat >= in_a_bar:
        words = "bar {bar} has {beats} beats; beat {beat} is not in it"
        raise Mistyped(words, bar=bar + 1, beats=in_a_bar, beat=f"{float(beat + 1):g}")
    return times.timebase.rate.frames(tempo.seconds(begins + beat))


def _tempo(times: Times) -> TempoMap:
    if times.tempo is None:
        raise Mistyped("this project has no tempo yet, and so no bars and beats; write a timecode, frames or seconds")
    return times.tempo


def _timecode(plain: str, timebase: Timebase) -> Fraction:
    if "," in plain and "." in plain:
        raise Mistyped("“{text}” has a comma and a point; write one of them", text=_short(plain))
    try:
        return timebase.frames(plain.replace(",", ".").replace(" ", ""))
    except ValueError as fault:
        raise Mistyped("{fault}", fault=fault) from None


def _split(text: str) -> tuple[Fraction, str]:
    """Return the exact number that begins the text, and the unit word that follows it."""
    plain = _plain(text)
    found = _NUMBER.match(plain)
    if found is None:
        raise Mistyped("“{text}” is not a number; write one like 12.5 or 12,5", text=_short(text))
    word = plain[found.end() :].strip()
    if (word[:1] and word[0] in ".,/") or any(one.isdigit() for one in word):
        both = "." in plain and "," in plain
        what = (
            "“{text}” has a comma and a point, which could be two numbers; write one decimal mark, none for thousands"
            if both
            else "“{text}” is more than one number; write one with one decimal mark, like 12.5 or 12,5"
        )
        raise Mistyped(what, text=_short(text))
    if sum(one.isdigit() for one in found[0]) > _MOST_DIGITS:
        raise Mistyped("“{text}” has more digits than any axis or clock tells apart; write fewer", text=_short(text))
    over = found["over"].replace(",", ".").rstrip(".")
    number = Fraction(f"0{over}" if over.startswith(".") else over)
    if found["under"]:
        if not int(found["under"]):
            raise Mistyped("“{text}” divides by zero; write another number below", text=_short(text))
        number /= int(found["under"])
    return -number if found["sign"] == "-" else number, word


def _plain(text: str) -> str:
    """Return the text in small letters, with plain spaces and minus signs. Error: Mistyped where that is nothing."""
    plain = " ".join(text.replace("−", "-").replace("–", "-").split()).lower()
    if not plain:
        raise Mistyped("nothing is written here; write a number like 12.5 or 12,5")
    if len(plain) > _LONGEST:
        raise Mistyped("“{text}” is too long for one number; write one like 12.5", text=_short(text))
    return plain


def _short(text: str) -> str:
    plain = " ".join(text.split())
    return plain if len(plain) <= _LONGEST else f"{plain[:_LONGEST]}…"


def _said(unit: str, word: str, text: str) -> dict[str, object]:
    found = _NUMBER.match(_plain(text))
    return {"unit": unit, "word": word, "number": found[0].strip() if found else ""}
