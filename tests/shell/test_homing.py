"""Homing: the simulated rig's switch and its count in simulated time; then the real processes, in real time."""

import json
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from sequencer.adapters import wallclock
from sequencer.errors import LinkError
from sequencer.live.homing import SLOW, Stage
from sequencer.project.store import load, load_rig
from sequencer.rig.axis import Homing, Rig, Simulated
from sequencer.rig.signals import Feedback
from sequencer.shell import homing
from sequencer.shell.kinds import laws
from sequencer.shell.simulated_options import Faults
from sequencer.shell.simulated_rig import SWITCH_NS, WAKE_NS, Device, main, run
from sequencer.shell.trials import Ground
from sequencer.wire.osc import Numbers, actual_addresses, command, decode, setpoint_addresses
from sequencer.wire.timetag import IMMEDIATELY, WallOffset
from tests.shell.acted import Clock
from tests.shell.small import small_project
from tests.shell.test_several import Told

SECOND_NS = 1_000_000_000
HOST = ("127.0.0.1", 50_000)
SPEED = 10.0
SWITCH_AT = -12.0


def switched(tmp_path: Path, at: float | None = SWITCH_AT) -> Path:
    """Write the small project; its pan has a switch at its low end, and travels little. None: there is none in fact."""
    folder = small_project(tmp_path / "small")
    tree = json.loads((folder / "rig.json").read_text())
    pan = tree["axes"][0]
    pan["travel"] = [-10.0, 10.0]
    pan["homing"] = {"towards": "low", "speed": SPEED, "at": SWITCH_AT}
    pan["simulated"] = {} if at is None else {"switch_at": at}
    (folder / "rig.json").write_text(json.dumps(tree))
    (folder / "project.json").write_text((folder / "project.json").read_text().replace('"value": 20.0', '"value": 5.0'))
    return folder


class Wire:
    """A device and the host's end of its cable, on a clock that this class moves. It keeps what is said last."""

    def __init__(self, rig: Rig, **off: float) -> None:
        self.device = Device(rig, 1, Faults(count_off=tuple(off.items())), WallOffset(0, 1_700_000_000 * SECOND_NS))
        self.setpoints = Numbers(setpoint_addresses(rig.names))
        self.actuals = Numbers(actual_addresses(rig.names))
        self.device.hear(command("/rig/ask"), HOST, 0)
        self.now_ns = 0
        self.actual: list[float] = []
        self.switches: list[tuple[int, str, object]] = []

    def wait(self, for_ns: int) -> None:
        until_ns = self.now_ns + for_ns
        while self.now_ns < until_ns:
            self.now_ns += WAKE_NS
            for packet, _ in self.device.answers(self.now_ns):
                read = self.actuals.read(packet)
                if read is not None:
                    self.actual = read[1]
                    continue
                (message,) = decode(packet)
                self.switches.append((self.now_ns, message.address, message.arguments[0]))

    def say(self, packet: bytes) -> None:
        self.device.hear(packet, HOST, self.now_ns)

    def go(self, pan: float, for_ns: int) -> None:
        until_ns = self.now_ns + for_ns
        while self.now_ns < until_ns:
            self.say(self.setpoints.pack(IMMEDIATELY, [pan, 0.0, 0.0, 0.0]))
            self.wait(2 * WAKE_NS)


