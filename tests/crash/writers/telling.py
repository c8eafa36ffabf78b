"""Setpoints are written to a file by a thread beside the tick, one file after another, each of a third of a second.

Every third file goes on for longer than the half second that may be lost.
"""

import time
from collections.abc import Iterator
from functools import partial
from itertools import count
from pathlib import Path

from sequencer.adapters.setpoint_files.part import PartFile
from sequencer.adapters.setpoint_files.sheets import CsvSheet, SetpointLine
from sequencer.rig.axis import Axis, Rig
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timebase, Timecode
from tests.crash.writer import Crash, Tell, Writer

RIG = Rig(
    name="one axis",
    axes=(Axis(name="pan", kind="pan", unit="deg", travel=(-170, 170), speed=60, acceleration=120, jerk=600),),
)
TIMEBASE = Timebase(Counting(Rate(25)), Timecode(10, 0, 0, 0))
EVERY_S, SHORT, LONG = 0.002, 150, 900  # lines
_PROMISE_S = 0.5
_SLACK_S = 0.4  # the thread looks 20 times a second, on a machine that does much else
MOST = 1000  # lines of one file, in what is told


def prepare(place: Path) -> None:
    (place / "out").mkdir()


def _path(place: Path, number: int) -> Path:
    return place / "out" / f"move_{number}.csv"


def work(place: Path, rounds: int, tell: Tell) -> None:
    for number in range(rounds):
        file = PartFile(_path(place, number), partial(CsvSheet, rig=RIG, timebase=TIMEBASE))
        for line in range(LONG if number % 3 == 2 else SHORT):
            tell("begun", number * MOST + line)
            file.put(SetpointLine(line, line / 500, (line / 7,), (0.0,)), line)
            tell("done", number * MOST + line)
            time.sleep(EVERY_S)
        file.close()
        tell("finished", number)


def _lines(path: Path) -> list[str]:
    return path.read_text().splitlines(keepends=True)[1:] if path.exists() else []


def due_of(crash: Crash) -> list[int]:
    """Return the lines that were put so long before the end that they must be on the disk."""
    held_s = max((b.at_ns - a.at_ns for a, b in zip(crash.told, crash.told[1:], strict=False)), default=0) * 1e-9
    since_ns = crash.ended_ns - round((_PROMISE_S + _SLACK_S + held_s) * 1e9)
    return [one.number for one in crash.told if one.word == "done" and one.at_ns < since_ns]


def lost(crash: Crash) -> Iterator[str]:
    begun = crash.newest("begun")
    done = [one.number for one in crash.told if one.word == "done"]
    due = due_of(crash)
    for number in range(begun // MOST + 1 if begun >= 0 else 0):
        path = _path(crash.place, number)
        whole, part = _lines(path), _lines(path.with_name(f"{path.name}.part"))
        if number <= crash.newest("finished"):
            if len(whole) != sum(one // MOST == number for one in done):
                yield f"file {number} was said to be whole, and has {len(whole)} lines"
            continue
        there, promised = len(whole or part), sum(one // MOST == number for one in due)
        if there < promised:
            yield f"file {number} has {there} of {promised} lines"
        if any(not line.endswith("\n") for line in part):
            yield f"file {number} ends in mid-line"


def again(place: Path) -> None:
    """Write one more, under a name that is free: earlier parts are kept."""
    free = next(number for number in count() if not list((place / "out").glob(f"move_{number}.csv*")))
    file = PartFile(_path(place, free), partial(CsvSheet, rig=RIG, timebase=TIMEBASE))
    file.put(SetpointLine(1, 0.0, (1.0,), (0.0,)), 1)
    file.close()
    assert len(_lines(_path(place, free))) == 1


WRITER = Writer(name="setpoints", prepare=prepare, work=work, lost=lost, again=again, lasts_s=2.5)
