"""Setpoints are written to an MCAP by a thread beside the tick, as `telling` has it for a table in text.

Half of the lines are long, so that what is due at once is now one chunk, now several. A part that a kill leaves is the
operator's, and is kept: it reads up to its last whole chunk.
"""

import time
from collections.abc import Iterator
from functools import partial
from itertools import count
from pathlib import Path

import numpy as np

from sequencer.adapters.setpoint_files.part import PartFile
from sequencer.adapters.setpoint_files.sheets import Line, McapSheet, SetpointLine
from sequencer.errors import LinkError, TakeError
from sequencer.project import takefile
from sequencer.takes.rows import EventRow
from sequencer.takes.take import Take
from tests.crash.writer import Crash, Tell, Writer
from tests.crash.writers.telling import EVERY_S, LONG, MOST, RIG, SHORT, TIMEBASE, due_of, prepare

_TICK_NS = 2_000_000
_LONG_EVERY = 2
_WORDS = "the camera rolls" + "." * 700


def _path(place: Path, number: int) -> Path:
    return place / "out" / f"move_{number}.mcap"


def _file(path: Path) -> PartFile:
    return PartFile(path, partial(McapSheet, rig=RIG, timebase=TIMEBASE, name=path.stem))


def _line(number: int) -> Line:
    """Return a setpoint, or a happening with as many words as the number says."""
    at_ns = 1 + number * _TICK_NS
    if number % _LONG_EVERY:
        return EventRow(at_ns, "note", f"{number} {_WORDS}")
    return SetpointLine(at_ns, number / 500, (number / 7,), (1 / 9,))


def work(place: Path, rounds: int, tell: Tell) -> None:
    for number in range(rounds):
        file = _file(_path(place, number))
        for line in range(LONG if number % 3 == 2 else SHORT):
            tell("begun", number * MOST + line)
            file.put(_line(line), 1 + line * _TICK_NS)
            tell("done", number * MOST + line)
            time.sleep(EVERY_S)
        file.close()
        tell("finished", number)


def _is_what_was_put(take: Take) -> bool:
    """Return whether its rows and happenings are the first lines, none of them left out."""
    lines = len(take.due_ns) + len(take.happenings)
    numbers = np.arange(0, lines, _LONG_EVERY)
    said = [(one.at_ns, one.text) for one in take.happenings]
    wanted = [line for line in map(_line, range(lines)) if isinstance(line, EventRow)]
    return (
        np.array_equal(take.due_ns, 1 + numbers * _TICK_NS)
        and np.array_equal(take.asked[:, 0], numbers / 7)
        and said == [(line.at_ns, line.text) for line in wanted]
    )


def lost(crash: Crash) -> Iterator[str]:
    begun = crash.newest("begun")
    done = [one.number for one in crash.told if one.word == "done"]
    due = due_of(crash)
    for number in range(begun // MOST + 1 if begun >= 0 else 0):
        path = _path(crash.place, number)
        finished = number <= crash.newest("finished")
        promised = sum(one // MOST == number for one in (done if finished else due))
        try:
            take = takefile.read(path if path.exists() else path.with_name(f"{path.name}.part"))
        except TakeError as fault:
            if promised:
                yield f"file {number} cannot be read, and {promised} lines of it were due: {fault}"
            continue
        lines = len(take.due_ns) + len(take.happenings)
        if lines < promised:
            yield f"file {number} has {lines} of {promised} lines ({take.fault})"
        if path.exists() and not take.complete:
            yield f"file {number} has its name, and is not whole: {take.fault}"
        if not _is_what_was_put(take):
            yield f"file {number} is not what was put into it"


def again(place: Path) -> None:
    """Write to each name once more, which is refused and changes nothing, then to one that is free."""
    out = place / "out"
    free = next(number for number in count() if not list(out.glob(f"move_{number}.mcap*")))
    for number in range(free):
        path = _path(place, number)
        before = {one.name: one.read_bytes() for one in out.glob(f"{path.name}*")}
        try:
            _file(path)
        except LinkError:
            now = {one.name: one.read_bytes() for one in out.glob(f"{path.name}*")}
            assert now == dict([min(before.items())]), "of one file under two names, its own name stays"
        else:
            raise AssertionError(f"{path.name} is written over")
    file = _file(_path(place, free))
    file.put(_line(0), 1)
    file.close()
    assert takefile.read(_path(place, free)).complete


WRITER = Writer(name="mcap", prepare=prepare, work=work, lost=lost, again=again, lasts_s=2.5)
