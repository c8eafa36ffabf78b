"""Takes are recorded one after another by the real keeper, from records as the engine hands them over."""

from collections import deque
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any, cast

import numpy as np

from sequencer.errors import TakeError
from sequencer.project import takefile
from sequencer.shell.keeper import Keeper
from sequencer.shell.messages import Kept
from sequencer.shell.records import CloseTake, OpenTake, Record, pack
from sequencer.takes.rows import SetpointRow
from tests.crash.writer import Crash, Tell, Writer
from tests.project.test_takefile import HEADING

ROWS = 500  # of a take
TICK_NS = 4_000_000
_AT_ONCE = 13
_PROMISE = 125  # rows: half a second


class _Records:
    """The ring between the engine and the keeper, without the memory that they share."""

    def __init__(self) -> None:
        self.waiting: deque[bytes] = deque()

    def put(self, *records: Record) -> None:
        self.waiting.extend(map(pack, records))

    def take(self) -> Iterator[bytes]:
        while self.waiting:
            yield self.waiting.popleft()


def prepare(place: Path) -> None:
    (place / "takes").mkdir()


def _row(number: int) -> SetpointRow:
    # every other second of rows is more than one chunk can hold
    phase = "running" + "." * (700 * (number // 250 % 2))
    return SetpointRow(1 + number * TICK_NS, number / 250, phase, (number / 7, -number / 3), (0.25, 1 / 9))


def _path(place: Path, take: int) -> Path:
    return place / "takes" / f"turn_{take + 1:03}.mcap"


def work(place: Path, rounds: int, tell: Tell) -> None:
    """Tell each row by its number of all; `finished` is told with the take's number."""
    records = _Records()
    keeper = Keeper(cast(Any, records))
    for take in range(-(-rounds * _AT_ONCE // ROWS)):
        path = _path(place, take)
        records.put(OpenTake(str(path), replace(HEADING, name=path.stem), 250.0, 2.0))
        for at in range(0, ROWS, _AT_ONCE):
            numbers = range(at, min(at + _AT_ONCE, ROWS))
            tell("begun", take * ROWS + numbers[-1])
            records.put(*map(_row, numbers))
            keeper.drain()
            tell("done", take * ROWS + numbers[-1])
        records.put(CloseTake())
        keeper.drain()
        kept = [one for one in keeper.reports if isinstance(one, Kept)]
        assert [one.trouble for one in kept] == [""], keeper.reports
        keeper.reports.clear()
        tell("finished", take)


def lost(crash: Crash) -> Iterator[str]:
    done = crash.newest("done")
    for take in range(done // ROWS + 1 if done >= 0 else 0):
        finished = take <= crash.newest("finished")
        handed = min(ROWS, done + 1 - take * ROWS)
        try:
            there = takefile.read(_path(crash.place, take))
        except TakeError as fault:
            yield f"take {take} cannot be read, and {handed} rows of it were handed over: {fault}"
            continue
        promised = ROWS if finished else max(0, handed - _PROMISE)
        if len(there.due_ns) < promised:
            yield f"take {take} has {len(there.due_ns)} of {promised} rows ({there.fault})"
        if finished and not there.complete:
            yield f"take {take} was said to be whole: {there.fault}"
        count = np.arange(len(there.due_ns))
        whole = np.array_equal(there.due_ns, 1 + count * TICK_NS) and np.array_equal(there.asked[:, 0], count / 7)
        if not whole:
            yield f"take {take} is not what was recorded"


def again(place: Path) -> None:
    """Record one more, as the next run does: under a name that is free."""
    take = max((int(path.stem[-3:]) for path in (place / "takes").glob("*.mcap")), default=0)
    records = _Records()
    keeper = Keeper(cast(Any, records))
    path = _path(place, take)
    records.put(OpenTake(str(path), replace(HEADING, name=path.stem), 250.0, 2.0), *map(_row, range(9)), CloseTake())
    keeper.drain()
    assert len(takefile.read(path).due_ns) == 9


WRITER = Writer(name="take", prepare=prepare, work=work, lost=lost, again=again)
