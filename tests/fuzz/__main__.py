"""Fuzz one decoder, guided by coverage: `python -m tests.fuzz NAME --inputs 10000000 --jobs 2`; without a name, list.

What is new is kept in tests/fuzz/corpus/NAME, and run by the tests from then on. An input that a decoder does not
survive is written there first, as `found-...`, so that it fails the tests until the decoder is mended. Exit status 1.
"""

import argparse
import re
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

from tests.fuzz.kept import CORPUS, FOUND, inputs, keep, name_of
from tests.fuzz.target import Target
from tests.fuzz.targets import TARGETS

_LONGEST_S = 25  # of one input: far beyond what the slowest takes on a machine that does much else
_MEMORY_MB = 1500  # of the process, of which the libraries take some 250
_DONE = re.compile(r"Done (\d+) runs in (\d+) second")
_COVERED = re.compile(r"cov: (\d+) ft: (\d+)")


@dataclass(frozen=True, slots=True)
class Ran:
    """What one job did. `found` are inputs that the decoder did not survive; `words` the end of what it said."""

    inputs: int
    seconds: int
    covered: int
    found: tuple[bytes, ...]
    words: str


def fuzz(target: Target, count: int, seconds: int, jobs: int, seed: int, folder: Path) -> list[Ran]:
    """Fuzz in so many processes, which share what they find in `folder`, and wait for them."""
    corpus = folder / "corpus"
    corpus.mkdir()
    for data in [*target.seeds(), *inputs(target.name)]:
        (corpus / name_of(data)).write_bytes(data)
    begun = []
    for job in range(jobs):
        found = folder / f"found{job}"
        found.mkdir()
        said = (folder / f"said{job}").open("wb")
        options = [
            f"-runs={count // jobs}",
            f"-max_total_time={seconds}",
            f"-seed={seed + job}",
            f"-max_len={target.longest}",
            f"-timeout={_LONGEST_S}",
            f"-rss_limit_mb={_MEMORY_MB}",
            f"-artifact_prefix={found}/",
            "-reload=30",
            "-print_final_stats=1",
        ]
        command = [sys.executable, "-m", "tests.fuzz.guided", target.name, *options, str(corpus)]
        begun.append((subprocess.Popen(command, stdout=said, stderr=subprocess.STDOUT), said, found))
    for process, said, _ in begun:
        process.wait()
        said.close()
    return [_ran(Path(said.name), found) for _, said, found in begun]


def _ran(said: Path, found: Path) -> Ran:
    text = said.read_text(encoding="utf-8", errors="replace")
    done = _DONE.search(text)
    executed = re.search(r"stat::number_of_executed_units:\s*(\d+)", text)
    covered = _COVERED.findall(text)
    return Ran(
        inputs=int(done[1] if done else executed[1] if executed else 0),
        seconds=int(done[2]) if done else 0,
        covered=max((int(one) for one, _ in covered), default=0),
        found=tuple(path.read_bytes() for path in sorted(found.iterdir())),
        words=text[-4000:],
    )


def main() -> int:
    """Return the exit status."""
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("name", nargs="?", help="the target; without it they are listed")
    parser.add_argument("--inputs", type=int, default=10_000_000)
    parser.add_argument(
        "--seconds", type=int, default=0, help="stop after so long; 0: not before all inputs were tried"
    )
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    if asked.name is None:
        print("\n".join(TARGETS))
        return 0
    if asked.name not in TARGETS:
        print(f"there is no target {asked.name}; there are: {', '.join(TARGETS)}", file=sys.stderr)
        return 2
    if find_spec("atheris") is None:
        print("atheris is not here; on Linux: pip install 'twintake[fuzz]'", file=sys.stderr)
        return 2
    target = TARGETS[asked.name]
    with tempfile.TemporaryDirectory() as folder:
        ran = fuzz(target, asked.inputs, asked.seconds, asked.jobs, asked.seed, Path(folder))
        grown = [path.read_bytes() for path in (Path(folder) / "corpus").iterdir()]
    found = {data for one in ran for data in one.found}
    for one in ran:
        pace = f"{one.inputs / one.seconds:.0f} a second" if one.seconds else "too short to say how many a second"
        print(f"{target.name}: {one.inputs} inputs in {one.seconds} s, {pace}, {one.covered} edges")
        if one.found or not one.inputs:
            print(one.words, file=sys.stderr)
    for data in found:
        path = CORPUS / target.name / f"{FOUND}{name_of(data)}"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
        print(f"{target.name}: the decoder does not survive {path}", file=sys.stderr)
    if not found:
        print(
            "{}: {} inputs are kept, which reach {} steps from line to line".format(target.name, *keep(target, grown))
        )
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
