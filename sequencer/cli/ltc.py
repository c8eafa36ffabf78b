"""`twintake ltc`: what a recording of linear timecode holds, and what is wrong with it, by place.

The JSON document: `rate` as a project writes it, and `frames`, each with its `timecode`, `start_s` in the file and
whether it ran in `reverse`. Beside these `channel`, `drop`, `sure` (the rate was seen in the labels, not only taken
from their speed), `user_bits`, `runs` without a break, `errors` by place, and with --clap the `claps`.
"""

import json as plain_json
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Annotated, Any

import numpy as np
import typer
from rich import box
from rich.table import Table

from sequencer.cli.exits import FOUND, console, exits
from sequencer.cli.options import Json
from sequencer.errors import ProjectError
from sequencer.project.audiofile import AudioInfo, info, one_channel
from sequencer.sync.ltc_row import carried
from sequencer.sync.onset import Onset, onsets
from sequencer.sync.recorded import Frame, Run, frame_at, frames, late, runs
from sequencer.timebase.rate import RATES, parse_rate
from sequencer.timebase.timecode import Counting, Timecode, count, label, parse
from sequencer.wire.ltc_file import Place, Recording, read
from sequencer.wire.ltc_rate import Shown, shown

_MOST_SHOWN = 40  # lines of a table in the terminal
_COMMAND = "command line"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Found:
    """What was read. `errors` are places in the file."""

    path: Path
    about: AudioInfo
    channel: int
    recording: Recording
    shown: Shown
    counting: Counting
    frames: list[Frame]
    runs: list[Run]
    errors: list[Place]

    def seconds(self, sample: float) -> float:
        return sample / self.about.rate_hz

    def label(self, frame: Fraction) -> Timecode:
        """Return the label at a place, to a hundredth of a frame."""
        return label(Fraction(round(frame * 100), 100), self.counting)

    def timecode(self, sample: float) -> str | None:
        """Return the timecode of the last word that began before a sample; None before the first."""
        after = bisect_right(self.frames, sample, key=lambda one: one.marks[0])
        return str(label(self.frames[after - 1].number, self.counting)) if after else None


def ltc(
    file: Annotated[Path, typer.Argument(help="A recording: WAV, FLAC or another audio file.")],
    channel: Annotated[
        int | None, typer.Option(min=1, help="The channel; else the first on which timecode is read.")
    ] = None,
    rate: Annotated[
        str | None, typer.Option(help=f"The rate it should have: {', '.join(RATES)}.", metavar="RATE")
    ] = None,
    clap: Annotated[
        int | None,
        typer.Option(min=1, metavar="CHANNEL", help="Find claps, or flashes by a photodiode, on this channel."),
    ] = None,
    marked: Annotated[
        str | None, typer.Option(metavar="TIMECODE", help="The key that the rig was to pass at the clap.")
    ] = None,
    json: Json = False,
) -> None:
    """Read a recording of linear timecode. Ends with status 1 where something is wrong in it.

    With --clap it measures a sync offset: record timecode on one channel, and on another the clap, or the photodiode's
    pulse, that the rig causes as it passes a marked key.
    """
    with exits():
        found = _read(file, channel, rate)
        claps = [] if clap is None else _claps(found, clap)
        mark = None if marked is None else _marked(marked, found.counting)
        if json:
            print(plain_json.dumps(_facts(found, clap, claps, mark), indent=2, allow_nan=False))
        else:
            _print(found, clap, claps, mark)
        raise typer.Exit(FOUND if found.errors else 0)


def _read(path: Path, wanted: int | None, rate: str | None) -> _Found:
    """Read the file. Error: ProjectError where it cannot be read, or holds no timecode."""
    about = info(path)
    asked = _rate(rate)
    for number in range(1, about.channels + 1) if wanted is None else [wanted]:
        try:
            recording = read(one_channel(path, number), about.rate_hz)
        except ValueError as fault:
            raise ProjectError("", str(fault), "record it at 48000 Hz", path.name) from fault
        told = shown(recording.heard, about.rate_hz)
        if told is not None:
            return _found(path, about, number, recording, told, asked)
    where = "any channel" if wanted is None else f"channel {wanted}"
    raise ProjectError("", f"no linear timecode is to be read on {where}", "check level and channel", path.name)


