"""The MIDI output: addresses, what its line holds, pulses; and a second program that hears it through a JACK server."""

import subprocess
import sys
import time
from collections.abc import Iterator

import mido
import numpy as np
import pytest

from sequencer.adapters.contract import Output
from sequencer.adapters.midi_ports import rtmidi_ports, systems
from sequencer.adapters.outputs.midi import KIND, MidiOutput, carries_midi, parse_address
from sequencer.errors import LinkError
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.signals import Setpoint, Trigger
from sequencer.shell.kinds import open_output
from tests.jack import jack_server
from tests.needs import needs, needs_module

MS_NS = 1_000_000
SECOND_NS = 1_000 * MS_NS
RIG = Rig(
    name="quay",
    axes=(
        Axis(name="pan", kind="pan", unit="deg", travel=(-170, 170), speed=60, acceleration=120, jerk=600),
        Axis(name="tilt", kind="tilt", unit="deg", travel=(-45, 90), speed=60, acceleration=120, jerk=600),
        Axis(name="focus", kind="focus", unit="part", travel=(0, 1), speed=1, acceleration=4, jerk=20),
    ),
)
WAYS = "pan=cc16&tilt=nrpn1000&focus=bend@2"


class Heard:
    """The port's other end."""

    ahead_ns = 0

    def __init__(self) -> None:
        self.messages: list[mido.Message] = []

    def send(self, data: bytes, due_ns: int) -> None:
        self.messages.append(mido.parse(data))

    def check(self, now_ns: int) -> None:
        pass

    def taken(self) -> list[mido.Message]:
        messages, self.messages = self.messages, []
        return messages


def opened(options: str = "", rig: Rig = RIG) -> tuple[MidiOutput, Heard]:
    heard = Heard()
    return MidiOutput(heard, parse_address(f"midi:lantern?{WAYS}{options}", rig)), heard


def setpoint(due_ns: int, pan: float, tilt: float = 0.0, focus: float = 0.5) -> Setpoint:
    return Setpoint(due_ns, np.array([pan, tilt, focus]), np.zeros(3))


@pytest.mark.parametrize(
    ("address", "words"),
    [
        ("midi:", "names no MIDI port"),
        (f"midi://lantern?{WAYS}", "names no MIDI port"),
        ("midi:lantern", "does not say how pan goes out"),
        ("midi:lantern?pan=cc16&tilt=cc17", "does not say how focus goes out"),
        (f"midi:lantern?{WAYS}&roll=cc20", "the option roll; there are"),
        ("midi:lantern?pan=cc40&tilt=cc17&focus=bend", "says pan=cc40, which has no such number"),
        ("midi:lantern?pan=cc16&tilt=cc16&focus=bend", "pan and tilt both have cc16@1"),
        (f"midi:lantern?{WAYS}&channel=17", "channel=17; it must be a number from 1 to 16"),
        (f"midi:lantern?{WAYS}&wire=radio", "one of din, usb, program"),
        (f"midi:lantern?{WAYS}&shutter=cc48", "pan and shutter both have cc48@1"),
        (f"midi:lantern?{WAYS}&stop=note200", "says stop=note200, which has no such number"),
        (f"midi:lantern?{WAYS}&refresh=0", "refresh=0; it must be a number from 0.1"),
        (f"midi:lantern?{WAYS}&pan=cc1", "an option twice"),
    ],
)
def test_an_address_that_is_none_says_which_part(address: str, words: str) -> None:
    with pytest.raises(LinkError, match=words):
        carries_midi(address, RIG)


def test_an_axis_that_is_called_as_an_option_is_told() -> None:
    rig = Rig(name="r", axes=(Axis(name="wire", kind="pan", unit="deg", travel=None, speed=1, acceleration=1, jerk=1),))
    with pytest.raises(LinkError, match="rename the axis"):
        carries_midi("midi:lantern?wire=cc1", rig)


def test_the_rate_that_a_line_holds_is_told_with_its_figure() -> None:
    # MIDI 1.0 Detailed Specification 4.2, "Hardware" (from memory): 31.25 kbaud, 10 bits a byte, so 320 us
    carried = carries_midi(f"midi:lantern?{WAYS}", RIG)
    assert carried.most_hz == pytest.approx(1 / ((6 + 12 + 3) * 320e-6))
    assert "31,250 bit/s" in carried.why
    assert "21 bytes" in carried.why
    assert carries_midi(f"midi:lantern?{WAYS}&wire=usb", RIG).most_hz == pytest.approx(16_000 * 3 / 21)
    assert carries_midi(f"midi:lantern?{WAYS}&wire=program", RIG).most_hz is None


