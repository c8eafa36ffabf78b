"""`python -m tests.crash --kills 1000 --jobs 2`: real kills of every writer of the project's files, and of whole runs.

`--cuts N` tries so many states of the disk after a power cut instead, for each writer and model of a file system.
"""

import argparse
import json
import multiprocessing
import os
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict
from functools import partial

from tests.crash.kills import Killed
from tests.crash.runs import KINDS
from tests.crash.shared import one_cut, one_kill, shared_out
from tests.crash.writers.listed import CUT, KILLED


def _each(jobs: int, calls: Iterable[Callable[[], Killed]]) -> Iterator[Killed]:
    if jobs == 1:
        yield from (call() for call in calls)
        return
    # a fresh process for each job, that has one thread: it forks
    with ProcessPoolExecutor(jobs, mp_context=multiprocessing.get_context("spawn")) as pool:
        for asked in [pool.submit(call) for call in calls]:
            yield asked.result()


def _killed(kills: int, first: int, jobs: int, *, as_json: bool) -> int:
    begun_s = time.monotonic()
    share = shared_out(kills)
    # those that take longest first
    calls = [partial(one_kill, name, first + at) for name, count in reversed(share.items()) for at in range(count)]
    done = list(_each(jobs, calls))
    if as_json:
        print(json.dumps([asdict(one) for one in done]))
        return 1 if any(one.lost for one in done) else 0
    print(f"{'writer':<10}{'kills':>7}{'lost':>7}{'left over':>11}{'after the next run':>20}")
    for name in share:
        ours = [one for one in done if one.name == name]
        lost, left = sum(bool(one.lost) for one in ours), sum(one.left for one in ours)
        print(f"{name:<10}{len(ours):>7}{lost:>7}{left:>11}{sum(one.left_then for one in ours):>20}")
    for one in done:
        for words in one.lost:
            print(f"{one.name}, seed {one.seed}: {words}")
    lost = sum(bool(one.lost) for one in done)
    print(f"{len(done)} kills in {time.monotonic() - begun_s:.0f} s, {lost} lost something")
    return 1 if lost else 0


def _cuts(count: int, first: int, jobs: int) -> int:
    with ProcessPoolExecutor(jobs, mp_context=multiprocessing.get_context("spawn")) as pool:
        asked = {name: pool.submit(one_cut, name, count, first) for name in CUT}
        found = {name: one.result() for name, one in asked.items()}
    print(f"{'writer':<10}{'states':>8}{'lost':>7}")
    for name, one in found.items():
        print(f"{name:<10}{one.states:>8}{one.lost:>7}")
        for words, times in one.words.most_common(10):
            print(f"    {times} x {words}")
    return 1 if any(one.lost for one in found.values()) else 0


def main() -> int:
    """Return the exit status: 1 where something was lost."""
    parser = argparse.ArgumentParser(prog="python -m tests.crash", description=__doc__)
    parser.add_argument("--kills", type=int, default=1000)
    parser.add_argument("--cuts", type=int, help="states for each writer and each model, instead of kills")
    parser.add_argument("--from", dest="first", type=int, default=0, help="the first seed")
    parser.add_argument("--only", choices=[*KILLED, *KINDS], help="kill this writer alone, with --seed")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--json", action="store_true", help="print what came of each kill")
    asked = parser.parse_args()
    if asked.only:
        one = one_kill(asked.only, asked.seed)
        print("\n".join(one.lost) or "nothing lost")
        return 1 if one.lost else 0
    if asked.cuts:
        return _cuts(asked.cuts, asked.first, asked.jobs)
    return _killed(asked.kills, asked.first, asked.jobs, as_json=asked.json)


if __name__ == "__main__":
    sys.exit(main())
