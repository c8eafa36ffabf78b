"""The link to the simulated rig: its echo in simulated time, byte by byte, and a drop with the real processes."""

import time
from collections import deque

import numpy as np
import pytest

from sequencer.adapters import wallclock
from sequencer.adapters.contract import LinkState
from sequencer.adapters.osc_links.osc_output import OscOutput
from sequencer.adapters.osc_links.udp import UdpLink
from sequencer.playback.state import Phase
from sequencer.rig.signals import Setpoint
from sequencer.shell.messages import Arm, Reset, Said, Status
from sequencer.shell.simulated_options import Faults
from sequencer.shell.simulated_rig import WAKE_NS, Device
from sequencer.wire.osc import Numbers, actual_addresses, command, decode, setpoint_addresses
from sequencer.wire.timetag import IMMEDIATELY, WallOffset
from tests.shell.conftest import Starter
from tests.shell.test_simulated_rig import HOST, OFFSET_NS, OTHER, RIG, SECOND_NS, TICK_NS

SETPOINTS = Numbers(setpoint_addresses(RIG.names))


class Loop:
    """The output and the device, joined by a cable of no length, on a clock that this class moves.

    It stands in for the socket: what is sent is heard at once, and what is answered waits to be received.
    """

    def __init__(self, monkeypatch: pytest.MonkeyPatch, faults: Faults) -> None:
        self.now_ns = 0
        self.device = Device(RIG, 1, faults, WallOffset(0, OFFSET_NS))
        self.device.hear(command("/rig/ask"), HOST, 0)
        self.waiting: deque[bytes] = deque()
        monkeypatch.setattr(wallclock, "measure", lambda: (self.now_ns, OFFSET_NS))
        self.output = OscOutput(UdpLink(self, "127.0.0.1:9"), RIG)  # type: ignore[arg-type]  # as much of a socket as it uses
        self.lost: list[float] = []

    def send(self, packet: bytes) -> int:
        self.device.hear(packet, HOST, self.now_ns)
        return len(packet)

    def recv(self, most: int) -> bytes:
        if not self.waiting:
            raise BlockingIOError
        return self.waiting.popleft()

    def run(self, seconds: float, moves: bool = True) -> LinkState:
        until_ns = self.now_ns + round(seconds * SECOND_NS)
        while self.now_ns < until_ns:
            self.now_ns += WAKE_NS
            self.waiting += [packet for packet, _ in self.device.answers(self.now_ns)]
            if self.now_ns % TICK_NS:
                continue
            self.output.read(self.now_ns)
            self.output.look(self.now_ns)
            if moves:
                self.output.send(Setpoint(self.now_ns, np.array([0.0, 10.0]), np.zeros(2)))
            state = self.output.link(self.now_ns)
            if state.lost is not None:
                self.lost.append(state.lost)
        return self.output.link(self.now_ns)


def test_a_slow_link_that_loses_a_tenth_each_way_is_measured_so(monkeypatch: pytest.MonkeyPatch) -> None:
    loop = Loop(monkeypatch, Faults(answer_delay_s=0.02, drop=0.1))
    state = loop.run(240.0)
    assert state.round_trip_s == pytest.approx(0.02, abs=2 * TICK_NS * 1e-9)
    # of 1200 pings each is lost with probability 1 - 0.9 * 0.9; four standard deviations are 0.045
    assert np.mean(loop.lost) == pytest.approx(0.19, abs=0.045)
    assert loop.output.left_aside == 0


def test_a_good_link_loses_nothing_whether_or_not_the_rig_moves(monkeypatch: pytest.MonkeyPatch) -> None:
    for moves in (True, False):
        state = Loop(monkeypatch, Faults()).run(10.0, moves)
        assert state.lost == 0
        assert state.round_trip_s is not None
        assert state.round_trip_s <= 2 * TICK_NS * 1e-9


def test_a_rig_that_knows_no_ping_is_not_measured_and_works_as_before(monkeypatch: pytest.MonkeyPatch) -> None:
    loop = Loop(monkeypatch, Faults(no_echo=True))
    assert loop.run(10.0) == LinkState(None, None)
    assert loop.device.left_aside == 50
    assert loop.output.left_aside == 0
    assert not loop.device.motors.stopped


