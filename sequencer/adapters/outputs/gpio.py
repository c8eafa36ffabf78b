"""A camera on pins of a small computer under Linux: a pin that is active for a pulse. No axis is behind it.

Address: `gpio:/dev/gpiochip0?shutter=17&record=27&cut=27`. Each trigger that the camera has (`shutter`, `record`,
`cut`) names a line of that chip, by its number there or by the name that the system has for it (`gpioinfo` lists both).
Only record and cut may share one. Other options: `pulse`, seconds that a line is active (0.1); `active=low` for a board
whose relays close when the pin is low.

Lines are inactive from the opening on and between pulses, and are inactive and given back when the output is closed. A
program that is killed gives them back too, but as they were: what a line does then is the chip's doing.
An order that comes while its line is still active, or was less than 20 ms ago, does not go out, and that is said.
Source: libgpiod's Python binding `gpiod`, version 2 (its own docstrings: Chip, request_lines, LineSettings).
"""

import errno
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from types import ModuleType
from typing import Any

from sequencer.adapters.asked import Asked
from sequencer.adapters.camera_contacts import CameraOutput, Pulses, demand_apart, read_pulse, read_ways
from sequencer.adapters.contract import Carries, Output, OutputKind
from sequencer.errors import LinkError
from sequencer.rig.axis import Rig
from sequencer.rig.signals import TriggerName
from sequencer.timebase.timecode import Timebase

_EXAMPLE = "gpio:/dev/gpiochip0?shutter=17&record=27&cut=27"
_CONSUMER = "twintake"  # who has the line, as gpioinfo shows it


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What an address says: for each trigger a line of the chip, by number or name."""

    chip: str
    lines: Mapping[TriggerName, str]
    pulse_ns: int
    active_low: bool


def parse_address(address: str) -> Wanted:
    """Read an address. Error: LinkError that says which part is wrong."""
    asked = Asked(address, _EXAMPLE)
    if asked.network or not asked.place:
        raise asked.fault("names no GPIO chip")
    lines = read_ways(asked, "a line of the chip")
    demand_apart(asked, lines)
    active_low = asked.one_of("active", ("high", "low")) == "low"
    wanted = Wanted(chip=asked.place, lines=lines, pulse_ns=read_pulse(asked), active_low=active_low)
    asked.done()
    return wanted


def binding() -> ModuleType:
    """Return the package `gpiod`. Error: LinkError where it is missing, or an older one."""
    try:
        import gpiod
    except ImportError as fault:
        raise LinkError("pins need Linux and the package gpiod; pip install 'twintake[gpio]'") from fault
    if not hasattr(gpiod, "LineSettings"):
        raise LinkError("the package gpiod is older than 2; pip install 'twintake[gpio]'")
    return gpiod


def _key(line: str) -> int | str:
    return int(line) if line.isascii() and line.isdigit() else line


class Pins:
    """The lines, requested from their chip. Error: LinkError once the chip is gone."""

    def __init__(self, gpiod: Any, request: Any, chip: str) -> None:
        self._request, self._chip = request, chip
        self._values = {True: gpiod.line.Value.ACTIVE, False: gpiod.line.Value.INACTIVE}

    def switch(self, line: str, on: bool) -> None:
        """Make a line active or inactive."""
        try:
            self._request.set_value(_key(line), self._values[on])
        except OSError as fault:
            why = fault.strerror or fault
            raise LinkError(f"line {line} of {self._chip} cannot be set ({why}); is the chip still there?") from fault


@contextmanager
def _pins(wanted: Wanted) -> Iterator[Pins]:
    """Have the lines, inactive. Error: LinkError that says why not, and the mend."""
    gpiod = binding()
    try:
        chip = gpiod.Chip(wanted.chip)
    except OSError as fault:
        raise _no_chip(wanted.chip, fault) from fault
    with chip:
        request = _requested(gpiod, chip, wanted)
    try:
        yield Pins(gpiod, request, wanted.chip)
    finally:
        request.release()


def _requested(gpiod: Any, chip: Any, wanted: Wanted) -> Any:
    settings = gpiod.LineSettings(
        direction=gpiod.line.Direction.OUTPUT,
        active_low=wanted.active_low,
        output_value=gpiod.line.Value.INACTIVE,
    )
    names = ", ".join(dict.fromkeys(wanted.lines.values()))
    try:
        for line in dict.fromkeys(wanted.lines.values()):
            chip.line_offset_from_id(_key(line))
    except (OSError, ValueError) as fault:
        count = chip.get_info().num_lines
        raise LinkError(
            f"{wanted.chip} has no line {line}; it has 0 to {count - 1}, and gpioinfo lists their names"
        ) from fault
    try:
        return chip.request_lines({_key(line): settings for line in wanted.lines.values()}, consumer=_CONSUMER)
    except ValueError as fault:
        raise LinkError(f"{wanted.chip}: {names} are not all different lines ({fault}); name each once") from fault
    except OSError as fault:
        if fault.errno == errno.EBUSY:
            what = "another program or a driver has it; gpioinfo says who"
            raise LinkError(f"{wanted.chip}: a line of {names} is in use: {what}") from fault
        raise LinkError(f"{wanted.chip}: the lines {names} cannot be had: {fault.strerror}; name others") from fault


def _no_chip(chip: str, fault: OSError) -> LinkError:
    there = ", ".join(_chips()) or "none"
    if fault.errno in (errno.EACCES, errno.EPERM):
        mend = "add the user to the group that owns it (on many systems gpio), and log in again"
        return LinkError(f"this user may not use {chip}; {mend}")
    if fault.errno == errno.ENOENT:
        return LinkError(f"there is no {chip}; this machine's GPIO chips: {there}")
    return LinkError(f"{chip} is no GPIO chip ({fault.strerror}); this machine's GPIO chips: {there}")


def _chips() -> list[str]:
    return sorted(str(path) for path in Path("/dev").glob("gpiochip*"))


@contextmanager
def open_gpio(address: str, _rig: Rig, _timebase: Timebase) -> Iterator[Output]:
    """Take the lines. Error: LinkError where the chip or a line is not there, is in use, or may not be used."""
    wanted = parse_address(address)
    with _pins(wanted) as pins:
        pulses = Pulses(pins.switch, wanted.pulse_ns)
        deeds = {name: partial(pulses.begin, line) for name, line in wanted.lines.items()}
        output = CameraOutput(wanted.chip, deeds, pulses)
        try:
            yield output
        finally:
            output.close()


def carries_gpio(address: str, _: Rig) -> Carries:
    """Return which triggers the address has a line for. Error: LinkError, also where the package is missing."""
    wanted = parse_address(address)
    binding()
    return Carries(triggers=tuple(wanted.lines))


def names() -> tuple[str, ...]:
    """Return how addresses of this machine's GPIO chips begin. Error: LinkError where the package is missing."""
    binding()
    return tuple(f"gpio:{path}" for path in _chips())


KIND = OutputKind(
    schemes=("gpio",),
    answers=False,
    stop_action="nothing: no axis is behind it, and the camera goes on with what it does",
    carries=carries_gpio,
    open=open_gpio,
    drives=False,
    shared=False,
    names=names,
)
