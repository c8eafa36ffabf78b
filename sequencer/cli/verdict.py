"""What a check comes to, in the words and numbers that every command has for it. It refuses to say what to do."""

import math

from sequencer.cli.check_table import moment, percent
from sequencer.motion.check import Check
from sequencer.timebase.timecode import Timebase


def verdict(done: Check) -> str:
    """Say whether the move fits: `fits, reserve 25 %`, or `3 legs are over`."""
    which = "" if done.speed == 1 else f" at speed {done.speed}"
    if done.ok:
        return f"fits{which}, reserve {percent(max(done.reserve, 0.0))}"
    legs, together = len(done.over()), len(done.combined_over())
    parts = [f"{legs} leg{'s' if legs > 1 else ''}"] if legs else []
    parts += [f"{together} combined limit{'s' if together > 1 else ''}"] if together else []
    return f"{' and '.join(parts)} {'are' if legs + together > 1 else 'is'} over{which}"


def worst(done: Check, timebase: Timebase) -> str:
    """Say what is most over in a move that does not fit: `speed of pan, 66 at 10:00:18:10.94, limit 60`."""
    legs = [(leg.axis, leg.worst) for leg in done.over()[:1]]
    together = [(limit.name, asked) for limit, asked in done.combined_over()]
    name, most = max(legs + together, key=lambda each: each[1].excess)
    asked, limit = most.numbers()
    asked = asked if math.isfinite(most.value) else "a jump"
    return f"{most.of} of {name}, {asked} at {moment(most.at_s, timebase)}, limit {limit}"


def kept(written: bool) -> str:
    """Say whether the project now holds the changed move."""
    return "written; the file before is project.json.bak" if written else "nothing written; --write keeps it"


def finite(value: float) -> float | None:
    """Return what a JSON document can hold: null for what is without end."""
    return value if math.isfinite(value) else None
