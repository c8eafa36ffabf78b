"""A project is saved again and again; each time both of its files change, so that neither fits the other's old one."""

import shutil
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path

from sequencer.errors import SequencerError
from sequencer.project import store
from sequencer.project.amend import renamed, with_axis
from sequencer.project.document import Project
from sequencer.score.edits.offset import offset
from sequencer.shell.kinds import laws
from tests.crash.writer import Crash, Tell, Writer
from tests.shell.small import small_project

HERE = "project"


@cache
def first(place: Path) -> Project:
    return store.load(small_project(place, legs=3), laws())


def version(base: Project, number: int) -> Project:
    """Return the project after so many edits: its name says how many, a key is elsewhere, and the axis has a name."""
    moved = replace(base, move=offset(base.move, {"pan": {1}}, value=number / 1024))
    axis = replace(base.rig.axes[0], name=f"pan{number % 3}")
    return renamed(with_axis(moved, 0, axis), f"{number}")


def prepare(place: Path) -> None:
    small_project(place / HERE, legs=3)
    base = store.load(place / HERE, laws())
    store.save(place / HERE, version(base, 0), laws())
    shutil.copytree(place / HERE, place / "base", ignore=shutil.ignore_patterns("*.bak"))
    store.save(place / "base", base, laws())


def work(place: Path, rounds: int, tell: Tell) -> None:
    base = store.load(place / "base", laws())
    for number in range(1, rounds + 1):
        tell("begun", number)
        store.save(place / HERE, version(base, number), laws())
        tell("done", number)


def lost(crash: Crash) -> Iterator[str]:
    try:
        there = store.load(crash.place / HERE, laws())
    except SequencerError as fault:
        yield f"the project does not open: {fault}"
        return
    number = int(there.name)
    if not max(0, crash.newest("done")) <= number <= max(0, crash.newest("begun")):
        yield f"save {crash.newest('done')} was done, and {number} is there"
    if there != version(store.load(crash.place / "base", laws()), number):
        yield f"what is there is not what save {number} wrote"


def again(place: Path) -> None:
    last = version(store.load(place / "base", laws()), 9999)
    store.save(place / HERE, last, laws())
    assert store.load(place / HERE, laws()) == last


WRITER = Writer(name="save", prepare=prepare, work=work, lost=lost, again=again)
