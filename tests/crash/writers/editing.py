"""The editor's desk is edited every few milliseconds; its keeper writes within half a second, in its own thread."""

from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

from PyQt6.QtCore import QCoreApplication, QTimer

from sequencer.errors import SequencerError
from sequencer.project import store
from sequencer.project.recovery import Recovered, fingerprint, recover
from sequencer.score.edits.offset import offset
from sequencer.shell.kinds import laws
from tests.crash.writer import Crash, Tell, Writer
from tests.crash.writers import journal, saving
from tests.crash.writers.saving import HERE
from ui.acts.keeping import EVERY_S, Keeper
from ui.desk import Desk

_STEP, _EVERY_MS, _SAVED_EVERY = 1 / 1024, 7, 61
_SLACK_S = 0.5  # in which what is due gets to the disk


def work(place: Path, rounds: int, tell: Tell) -> None:
    app = QCoreApplication([])
    folder = place / HERE
    project = store.load(folder, laws())
    desk = Desk(project, laws(), folder)
    keeper = Keeper(desk, place / "state")
    keeper.begin(folder, project, fingerprint(folder))
    axis, number = project.move.tracks[0].axis, 0

    def edit() -> None:
        nonlocal number
        number += 1
        tell("begun", number)
        desk.edit("raise", offset(desk.project.move, {axis: {1}}, value=_STEP))
        tell("edited", number)
        if number % _SAVED_EVERY == 0:
            store.save(folder, desk.project, laws())
            tell("done", number)
            keeper.saved(desk.project, fingerprint(folder))
        if number >= rounds:
            app.quit()

    timer = QTimer()
    timer.timeout.connect(edit)
    timer.start(_EVERY_MS)
    app.exec()
    keeper.end()


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
    begun = store.load(crash.place / "begun", laws())
    number = round((there.move.tracks[0].keys[1].value - begun.move.tracks[0].keys[1].value) / _STEP)
    times = [one.at_ns for one in crash.told] + [crash.ended_ns]
    # where the machine has no time for an edit, it has none for the keeper
    held_s = max((later - at for at, later in pairwise(times)), default=0) * 1e-9
    since_ns = crash.ended_ns - round((EVERY_S + _SLACK_S + held_s) * 1e9)
    due = max((one.number for one in crash.told if one.word == "edited" and one.at_ns < since_ns), default=0)
    if not max(due, crash.newest("done")) <= number <= max(0, crash.newest("begun")):
        yield f"edit {due} was due on the disk, {crash.newest('done')} saved, and {number} is there"


def prepare(place: Path) -> None:
    saving.prepare(place)
    store.save(place / "begun", store.load(place / HERE, laws()), laws())


WRITER = Writer(name="editor", prepare=prepare, work=work, lost=lost, again=journal.again, lasts_s=2.5)
