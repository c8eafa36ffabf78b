"""The address of a device, and what it says of what gets there; nothing is opened."""

from dataclasses import dataclass
from typing import get_args

from sequencer.adapters.asked import Asked
from sequencer.adapters.contract import Carries
from sequencer.adapters.osc_links.place import Place, most_hz, read_place
from sequencer.adapters.serial_ports.line import BITS_PER_BYTE
from sequencer.errors import LinkError
from sequencer.rig.axis import Rig
from sequencer.rig.signals import TRIGGER_NAMES
from sequencer.wire.device import Sets, time_question
from sequencer.wire.osc import Form
from sequencer.wire.slip import longest

AHEAD_S, COMMIT_S = 0.3, 0.1
_LEAST_AHEAD_S, _MOST_AHEAD_S = 0.05, 5.0
_TAG_BYTES, _NUMBER_BYTES = 8, 4
_WIDTH = {"f": 4, "d": 8}
LEAST_COMMIT_S = 0.02  # by hand, sets go out no earlier than this
_CLOCK_SHARE = 0.05  # of a serial line, for questions about the time
_EXAMPLES = {
    "device": "device://127.0.0.1:9100",
    "device+tcp": "device+tcp://127.0.0.1:9100",
    "device+serial": "device+serial:/dev/ttyACM0?baud=115200",
}


@dataclass(frozen=True, slots=True)
class Manner:
    """How a device is spoken to: how long ahead it gets its sets, how late the plan may change, and in which numbers.

    `ask_ns`: the least time between two questions about its time.
    """

    ahead_s: float = AHEAD_S
    commit_s: float = COMMIT_S
    form: Form = "f"
    ask_ns: int = 0


def read_address(text: str) -> tuple[Place, Manner]:
    """Read `device://HOST:PORT`, `device+tcp://HOST:PORT` or `device+serial:PORT?baud=`, with ahead, commit, form.

    Error: LinkError that says which part is wrong.
    """
    scheme = text.partition(":")[0]
    asked = Asked(text, _EXAMPLES.get(scheme, _EXAMPLES["device"]))
    if scheme not in _EXAMPLES:
        raise asked.fault("is no address of a device")
    place = read_place(asked)
    ahead_s = asked.number("ahead", AHEAD_S, _LEAST_AHEAD_S, _MOST_AHEAD_S)
    commit_s = asked.number("commit", min(COMMIT_S, ahead_s), LEAST_COMMIT_S, _MOST_AHEAD_S)
    form: Form = "d" if asked.one_of("form", get_args(Form)) == "d" else "f"
    asked.done()
    if commit_s > ahead_s:
        raise asked.fault(f"says commit={commit_s:g} and ahead={ahead_s:g}; commit must not be above ahead")
    return place, Manner(ahead_s, commit_s, form, _ask_ns(place))


def _ask_ns(place: Place) -> int:
    if place.transport != "serial":
        return 0
    question_s = longest(time_question(0), _NUMBER_BYTES) * BITS_PER_BYTE / place.baud
    return round(min(question_s / _CLOCK_SHARE, 1.0) * 1e9)


def carries_device(address: str, rig: Rig) -> Carries:
    """Return what goes through; how many sets the device itself takes and holds is known once it is open.

    Error: LinkError for an address or an axis name that is none.
    """
    place, manner = read_address(address)
    count = 2 * len(rig.axes)
    try:
        packet = Sets(rig.names, manner.form).pack(0, 0, [0.0] * count, from_tag=0)
    except ValueError as fault:
        raise LinkError(f"the rig's axis names do not fit OSC: {fault}") from fault
    open_bytes = count * _WIDTH[manner.form] + 2 * _TAG_BYTES + _NUMBER_BYTES
    hz, why = most_hz(place, packet, open_bytes)
    if hz is not None:
        hz *= 1 - _CLOCK_SHARE
        why = f"{why}; {_CLOCK_SHARE:.0%} are left to the device's clock: {hz:.1f} sets a second"
    return Carries(most_hz=hz, why=why, ahead_s=manner.ahead_s, committed_s=manner.commit_s, triggers=TRIGGER_NAMES)
