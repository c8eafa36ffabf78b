"""Positions read from shapes are those of the compiled move, at every instant."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sequencer.motion.compile import compile_move
from sequencer.motion.shape import shape
from sequencer.motion.standing import sampled, standing, standing_at
from sequencer.project.store import load
from sequencer.shell.kinds import laws

PROJECTS = Path(__file__).parents[2] / "projects"


@pytest.mark.parametrize("name", ["harbour-lanterns", "low-tide", "paper-boats"])
def test_all_axes_stand_where_the_compiled_move_has_them(name: str) -> None:
    project = load(PROJECTS / name, laws())
    rate, rig = project.timebase.rate, project.rig
    shapes = {
        track.axis: shape(rig.axes[rig.index(track.axis)], track, rate, laws()) for track in project.move.tracks[1:]
    }
    whole = compile_move(rig, project.move, rate, laws())
    keys = [float(rate.seconds(key.at)) for track in project.move.tracks for key in track.keys]
    at_s = np.append(np.linspace(whole.start_s - 3, whole.end_s + 3, 4001), keys)
    found, wanted = standing(rig, shapes, at_s), whole.sample(at_s)
    assert found[:, 1:] == pytest.approx(wanted[:, 1:], abs=1e-9)
    one_by_one = [standing_at(rig, shapes, at) for at in at_s[::7].tolist()]
    assert np.array(one_by_one) == pytest.approx(found[::7], abs=1e-9)
    # the one whose track was left out is at home
    assert (found[:, 0] == rig.axes[0].home).all()


def test_an_axis_with_one_key_stands_there_all_the_time() -> None:
    project = load(PROJECTS / "harbour-lanterns", laws())
    track = replace(project.move.tracks[0], keys=project.move.tracks[0].keys[1:2])
    alone = shape(project.rig.axes[0], track, project.timebase.rate, laws())
    at_s = np.array([-1.0, alone.at_s[0], 100.0])
    assert sampled(alone, at_s).tolist() == [track.keys[0].value] * 3
    assert [standing_at(project.rig, {"pan": alone}, at)[0] for at in at_s.tolist()] == [track.keys[0].value] * 3
