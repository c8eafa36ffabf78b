"""A host and its scripted device, tick by tick: time is an argument, nothing waits, every packet is seen."""

import numpy as np

from sequencer.adapters.device_host.host import DeviceOutput
from sequencer.adapters.device_host.manner import Manner
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.signals import Feedback, Setpoint
from tests.adapters.device_script import MS_NS, SECOND_NS, Scripted, ScriptedLink, Time

TICK_NS = 4 * MS_NS
AHEAD_NS = 300 * MS_NS
FIRST = 1000
RIG = Rig(
    name="quay",
    axes=tuple(
        Axis(name=name, kind=name, unit="deg", travel=(-170, 170), speed=60, acceleration=120, jerk=600)
        for name in ("pan", "tilt")
    ),
)


class Desk:
    """A host and its device, tick by tick."""

    def __init__(self, number: int = FIRST, **how: object) -> None:
        self.time = Time()
        self.link = ScriptedLink(self.time)
        self.device = Scripted(self.time, self.link, **how)  # type: ignore[arg-type]  # the fields of the script
        self.output = DeviceOutput(self.link, RIG, Manner(), number, lambda: self.time.now_ns)
        self.sends = False
        self.heard: list[Feedback] = []

    def tick(self, seconds: float = TICK_NS * 1e-9) -> None:
        """Let time pass; a setpoint set goes out at each tick once `sends`."""
        for _ in range(round(seconds * SECOND_NS / TICK_NS)):
            for _ in range(TICK_NS // MS_NS):
                self.time.now_ns += MS_NS
                self.link.carry()
                self.heard += self.output.read(self.time.now_ns)
            self.output.look(self.time.now_ns)
            if self.sends:
                self.send()

    def send(self, speed: float = 3.0) -> None:
        due_ns = self.time.now_ns + AHEAD_NS
        self.output.send(Setpoint(due_ns, np.array([1.5, -2.0]), np.array([speed, 0.25])))

    def meet(self) -> "Desk":
        """Let the host get to know the device and its clock, and tell it to listen."""
        self.tick(1.5)
        assert self.output.ready
        self.output.ask()
        return self
