"""Evidence and hidden truths in rig.json: read, written, refused with their place. A file without them stays so."""

import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from sequencer.errors import ProjectError
from sequencer.project import amend
from sequencer.project.store import dump, load, load_rig, save
from sequencer.rig.measured import Figure, Measured
from sequencer.shell.kinds import laws
from tests.cli.harbour import HARBOUR

FOUND = Measured(
    on="2026-11-30",
    speed=Figure(value=81.5, spread=0.25, trials=4),
    acceleration=Figure(value=160.0, spread=0.0, trials=1, at_least=True),
    latency_s=Figure(value=0.006, spread=0.0001, trials=3),
    noise=Figure(value=0.004, spread=0.0, trials=1),
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return Path(shutil.copytree(HARBOUR, tmp_path / "harbour"))


def test_evidence_is_kept_and_everything_else_too(folder: Path) -> None:
    before = load(folder, laws())
    axis = before.rig.axes[0]
    simulated = replace(axis.simulated, speed=70.0, acceleration=120.0, backlash=0.05)
    after = amend.with_axis(before, 0, replace(axis, measured=FOUND, simulated=simulated))
    save(folder, after, laws())
    assert load(folder, laws()) == after
    tree = json.loads((folder / "rig.json").read_text(encoding="utf-8"))
    assert tree["version"] == 1
    assert tree["axes"][0]["measured"] == {
        "on": "2026-11-30",
        "speed": {"value": 81.5, "spread": 0.25, "trials": 4},
        "acceleration": {"value": 160.0, "spread": 0.0, "trials": 1, "at_least": True},
        "latency_s": {"value": 0.006, "spread": 0.0001, "trials": 3},
        "noise": {"value": 0.004, "spread": 0.0, "trials": 1},
    }
    del tree["axes"][0]["measured"]
    for name in ("speed", "acceleration", "backlash"):
        del tree["axes"][0]["simulated"][name]
    assert tree == json.loads((HARBOUR / "rig.json").read_text(encoding="utf-8"))


def test_a_rig_without_evidence_is_written_as_before() -> None:
    assert dump(load(HARBOUR, laws()))["rig.json"] == (HARBOUR / "rig.json").read_text(encoding="utf-8")


Tree = dict[str, Any]


def measured(**fields: object) -> Callable[[Tree], None]:
    return lambda axis: axis.update(measured={"on": "2026-11-30"} | fields)


FIGURE = {"value": 1.0, "spread": 0.0, "trials": 1}


@pytest.mark.parametrize(
    ("spoil", "path", "words"),
    [
        (measured(on="today"), "axes[0].measured", "write the day like"),
        (measured(speed=FIGURE | {"value": -1.0}), "axes[0].measured.speed", "value is -1.0"),
        (measured(speed=FIGURE | {"trials": 0}), "axes[0].measured.speed", "trials is 0"),
        (measured(speed={"value": 1.0}), "axes[0].measured.speed", "spread"),
        (measured(sped=FIGURE), "axes[0].measured", "sped"),
        (lambda axis: axis["simulated"].update(speed=0.0), "axes[0].simulated", "speed is 0.0; it must be above zero"),
        (lambda axis: axis["simulated"].update(backlash=-1.0), "axes[0].simulated", "backlash is -1.0"),
    ],
)
def test_what_cannot_be_is_refused_with_its_place(
    folder: Path, spoil: Callable[[Tree], None], path: str, words: str
) -> None:
    tree = json.loads((folder / "rig.json").read_text(encoding="utf-8"))
    spoil(tree["axes"][0])
    (folder / "rig.json").write_text(json.dumps(tree), encoding="utf-8")
    with pytest.raises(ProjectError) as refused:
        load_rig(folder)
    assert refused.value.file == "rig.json"
    assert refused.value.path.startswith(path)
    assert words in str(refused.value)
