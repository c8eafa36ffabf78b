"""The log of a timelapse: frame after frame is ordered and exposed, each line on the disk before the next deed."""

from collections.abc import Iterator
from pathlib import Path

from sequencer.errors import TakeError
from sequencer.project.shot_log import Begun, Doubt, Exposed, Firing, Log, read
from tests.crash.writer import Crash, Tell, Writer

_FRAMES = 100_000


def prepare(place: Path) -> None:
    """Nothing: the folder of takes is made with the log."""


def _path(place: Path) -> Path:
    return place / "takes" / "tide.shots.jsonl"


def work(place: Path, rounds: int, tell: Tell) -> None:
    with Log.begin(_path(place), Begun(of="tide", frames=_FRAMES, begins=1e9, sha256="0" * 64)) as log:
        tell("opened", 0)
        for frame in range(rounds):
            log.add(Firing(frame=frame, at=frame * 5.0))
            tell("fired", frame)
            log.add(Exposed(frame=frame, at=frame * 5.0, late_s=1 / 3, actual=(frame / 7, None)))
            tell("done", frame)


def lost(crash: Crash) -> Iterator[str]:
    opened = crash.newest("opened") == 0
    try:
        shot = read(_path(crash.place))
    except TakeError as fault:
        if opened:
            yield f"the log cannot be read: {fault}"
        return
    done, fired = crash.newest("done"), crash.newest("fired")
    exposed = [one.frame for one in shot.exposed]
    if exposed != list(range(len(exposed))) or not done + 1 <= shot.next <= done + 2:
        yield f"frame {done} was exposed, and {shot.next} comes next"
    if fired == shot.next and not shot.doubtful:
        yield f"frame {fired} was ordered, and is told as never ordered"


def again(place: Path) -> None:
    try:
        log, shot = Log.resume(_path(place))
    except TakeError:
        # it ended before it began
        log, shot = Log.begin(_path(place), Begun(of="tide", frames=_FRAMES, begins=1e9, sha256="0" * 64)), None
    with log:
        frame = shot.next if shot else 0
        if shot and shot.doubtful:
            log.add(Doubt(frame=frame, taken=False, asked=True))
        log.add(Firing(frame=frame, at=frame * 5.0))
        log.add(Exposed(frame=frame, at=frame * 5.0))
    assert read(_path(place)).next == frame + 1


WRITER = Writer(name="shot log", prepare=prepare, work=work, lost=lost, again=again)
