"""MAVLink over a serial line: a pseudo terminal, the head at its other end."""

import math
import os
import tty
from collections.abc import Iterator

import numpy as np
import pytest

from sequencer.adapters.contract import Output
from sequencer.errors import LinkError
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.signals import Feedback, Setpoint
from sequencer.shell.kinds import open_output

pytest.importorskip("pymavlink")
from tests.adapters.camera_head import CameraHead, on_terminal

RIG = Rig(
    name="quay",
    axes=tuple(
        Axis(name=kind, kind=kind, unit="deg", travel=None, speed=60, acceleration=120, jerk=600)
        for kind in ("pan", "tilt")
    ),
)


@pytest.fixture
def line() -> Iterator[tuple[int, str]]:
    ours, theirs = os.openpty()
    tty.setraw(theirs)
    os.set_blocking(ours, False)
    try:
        yield ours, os.ttyname(theirs)
    finally:
        os.close(theirs)
        os.close(ours)


@pytest.fixture
def ends(line: tuple[int, str]) -> Iterator[tuple[Output, CameraHead]]:
    with open_output(f"mavlink+serial:{line[1]}?baud=4000000", RIG) as output:
        yield output, on_terminal(line[0])


def test_setpoints_and_answers_cross_a_serial_line(ends: tuple[Output, CameraHead]) -> None:
    output, head = ends
    output.ask()
    told: list[Feedback] = []
    for tick in range(200):
        output.look(tick * 10_000_000)
        output.send(Setpoint(0, np.array([20.0, -10.0]), np.zeros(2)))
        head.pump(tick * 10_000_000)
        told += output.read(tick * 10_000_000)
    assert head.angles() == pytest.approx([-20, -10, 0], abs=1e-4)
    assert told[-1].position == pytest.approx([20, -10], abs=1e-4)
    assert not head.of("BAD_DATA")


def test_noise_on_the_line_costs_no_more_than_what_it_hit(ends: tuple[Output, CameraHead]) -> None:
    output, head = ends
    head.tell()
    head._send(b"\x00\xff noise \xfd\x03")
    for _ in range(12):
        head.tell()
    told = [one for now_ns in range(5) for one in output.read(now_ns)]
    assert 6 <= len(told) <= 13


def test_a_line_that_nobody_reads_drops_setpoints_whole(ends: tuple[Output, CameraHead]) -> None:
    output, head = ends
    for _ in range(5_000):
        output.send(Setpoint(0, np.array([1.0, 2.0]), np.zeros(2)))
    assert output.dropped > 0  # type: ignore[attr-defined]  # of this output
    head.pump(0)
    output.look(1)
    head.pump(1)
    assert len(head.heard) > 10
    assert not head.of("BAD_DATA")


def test_a_cable_that_is_pulled_is_a_link_that_is_gone() -> None:
    ours, theirs = os.openpty()
    with open_output(f"mavlink+serial:{os.ttyname(theirs)}?baud=115200", RIG) as output:
        os.close(theirs)
        os.close(ours)
        with pytest.raises(LinkError, match="is gone"):
            output.read(1)


def test_a_stop_still_goes_out_after_a_line_that_nobody_read_for_a_minute(ends: tuple[Output, CameraHead]) -> None:
    output, head = ends
    for _ in range(5_000):
        output.send(Setpoint(0, np.array([1.0, 2.0]), np.zeros(2)))
    for fifth in range(300):
        output.look(fifth * 200_000_000)
    assert output._link.waiting < 50, "no more than a frame that has begun"  # type: ignore[attr-defined]  # of this one
    for fifth in range(300):
        output.look((300 + fifth) * 200_000_000)
        output.ask()
    output.stop()
    for tick in range(100):
        output.look(120_000_000_000 + tick * 4_000_000)
        head.pump(tick)
    last = head.of("GIMBAL_MANAGER_SET_ATTITUDE")[-1]
    assert all(map(math.isnan, last.q))
    assert (last.angular_velocity_x, last.angular_velocity_y, last.angular_velocity_z) == (0, 0, 0)
    assert not head.of("BAD_DATA")
