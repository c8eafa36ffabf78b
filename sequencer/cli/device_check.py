"""`twintake device check`: try a device against the protocol, clause by clause, with its motors.

The JSON document: `address`, `ok`; `device` with what it says of itself, or null; `clauses`, each with its `name`, what
it `asks`, `kept` (null where it is not there or could not be tried) and `words`; `left_aside`, the number of packets
from the device that could not be read.
"""

import json as plain_json
import math
from dataclasses import asdict
from typing import Annotated

import typer
from rich.console import Console
from rich.text import Text

from sequencer.cli.exits import FOUND, console, errors, exits
from sequencer.cli.options import Json
from sequencer.cli.play import CAUTION
from sequencer.errors import ProjectError
from sequencer.shell.conformance import Address, conform, read_address
from sequencer.takes.conformance.bench import Bench
from sequencer.takes.conformance.clauses import Result, chosen
from sequencer.takes.conformance.judged import Clause

_MARKS = {True: ("kept", "green"), False: ("BROKEN", "bold red"), None: ("not tried", "yellow")}


def check(
    address: Annotated[
        str, typer.Argument(help="device://HOST:PORT, device+serial:PORT?baud=115200, or osc://HOST:PORT.")
    ],
    axis: Annotated[str, typer.Option(help="The axis that moves; the device's first if not said.")] = "",
    by: Annotated[float, typer.Option(help="How far it moves, in its own unit.")] = 1.0,
    only: Annotated[list[str] | None, typer.Option(metavar="CLAUSE", help="Only this one; may be repeated.")] = None,
    arm: Annotated[bool, typer.Option("--arm", help="Begin at once; else the operator is asked.")] = False,
    json: Json = False,
) -> None:
    """Try a device that you built against the protocol of docs/device.md. It moves one axis a little, and stops it."""
    with exits():
        where = read_address(address)
        clauses = _clauses(where, only or [], by)
        if json and not arm:
            mend = "add --arm, with people clear"
            raise ProjectError("--json", "nobody can be asked while it prints one document", mend, "command line")
        said = errors if json else console
        _warn(said, axis, by, clauses)
        if not arm and typer.prompt("Type yes to begin").strip().lower() != "yes":
            raise typer.Exit(0)
        bench = Bench(by=by, schedules=where.schedules, axis=axis)
        results: list[Result] = []

        def tell(result: Result) -> None:
            results.append(result)
            _show(said, result)

        conform(where, bench, clauses, tell)
        broken = [one.clause.name for one in results if one.judged.kept is False]
        if json:
            print(plain_json.dumps(_facts(where, bench, results, not broken), indent=2, allow_nan=False))
        _sum_up(said, results, broken, len(clauses))
        if broken:
            raise typer.Exit(FOUND)


def _clauses(where: Address, only: list[str], by: float) -> tuple[Clause, ...]:
    if not (math.isfinite(by) and by != 0):
        raise ProjectError(
            "--by", f"{by:g} is no way to go", "give it a small number of the axis's unit", "command line"
        )
    try:
        return chosen(where.schedules, only)
    except ValueError as fault:
        raise ProjectError("--only", str(fault), "name one of these", "command line") from fault


def _warn(said: Console, axis: str, by: float, clauses: tuple[Clause, ...]) -> None:
    said.print(CAUTION, style="bold", highlight=False)
    moving = f"the axis {axis}" if axis else "the device's first axis"
    words = (
        f"This makes {len(clauses)} trials. In some of them {moving} goes there and back by {by:g} of its unit, and "
        f"jumps by half of that. A device with a fault may do anything else: people clear, a hand on the switch that "
        f"cuts motor power, nothing on the rig that may fall. Ctrl-C stops it."
    )
    said.print(words, highlight=False)


def _show(said: Console, result: Result) -> None:
    mark, style = _MARKS[result.judged.kept]
    line = Text(f"  {result.clause.name:<10}") + Text(f"{mark:<10}", style=style) + Text(result.clause.asks)
    said.print(line, soft_wrap=True)
    if result.judged.words:
        said.print(Text(f"{'':22}{result.judged.words}", style="dim"), soft_wrap=True)


def _sum_up(said: Console, results: list[Result], broken: list[str], asked: int) -> None:
    kept = sum(one.judged.kept is True for one in results)
    words = f"{kept} of {asked} kept"
    if broken:
        words += f"; broken: {', '.join(broken)}"
    if len(results) < asked:
        words += "; the others were not tried"
    said.print(words, style="bold", highlight=False)


def _facts(where: Address, bench: Bench, results: list[Result], ok: bool) -> dict[str, object]:
    return {
        "address": where.text,
        "ok": ok,
        "device": None if bench.able is None else asdict(bench.able),
        "clauses": [{"name": one.clause.name, "asks": one.clause.asks, **asdict(one.judged)} for one in results],
        "left_aside": bench.refused,
    }
