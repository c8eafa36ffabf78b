"""`python -m tests.soak --hours 8`: a run with timecode and four outputs, take after take; 1 where it was not flat.

It needs a machine that has nothing else to do. What is judged, and by which bars, stands in the table at the end and in
tests/soak/judge.py. The last takes of a run in which one was lost are left where the last line says.
"""

import argparse
import shutil
import sys
import tempfile
from pathlib import Path

from rich.console import Console
from rich.table import Table

from sequencer.errors import SequencerError
from tests.soak.judge import WARM_S, Sample, Story, Verdict, verdicts
from tests.soak.processes import KNOWN, UNKNOWN
from tests.soak.run import TICK_HZ, soak

TOLD_S = 60.0
SHORTEST_S = 30.0


class Progress:
    """A line now and then."""

    def __init__(self, console: Console) -> None:
        self._console = console
        self._told_s = 0.0

    def tell(self, sample: Sample, story: Story) -> None:
        if sample.at_s - self._told_s < TOLD_S:
            return
        self._told_s = sample.at_s
        late = "" if sample.late_us is None else f", ticks {sample.late_us:.0f} us late at 99 %"
        held = "".join(f", {name} {one.own_mb:.1f} MB" for name, one in sample.held.items())
        wrong = len(story.faults) + len(story.lost)
        words = f"{sample.at_s / 60:.0f} min: {story.takes} takes, {wrong} faults{late}{held}"
        self._console.print(words, highlight=False, soft_wrap=True)


def shown(judged: list[Verdict], story: Story) -> Table:
    title = f"{story.lasted_s / 3600:.2f} hours at {TICK_HZ} ticks a second, {story.takes} takes"
    caption = f"Trends from {min(WARM_S, story.lasted_s / 4):.0f} s on: before that it warms up."
    table = Table("what", "found", "at most, or as said", "held", title=title, caption=caption)
    for one in judged:
        table.add_row(one.what, one.found, one.bar, "" if one.held is None else "yes" if one.held else "NO")
    return table


def main(given: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.soak", description=__doc__)
    how_long = parser.add_mutually_exclusive_group(required=True)
    how_long.add_argument("--hours", type=float)
    how_long.add_argument("--minutes", type=float)
    asked = parser.parse_args(given)
    seconds = 3600 * asked.hours if asked.hours is not None else 60 * asked.minutes
    if not SHORTEST_S <= seconds < float("inf"):
        parser.error(f"a run lasts at least {SHORTEST_S:.0f} s")
    console = Console(width=None if sys.stdout.isatty() else 160)
    if not KNOWN:
        console.print(UNKNOWN)
    folder = Path(tempfile.mkdtemp(prefix="twintake-soak-"))
    try:
        story = soak(folder, seconds, Progress(console).tell)
    except SequencerError as fault:
        console.print(f"it did not begin: {fault}")
        shutil.rmtree(folder)
        return 3
    judged = verdicts(story)
    console.print(shown(judged, story))
    if story.lost:
        console.print(f"the takes are left in {folder}")
    else:
        shutil.rmtree(folder)
    return 1 if any(one.held is False for one in judged) else 0


if __name__ == "__main__":
    sys.exit(main())
