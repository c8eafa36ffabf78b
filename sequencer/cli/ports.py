"""`twintake ports`: every input and output of this machine, what arrives at them, and how late time comes."""

import json as json_text
import math
import time
from collections.abc import Sequence
from dataclasses import asdict
from typing import Annotated, Any

import typer
from rich import box
from rich.live import Live
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from sequencer.cli.exits import console, errors, exits
from sequencer.cli.options import Json
from sequencer.errors import LinkError, ProjectError
from sequencer.shell import listen
from sequencer.shell.loopback import Loop, check_rate, measure
from sequencer.sync.facts import Fact
from sequencer.timebase.rate import parse_rate
from sequencer.timebase.timecode import Counting

_SHOWN_EVERY_S = 0.25
_PRINTED_EVERY_S = 1.0
_OLD_NS = 2_000_000_000
_WIDE = 100
_NARROW_NAME = 22


def ports(
    names: Annotated[
        list[str] | None,
        typer.Argument(help="With --watch: the inputs to listen to, by a part of their name; else all."),
    ] = None,
    watch: Annotated[bool, typer.Option("--watch", help="Show what arrives, until Ctrl-C.")] = False,
    for_s: Annotated[
        float | None, typer.Option("--for", min=0.1, help="With --watch: seconds after which it ends.")
    ] = None,
    loop_back: Annotated[
        tuple[str, str] | None,
        typer.Option(
            "--loop-back",
            metavar="OUT IN",
            help="Measure how late time comes: OUT is midi:NAME, virtual:NAME or ltc:DEVICE, IN its other end.",
        ),
    ] = None,
    rate: Annotated[str, typer.Option(help="With --loop-back: frames a second.")] = "25",
    seconds: Annotated[float, typer.Option(min=1.0, max=3600.0, help="With --loop-back: how long.")] = 5.0,
    json: Json = False,
) -> None:
    """List every input and output of this machine with what it is good for, and what to give to which option.

    With --watch and --json, each line is a JSON document of its own.
    """
    with exits():
        if loop_back is not None:
            if watch or names:
                raise _usage("--loop-back", "measures one loop", "leave out --watch and its names")
            _loop(*loop_back, _counting(rate), seconds, json)
        elif watch:
            _watch(names or [], math.inf if for_s is None else for_s, json)
        elif names or for_s is not None:
            raise _usage("--watch", "is what listens", "add --watch, or leave out names and --for")
        else:
            _list(json)


def _usage(option: str, what: str, mend: str) -> ProjectError:
    return ProjectError(option, what, mend, file="command line")


def _counting(rate: str) -> Counting:
    try:
        return Counting(parse_rate(rate))
    except ValueError as fault:
        raise _usage("--rate", str(fault), "name one of these") from fault


def _list(json: bool) -> None:
    groups = listen.machine()
    if json:
        print(json_text.dumps({"groups": [asdict(group) for group in groups]}, indent=2))
        return
    for group in groups:
        console.print(Text(group.title, style="bold"))
        for port in group.ports:
            console.print(Text(f"  {port.name}"))
            console.print(_indented(port.good_for, "dim"))
            for option in port.options:
                # never broken: it is copied into a command
                console.print(Text(f"    {option}", style="cyan"), soft_wrap=True)
        if group.missing:
            console.print(_indented(group.missing, "yellow"))


def _indented(words: str, style: str) -> Padding:
    return Padding(Text(words, style=style), (0, 0, 0, 4))


def _watch(names: Sequence[str], for_s: float, json: bool) -> None:
    """Listen until the time is over, or Ctrl-C, which is how it usually ends."""
    try:
        there = names
        if not names:
            there, missing = listen.inputs()
            for why in missing:
                errors.print(why, style="dim", markup=False, highlight=False)
        with listen.listening(there) as heard:
            if all(port.trouble for port in heard):
                raise LinkError("; ".join(f"{port.name}: {port.trouble}" for port in heard))
            if json or not console.is_terminal:
                _print_lines(heard, for_s, json)
            else:
                _show(heard, for_s)
    except KeyboardInterrupt:
        return


def _print_lines(heard: tuple[listen.Heard, ...], for_s: float, json: bool) -> None:
    """Print a line for each port as it is opened, and then each second for each thing that is new."""
    lines = _Lines(json)
    end_s = time.monotonic() + for_s
    while True:
        now_ns = time.monotonic_ns()
        for port in heard:
            lines.look(port, now_ns)
        left_s = end_s - time.monotonic()
        if left_s <= 0:
            return
        _stop_if_all_gone(heard)
        time.sleep(min(_PRINTED_EVERY_S, left_s))


def _stop_if_all_gone(heard: tuple[listen.Heard, ...]) -> None:
    if all(port.trouble for port in heard):
        raise LinkError("no input is left to listen to; plug one in and begin again")


