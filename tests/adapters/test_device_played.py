"""The device output and the reference device of docs/device in simulated time, with a link between that jitters.

What the device plays and when is compared with the plan itself; limits are the issue's own, where none is named.
"""

import math
from collections.abc import Callable

import numpy as np
import pytest

from sequencer.adapters.device_host.host import DeviceOutput
from sequencer.adapters.device_host.manner import Manner
from sequencer.errors import LinkError
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.signals import Floats, Setpoint
from tests.adapters.device_script import MS_NS, SECOND_NS, ScriptedLink, Time
from tests.device.bench import reference

HZ = 100
TICK_NS = SECOND_NS // HZ
SPEED, ACCELERATION = 60.0, 120.0
RIG = Rig(
    name="quay",
    axes=tuple(
        Axis(name=name, kind=name, unit="deg", travel=None, speed=SPEED, acceleration=ACCELERATION, jerk=600)
        for name in ("pan", "tilt")
    ),
)


def swing(t_s: float) -> tuple[Floats, Floats]:
    """A move that begins at rest and never rests again for long."""
    position, speed = 10 * (1 - math.cos(t_s)), 10 * math.sin(t_s)
    return np.array([position, -position]), np.array([speed, -speed])


class Stage:
    """A host and a reference device whose clock runs 40 parts in a million fast; all in simulated time."""

    def __init__(self, seed: int, ahead_s: float = 0.8) -> None:
        self.chance = np.random.default_rng(seed)
        self.time = Time()
        self.link = ScriptedLink(self.time, delay=self._delay)
        self.out = False
        axes = [reference("axis").Axis(name, SPEED, ACCELERATION) for name in RIG.names]
        self.device = reference("device").Device("crane", axes, 77, 250, 512)
        self.device.course.played = lambda one, now: self.played.append((one.number, self.here_ns(now), one.values))
        self.link.hear = lambda packet: self.device.hear(packet, "host", self.there_ns())
        self.played: list[tuple[int, int, list[float]]] = []
        self.boot_ns = self.time.now_ns - 20 * SECOND_NS
        self.ahead_ns = round(ahead_s * SECOND_NS)
        self.plan: Callable[[float], tuple[Floats, Floats]] = swing
        self.begun_ns: int | None = None
        self.dues: dict[int, int] = {}
        self.stood: list[tuple[int, float]] = []
        self.open(5000)

    def open(self, number: int) -> None:
        """Open the link, anew where it was open."""
        self.output = DeviceOutput(self.link, RIG, Manner(self.ahead_ns * 1e-9), number, lambda: self.time.now_ns)

    def _delay(self) -> int | None:
        lost = self.out or self.chance.random() < 0.03
        return None if lost else round(self.chance.uniform(10, 110) * MS_NS)

    def there_ns(self) -> int:
        return round((self.time.now_ns - self.boot_ns) * (1 + 40e-6))

    def here_ns(self, there_ns: int) -> int:
        return self.boot_ns + round(there_ns / (1 + 40e-6))

    def run(self, seconds: float, sends: bool) -> None:
        for step in range(round(seconds * 1000)):
            self.time.now_ns += MS_NS
            self.link.carry()
            # as a loop on the device: what is due in this millisecond is played at its instant
            while (at := self.device.wakes()) <= self.there_ns():
                self.device.advance(at)
            for packet, _ in self.device.packets(self.there_ns()):
                self.link.say(packet)
            self.stood.append((self.time.now_ns, self.device.axes[0].position))
            self.output.read(self.time.now_ns)
            if step % (TICK_NS // MS_NS) == 0:
                self.output.look(self.time.now_ns)
                if sends:
                    self.send(self.time.now_ns + self.ahead_ns)

    def send(self, due_ns: int) -> None:
        if self.begun_ns is None:
            self.begun_ns = due_ns
        self.dues[self.output.number] = due_ns
        self.output.send(Setpoint(due_ns, *self.plan((due_ns - self.begun_ns) * 1e-9)))

    def listens(self) -> None:
        for _ in range(5):
            self.output.ask()
            self.run(0.1, sends=False)


@pytest.mark.parametrize("seed", [1, 2])
def test_over_a_bad_link_every_set_is_played_when_it_is_due(seed: int) -> None:
    stage = Stage(seed)
    stage.run(1.5, sends=False)
    stage.listens()
    stage.run(32.0, sends=True)
    due = {number: due_ns for number, due_ns in stage.dues.items() if due_ns <= stage.time.now_ns - 10 * MS_NS}
    times = {number: at_ns for number, at_ns, _ in stage.played}
    assert set(due) <= set(times)
    late_ms = np.array([(times[number] - due_ns) * 1e-6 for number, due_ns in due.items()])
    assert np.abs(late_ms).max() <= 5
    assert np.abs(late_ms[-2 * HZ :]).max() <= 1
    # the rig itself is where its plan is, as well as the clock is known
    assert stage.begun_ns is not None
    for at_ns, stood in stage.stood[-1000::50]:
        position, speed = stage.plan((at_ns - stage.begun_ns) * 1e-9)
        assert stood == pytest.approx(position[0], abs=abs(speed[0]) * 0.001 + 0.01)


def test_a_changed_plan_takes_the_place_of_the_old_one_from_its_instant_on() -> None:
    stage = Stage(3)
    stage.run(1.5, sends=False)
    stage.listens()
    stage.run(4.0, sends=True)
    from_ns = stage.time.now_ns + 120 * MS_NS
    from_s = (from_ns - stage.begun_ns) * 1e-9 if stage.begun_ns is not None else 0.0
    position, speed = swing(from_s)
    brakes_s = abs(float(speed[0])) / 60

    def braking(t_s: float) -> tuple[Floats, Floats]:
        since_s = min(t_s - from_s, brakes_s)
        share = 1 - since_s / brakes_s
        return position + speed * since_s * (1 - since_s / brakes_s / 2), speed * share

    first = stage.output.number
    stage.plan = braking
    stage.output.replace(from_ns)
    for due_ns in range(from_ns, stage.time.now_ns + stage.ahead_ns, TICK_NS):
        stage.send(due_ns)
    stage.run(2.0, sends=True)
    old = [at_ns for number, at_ns, _ in stage.played if number < first]
    # a tick for the one old set that may be due as the new plan begins, where the first new set had to go out again
    assert max(old) <= from_ns + 2 * TICK_NS
    assert stage.device.course.still()
    assert stage.stood[-1][1] == pytest.approx(float(braking(99.0)[0][0]), abs=0.02)
    assert stage.device.course.ran_out is None


def test_where_the_link_is_out_the_device_brakes_and_the_operator_is_told_once_it_is_back() -> None:
    stage = Stage(4)
    stage.run(1.5, sends=False)
    stage.listens()
    stage.run(4.7, sends=True)  # as fast as it gets
    last = max(stage.dues)
    stage.out = True
    stage.run(0.5, sends=True)
    stage.run(4.5, sends=False)
    assert stage.device.course.still()
    assert stage.device.course.ran_out == last
    # every 20 ms, since the device moves in steps of 2 ms
    times, stood = (np.array(column) for column in zip(*stage.stood[::20], strict=True))
    speed = np.diff(stood) / np.diff(times) * 1e9
    braked = np.abs(np.diff(speed)) / 0.02
    assert 0.9 * ACCELERATION <= braked[times[2:] > stage.dues[last]].max() <= ACCELERATION * 1.01
    place = stood[-1]
    stage.out = False
    with pytest.raises(LinkError, match="ran out of setpoints"):
        stage.run(2.0, sends=False)
    stage.open(90_000)
    stage.run(2.0, sends=False)
    assert stage.output.ready
    assert "listens again after Reset" in stage.output.trouble()
    # setpoints without the operator's reset move nothing
    stage.begun_ns = None
    stage.run(1.0, sends=True)
    assert stage.stood[-1][1] == place
    stage.listens()
    stage.begun_ns, stage.plan = None, lambda t_s: (np.array([place, -place]) + swing(t_s)[0], swing(t_s)[1])
    stage.run(3.0, sends=True)
    assert max(number for number, _, _ in stage.played) > 90_000
    assert stage.output.trouble() == "" or "so far" in stage.output.trouble()


def test_a_device_that_is_reset_in_mid_move_is_found_within_a_second() -> None:
    stage = Stage(5)
    stage.run(1.5, sends=False)
    stage.listens()
    stage.run(3.0, sends=True)
    reset_ns = stage.boot_ns = stage.time.now_ns
    axes = [reference("axis").Axis(name, SPEED, ACCELERATION) for name in RIG.names]
    stage.device = reference("device").Device("crane", axes, 78, 250, 512)
    with pytest.raises(LinkError, match=r"was reset|jumped by"):
        stage.run(1.5, sends=True)
    assert stage.time.now_ns - reset_ns <= SECOND_NS
    # it is deaf as after any power-up: nothing has moved
    assert stage.device.axes[0].position == 0
