"""Axes driven by hand, with the real processes: they move while the hand holds on, and stand when it lets go."""

import time

import pytest

from sequencer.playback.state import Phase
from sequencer.shell.messages import Drive, Status
from tests.shell.conftest import Starter

pytestmark = pytest.mark.real_time


def test_the_rig_moves_while_the_hand_holds_on_and_stands_when_it_lets_go(start: Starter) -> None:
    running, watch, _ = start()
    running.wait_opened()
    # the simulated rig is given a moment: it is not driven before it has said where it stands
    seen: list[Status] = []
    until_s = time.monotonic() + 0.8
    while time.monotonic() < until_s:
        running.tell(Drive((0.5, -0.25)))
        status = watch.look()
        seen += [] if status is None else [status]
    driven = [one for one in seen if one.phase == Phase.DRIVING]
    assert driven
    # the hand falls silent: nobody holds on, whatever it wanted last
    watch.until(Phase.IDLE, 5)
    status = running.status()
    assert status is not None
    pan, tilt = status.asked
    assert pan > 5.0
    assert tilt == pytest.approx(-pan / 2, rel=0.3)
    assert status.actual[0] == pytest.approx(pan, abs=1.0)


def test_a_stop_is_obeyed_while_the_hand_still_holds_on(start: Starter) -> None:
    running, watch, _ = start()
    running.wait_opened()
    until_s = time.monotonic() + 5.0
    stopped = False
    while time.monotonic() < until_s:
        running.tell(Drive((0.5, 0.0)))
        status = watch.look()
        if status is not None and status.phase == Phase.DRIVING and not stopped:
            running.stop_now()
            stopped = True
        if status is not None and status.phase == Phase.STOPPED:
            break
    assert status is not None
    assert status.phase == Phase.STOPPED
    assert "operator" in status.cause
