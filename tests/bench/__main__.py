"""Measure speed and precision, print tables, and write docs/measured.md: `python -m tests.bench [PART ...]`.

Each part measures beside a named peer or limit, in one run on one machine. With names of parts, only those are run, and
docs/measured.md keeps the others as they are.
"""

import argparse
import importlib
import os
import platform
from datetime import date
from pathlib import Path

from rich.console import Console
from rich.table import Table as Shown

from tests.bench.table import Table

PARTS = (
    "motion",
    "check",
    "smooth",
    "certificate",
    "stretch",
    "earliest",
    "repairs",
    "join",
    "encode",
    "follower",
    "varispeed",
    "chase",
    "ltc",
    "ltc_chain",
    "clock",
    "audio",
    "repeat",
    "transport",
    "ticks",
    "hands",
    "stick",
    "stops",
    "editor",
    "opening",
    "lens",
    "optics",
    "beats",
    "marks",
    "capture",
    "passes",
    "rig",
    "aim",
    "outputs_net",
    "outputs_local",
    "outputs_serial",
    "serial",
    "four_outputs",
    "scheduled",
    "timelapse",
    "handover",
    "previz",
)
PAGE = Path(__file__).parents[2] / "docs" / "measured.md"
HEAD = """# Measured

Written by `python -m tests.bench`. Numbers are of the machine named in each part, as it was then; compare columns, not
machines.
"""


def machine() -> str:
    """Say what machine this is, as far as a reader of the numbers needs it."""
    model = platform.processor() or platform.machine()
    info = Path("/proc/cpuinfo")
    if info.exists():
        names = [
            line.partition(":")[2].strip() for line in info.read_text().splitlines() if line.startswith("model name")
        ]
        model = names[0] if names else model
    python = f"{platform.python_implementation()} {platform.python_version()}"
    return f"{model}, {os.cpu_count()} cores; {platform.system()} {platform.release()}; {python}; {date.today()}"


def show(console: Console, table: Table) -> None:
    shown = Shown(*table.columns, title=table.title, caption=table.note or None)
    for row in table.rows:
        shown.add_row(*row)
    console.print(shown)


def as_markdown(table: Table) -> str:
    lines = [f"### {table.title}", "", "| " + " | ".join(table.columns) + " |", "|" + "---|" * len(table.columns)]
    lines += ["| " + " | ".join(row) + " |" for row in table.rows]
    return "\n".join([*lines, "", table.note, ""] if table.note else [*lines, ""])


def written(page: str) -> dict[str, str]:
    """Return the parts of a page that was written before, by name."""
    sections = page.split("\n## ")[1:]
    return {section.partition("\n")[0]: section.partition("\n")[2] for section in sections}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("parts", nargs="*", choices=[*PARTS, []], help="which parts; all if none is named")
    chosen = parser.parse_args().parts or PARTS
    console = Console(width=160)
    sections = written(PAGE.read_text(encoding="utf-8")) if PAGE.exists() else {}
    for part in chosen:
        tables = importlib.import_module(f"tests.bench.{part}").tables()
        for table in tables:
            show(console, table)
        sections[part] = "\n".join([machine(), "", *(as_markdown(table) for table in tables)])
        ordered = [f"## {name}\n{sections[name].rstrip()}\n" for name in PARTS if name in sections]
        PAGE.write_text(HEAD + "\n" + "\n".join(ordered), encoding="utf-8")


if __name__ == "__main__":
    main()