def test_span_and_resolution_are_those_of_fourteen_bits() -> None:
    carried = carries_midi("midi:lantern?pan=cc16,90..-90&tilt=cc17&focus=bend&shutter=note1&cut=cc80&record=cc80", RIG)
    assert carried.span == ((-90, 90), (-45, 90), (0, 1))
    assert carried.resolution == pytest.approx((180 / 16_383, 135 / 16_383, 1 / 16_383))
    assert carried.triggers == ("shutter", "record", "cut")


def test_a_line_that_is_busy_drops_sets_and_says_the_newest_at_its_own_rate() -> None:
    output, heard = opened()
    size = 0
    for tick in range(1000):
        output.send(setpoint(tick * 4 * MS_NS, tick / 10, tick / 50, tick / 1000))
        size += sum(len(message.bin()) for message in heard.taken())
    # four seconds of a line that carries 3125 bytes a second
    assert 0.95 * 12_500 < size <= 12_500 + 3125 * 0.012
    assert output.dropped > 300
    output.send(setpoint(5 * SECOND_NS, -170.0, -45.0, 1.0))
    values = [message.pitch if message.type == "pitchwheel" else message.value for message in heard.taken()]
    assert values == [0, 0, 1000 >> 7, 1000 & 127, 0, 0, 8191]


@pytest.mark.parametrize("wire", ["usb", "program"])
def test_a_faster_line_takes_every_set_of_250_hz(wire: str) -> None:
    output, _ = opened(f"&wire={wire}")
    for tick in range(1000):
        output.send(setpoint(tick * 4 * MS_NS, tick / 10, tick / 50, tick / 1000))
    assert output.dropped == 0


def test_a_trigger_is_a_contact_that_goes_off_after_its_pulse() -> None:
    output, heard = opened("&shutter=note60@3&pulse=0.05")
    on, off = (mido.Message(name, channel=2, note=60, velocity=v) for name, v in (("note_on", 127), ("note_off", 64)))
    assert output.fire(Trigger(SECOND_NS, "shutter"))
    assert not output.fire(Trigger(SECOND_NS, "record"))
    output.look(SECOND_NS + 49 * MS_NS)
    assert heard.taken() == [on]
    output.look(SECOND_NS + 50 * MS_NS)
    output.look(SECOND_NS + 54 * MS_NS)
    assert heard.taken() == [off]
    output.fire(Trigger(2 * SECOND_NS, "shutter"))
    output.fire(Trigger(2 * SECOND_NS + 10 * MS_NS, "shutter"))
    output.close()
    assert heard.taken() == [on, off, on, off], "one in the middle of a pulse is heard too, and none stays on"


def test_an_order_that_is_late_has_its_whole_pulse() -> None:
    output, heard = opened("&shutter=note60&pulse=0.05")
    output.look(SECOND_NS)
    output.fire(Trigger(SECOND_NS - 300 * MS_NS, "shutter"))
    output.look(SECOND_NS + 46 * MS_NS)
    assert len(heard.taken()) == 1
    output.look(SECOND_NS + 50 * MS_NS)
    assert len(heard.taken()) == 1


def test_a_stop_is_said_by_a_contact_of_ones_choosing_until_the_rig_is_asked_again() -> None:
    output, heard = opened("&stop=cc80")
    output.stop()
    output.stop()
    output.look(10 * SECOND_NS)
    assert [message.value for message in heard.taken()] == [127, 127]
    output.ask()
    assert [message.value for message in heard.taken()] == [0]
    silent, nothing = opened()
    silent.stop()
    silent.ask()
    assert nothing.taken() == []


def test_active_sensing_comes_often_enough_where_it_is_wanted() -> None:
    # MIDI 1.0 Detailed Specification 4.2, "Active Sensing" (from memory): FE at the latest after 300 ms of silence
    output, heard = opened("&sensing=on")
    times = []
    for tick in range(1, 500):
        output.look(tick * 4 * MS_NS)
        times += [tick * 4 for message in heard.taken() if message.type == "active_sensing"]
    assert max(np.diff(times)) < 300
    quiet, nothing = opened()
    quiet.look(10 * SECOND_NS)
    assert nothing.taken() == []


def test_a_value_that_midi_cannot_say_is_told() -> None:
    output, _ = opened()
    output.send(setpoint(0, 0.0, tilt=91.0))
    assert "tilt is asked for outside of what its MIDI values can say (-45 to 90)" in output.trouble()
    output.send(setpoint(SECOND_NS, 0.0, tilt=90.0))
    assert output.trouble() == ""


