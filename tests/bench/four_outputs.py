"""How late ticks are with four outputs at once at 250 Hz, beside one: windows of both take turns.

One output: all sixteen axes by OSC. Four: eight axes by OSC, four by ANSI E1.31 at the 44 sets a second that it holds,
four by OSC at 100 a second, and a file that is told of all. Nobody reads the sockets.
"""

import statistics
import tempfile
from pathlib import Path

from sequencer.project.store import save
from sequencer.shell.kinds import laws
from tests.bench.table import Table
from tests.bench.ticks import PARTS, Case, Window, medians, project, unpaused

PAIRS, SECONDS = 6, 8.0
MOST = 1.2
_SLOTS = "&".join(f"axis{number}={1 + 3 * (number - 8)}.24" for number in range(8, 12))
ONE = Case(name="one output", tick_hz=250)
FOUR = Case(
    name="four outputs",
    tick_hz=250,
    written=(
        f"{','.join(f'axis{number}' for number in range(8))}=osc://127.0.0.1:{{port}}; "
        f"{','.join(f'axis{number}' for number in range(8, 12))}=sacn://127.0.0.1:{{port}}/1?{_SLOTS}; "
        f"{','.join(f'axis{number}' for number in range(12, 16))}=osc://127.0.0.1:{{port}}?form=d; "
        "csv:{folder}/move.csv"
    ),
)


def measure(pairs: int, seconds: float) -> tuple[list[Window], list[Window]]:
    one: list[Window] = []
    four: list[Window] = []
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made) / "ticks"
        save(folder, project(seconds), laws())
        for pair in range(pairs):
            # whoever is first meets a colder machine
            for case, windows in ((ONE, one), (FOUR, four))[:: 1 if pair % 2 else -1]:
                windows.append(unpaused(folder, case, seconds))
    return one, four


def _left_out(windows: list[Window]) -> str:
    skipped = sum(window.skipped for window in windows)
    return f"{skipped} of {skipped + sum(window.ticks for window in windows)}"


def tables(pairs: int = PAIRS, seconds: float = SECONDS) -> list[Table]:
    """Return lateness and work with one and with four outputs."""
    one, four = measure(pairs, seconds)
    ratios = [ours.late_us[1] / max(theirs.late_us[1], 1.0) for ours, theirs in zip(four, one, strict=True)]
    ratio = statistics.median(ratios)
    rows = [
        (
            name,
            medians([window.late_us for window in windows]),
            medians([window.work_us for window in windows]),
            _left_out(windows),
            told,
        )
        for name, windows, told in (("one", one, ""), ("four", four, f"{ratio:.2f} {'yes' if ratio <= MOST else 'NO'}"))
    ]
    return [
        Table(
            f"Four outputs at once, 16 axes at 250 Hz, {pairs} pairs of windows of {seconds:g} s",
            ("outputs", "late, us", "work, us", "ticks left out", f"late at 99 %: at most {MOST} x"),
            rows,
            f"At {' / '.join(f'{100 * part:g}' for part in PARTS)} %, medians of the windows; the ratio is the median "
            f"of the pairs' ({', '.join(f'{each:.2f}' for each in ratios)}). {one[0].timing}.",
        )
    ]
