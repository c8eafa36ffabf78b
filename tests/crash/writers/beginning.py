"""New projects with their playback are begun, as on the first page, one after another."""

import wave
from collections.abc import Iterator
from pathlib import Path

from sequencer.errors import SequencerError
from sequencer.project import store
from sequencer.project.begin import Answers, begin
from sequencer.shell.kinds import laws
from tests.crash.writer import Crash, Tell, Writer
from ui.acts import disk
from ui.panels import first_run

_SAMPLES = bytes(range(256)) * 400


def _answers(number: int) -> Answers:
    return Answers(name=f"quay {number}", axes=("pan", "tilt", "slide"))


def _folder(place: Path, number: int) -> Path:
    # every other one in a folder that is not there yet
    return place / (f"day{number}" if number % 2 else "") / f"quay-{number}"


def prepare(place: Path) -> None:
    (place / "music").mkdir()
    with wave.open(str(place / "music" / "song.wav"), "wb") as file:
        file.setparams((1, 2, 48_000, 0, "NONE", ""))
        file.writeframes(_SAMPLES)


def _begun(place: Path, number: int) -> None:
    first_run.new_project(_answers(number), _folder(place, number), place / "music" / "song.wav", laws())


def work(place: Path, rounds: int, tell: Tell) -> None:
    for number in range(rounds):
        tell("begun", number)
        _begun(place, number)
        tell("done", number)


def _is_whole(place: Path, number: int) -> bool:
    there, wanted = store.load(_folder(place, number), laws()), begin(_answers(number))
    if there.playback is None or (there.name, there.rig, there.move) != (wanted.name, wanted.rig, wanted.move):
        return False
    music = (place / "music" / "song.wav").read_bytes()
    return (_folder(place, number) / there.playback.file).read_bytes() == music


def lost(crash: Crash) -> Iterator[str]:
    for number in range(crash.newest("begun") + 1):
        # what the first page takes for a project that is there already, must open
        if number > crash.newest("done") and not disk.occupied(_folder(crash.place, number)):
            continue
        try:
            if not _is_whole(crash.place, number):
                yield f"project {number} is not what was begun"
        except (SequencerError, OSError) as fault:
            yield f"project {number} was begun, and is not there: {fault}"


def again(place: Path) -> None:
    """Begin the last one once more, in the same place, whatever is there of it."""
    number = max((int(path.name.removeprefix("quay-")) for path in place.rglob("quay-*")), default=0)
    _begun(place, number)
    assert _is_whole(place, number)


WRITER = Writer(name="new", prepare=prepare, work=work, lost=lost, again=again, lasts_s=0.3)
