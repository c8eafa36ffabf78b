"""Edits are kept in the journal as they are made, and now and then the project is saved beside it."""

import os
from collections.abc import Iterator
from pathlib import Path

from sequencer.errors import SequencerError
from sequencer.project import store
from sequencer.project.recovery import Recovered, fingerprint, hold, recover
from sequencer.shell.kinds import laws
from tests.crash.writer import Crash, Tell, Writer
from tests.crash.writers import saving
from tests.crash.writers.saving import HERE, version

_SAVED_EVERY = 7


def work(place: Path, rounds: int, tell: Tell) -> None:
    base = store.load(place / "base", laws())
    folder = place / HERE
    saved = store.load(folder, laws())
    journal = hold(folder, saved, fingerprint(folder), place / "state")
    for number in range(1, rounds + 1):
        now = version(base, number)
        tell("begun", number)
        journal.record(now)
        tell("done", number)
        if number % _SAVED_EVERY == 0:
            store.save(folder, now, laws())
            journal.clear(now, fingerprint(folder))
    journal.end()


def lost(crash: Crash) -> Iterator[str]:
    folder, root = crash.place / HERE, crash.place / "state"
    try:
        there = store.load(folder, laws())
        found = recover(folder, laws(), root)
    except (SequencerError, OSError) as fault:
        yield f"the project does not open: {fault}"
        return
    if isinstance(found, Recovered):
        found.later()
        there = found.project
    elif found is not None:
        yield f"unsaved edits were refused: {found.words}"
        return
    number = int(there.name)
    if not max(0, crash.newest("done")) <= number <= max(0, crash.newest("begun")):
        yield f"edit {crash.newest('done')} was kept, and {number} is there"
    if there != version(store.load(crash.place / "base", laws()), number):
        yield f"what is there is not edit {number}"


def again(place: Path) -> None:
    folder, root = place / HERE, place / "state"
    found = recover(folder, laws(), root)
    if isinstance(found, Recovered):
        store.save(folder, found.project, laws())
        found.done()
    assert recover(folder, laws(), root) is None
    journal = hold(folder, store.load(folder, laws()), fingerprint(folder), root)
    assert journal.place.name == "0", os.listdir(journal.place.parent)
    journal.record(version(store.load(place / "base", laws()), 9999))
    journal.clear(None, None)
    journal.end()


WRITER = Writer(name="journal", prepare=saving.prepare, work=work, lost=lost, again=again)