def test_the_simulated_switch_closes_where_it_is_whatever_the_axis_counts(tmp_path: Path) -> None:
    wire = Wire(load_rig(switched(tmp_path)), pan=300.0)
    wire.say(command("/rig/ask"))
    wire.wait(SECOND_NS)
    assert wire.actual == pytest.approx([300.0, 0.0])
    assert {(address, closed) for _, address, closed in wire.switches} == {("/rig/pan/switch", 0)}
    assert len(wire.switches) == pytest.approx(SECOND_NS // SWITCH_NS, abs=1)
    wire.go(300.0 + SWITCH_AT - 0.5, 2 * SECOND_NS)
    assert wire.actual[0] == pytest.approx(300.0 + SWITCH_AT - 0.5, abs=0.01)
    assert wire.switches[-1][1:] == ("/rig/pan/switch", 1)
    wire.go(300.0 + SWITCH_AT + 0.5, SECOND_NS)
    assert wire.switches[-1][2] == 0


def test_here_is_obeyed_at_rest_only(tmp_path: Path) -> None:
    wire = Wire(load_rig(switched(tmp_path)), pan=300.0)
    wire.go(302.0, SECOND_NS // 2)
    wire.say(command("/rig/pan/here", 0.0))
    wire.go(302.0, SECOND_NS // 2)
    assert wire.actual[0] == pytest.approx(302.0, abs=0.01), "it still followed setpoints"
    wire.wait(SECOND_NS // 2)
    wire.say(command("/rig/pan/here", -1.5))
    wire.say(command("/rig/ask"))
    wire.wait(SECOND_NS // 10)
    assert wire.actual == pytest.approx([-1.5, 0.0], abs=1e-6)
    wire.go(-0.5, SECOND_NS // 2)
    assert wire.device.motors.motors[0].load == pytest.approx(3.0, abs=0.01), "it went a degree on from where it was"


def test_a_count_that_is_off_by_no_number_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rig = str(switched(tmp_path) / "rig.json")
    assert main(["--rig", rig, "--count-off", "slide=3"]) == 2
    assert "no axis 'slide'; it has pan, tilt" in capsys.readouterr().err
    for wrong in ("pan", "pan=", "pan=far", "pan=nan"):
        with pytest.raises(SystemExit):
            main(["--rig", rig, "--count-off", wrong])
        assert "--count-off" in capsys.readouterr().err


@contextmanager
def standing(folder: Path, tmp_path: Path, real: Path | None = None, **off: float) -> Iterator[tuple[Ground, Device]]:
    """Run a simulated rig in a thread, so that its true places can be looked at. `real`: its own description."""
    rig = load_rig(real or folder)
    device = Device(rig, 1, Faults(count_off=tuple(off.items())), WallOffset(*wallclock.measure()))
    ending: list[int] = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as port:
        port.bind(("127.0.0.1", 0))
        port.setblocking(False)
        served = threading.Thread(target=run, args=(device, port, None, ending))
        served.start()
        try:
            output = f"osc://127.0.0.1:{port.getsockname()[1]}"
            project = load(folder, laws())
            yield Ground(project=project, output=output, folder=tmp_path / "ours", takes=tmp_path / "takes"), device
        finally:
            ending.append(1)
            served.join()


HALF = np.array([3.0, np.nan])  # the pan says where it stands, the tilt does not


@pytest.mark.parametrize(
    ("answer", "words"),
    [
        ((), "the rig does not answer; check its power, its cable and the address"),
        ((HALF,), "the rig does not say where tilt stands; let it send each /rig/AXIS/actual"),
    ],
)
def test_a_rig_that_does_not_say_where_it_stands_is_not_homed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, answer: tuple[NDArray[np.float64], ...], words: str
) -> None:
    rig = Told(answer=tuple(Feedback(0, one, 0) for one in answer))
    clock = Clock()
    monkeypatch.setattr(homing, "opened", lambda served, axes: nullcontext(rig))
    monkeypatch.setattr(homing, "time", clock)
    project, began_s = load(switched(tmp_path), laws()), clock.now_s
    ground = Ground(project=project, output="osc://127.0.0.1:9", folder=tmp_path / "ours", takes=tmp_path / "takes")
    with pytest.raises(LinkError) as refused:
        homing.stands(ground)
    assert str(refused.value) == words
    assert clock.now_s - began_s >= 2.0, "it was given time"
    assert rig.asks > 1
    assert rig.sent == []


@pytest.mark.real_time
def test_an_axis_is_homed_by_its_switch_and_the_other_stands(tmp_path: Path) -> None:
    words: list[str] = []
    with standing(switched(tmp_path), tmp_path, pan=61.5, tilt=200.0) as (ground, device):
        pan = ground.project.rig.axes[0]
        assert pan.travel is not None
        places = homing.stands(ground)
        assert places == pytest.approx({"pan": 61.5, "tilt": 200.0})
        found = homing.search(ground, pan, places, words.append)
        assert found.stage is Stage.FOUND, found.trouble
        assert homing.declare(ground, pan, found.value) == ""
        # seen in a fiftieth of a second or two, at a tenth of the homing speed
        assert device.count[0] == pytest.approx(0.0, abs=0.05 * SPEED * SLOW)
        assert device.count[1] == 200.0
        after = homing.stands(ground)
        assert after["pan"] == pytest.approx(found.value, abs=1e-3)
        assert after["pan"] >= pan.travel[0]
        assert device.motors.motors[1].load == pytest.approx(0.0, abs=1e-3)
    stages = (Stage.SEEKING, Stage.BRAKING, Stage.LEAVING, Stage.ENTERING, Stage.SETTLING, Stage.FOUND)
    assert words == [one.value for one in stages]


@pytest.mark.real_time
def test_a_rig_without_the_switch_and_a_motor_that_is_off_end_it_in_words(tmp_path: Path) -> None:
    folder = switched(tmp_path)
    (tmp_path / "other").mkdir()
    other = switched(tmp_path / "other", None)
    with standing(folder, tmp_path, other) as (ground, device):
        pan = ground.project.rig.axes[0]
        found = homing.search(ground, pan, homing.stands(ground), lambda _: None)
        assert found.stage is Stage.FAILED
        assert "the rig does not say how the switch of pan is; have it send /rig/pan/switch" in found.trouble
        assert device.motors.motors[0].load == pytest.approx(0.0, abs=1e-6)
    tree = json.loads((other / "rig.json").read_text())
    tree["axes"][0]["simulated"] = {"switch_at": SWITCH_AT, "speed": 1e-9}
    (other / "rig.json").write_text(json.dumps(tree))
    with standing(folder, tmp_path, other) as (ground, _):
        found = homing.search(ground, pan, homing.stands(ground), lambda _: None)
        assert found.stage is Stage.FAILED
        assert found.trouble.startswith("stopped: the rig is not where it was sent (pan by ")


@pytest.mark.real_time
def test_a_rig_that_does_not_know_here_is_told_of(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with standing(switched(tmp_path), tmp_path, pan=61.5) as (ground, device):
        monkeypatch.setattr(device, "_heres", {})
        words = homing.declare(ground, ground.project.rig.axes[0], 3.0)
    assert words.startswith("pan was told that it stands at 3, and says 61.5: does the rig know /rig/pan/here")


def test_the_switch_is_of_the_axis_that_says_at_which_end(tmp_path: Path) -> None:
    rig = load_rig(switched(tmp_path))
    high = replace(rig.axes[0], homing=Homing(towards="high", speed=1.0, at=10.5), simulated=Simulated(switch_at=10.5))
    wire = Wire(replace(rig, axes=(high, rig.axes[1])))
    wire.go(11.0, SECOND_NS)
    assert wire.actual[0] == pytest.approx(11.0, abs=0.01), "it can go where its switch is, beyond its travel"
    assert wire.switches[-1][2] == 1
