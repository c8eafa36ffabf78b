"""The watchdog's judgement: a heart that stands still, seen by wakes that were on time."""

import signal
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from sequencer.project.store import load_rig
from sequencer.shell.child import Child
from sequencer.shell.control import Control
from sequencer.shell.memory import Page
from sequencer.shell.messages import COMMANDS, Setup
from sequencer.shell.watchdog import LIMIT_S, PERIOD_S, RESTING, Pulse, watch
from tests.scenarios.stage import HARBOUR, Cable, SimulatedRig


def wakes(pulse: Pulse, beats: list[int]) -> list[bool]:
    return [pulse.still_s(beat) >= LIMIT_S for beat in beats]


def test_a_beating_heart_is_well() -> None:
    assert not any(wakes(Pulse(), list(range(1, 100))))


def test_a_heart_that_stands_still_is_found_after_the_limit() -> None:
    alarms = wakes(Pulse(), [5] * 30)
    assert alarms.index(True) == round(LIMIT_S / PERIOD_S)


def test_an_engine_that_has_not_begun_or_rests_is_no_alarm() -> None:
    assert not any(wakes(Pulse(), [0] * 50 + [RESTING] * 50))


def test_one_long_sleep_of_the_machine_is_no_alarm() -> None:
    # the watchdog slept as long as the engine did: it sees one unchanged beat, then a new one
    assert not any(wakes(Pulse(), [1, 2, 3, 3, 4, 5]))


@pytest.mark.real_time
@pytest.mark.parametrize(("beat", "gone"), [(0, False), (RESTING, False), (5, False), (5, True)])
def test_the_watch_outlives_the_command_as_long_as_the_engine_lives(tmp_path: Path, beat: int, gone: bool) -> None:
    """Where its link is gone by then, the rig is stopped by a new one; what cannot be opened hinders no other."""
    with socket.create_server(("127.0.0.1", 0)) as door:
        near = socket.create_connection(door.getsockname())
        door.accept()[0].close()
    rig = load_rig(HARBOUR)
    output, page = SimulatedRig(rig), Page(tmp_path / "page", new=True)
    old = SimulatedRig(rig) if gone else output
    unplugged, serial = SimulatedRig(rig), SimulatedRig(rig)  # behind links that only one process can have open
    unplugged.cable = Cable(away_ns=(0, unplugged.now_ns + 1), gone_in="open")
    if gone:
        old.cable = Cable(away_ns=(0, old.now_ns + 1), gone_in="stop")
    setup = Setup(project=str(HARBOUR), run=None, output="", sync="internal")
    with near, subprocess.Popen([sys.executable, "-c", "input()"], stdin=subprocess.PIPE) as engine:
        page.set_word(Page.ENGINE_PID, engine.pid)
        page.set_word(Page.ENGINE_BEAT, beat)
        child = Child(setup, rig, Control(near, COMMANDS))
        watch(child, page, old, [unplugged.open, output.open], [unplugged.open, serial.open])
        if beat == 5:
            assert engine.wait(5) == -signal.SIGKILL
        else:
            assert engine.poll() is None
            engine.kill()
    assert output.stops == (1 if beat == 5 else 0)
    assert serial.stops == output.stops