def _rate(name: str | None) -> Counting | None:
    try:
        return None if name is None else carried(Counting(parse_rate(name)))
    except ValueError as fault:
        raise ProjectError("--rate", str(fault), file=_COMMAND) from fault


def _found(
    path: Path, about: AudioInfo, number: int, recording: Recording, told: Shown, asked: Counting | None
) -> _Found:
    counting = Counting(parse_rate(told.rate), told.drop)
    heard = recording.heard
    first, last = min(heard[0].marks), max(heard[-1].marks)
    # what comes before the first word and after the last is no error: a recorder runs before the timecode does
    errors = [one for one in recording.places if one.last > first and one.first < last]
    errors += told.odd
    if asked is not None:
        if asked.rate.nominal == told.nominal and not told.drop:
            counting = asked
        elif asked.rate != counting.rate:
            drop = " with drop-frame" if told.drop else ""
            words = f"it counts {told.nominal} frames a second{drop}, and should have {asked.rate}"
            errors.append(Place("rate", words, first, last))
    rows = frames(heard, counting)
    return _Found(
        path=path,
        about=about,
        channel=number,
        recording=recording,
        shown=told,
        counting=counting,
        frames=rows,
        runs=runs(rows, counting, about.rate_hz),
        errors=sorted(errors, key=lambda one: (one.first, one.last)),
    )


def _claps(found: _Found, number: int) -> list[Onset]:
    if number == found.channel:
        raise ProjectError("--clap", f"the timecode is on channel {number}", "name the other channel", _COMMAND)
    return list(onsets(np.concatenate(list(one_channel(found.path, number))), found.about.rate_hz))


def _marked(text: str, counting: Counting) -> Fraction:
    try:
        return count(parse(text, counting), counting)
    except ValueError as fault:
        raise ProjectError("--marked", str(fault), file=_COMMAND) from fault


def _late(found: _Found, claps: Sequence[Onset], mark: Fraction | None) -> Fraction | None:
    """Return by how many frames the clap nearest to the mark was late, to a hundredth; None where there is none."""
    if mark is None:
        return None
    at = [frame for one in claps if (frame := frame_at(found.frames, one.at)) is not None]
    offsets = [Fraction(round(100 * late(frame, mark, found.counting)), 100) for frame in at]
    return min(offsets, key=abs, default=None)


def _offset(found: _Found, frames_late: Fraction) -> dict[str, Any]:
    """Return the offset as it stands in project.json, under `sync`."""
    return {"source": "ltc", "delay_ms": round(_ms(found, frames_late), 1)}


def _ms(found: _Found, number: Fraction) -> float:
    return float(1000 * found.counting.rate.seconds(number))


def _user_bits(found: _Found) -> list[str]:
    """Return the user bits that were seen, each as eight digits of base sixteen, group 8 first."""
    seen = dict.fromkeys(one.user for one in found.frames)
    return ["".join(f"{four:X}" for four in reversed(user)) for user in seen]


def _facts(found: _Found, clap: int | None, claps: Sequence[Onset], mark: Fraction | None) -> dict[str, Any]:
    facts: dict[str, Any] = {
        "rate": str(found.counting.rate),
        "frames": [
            {
                "timecode": str(label(one.number, found.counting)),
                "start_s": found.seconds(one.marks[0]),
                "reverse": one.reverse,
            }
            for one in found.frames
        ],
        "channel": found.channel,
        "drop": found.counting.drop,
        "sure": found.shown.sure,
        "misread": found.recording.counts.misread,
        "user_bits": _user_bits(found),
        "runs": [
            {
                "from": str(one.first),
                "to": str(one.last),
                "start_s": found.seconds(one.begins),
                "end_s": found.seconds(one.ends),
                "frames": one.frames,
                "reverse": one.reverse,
                "speed_percent": 100 * one.speed,
            }
            for one in found.runs
        ],
        "errors": [
            {
                "kind": one.kind,
                "start_s": found.seconds(one.first),
                "end_s": found.seconds(one.last),
                "timecode": found.timecode(one.first),
                "words": one.words,
            }
            for one in found.errors
        ],
    }
    if clap is not None:
        facts["claps"] = [
            {"at_s": found.seconds(one.at), "timecode": _clapped(found, one), "peak": one.peak} for one in claps
        ]
    if mark is not None:
        frames_late = _late(found, claps, mark)
        facts["late_frames"] = None if frames_late is None else float(frames_late)
        facts["sync"] = None if frames_late is None else _offset(found, frames_late)
    return facts


