"""A demo project is copied to one place after another, as on the first page: whole, or not as a project."""

from collections.abc import Iterator
from functools import cache
from itertools import count
from pathlib import Path

from sequencer.errors import SequencerError
from sequencer.project import store
from sequencer.project.begin import demos
from sequencer.project.document import Project
from sequencer.shell.kinds import laws
from tests.crash.writer import Crash, Tell, Writer
from ui.panels import first_run

_DEMO = demos(first_run.DEMOS)[0]


@cache
def _demo() -> tuple[Project, bytes]:
    project = store.load(_DEMO, laws())
    assert project.playback is not None
    return project, (_DEMO / project.playback.file).read_bytes()


def prepare(place: Path) -> None:
    """Nothing but what is read once: the folder around each copy is made with it."""
    _demo()


def work(place: Path, rounds: int, tell: Tell) -> None:
    for number in range(rounds):
        tell("begun", number)
        first_run.copied_demo(_DEMO, place / f"home{number}", laws())
        tell("done", number)


def _is_whole(folder: Path) -> bool:
    project, music = _demo()
    assert project.playback is not None
    return store.load(folder, laws()) == project and (folder / project.playback.file).read_bytes() == music


def lost(crash: Crash) -> Iterator[str]:
    for number in range(crash.newest("begun") + 1):
        home = crash.place / f"home{number}"
        folder = home / _DEMO.name
        if number <= crash.newest("done") and folder not in demos(home):
            yield f"copy {number} was made, and is no project"
        elif folder.exists():
            try:
                if not _is_whole(folder):
                    yield f"copy {number} opens as another project"
            except (SequencerError, OSError) as fault:
                yield f"copy {number} is there and is not whole: {fault}"


def again(place: Path) -> None:
    """Ask for the demo in the same place once more: the first in which it is not there."""
    home = next(home for number in count() if not ((home := place / f"home{number}") / _DEMO.name).exists())
    assert _is_whole(first_run.copied_demo(_DEMO, home, laws()))


WRITER = Writer(name="demo", prepare=prepare, work=work, lost=lost, again=again, lasts_s=0.3)
