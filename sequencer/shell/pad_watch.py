"""What the game controllers of this machine say, as a process of its own beside a run or without one: to be looked at.

`python -m sequencer.shell.pad_watch` prints a JSON line for each pad twenty times a second, one more when it goes, and
one for each notice. It runs until its standard input closes. It drives nothing, and several programs may read a pad at
the same time. A button that was pressed and let go between two lines is in the next one.
"""

import argparse
import json
import os
import sys
import threading
import time
from dataclasses import dataclass, replace
from typing import Any

from sequencer.adapters.contract import Source
from sequencer.errors import LinkError
from sequencer.live.pads import learned
from sequencer.shell.kinds import open_controllers
from sequencer.wire.pad import AXES, BUTTONS, PadRow, unpacked

CONTROLS = (*AXES, *BUTTONS)  # of a pad that is known
EVERY_NS = 50_000_000
_READ_S = 0.02
_MOST_BUTTONS = 32


@dataclass(frozen=True, slots=True)
class Watched:
    """What one pad says, for who may not know how it travels."""

    row: PadRow

    @property
    def name(self) -> str:
        return self.row.name or "a pad without a name"

    @property
    def axes(self) -> dict[str, float]:
        """Each axis by what it is called, from -1 to 1."""
        return dict(zip(_axis_names(self.row), self.row.axes, strict=False))

    @property
    def held(self) -> tuple[str, ...]:
        """The buttons that are held, by what they are called."""
        names = (_button_name(self.row, number) for number in sorted(self.row.buttons))
        return tuple(name for name in names if name)

    def moved_since(self, rest: "Watched") -> tuple[str, bool] | None:
        """Return the control that was moved the most since then, and whether left or down; None for none."""
        return learned(rest.row, self.row)

    @property
    def controls(self) -> tuple[str, ...]:
        """All that can be given something to do, as far as a pad says what it has: it does not count its buttons."""
        if self.row.known:
            return CONTROLS
        return (*self.axes, *(f"button {number}" for number in range(_MOST_BUTTONS)))


def line(row: PadRow) -> dict[str, Any]:
    """Return the line of a pad."""
    seen = Watched(row)
    return {
        "pad": row.pad,
        "name": row.name,
        "known": row.known,
        "here": row.here,
        "axes": {name: round(value, 4) for name, value in seen.axes.items()},
        "held": list(seen.held),
    }


def watched(line: dict[str, Any]) -> Watched:
    """Return what a line of a pad says. Error: LinkError for one that is none."""
    try:
        known = bool(line["known"])
        names = [BUTTONS.index(name) if known else int(name.partition(" ")[2]) for name in line["held"]]
        row = PadRow(
            pad=int(line["pad"]),
            name=str(line["name"]),
            axes=tuple(float(value) for value in line["axes"].values()),
            buttons=frozenset(names),
            known=known,
            here=bool(line["here"]),
        )
    except (KeyError, ValueError, TypeError, AttributeError) as fault:
        raise LinkError(
            f"the watch of game controllers said what is no pad: {fault!r}; end it and look again"
        ) from fault
    return Watched(row)


def _axis_names(row: PadRow) -> tuple[str, ...]:
    return AXES if row.known else tuple(f"axis {number}" for number in range(len(row.axes)))


def _button_name(row: PadRow, number: int) -> str:
    if not row.known:
        return f"button {number}"
    return BUTTONS[number] if number < len(BUTTONS) else ""


class Gathered:
    """The newest row of each pad; a button that was pressed since the last look is held in it."""

    def __init__(self) -> None:
        self._rows: dict[int, PadRow] = {}

    def feed(self, row: PadRow) -> None:
        """Take in a row."""
        before = self._rows.get(row.pad)
        pressed = frozenset[int]() if before is None or not row.here else before.buttons
        self._rows[row.pad] = replace(row, buttons=row.buttons | pressed)

    def look(self) -> list[PadRow]:
        """Return the row of each pad that spoke since the last look."""
        rows, self._rows = list(self._rows.values()), {}
        return rows


def watch(pads: Source, ended: threading.Event) -> None:
    """Print what the pads say until `ended`."""
    gathered, due_ns = Gathered(), time.monotonic_ns()
    while not ended.wait(_READ_S):
        now_ns = time.monotonic_ns()
        for chunk in pads.read(now_ns):
            gathered.feed(unpacked(chunk.data))
        lines = [{"notice": words} for words in pads.notices()]
        if now_ns >= due_ns:
            due_ns = now_ns + EVERY_NS
            lines += [line(row) for row in gathered.look()]
        _say(*lines)


def _say(*lines: dict[str, Any]) -> None:
    for one in lines:
        print(json.dumps(one))
    sys.stdout.flush()


def _until_closed(ended: threading.Event) -> None:
    """Wait until who started this closes its standard input, or is no more."""
    while os.read(sys.stdin.fileno(), 4096):
        pass
    ended.set()


def main(given: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="pad_watch", description="Prints what game controllers say.")
    parser.add_argument("--pads", default="pads:", metavar="ADDRESS", help="which ones; pads: for all that are here")
    address = parser.parse_args(given).pads
    ended = threading.Event()
    threading.Thread(target=_until_closed, args=(ended,), daemon=True).start()
    try:
        with open_controllers(address) as pads:
            _say({"watching": address})
            watch(pads, ended)
    except LinkError as fault:
        _say({"error": str(fault)})
        return 3
    except BrokenPipeError:  # nobody looks any more
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return 0


if __name__ == "__main__":
    sys.exit(main())
