"""What the OSC outputs say that they carry, before anything is opened."""

import struct

import pytest
from pythonosc import slip

from sequencer.adapters.osc_links.osc_output import carries_osc, read_address
from sequencer.adapters.serial_ports import ports
from sequencer.errors import LinkError
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.signals import TRIGGER_NAMES
from sequencer.shell.kinds import output_kind
from sequencer.wire.osc import Numbers, setpoint_addresses
from sequencer.wire.timetag import IMMEDIATELY
from tests.adapters.test_osc import RIG


def rig_of(count: int) -> Rig:
    return Rig(
        name="quay",
        axes=tuple(
            Axis(name=f"axis{n}", kind="pan", unit="deg", travel=None, speed=60, acceleration=120, jerk=600)
            for n in range(count)
        ),
    )


@pytest.mark.parametrize(("form", "width"), [("f", 4), ("d", 8)])
def test_how_many_sets_a_baud_carries_is_said_before_anything_is_opened(form: str, width: int) -> None:
    """By hand, for one axis: 115200 baud are 11520 bytes a second, of which 400 are for what is no setpoint.

    OSC 1.0: the bundle's head is 16 bytes; an element is its size (4), its address padded (`/rig/axis0/position` 20,
    `/rig/axis0/speed` 20), its type tag (4) and the number. RFC 1055: END twice, and at worst two bytes for each of the
    timetag's and the numbers'.
    """
    worst = 16 + 2 * (4 + 20 + 4 + width) + 2 + 8 + 2 * width
    carries = carries_osc(f"osc+serial:/dev/nowhere?form={form}", rig_of(1))
    assert carries.most_hz == pytest.approx((11_520 - 400) / worst)
    assert f"{(11_520 - 400) / worst:.1f} sets a second" in carries.why
    assert f"{worst} where every number must be escaped" in carries.why


def test_a_set_that_was_promised_room_has_it_at_the_worst() -> None:
    rig = rig_of(2)
    for manner in ("", "&timetag=now"):
        carries = carries_osc(f"osc+serial:/dev/nowhere{manner.replace('&', '?')}", rig)
        # C0 C0 C0 C0 is a number; the timetag's bytes cannot be chosen, so they are counted by hand
        worst = Numbers(setpoint_addresses(rig.names)).pack(IMMEDIATELY, struct.unpack(">4f", b"\xc0" * 16))
        tag = 0 if manner else 8
        assert carries.most_hz == pytest.approx((11_520 - 400) / (len(slip.encode(worst)) + tag))


def test_a_line_too_slow_for_anything_carries_nothing() -> None:
    assert carries_osc("osc+serial:/dev/nowhere?baud=300", RIG).most_hz == 0


@pytest.mark.parametrize("address", ["osc://127.0.0.1:9", "osc+tcp://127.0.0.1:9"])
def test_a_network_sets_no_end(address: str) -> None:
    carries = carries_osc(address, RIG)
    assert carries.most_hz is None
    assert carries.triggers == TRIGGER_NAMES


def test_a_serial_port_and_a_connection_are_nobody_elses() -> None:
    assert output_kind("osc://127.0.0.1:9").shared
    assert not output_kind("osc+tcp://127.0.0.1:9").shared
    assert not output_kind("osc+serial:/dev/nowhere").shared


def test_the_addresses_of_this_machines_ports_are_read_back(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ports, "names", lambda: ("/dev/quay 0?", "COM3"))
    found = output_kind("osc+serial:x").names()
    assert [read_address(one)[0].path for one in found] == ["/dev/quay 0?", "COM3"]


def test_axis_names_that_osc_cannot_carry_are_said_before_arming() -> None:
    rig = Rig(name="r", axes=(Axis(name="pan*", kind="pan", unit="deg", travel=None, speed=1, acceleration=1, jerk=1),))
    with pytest.raises(LinkError, match="axis names do not fit OSC"):
        carries_osc("osc+serial:/dev/nowhere", rig)