def device(mute: bool = False) -> Device:
    return Device(RIG, 1, Faults(mute=mute), WallOffset(0, OFFSET_NS))


def test_a_ping_is_answered_at_once_to_its_sender_with_where_the_axes_stand_and_once_only() -> None:
    rig = device()
    rig.hear(command("/rig/ping", 41), OTHER, 0)
    pong, actual = rig.answers(WAKE_NS)
    assert {to for _, to in (pong, actual)} == {OTHER}
    assert [(one.address, one.arguments) for one in decode(pong[0])] == [("/rig/pong", (41,))]
    read = Numbers(actual_addresses(RIG.names)).read(actual[0])
    assert read is not None
    assert read[1] == pytest.approx([0.0, 10.0], abs=0.01)
    assert [rig.answers(tick * WAKE_NS) for tick in range(2, 500)] == [[]] * 498


def test_a_ping_makes_no_stopped_rig_listen_again() -> None:
    rig = device()
    rig.hear(command("/stop"), HOST, 0)
    rig.hear(command("/rig/ping", 1), HOST, WAKE_NS)
    for tick in range(1, 500):
        rig.hear(SETPOINTS.pack(IMMEDIATELY, [20.0, 10.0, 0.0, 0.0]), HOST, tick * WAKE_NS)
        rig.answers(tick * WAKE_NS)
    assert rig.motors.stopped
    assert [motor.position for motor in rig.motors.motors] == [0.0, 10.0]


def test_a_mute_rig_answers_no_ping_and_a_ping_without_a_number_is_left_aside() -> None:
    mute, rig = device(mute=True), device()
    mute.hear(command("/rig/ping", 1), HOST, 0)
    rig.hear(command("/rig/ping"), HOST, 0)
    assert mute.answers(WAKE_NS) == rig.answers(WAKE_NS) == []
    assert rig.left_aside == 1


def test_away_for_a_while_neither_hears_nor_answers_and_is_back(monkeypatch: pytest.MonkeyPatch) -> None:
    loop = Loop(monkeypatch, Faults(away_s=(2.0, 8.0)))
    loop.run(7.9)
    assert (loop.output.link(loop.now_ns).round_trip_s, loop.lost[-1]) == (None, 1.0)
    assert loop.run(1.0).round_trip_s is not None


@pytest.mark.real_time
@pytest.mark.parametrize("echo", [(), ("--no-echo",)])
def test_after_a_drop_the_rig_is_back_within_two_seconds_and_waits_for_reset(
    start: Starter, echo: tuple[str, ...]
) -> None:
    running, watch, _ = start("--away", "2,4.5", *echo)
    said: list[Said] = []
    watch.been_ready = True  # a reset that is refused ends nothing here
    watch.tell = lambda _, words: said.extend(words)
    running.wait_opened()

    def wait(link: str, patience_s: float) -> tuple[Status, float]:
        until_s = time.monotonic() + patience_s
        while time.monotonic() < until_s:
            status = watch.look()
            if status is not None and status.link == link:
                return status, time.monotonic()
        raise AssertionError(f"the link was not {link} for {patience_s} s; {said}")

    # setpoints go out from the first tick on, so the drop is counted from there
    status, _ = wait("up", 5.0)
    began_s = time.monotonic() - (time.monotonic_ns() - status.at_ns) * 1e-9 - (status.ticks + status.skipped) / 250
    status, down_s = wait("down", 5.0)
    assert down_s - began_s > 2.0
    running.tell(Reset())
    status, up_s = wait("up", 8.0)
    assert 0 <= up_s - began_s - 4.5 <= 2.0
    assert status.phase == Phase.STOPPED
    words = [one.text for one in said]
    assert any("not reset: the rig has not answered" in one for one in words)
    for _ in range(10):
        watch.look()
    assert any("answers again after 2." in one.text for one in said if one.code == "link")

    running.tell(Reset())
    until_s = time.monotonic() + 5
    while (now := watch.look()) is None or now.phase != Phase.IDLE:
        assert time.monotonic() < until_s
    watch.arm(Arm(cue="turn"))
    watch.until(Phase.READY, 20)
    status, _ = wait("up", 1.0)
    assert (status.round_trip_s is None) == bool(echo)
