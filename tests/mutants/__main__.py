"""Change the program in one small thing at a time, and see whether the tests notice: `python -m tests.mutants MODULE`.

Without a module, all of sequencer/playback, where a mistake moves a rig. MODULE is a path, or one with a line:
`sequencer/playback/guard.py:130`. The tests are those of the same room, `tests/playback`, unless `--tests` says which.
`--sample 200 --seed 3` tries only so many, chosen by the seed. No file is ever changed: a mutant is in the memory of
one process. What is changed, and what is not, stands in `breed.py`; mutants that no test can notice are listed in
`equivalent.toml`, each with the reason, and count neither way. Linux only.

Prints each survivor with its place and what was changed, and the score of each module. Exit status 1: less than 90 of
a hundred were noticed.
"""

import argparse
import os
import random
import sys
import time
import tomllib
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

import pytest

from tests.mutants.breed import Mutant, mutants
from tests.mutants.nursery import Fate, Nursery

DEFAULT = "sequencer/playback"
LEAST = 0.9
EQUIVALENT = Path(__file__).with_name("equivalent.toml")
_NOTICED = (Fate.KILLED, Fate.ENDLESS)


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.mutants", description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("modules", nargs="*", default=[DEFAULT], metavar="MODULE", help=f"default: {DEFAULT}")
    parser.add_argument("--tests", nargs="+", metavar="PATH", help="default: the room's own")
    parser.add_argument("--jobs", type=int, default=1, help="mutants tried at a time")
    parser.add_argument("--sample", type=int, help="try only so many mutants")
    parser.add_argument("--seed", type=int, default=0, help="which these are")
    parser.add_argument("--equivalent", type=Path, default=EQUIVALENT, help="the list of those that cannot be noticed")
    options = parser.parse_args(arguments)
    chosen, room = _modules(options.modules)
    bred = [
        one
        for name, (path, line) in chosen.items()
        for one in mutants(name, path.read_text(encoding="utf-8"))
        if line in (None, one.line)
    ]
    bred, excused, stale = _without(bred, _listed(options.equivalent, set(chosen)))
    if stale and not any(line for _, line in chosen.values()):
        print(f"listed in {options.equivalent} and no mutant: {'; '.join(stale)}. Take it off the list")
        return 2
    if options.sample is not None and options.sample < len(bred):
        picked = set(random.Random(options.seed).sample(range(len(bred)), options.sample))
        bred = [one for number, one in enumerate(bred) if number in picked]
    bred.sort(key=lambda one: one.late)  # as they are tried
    tests = options.tests or sorted({str(Path("tests", *path.parts[1:-1])) for path, _ in chosen.values()})
    return _run(bred, room, tests, options.jobs, excused)


def _run(bred: Sequence[Mutant], room: dict[str, Path], tests: Sequence[str], jobs: int, excused: Counter[str]) -> int:
    begun_s = time.monotonic()
    nursery = Nursery(paths=room, bred=bred, jobs=jobs, told=_tell)
    pytest.main(["-n", "0", "-p", "no:cacheprovider", "--no-header", "-q", "-s", *tests], plugins=[nursery])
    if nursery.fault or len(nursery.fates) < len(bred):
        print(nursery.fault or "the tests could not be run")
        return 2
    noticed: Counter[str] = Counter()
    for one, fate in zip(bred, nursery.fates, strict=True):
        noticed[one.module] += fate in _NOTICED
    total = Counter(one.module for one in bred)
    print(f"\n{'module':36} {'mutants':>8} {'noticed':>8} {'score':>7} {'equivalent':>11}")
    for module in total:
        _row(module, total[module], noticed[module], excused[module])
    score = _row("all", total.total(), noticed.total(), sum(excused[module] for module in total))
    lasted_s = time.monotonic() - begun_s
    endless = nursery.fates.count(Fate.ENDLESS)
    print(f"{len(nursery.covered)} tests, {endless} mutants without end, {lasted_s:.0f} s with {jobs} at a time")
    return 0 if score >= LEAST else 1


def _row(name: str, total: int, noticed: int, excused: int) -> float:
    score = noticed / total if total else 1.0
    print(f"{name:36} {total:8} {noticed:8} {score:7.1%} {excused:11}")
    return score


def _tell(mutant: Mutant, fate: Fate) -> None:
    if fate not in _NOTICED:
        place = f"{mutant.module.replace('.', '/')}.py:{mutant.line}"
        print(f"{place} in {mutant.inside or 'the module'}: {fate}\n  - {mutant.was}\n  + {mutant.becomes}", flush=True)


def _modules(names: Sequence[str]) -> tuple[dict[str, tuple[Path, int | None]], dict[str, Path]]:
    """Return the chosen modules with path and line, and all modules of their rooms, by name."""
    chosen: dict[str, tuple[Path, int | None]] = {}
    room: dict[str, Path] = {}
    for name in names:
        word, _, line = name.partition(":")
        path = Path(word if "/" in word or word.endswith(".py") else word.replace(".", "/"))
        path = path if path.exists() else path.with_suffix(".py")
        if not path.exists() or path.is_absolute():
            raise SystemExit(f"there is no module {word} below {os.getcwd()}; name it by its path from there")
        folder = path if path.is_dir() else path.parent
        room |= {_name(one): one.resolve() for one in sorted(folder.glob("*.py"))}
        for one in sorted(path.glob("*.py")) if path.is_dir() else [path]:
            chosen[_name(one)] = one, int(line) if line else None
    return chosen, room


def _name(path: Path) -> str:
    parts = path.with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def _listed(path: Path, modules: set[str]) -> list[dict[str, str]]:
    if not path.exists():
        return []
    listed = tomllib.loads(path.read_text(encoding="utf-8"))["mutant"]
    for one in listed:
        if set(one) != {"module", "inside", "was", "becomes", "why"}:
            raise SystemExit(f"{path}: each mutant has module, inside, was, becomes and why, not {', '.join(one)}")
    return [one for one in listed if one["module"] in modules]


def _without(bred: Sequence[Mutant], listed: Sequence[dict[str, str]]) -> tuple[list[Mutant], Counter[str], list[str]]:
    """Return the mutants that are not listed, how many are in each module, and what is listed and no mutant."""
    keys = {(one["module"], one["inside"], one["was"], one["becomes"]) for one in listed}
    left = [one for one in bred if (one.module, one.inside, one.was, one.becomes) not in keys]
    found = {(one.module, one.inside, one.was, one.becomes) for one in bred}
    excused = Counter(one.module for one in bred if (one.module, one.inside, one.was, one.becomes) in keys)
    return left, excused, [f"{key[0]} {key[3]}" for key in sorted(keys - found)]


if __name__ == "__main__":
    sys.exit(main())
