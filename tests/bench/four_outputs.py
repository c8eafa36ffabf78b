"""How late ticks are with four outputs at once at 250 Hz, beside one: windows of both take turns.

One output: all sixteen axes by OSC. Four: eight axes by OSC, four by ANSI E1.31 at the 44 sets a second that it holds,
four by OSC in 64-bit numbers, and live tracking data of all. Then a file beside these, whose thread shares the
interpreter with the tick. Nobody reads the sockets.
"""

import statistics
import tempfile
from dataclasses import replace
from pathlib import Path

from sequencer.project.store import save
from sequencer.shell.kinds import laws
from tests.bench.table import Table
from tests.bench.ticks import PARTS, Case, Window, medians, project, unpaused

PAIRS, SECONDS = 4, 6.0
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
        "opentrackio://127.0.0.1:{port}"
    ),
)
FILE = replace(FOUR, name="four outputs and a file", written=f"{FOUR.written}; csv:{{folder}}/move.csv")
CASES = (ONE, FOUR, FILE)


def measure(pairs: int, seconds: float) -> list[list[Window]]:
    """Return the windows of each case."""
    windows: list[list[Window]] = [[] for _ in CASES]
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made) / "ticks"
        save(folder, project(seconds), laws())
        for _ in range(pairs):
            for case, own in zip(CASES, windows, strict=True):
                own.append(unpaused(folder, case, seconds))
    return windows


def _left_out(windows: list[Window]) -> str:
    skipped = sum(window.skipped for window in windows)
    return f"{skipped} of {skipped + sum(window.ticks for window in windows)}"


def tables(pairs: int = PAIRS, seconds: float = SECONDS) -> list[Table]:
    """Return lateness and work with one output, with four, and with a file beside them."""
    measured = measure(pairs, seconds)
    return [
        Table(
            f"Four outputs at once, 16 axes at 250 Hz, {pairs} windows of {seconds:g} s each",
            ("outputs", "late, us", "work, us", "ticks left out", "late at 99 %, of one output's", f"at most {MOST}"),
            [_row(case, own, measured[0]) for case, own in zip(CASES, measured, strict=True)],
            f"At {' / '.join(f'{100 * part:g}' for part in PARTS)} %, medians of the windows; the ratio is the median "
            f"of those of windows that followed each other. {measured[0][0].timing}.",
        )
    ]


def _row(case: Case, own: list[Window], one: list[Window]) -> tuple[str, ...]:
    ratios = [ours.late_us[1] / max(theirs.late_us[1], 1.0) for ours, theirs in zip(own, one, strict=True)]
    ratio = statistics.median(ratios)
    held = "" if own is one else "yes" if ratio <= MOST else "NO"
    told = "" if own is one else f"{ratio:.2f} ({', '.join(f'{each:.2f}' for each in ratios)})"
    late, work = (medians([getattr(window, name) for window in own]) for name in ("late_us", "work_us"))
    return case.name, late, work, _left_out(own), told, held
