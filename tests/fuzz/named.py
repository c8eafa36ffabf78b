"""Targets: addresses, as an operator writes them and as a rig's file has them. Nothing is opened."""

from collections.abc import Callable
from ipaddress import ip_address

from sequencer.adapters import listening
from sequencer.errors import LinkError
from sequencer.shell.conformance import read_address
from sequencer.shell.kinds import output_kind, output_kinds
from tests.fuzz.answered import RIG
from tests.fuzz.target import Target

_CARDS = {
    "lo": (ip_address("127.0.0.1"), ip_address("::1")),
    "eth0": (ip_address("192.168.4.7"), ip_address("fe80::7")),
    "wlan0": (ip_address("10.1.2.3"), ip_address("fe80::7")),
}


def _judged(judge: Callable[[str], object]) -> Callable[[bytes], None]:
    """Any text is an address or refused; `shell.words` makes visible what a terminal would obey in the words."""

    def read(data: bytes) -> None:
        text = data.decode("utf-8", "replace")
        try:
            found = judge(text)
        except LinkError:
            return
        assert judge(text) == found

    return read


def _output(text: str) -> object:
    carries = output_kind(text).carries(text, RIG)
    assert carries.most_hz is None or carries.most_hz >= 0
    return carries


def _door(text: str) -> object:
    """Where a port of ours listens: this machine alone, unless the address says who else may speak."""
    door = listening.placed(listening.read(text), _CARDS)
    assert door.host.is_loopback or door.wanted.speakers
    return door


def _outputs() -> list[bytes]:
    there = [
        "osc://127.0.0.1:9000?form=d&timetag=now",
        "osc+tcp://[::1]:9000",
        "osc+serial:/dev/ttyUSB0?baud=115200",
        "device://127.0.0.1:9100?ahead=0.5&commit=0.1&form=f",
        "device+serial:/dev/ttyACM0?baud=500000",
        "gcode:/dev/ttyUSB0?baud=115200&roll=A&tilt=B&pan=C&holds=2&greeting=Ready&halt=M112&shutter=M42%20P1",
        "mavlink://127.0.0.1:14550",
        "csv:/tmp/quay.csv",
    ]
    bare = [f"{scheme}:" for kind in output_kinds() for scheme in kind.schemes]
    return [one.encode() for one in (*there, *bare)]


def _doors() -> list[bytes]:
    there = ("osc:9001", "osc:eth0:9001?from=192.168.4.0/24,10.0.0.1", "osc:[fe80::7%wlan0]:9001?from=fe80::/64")
    return [one.encode() for one in there]


TARGETS = (
    Target(name="output-addresses", decode=_judged(_output), seeds=_outputs, longest=200),
    Target(
        name="device-addresses",
        decode=_judged(read_address),
        seeds=lambda: [b"device://127.0.0.1:9100", b"osc+serial:/dev/ttyUSB0?baud=9600", b"device+tcp://[::1]:1"],
        longest=100,
    ),
    Target(name="doors", decode=_judged(_door), seeds=_doors, longest=100),
)