def test_a_port_that_is_not_there_is_told_with_those_that_are(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(systems, "running", lambda: False)
    monkeypatch.setattr(rtmidi_ports, "drivers", lambda: ())
    monkeypatch.setattr(rtmidi_ports, "installed", lambda: True)
    with pytest.raises(LinkError, match="no MIDI system now"), open_output(f"midi:lantern?{WAYS}", RIG):
        pass
    with pytest.raises(LinkError, match="no MIDI system now"):
        KIND.names()


# another program: it hears by RtMidi, decodes by mido, and ends with the pitch bend of the last set
PROGRAM = """
import sys, time
import mido, rtmidi
port = rtmidi.MidiIn(rtmidi.API_UNIX_JACK, name="lantern")
port.open_virtual_port("desk")
print("here", flush=True)
end = time.monotonic() + 30
controllers = {}
while time.monotonic() < end:
    got = port.get_message()
    if got is None:
        time.sleep(0.001)
        continue
    message = mido.parse(bytes(got[0]))
    if message.type == "control_change":
        controllers[message.control] = message.value
        if message.control == 48:
            print("pan", controllers[16] * 128 + controllers[48], flush=True)
        if message.control == 38:
            print("tilt", controllers[99] * 128 + controllers[98], controllers[6] * 128 + controllers[38], flush=True)
    elif message.type == "pitchwheel":
        print("focus", message.channel + 1, message.pitch, flush=True)
    else:
        print(message.type, message.note, flush=True)
        if message.type == "note_off":
            break
port.close_port()
"""


@pytest.fixture
def program() -> Iterator["subprocess.Popen[str]"]:
    needs("jackd")
    needs_module("rtmidi")
    with (
        jack_server(frames=1024),
        subprocess.Popen([sys.executable, "-c", PROGRAM], stdout=subprocess.PIPE, text=True) as running,
    ):
        assert running.stdout is not None
        assert running.stdout.readline() == "here\n"
        yield running
        running.terminate()


@pytest.mark.real_time
def test_a_program_that_ends_is_a_link_that_is_gone(program: "subprocess.Popen[str]") -> None:
    with open_output(f"midi:desk?{WAYS}", RIG) as output:
        output.look(time.monotonic_ns())
        program.terminate()
        program.wait(timeout=10)
        with pytest.raises(LinkError, match="'lantern:desk' is gone; plug its device in"):
            until_it_is_gone(output)


def until_it_is_gone(output: Output) -> None:
    for _ in range(1000):
        output.look(time.monotonic_ns())
        output.send(setpoint(time.monotonic_ns(), 0.0))
        time.sleep(0.005)


class Refusing:
    """RtMidi's `MidiOut` as far as it is sent to: its driver refuses, and its port may go away."""

    ports: tuple[str, ...] = ("desk",)

    def send_message(self, data: bytes) -> None:
        raise rtmidi_ports._binding().RtMidiError("driver error")

    def get_ports(self) -> tuple[str, ...]:
        return self.ports


def test_a_driver_that_refuses_or_has_lost_the_port_is_a_link_that_is_gone() -> None:
    needs_module("rtmidi")
    port = Refusing()
    out = rtmidi_ports.RtmidiOut(port, "desk")
    with pytest.raises(LinkError, match="the MIDI port failed"):
        out.send(b"\xfe", 0)
    later_ns = time.monotonic_ns() + 2 * SECOND_NS
    out.check(later_ns)
    port.ports = ()
    out.check(later_ns + SECOND_NS // 2)
    with pytest.raises(LinkError, match="'desk' is gone"):
        out.check(later_ns + 2 * SECOND_NS)


def play(output: Output) -> None:
    for tick in range(26):
        now_ns = time.monotonic_ns()
        output.look(now_ns)
        output.send(setpoint(now_ns, -170 + tick * 340 / 25, tick * 90 / 25, tick / 25))
        time.sleep(0.02)
    assert output.fire(Trigger(time.monotonic_ns(), "shutter"))


@pytest.mark.real_time
def test_another_program_hears_every_axis_and_the_trigger(program: "subprocess.Popen[str]") -> None:
    name = f"midi:desk?{WAYS}&shutter=note60"
    assert KIND.names() == ("midi:lantern:desk",)
    with open_output(name, RIG) as output:
        play(output)
        # closing switches off what a pulse switched on
    text, _ = program.communicate(timeout=30)
    lines = [line.split() for line in text.splitlines()]
    pan = [int(line[1]) for line in lines if line[0] == "pan"]
    assert pan == [round(tick / 25 * 16_383) for tick in range(26)]
    tilt = [(int(line[1]), int(line[2])) for line in lines if line[0] == "tilt"]
    assert tilt == [(1000, round((45 + tick * 90 / 25) / 135 * 16_383)) for tick in range(26)]
    focus = [(int(line[1]), int(line[2])) for line in lines if line[0] == "focus"]
    assert focus == [(2, round(tick / 25 * 16_383) - 8192) for tick in range(26)]
    assert lines[-2:] == [["note_on", "60"], ["note_off", "60"]]
    with pytest.raises(LinkError, match="was closed"):
        output.send(setpoint(time.monotonic_ns(), 0.0))
