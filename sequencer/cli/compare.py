"""`twintake compare`: how well takes match, as a table, as a report, or as JSON."""

import json as plain_json
from pathlib import Path
from typing import Annotated

import typer
from rich import box
from rich.table import Table

from sequencer.cli.exits import FOUND, console, exits
from sequencer.cli.options import Within
from sequencer.export.documents import keep, kind_of
from sequencer.project.takefile import read
from sequencer.takes.compare import Comparison
from sequencer.takes.compare import compare as compare_takes
from sequencer.takes.facts import facts
from sequencer.takes.verdict import Verdict


def compare(
    takes: Annotated[list[Path], typer.Argument(help="Take files of one cue.")],
    within: Within = None,
    out: Annotated[
        Path | None, typer.Option("--report", metavar="FILE", help="Write a report with plots: FILE.pdf or FILE.html.")
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print one JSON document, and nothing else.")] = False,
) -> None:
    """Compare takes at every frame, axis by axis. Ends with status 1 when they differ by more than `--within`."""
    with exits():
        raise typer.Exit(conclude(takes, out, within, json))


def conclude(paths: list[Path], out: Path | None, within: float | None, json: bool) -> int:
    """Compare the takes, write the report where a path is given, print; return the exit status."""
    kind = None if out is None else kind_of(out)
    comparison = compare_takes([read(path) for path in paths], within)
    if out is not None and kind is not None:
        # plots take seconds to load, and only a report has them
        from sequencer.export.report import report

        keep(out, kind, report(comparison), force=True)
    if json:
        found = facts(comparison) | {
            "files": [str(path) for path in paths],
            "report": None if out is None else str(out),
        }
        print(plain_json.dumps(found, indent=2, allow_nan=False))
    else:
        console.print(_table(comparison))
        console.print(comparison.words, markup=False, highlight=False)
        for note in comparison.notes:
            console.print(note, markup=False, highlight=False)
        if out is not None:
            console.print(f"report: {out}", markup=False, highlight=False, soft_wrap=True)
    return FOUND if comparison.verdict is Verdict.DIFFER else 0


def _table(comparison: Comparison) -> Table:
    """Return the table of one line for each axis: differences over all pairs of takes, at every frame."""
    names = ", ".join(take.name for take in comparison.takes)
    title = f"{len(comparison.takes)} takes at {len(comparison.frames)} frames: {names}"
    table = Table(title=title, title_justify="left", box=box.SIMPLE_HEAD)
    table.add_column("axis")
    for column in ("mean", "RMS", "peak", "peak at", "path repeat-\nability", "peak in\npixels"):
        table.add_column(column, justify="right")
    for one in comparison.axes:
        table.add_row(
            f"{one.axis} ({one.unit})",
            _number(one.mean),
            _number(one.rms),
            _number(one.peak),
            one.peak_at or "",
            _number(one.path_repeatability),
            _number(one.pixels_peak, 2),
        )
    return table


def _number(value: float | None, decimals: int = 4) -> str:
    return "-" if value is None else f"{value:.{decimals}f}"