class _Lines:
    """Prints what is new at each port."""

    def __init__(self, json: bool) -> None:
        self._json = json
        self._counts: dict[tuple[str, str, int], int] = {}
        self._told: dict[str, str] = {}

    def look(self, port: listen.Heard, now_ns: int) -> None:
        same: dict[str, int] = {}
        for fact in port.look(now_ns):
            # two timecodes at one port are two facts of one kind
            number = same[fact.what] = same.get(fact.what, 0) + 1
            key = (port.name, fact.what, number)
            if self._counts.get(key) != fact.count:
                self._counts[key] = fact.count
                self._fact(port.name, fact, now_ns)
        while port.notices:
            self._say(port.name, "notice", port.notices.popleft())
        # silence is told once, not for each second that it goes on
        silence = port.silence(now_ns)
        told = port.trouble or ("silence" if silence else "")
        if told and self._told.get(port.name) != told:
            self._say(port.name, "trouble" if port.trouble else "silence", port.trouble or silence)
        self._told[port.name] = told

    def _fact(self, port: str, fact: Fact, now_ns: int) -> None:
        if not self._json:
            self._print(f"{port}: {fact} ({fact.count})")
            return
        age_s = round((now_ns - fact.at_ns) / 1e9, 3)
        self._dump(
            {
                "port": port,
                "what": fact.what,
                "words": fact.words,
                "count": fact.count,
                "age_s": age_s,
                "wrong": fact.wrong,
                **fact.values,
            }
        )

    def _say(self, port: str, what: str, words: str) -> None:
        if self._json:
            self._dump({"port": port, what: words})
        else:
            self._print(f"{port}: {words}")

    def _print(self, line: str) -> None:
        console.print(line, markup=False, highlight=False, soft_wrap=True)

    def _dump(self, document: dict[str, Any]) -> None:
        print(json_text.dumps(document), flush=True)


def _show(heard: tuple[listen.Heard, ...], for_s: float) -> None:
    """Show a table that lives, and a line above it for what happens to a port."""
    end_s = time.monotonic() + for_s
    with Live(console=console, auto_refresh=False) as live:
        while True:
            now_ns = time.monotonic_ns()
            live.update(table(heard, now_ns, console.width), refresh=True)
            for port in heard:
                while port.notices:
                    live.console.print(f"{port.name}: {port.notices.popleft()}", markup=False, highlight=False)
            left_s = end_s - time.monotonic()
            if left_s <= 0:
                return
            _stop_if_all_gone(heard)
            time.sleep(min(_SHOWN_EVERY_S, left_s))


def table(heard: tuple[listen.Heard, ...], now_ns: int, width: int) -> Table:
    """Return what all ports hear, for a terminal of `width` columns."""
    shown = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0), pad_edge=False, show_edge=False)
    shown.add_column("port", max_width=None if width >= _WIDE else _NARROW_NAME, overflow="fold")
    shown.add_column("what arrives", overflow="fold")
    shown.add_column("count", justify="right", no_wrap=True)
    for port in heard:
        rows = [(Text(str(fact), style=_style(fact, now_ns)), str(fact.count)) for fact in port.look(now_ns)]
        if port.trouble:
            rows.insert(0, (Text(port.trouble, style="red"), ""))
        elif silence := port.silence(now_ns):
            rows.insert(0, (Text(silence, style="dim"), ""))
        for number, (words, count) in enumerate(rows):
            shown.add_row(Text("" if number else port.name), words, count)
    return shown


def _style(fact: Fact, now_ns: int) -> str:
    if fact.wrong:
        return "yellow"
    return "dim" if now_ns - fact.at_ns > _OLD_NS else ""


def _loop(out: str, into: str, counting: Counting, seconds: float, json: bool) -> None:
    try:
        check_rate(out, counting)
    except ValueError as fault:
        raise _usage("--rate", str(fault), "or name another rate") from fault
    errors.print(f"sending for {seconds:g} s out of {out}, listening at {into}", highlight=False, markup=False)
    loop = measure(out, listen.address(into), counting, seconds)
    entry = {"source": loop.source, "delay_ms": round(loop.mean_ms, 2) + 0.0}  # no minus zero
    if json:
        print(json_text.dumps({**asdict(loop), "sync": entry}, indent=2))
        return
    for line in _told(loop, json_text.dumps(entry)):
        console.print(line, markup=False, highlight=False)


def _told(loop: Loop, entry: str) -> list[str]:
    def both(ms: float) -> str:
        return f"{ms:.2f} ms ({ms / loop.frame_ms:.3f} frames)"

    lines = [
        f"delay {both(loop.mean_ms)}, spread {both(loop.sd_ms)}",
        f"99 of 100 within {both(loop.p99_ms)}, the latest {both(loop.latest_ms)}",
        f"{loop.lost} of {loop.sent} lost",
    ]
    if loop.held_up:
        lines.append(f"{loop.held_up} were sent late, since this machine was busy, and are left out")
    if loop.strange:
        lines.append(
            f"{loop.strange} were heard that were never sent: something else sends to this input; do not trust this"
        )
    lines.append(f'to take off the whole loop, in project.json: "sync": [{entry}]')
    if loop.mean_ms <= 0:
        return [*lines, "The stamps of both ends lie closer together than they can tell: there is nothing to take off."]
    return [
        *lines,
        "A loop measures the way out and the way in together. A master elsewhere shares only the way in: between "
        f"0 and {loop.mean_ms:.2f} ms of this are that. Half of it ({loop.mean_ms / 2:.2f} ms) is only a guess, good "
        "where both ways are alike. Where it matters, measure the picture: a marked move against a flash.",
    ]
