"""Opens the link to a device: the first time it waits until the device has said who it is and its clock is known."""

import select
import time
from collections.abc import Iterator
from contextlib import contextmanager

from sequencer.adapters.contract import Output
from sequencer.adapters.device_host import words
from sequencer.adapters.device_host.host import DeviceOutput
from sequencer.adapters.device_host.manner import read_address
from sequencer.adapters.osc_links.links import open_link
from sequencer.errors import LinkError
from sequencer.rig.axis import Rig
from sequencer.timebase.timecode import Timebase

WAITED_S = 1.5
WELL_KNOWN_S = 1e-3
_POLL_S = 0.005
_MILLISECOND_NS = 1_000_000

_met: dict[str, int] = {}  # the boot number of each device by its place


@contextmanager
def open_device(address: str, rig: Rig, _: Timebase) -> Iterator[Output]:
    """Open the link to the device at `address`.

    The first time it takes up to 1.5 s, on a calm link a part of one; later, as in mid-run, nothing waits, and
    setpoints are withheld until the clock is known again. Error: LinkError where there is no such device, or it is
    another than expected.
    """
    place, manner = read_address(address)
    with open_link(place) as link:
        try:
            # a clock's milliseconds run ahead of any earlier link's numbers
            output = DeviceOutput(link, rig, manner, time.time_ns() // _MILLISECOND_NS, boots=_met)
        except ValueError as fault:
            raise LinkError(f"the rig's axis names do not fit OSC: {fault}") from fault
        if place.where not in _met:
            _meet(output)
            if output.able is None:
                raise LinkError(words.absent(place.where, WAITED_S))
        yield output


def _meet(output: DeviceOutput) -> None:
    until_ns = time.monotonic_ns() + round(WAITED_S * 1e9)
    while (now_ns := time.monotonic_ns()) < until_ns:
        if output.ready and output.clock.error_s(now_ns) <= WELL_KNOWN_S:
            return
        output.look(time.monotonic_ns())
        port = output.fileno()
        if port is None:
            time.sleep(_POLL_S)
        else:
            select.select([port], [], [], _POLL_S)
        output.read(time.monotonic_ns())
