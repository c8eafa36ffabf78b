"""What the Linux kernel tells of pads and SDL does not: serial, socket, and pads that this user may not read.

On other systems it finds nothing.
"""

import os
from pathlib import Path

INPUTS = Path("/sys/class/input")
DEVICES = Path("/dev/input")


def serial_and_socket(device: str, inputs: Path = INPUTS) -> tuple[str, str]:
    """Return the serial of the pad at `device` (`/dev/input/event7`), and where it is plugged in; empty if unknown."""
    told = inputs / Path(device).name / "device"
    return _line(told / "uniq"), _line(told / "phys")


def shut_out(inputs: Path = INPUTS, devices: Path = DEVICES) -> tuple[str, ...]:
    """Return the names of the pads that are plugged in but that this user may not read."""
    names = []
    for pad in sorted(inputs.glob("js*/device")):
        events = [devices / one.name for one in pad.glob("event*")]
        if events and not any(os.access(one, os.R_OK) for one in events):
            names.append(_line(pad / "name") or pad.parent.name)
    return tuple(names)


def _line(path: Path) -> str:
    try:
        said = path.read_text(encoding="utf-8", errors="replace")
    except OSError:
        return ""
    return "".join(sign for sign in said if sign.isprintable()).strip()
