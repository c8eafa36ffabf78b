"""Runs the processes that fuzz one target, and reads what they say."""

import re
import signal
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

from tests.fuzz.kept import inputs, name_of
from tests.fuzz.target import Target

_LONGEST_S = 25  # of one input: far beyond what the slowest takes on a machine that does much else
_MEMORY_MB = 1500  # of the process, of which the libraries take some 250
_DONE = re.compile(r"Done (\d+) runs in (\d+) second")
_TRIED = re.compile(r"stat::number_of_executed_units:\s*(\d+)")
_COVERED = re.compile(r"cov: (\d+) ft: (\d+)")


@dataclass(frozen=True, slots=True)
class Ran:
    """What one process did. `found` are inputs that the decoder did not survive; `words` the end of what it said.

    One that died and left no input behind, as when the system takes its memory away, has no `inputs`: none counts.
    """

    inputs: int
    seconds: int
    covered: int
    found: tuple[bytes, ...]
    ended: bool  # by Ctrl-C
    words: str


def fuzz(target: Target, count: int, seconds: int, jobs: int, seed: int, corpus: Path, folder: Path) -> list[Ran]:
    """Fuzz in so many processes, which share what grows in `corpus`, and wait for them; Ctrl-C ends them in order.

    `seconds`: stop after so long; 0 for not before all inputs were tried. `folder` is empty, and for this run alone.
    """
    for data in [*target.seeds(), *inputs(target.name)]:
        (corpus / name_of(data)).write_bytes(data)
    begun = []
    for job in range(jobs):
        found = folder / f"found{job}"
        found.mkdir()
        options = [
            f"-runs={-(-count // jobs)}",
            f"-max_total_time={seconds}",
            f"-seed={seed + job}",
            f"-max_len={target.longest}",
            f"-timeout={_LONGEST_S}",
            f"-report_slow_units={_LONGEST_S}",
            f"-rss_limit_mb={_MEMORY_MB}",
            f"-artifact_prefix={found}/",
            "-reload=30",
            "-print_final_stats=1",
        ]
        command = [sys.executable, "-m", "tests.fuzz.guided", target.name, *options, str(corpus)]
        with (folder / f"said{job}").open("wb") as said:
            begun.append(subprocess.Popen(command, stdout=said, stderr=subprocess.STDOUT))
    began_s, ended = time.monotonic(), False
    try:
        for process in begun:
            process.wait()
    except KeyboardInterrupt:
        ended = True
        for process in begun:
            process.send_signal(signal.SIGINT)
            process.wait()
    lasted_s = round(time.monotonic() - began_s)
    return [
        _ran(folder / f"said{job}", folder / f"found{job}", lasted_s, ended, process.returncode)
        for job, process in enumerate(begun)
    ]


def _ran(said: Path, found: Path, lasted_s: int, ended: bool, status: int) -> Ran:
    text = said.read_text(encoding="utf-8", errors="replace")
    done, tried = _DONE.search(text), _TRIED.search(text)
    ended = ended or "libFuzzer: run interrupted" in text
    left = tuple(path.read_bytes() for path in sorted(found.iterdir()))
    died = status and not ended and not left
    return Ran(
        inputs=0 if died else int(done[1] if done else tried[1] if tried else 0),
        seconds=int(done[2]) if done else lasted_s,
        covered=max((int(one) for one, _ in _COVERED.findall(text)), default=0),
        found=left,
        ended=ended,
        words=text[-4000:],
    )
