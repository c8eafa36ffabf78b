"""Real kills: a writer runs in a process of its own, is ended by SIGKILL at a random instant, and is looked after."""

import os
import random
import select
import signal
import sys
import tempfile
import time
import traceback
from dataclasses import dataclass
from pathlib import Path

from tests.crash.power import judged, memory
from tests.crash.writer import Crash, Told, Writer, leftovers, now

_FOR_EVER = 10**6
_LONG_AGO_S = 3600.0


@dataclass(frozen=True, slots=True)
class Killed:
    """What came of one kill: what was lost, in words; what was left over, and of that after the next run."""

    name: str
    seed: int
    rounds: int
    lost: tuple[str, ...]
    left: int = 0
    left_then: int = 0


def kill(writer: Writer, seed: int) -> Killed:
    """Run it, kill it, look what is lost, and run it again. POSIX only: the process is a fork of this one."""
    chance = random.Random(f"{writer.name} {seed}")
    # every other one in memory, where it gets further
    with tempfile.TemporaryDirectory(prefix="crash-", dir=memory() if seed % 2 else None) as folder:
        place = Path(folder)
        writer.prepare(place)
        crash = _crashed(writer, place, chance.uniform(0.0, writer.lasts_s))
        left = leftovers(place)
        for path in left:
            # the next run is an hour later
            os.utime(path, (time.time() - _LONG_AGO_S,) * 2)
        lost = tuple(judged(writer, crash))
        # a lock's file that nobody holds is taken by whoever wants that lock next, and may stay until then
        still = sum(path.exists() and not path.name.endswith("lock") for path in left)
        return Killed(writer.name, seed, len(crash.told) // 2, lost, len(left), still)


def _crashed(writer: Writer, place: Path, after_s: float) -> Crash:
    reads, writes = os.pipe()
    child = os.fork()
    if not child:
        os.close(reads)
        _work(writer, place, writes)
    os.close(writes)
    heard = bytearray()
    try:
        while b"\n" not in heard:  # it says that it begins
            heard += os.read(reads, 1 << 16)
        end_s = time.monotonic() + after_s
        while (left_s := end_s - time.monotonic()) > 0:
            if select.select([reads], [], [], left_s)[0]:
                heard += os.read(reads, 1 << 16)
    finally:
        os.kill(child, signal.SIGKILL)
        ended_ns = time.monotonic_ns()
        _, status = os.waitpid(child, 0)
    while more := os.read(reads, 1 << 16):
        heard += more
    os.close(reads)
    if not os.WIFSIGNALED(status):
        raise RuntimeError(f"{writer.name} ended by itself, in {place}")
    lines = [line.split() for line in heard.decode().splitlines(keepends=True) if line.endswith("\n")]
    return Crash(place, tuple(Told(word, int(number), int(at)) for word, number, at in lines[1:]), ended_ns)


def _work(writer: Writer, place: Path, writes: int) -> None:
    """Be the process that is killed."""

    def tell(word: str, number: int) -> None:
        told = now(word, number)
        os.write(writes, f"{told.word} {told.number} {told.at_ns}\n".encode())

    try:
        tell("ready", 0)
        writer.work(place, _FOR_EVER, tell)
    except BaseException:
        traceback.print_exc(file=sys.stderr)
        sys.stderr.flush()
    finally:
        os._exit(1)
