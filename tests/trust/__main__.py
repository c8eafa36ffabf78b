"""`python -m tests.trust --takes 10000`: simulated takes with faults, on all processors; `--seed N` plays one again."""

import argparse
import os
import sys
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor

from tests.trust.trial import ACTS, Outcome, trial

_AT_ONCE = 20


def _some(seeds: range) -> list[Outcome]:
    return [trial(seed) for seed in seeds]


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.trust", description="Simulated takes with faults.")
    parser.add_argument("--takes", type=int, default=1000)
    parser.add_argument("--from", dest="first", type=int, default=0, help="the first seed")
    parser.add_argument("--seed", type=int, help="play only this one, and say what happened")
    parser.add_argument("--jobs", type=int, default=os.cpu_count())
    asked = parser.parse_args()
    if asked.seed is not None:
        one = trial(asked.seed)
        print(f"{one.simulated_s:.1f} s simulated; {dict(one.happened)}; {dict(one.phases)}")
        print("\n".join(one.broken) or "no rule broken")
        return 1 if one.broken else 0
    seeds = range(asked.first, asked.first + asked.takes)
    blocks = [seeds[at : at + _AT_ONCE] for at in range(0, len(seeds), _AT_ONCE)]
    begun = time.monotonic()
    phases: Counter[str] = Counter()
    happened: Counter[str] = Counter()
    simulated_s, broken = 0.0, 0
    with ProcessPoolExecutor(asked.jobs) as pool:
        for outcomes in pool.map(_some, blocks):
            for one in outcomes:
                phases += one.phases
                happened += one.happened
                simulated_s += one.simulated_s
                if one.broken:
                    broken += 1
                    print(f"seed {one.seed}: {'; '.join(one.broken)}", flush=True)
    took = time.monotonic() - begun
    fast = simulated_s / took
    print(f"{len(seeds)} takes, {broken} broke a rule; {simulated_s:.0f} s simulated in {took:.0f} s: {fast:.0f} x")
    print("phases: " + ", ".join(f"{name} {count}" for name, count in phases.most_common()))
    print("happened: " + ", ".join(f"{name} {happened[name]}" for name in ACTS))
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())
