"""Fuzz decoders, guided by coverage: `python -m tests.fuzz NAME...`, or `python -m tests.fuzz --to 10000000` for all.

Each is fuzzed until so many inputs were tried, those first that need the least time. A tally outside the repository
counts them, so that another evening goes on where this one ended; a decoder whose code changed begins anew. Ctrl-C ends
it in order. Without a name and --to, the tally is shown.

What is new is kept in tests/fuzz/corpus/NAME, and run by the tests from then on. An input that a decoder does not
survive is written there first, as `found-...`, so that it fails the tests until the decoder is mended. Exit status 1.
"""

import argparse
import signal
import sys
import tempfile
import time
from collections.abc import Sequence
from importlib.util import find_spec
from pathlib import Path

from tests.fuzz.kept import CORPUS, FOUND, keep, name_of
from tests.fuzz.running import Ran, fuzz
from tests.fuzz.sources import reached
from tests.fuzz.tally import Tally, Tried, usual
from tests.fuzz.target import Target
from tests.fuzz.targets import TARGETS

RELEASE = 10_000_000  # inputs of each decoder, before it is given out
_PORTION_S = 600  # of fuzzing that is lost at most if the machine goes down
_TRIAL_S = 30  # to learn how many a second


def table(tally: Tally, names: Sequence[str], to: int) -> str:
    """Return what was done and what is left, a line for each target, and one for all of which the pace is known."""
    lines, hours = [f"{'target':<18}{'inputs':>12}{'left':>12}{'a second':>10}{'hours left':>12}"], 0.0
    for name in names:
        tried = tally.of(name)
        left, pace, cells = max(0, to - tried.inputs), tried.a_second, ("-", "-")
        if pace is not None:
            hours += left / pace / 3600
            cells = f"{pace:.0f}", f"{left / pace / 3600:.1f}"
        lines.append(f"{name:<18}{tried.inputs:>12}{left:>12}{cells[0]:>10}{cells[1]:>12}")
    unknown = sum(tally.of(name).a_second is None for name in names)
    more = f", and those of {unknown} of which nobody knows yet" if unknown else ""
    return "\n".join((*lines, f"{hours:.1f} hours are left{more}"))


def next_target(tally: Tally, names: Sequence[str], to: int) -> tuple[str, int] | None:
    """Return which target needs the least time, and for how many seconds it is fuzzed now; None where none is left.

    Those of which nobody knows come first, and for a short time.
    """
    left: list[tuple[float, str, int]] = []
    for name in names:
        tried = tally.of(name)
        if tried.inputs < to:
            pace = tried.a_second
            left.append((0.0, name, _TRIAL_S) if pace is None else ((to - tried.inputs) / pace, name, _PORTION_S))
    return min(left)[1:] if left else None


def portion(target: Target, tally: Tally, to: int, seconds: int, jobs: int) -> list[Ran]:
    """Fuzz one target for some time, count that, and keep what is new."""
    before, sources = tally.of(target.name).inputs, reached(target)
    grown = tally.grown(target.name)
    had = {path.name for path in grown.iterdir()}
    with tempfile.TemporaryDirectory() as folder:
        # another seed each time, or the same inputs would be made again
        ran = fuzz(target, to - before, seconds, jobs, 1 + before % (1 << 31), grown, Path(folder))
    found = {data for one in ran for data in one.found}
    inputs, lasted_s = sum(one.inputs for one in ran), max(one.seconds for one in ran)
    pace = f"{inputs / lasted_s:.0f} a second" if lasted_s else "too short to say how many a second"
    edges = max(one.covered for one in ran)
    print(f"{target.name}: {inputs} inputs in {lasted_s} s, {pace}, {edges} edges", flush=True)
    for one in ran:
        if one.found or not one.inputs:
            print(one.words, file=sys.stderr)
    for data in found:
        path = CORPUS / target.name / f"{FOUND}{name_of(data)}"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
        print(f"{target.name}: the decoder does not survive {path}", file=sys.stderr)
    if not found:
        if not tally.add(target.name, Tried(inputs=inputs, seconds=lasted_s, sources=sources)):
            print(f"{target.name}: its code changed meanwhile, so these do not count", file=sys.stderr)
        new = [path.read_bytes() for path in grown.iterdir() if path.name not in had]
        print(
            "{}: {} inputs are kept, which reach {} steps from line to line".format(target.name, *keep(target, new)),
            flush=True,
        )
    return ran


def run(names: Sequence[str], tally: Tally, to: int, seconds: int, jobs: int) -> int:
    """Fuzz until all targets have had enough, or the time is over, or somebody ends it; return the exit status."""
    open_, status, until_s = list(names), 0, time.monotonic() + seconds
    while (chosen := next_target(tally, open_, to)) is not None:
        name, lasts_s = chosen
        if seconds:
            lasts_s = min(lasts_s, round(until_s - time.monotonic()))
            if lasts_s <= 0:
                break
        ran = portion(TARGETS[name], tally, to, lasts_s, jobs)
        if any(one.ended for one in ran):
            return 130
        if any(one.found for one in ran) or not all(one.inputs for one in ran):
            status = 1
            open_.remove(name)  # it would fall over the same again
    return status


def main() -> int:
    """Return the exit status."""
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__.partition("\n\n")[0])
    parser.add_argument("names", nargs="*", metavar="NAME", help="targets; without any, all")
    parser.add_argument("--to", type=int, help=f"fuzz until so many inputs of each were tried; usually {RELEASE}")
    parser.add_argument("--seconds", type=int, default=0, help="end after so long; 0: when all is done")
    parser.add_argument("--jobs", type=int, default=1, help="processes at once, of one target")
    parser.add_argument("--tally", type=Path, default=usual(), help="where inputs are counted; usually %(default)s")
    asked = parser.parse_args()
    unknown = [name for name in asked.names if name not in TARGETS]
    if unknown:
        print(f"there is no target {unknown[0]}; there are: {', '.join(TARGETS)}", file=sys.stderr)
        return 2
    try:
        tally = Tally(asked.tally)
    except ValueError as fault:
        print(fault, file=sys.stderr)
        return 2
    names = asked.names or [one.name for one in TARGETS.values() if not one.needs or find_spec(one.needs)]
    to, status = asked.to or RELEASE, 0
    if asked.names or asked.to:
        if find_spec("atheris") is None:
            print("atheris is not here; on Linux: pip install 'twintake[fuzz]'", file=sys.stderr)
            return 2
        signal.signal(signal.SIGTERM, signal.default_int_handler)
        try:
            status = run(names, tally, to, asked.seconds, asked.jobs)
        except KeyboardInterrupt:
            status = 130
    print(table(tally, names, to))
    return status


if __name__ == "__main__":
    sys.exit(main())
