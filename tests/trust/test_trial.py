"""How a simulated take ends: by a stop that has its whole time to come to rest, and no more."""

from pathlib import Path

import numpy as np
import pytest

from sequencer.playback import step as step_file
from sequencer.playback.state import Phase
from sequencer.shell import loop
from tests.trust.acts import arm
from tests.trust.disk import Disk
from tests.trust.rules import told
from tests.trust.scene import scene
from tests.trust.trial import last_stop
from tests.trust.world import World, simulated

_STOPPED_S = 0.5  # after it was armed, on its way to the start of the cue


def _ended(folder: Path, *sleeps_s: float) -> tuple[Phase, list[str]]:
    """Return the phase after the last stop of a rig on its way, behind which the machine sleeps so often and long."""
    clock = [0]
    chance = np.random.default_rng(1)
    with simulated(lambda: clock[0]):
        world = World(scene(chance), chance, Disk(folder), clock)
        world.run(0.1)
        arm(world, chance)
        world.run(_STOPPED_S)
        assert world.phase is Phase.LOCATING
        for number, sleep_s in enumerate(sleeps_s):
            world.at(0.03 * (number + 1), lambda sleep_s=sleep_s: world.sleep(sleep_s))  # type: ignore[misc]  # bound early
        world.rules.thrown.add("machine sleeps")
        last_stop(world)
        world.disk.end()
    return world.phase, list(told(world.rules.broken))


@pytest.mark.parametrize("sleeps_s", [(), (5.0,), (5.0, 5.0), (0.2, 1.7)])
def test_a_stop_in_which_the_machine_sleeps_has_its_time_all_the_same(
    tmp_path: Path, sleeps_s: tuple[float, ...]
) -> None:
    assert _ended(tmp_path, *sleeps_s) == (Phase.STOPPED, [])


@pytest.mark.parametrize("sleeps_s", [(), (5.0,)])
def test_a_stop_that_never_ends_is_noticed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, sleeps_s: tuple[float, ...]
) -> None:
    def restless(state: object, event: object) -> object:
        found, actions = step_file.step(state, event)  # type: ignore[arg-type]  # as the engine gives them
        return (state, ()) if found.phase is Phase.STOPPED else (found, actions)

    monkeypatch.setattr(loop, "step", restless)
    phase, broken = _ended(tmp_path, *sleeps_s)
    assert phase is Phase.STOPPING
    assert any(words.startswith("last stop") for words in broken)