def _clapped(found: _Found, one: Onset) -> str | None:
    at = frame_at(found.frames, one.at)
    return None if at is None else str(found.label(at))


def _print(found: _Found, clap: int | None, claps: Sequence[Onset], mark: Fraction | None) -> None:
    drop = ", drop-frame" if found.counting.drop else ""
    taken = "" if found.shown.sure else " (taken from its speed: no second ends in it)"
    length_s = found.seconds(found.recording.samples)
    _say(f"{found.path.name}, channel {found.channel}: {found.counting.rate} frames a second{drop}{taken}")
    misread = found.recording.counts.misread
    _say(f"{len(found.frames)} frames in {_clock(length_s)}; {misread} words did not check")
    _say(f"user bits: {', '.join(_user_bits(found)[:8])}")
    console.print(_runs_table(found))
    if found.errors:
        console.print(_errors_table(found))
    for name, number in (("runs", len(found.runs)), ("errors", len(found.errors))):
        if number > _MOST_SHOWN:
            _say(f"{number - _MOST_SHOWN} more {name} are in the document that --json prints")
    if clap is not None and not claps:
        _say(f"no clap is to be heard on channel {clap}")
    for one in claps:
        _say(f"clap at {_clock(found.seconds(one.at))}: {_clapped(found, one) or 'no timecode there'}")
    if mark is not None:
        _say(_late_words(found, _late(found, claps, mark), mark))


def _late_words(found: _Found, frames_late: Fraction | None, mark: Fraction) -> str:
    if frames_late is None:
        return "no clap has a timecode, so that nothing is known of the offset"
    way = "late" if frames_late >= 0 else "early"
    entry = plain_json.dumps(_offset(found, frames_late))
    other = plain_json.dumps({"source": "ltc", "offset_frames": str(frames_late)})
    ms = abs(_ms(found, frames_late))
    return (
        f"{label(mark, found.counting)} was passed {abs(float(frames_late)):g} frames ({ms:.1f} ms) {way}. Under sync "
        f"in project.json: {entry}, or {other} where it is as many frames at any speed; add it to what was set there "
        f"as this was recorded"
    )


def _runs_table(found: _Found) -> Table:
    table = Table(box=box.SIMPLE_HEAD)
    for column in ("in the file", "from", "to", "direction", "speed"):
        table.add_column(column, justify="right" if column == "speed" else "left")
    for one in found.runs[:_MOST_SHOWN]:
        way = "backward" if one.reverse else "forward"
        speed = f"{100 * one.speed:.2f} %"
        table.add_row(_clock(found.seconds(one.begins)), str(one.first), str(one.last), way, speed)
    return table


def _errors_table(found: _Found) -> Table:
    table = Table(box=box.SIMPLE_HEAD)
    for column in ("in the file", "timecode", "what is wrong"):
        table.add_column(column)
    for one in found.errors[:_MOST_SHOWN]:
        table.add_row(_clock(found.seconds(one.first)), found.timecode(one.first) or "", one.words)
    return table


def _clock(seconds: float) -> str:
    """Return a time in the file as people read it: 1:02.345."""
    minutes, milliseconds = divmod(round(seconds * 1000), 60_000)
    return f"{minutes}:{milliseconds // 1000:02}.{milliseconds % 1000:03}"


def _say(words: str) -> None:
    console.print(words, markup=False, highlight=False, soft_wrap=True)
