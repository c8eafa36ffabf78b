"""The switch and the look mode of an axis in rig.json: read, written, refused with their place; without, as before."""

import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from sequencer.errors import ProjectError
from sequencer.project import amend
from sequencer.project.store import load, load_rig, save
from sequencer.rig.axis import Homing
from sequencer.shell.kinds import laws
from tests.cli.harbour import HARBOUR, change

Tree = dict[str, Any]
SLIDE = 3
SWITCH = {"towards": "low", "speed": 20.0, "at": -4.0}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return Path(shutil.copytree(HARBOUR, tmp_path / "harbour"))


def test_they_are_kept_and_everything_else_too(folder: Path) -> None:
    before = load(folder, laws())
    slide = before.rig.axes[SLIDE]
    said = replace(
        slide,
        reference="base",
        homing=Homing(towards="low", speed=20.0, at=-4.0),
        simulated=replace(slide.simulated, switch_at=-4.5),
    )
    after = amend.with_axis(before, SLIDE, said)
    save(folder, after, laws())
    assert load(folder, laws()) == after
    tree = json.loads((folder / "rig.json").read_text(encoding="utf-8"))
    axis = tree["axes"][SLIDE]
    assert axis.pop("homing") == SWITCH
    assert axis.pop("reference") == "base"
    assert axis["simulated"].pop("switch_at") == -4.5
    assert tree == json.loads((HARBOUR / "rig.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize(
    ("spoil", "path", "words"),
    [
        (lambda axis: axis.update(homing=SWITCH | {"towards": "left"}), ".homing", "must be one of low, high"),
        (lambda axis: axis.update(homing=SWITCH | {"speed": 0.0}), ".homing", "speed is 0.0; it must be above zero"),
        (lambda axis: axis.update(homing={"towards": "low", "speed": 1.0}), ".homing", "at"),
        (lambda axis: axis.update(homing=SWITCH | {"spede": 1.0}), ".homing", "spede"),
        (lambda axis: axis.update(homing=SWITCH | {"at": -130.0}), "", "homing.at is -130.0, further than a tenth"),
        (lambda axis: axis.update(homing=SWITCH, travel=None), "", "homing goes towards an end of the travel"),
        (lambda axis: axis.update(reference="horizon"), "", "reference is 'horizon'; it must be one of world, base"),
        (lambda axis: axis["simulated"].update(switch_at=3.0), "", "say in homing at which end it sits"),
    ],
)
def test_what_cannot_be_is_refused_with_its_place(
    folder: Path, spoil: Callable[[Tree], None], path: str, words: str
) -> None:
    change(folder, "rig.json", lambda tree: spoil(tree["axes"][SLIDE]))
    with pytest.raises(ProjectError) as refused:
        load_rig(folder)
    assert refused.value.file == "rig.json"
    assert refused.value.path.startswith(f"axes[{SLIDE}]{path}")
    assert words in str(refused.value)
