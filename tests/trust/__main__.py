"""`python -m tests.trust --takes 10000`: simulated takes with faults, on all processors; `--seed N` plays one again."""

import argparse
import os
import sys
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor

from sequencer.playback.state import Phase
from tests.trust.acts import ACTS
from tests.trust.trial import Outcome, trial
from tests.trust.why import CAUSES, SELDOM

_AT_ONCE = 20
_ALL_COME = 5000  # takes, in which everything that can come does
_MOST_TOLD = 20


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
        print(
            f"{one.simulated_s:.1f} s, {one.ticks} ticks; {dict(one.happened)}; {dict(one.phases)}; digest {one.digest}"
        )
        print("\n".join(one.broken) or "no rule broken")
        return 1 if one.broken else 0
    seeds = range(asked.first, asked.first + asked.takes)
    blocks = [seeds[at : at + _AT_ONCE] for at in range(0, len(seeds), _AT_ONCE)]
    begun = time.monotonic()
    phases: Counter[str] = Counter()
    happened: Counter[str] = Counter()
    causes: Counter[str] = Counter()
    simulated_s, ticks, broken = 0.0, 0, []
    with ProcessPoolExecutor(asked.jobs) as pool:
        for outcomes in pool.map(_some, blocks):
            for one in outcomes:
                phases += one.phases
                happened += one.happened
                causes += one.causes
                simulated_s += one.simulated_s
                ticks += one.ticks
                if one.broken:
                    broken.append(one.seed)
                    print(f"seed {one.seed}: {'; '.join(one.broken)}", flush=True)
    took_s = time.monotonic() - begun
    print("phases: " + ", ".join(f"{phase} {phases[phase]}" for phase in Phase))
    print("happened: " + ", ".join(f"{name} {happened[name]}" for name in ACTS))
    print("stopped since: " + "; ".join(f"{words} {causes[words]}" for words in CAUSES))
    seen = {*phases, *happened, *causes, *SELDOM}
    never = [name for name in (*Phase, *ACTS, *CAUSES) if name not in seen] if len(seeds) >= _ALL_COME else []
    if never:
        print(f"never seen, so nothing is known of it: {', '.join(never)}")
    if broken:
        print(f"again: {'; '.join(f'python -m tests.trust --seed {seed}' for seed in broken[:_MOST_TOLD])}")
    print(
        f"{len(seeds)} takes, {len(broken)} broke a rule; {ticks} ticks checked; "
        f"{simulated_s:.0f} s simulated in {took_s:.0f} s: {simulated_s / took_s:.0f} times real time"
    )
    return 1 if broken or never else 0


if __name__ == "__main__":
    sys.exit(main())
