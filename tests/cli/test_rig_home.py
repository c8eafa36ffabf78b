"""`twintake rig --homing` and `--here`: what it asks, does and says. The rig itself: tests/shell."""

import json
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from sequencer.cli.app import app
from sequencer.live.homing import Search, Stage, begin, given_up
from sequencer.rig.axis import Axis
from sequencer.shell import homing
from sequencer.shell.trials import Ground
from tests.cli.harbour import Tree, change


@dataclass
class Bench:
    """A rig that is homed at once. `done`: what was done to it, in order; `trouble`, `deaf`: what goes wrong."""

    places: dict[str, float] = field(
        default_factory=lambda: {"pan": 22.0, "tilt": 9.0, "roll": 0.0, "slide": 837.0, "focus": 0.3}
    )
    done: list[str] = field(default_factory=list)
    trouble: str = ""
    deaf: str = ""

    def stands(self, ground: Ground) -> dict[str, float]:
        return dict(self.places)

    def search(self, ground: Ground, axis: Axis, places: dict[str, float], tell: Callable[[str], None]) -> Search:
        assert places == self.places
        self.done.append(f"search {axis.name}")
        tell(Stage.SEEKING.value)
        found = begin(axis)
        return given_up(found, self.trouble) if self.trouble else replace(found, stage=Stage.FOUND, value=-3.8)

    def declare(self, ground: Ground, axis: Axis, value: float) -> str:
        self.done.append(f"{axis.name} at {value:g}")
        if not self.deaf:
            self.places[axis.name] = value
        return self.deaf


@pytest.fixture
def bench(monkeypatch: pytest.MonkeyPatch) -> Bench:
    there = Bench()
    for name in ("stands", "search", "declare"):
        monkeypatch.setattr(homing, name, getattr(there, name))
    return there


@pytest.fixture
def switched(harbour: Path) -> Path:
    def with_switch(tree: Tree) -> None:
        tree["axes"][3]["homing"] = {"towards": "low", "speed": 40.0, "at": -4.0}

    change(harbour, "rig.json", with_switch)
    return harbour


def rig(folder: Path, *options: str, typed: str | None = None) -> Result:
    return CliRunner().invoke(app, ["rig", str(folder), *options], input=typed)


def flat(text: str) -> str:
    return " ".join(text.split())


def test_an_axis_is_homed_once_it_is_armed(bench: Bench, switched: Path) -> None:
    before = (switched / "rig.json").read_bytes()
    done = rig(switched, "--homing", "slide", "--here", "pan=-48", typed="y\ny\ny\n")
    assert done.exit_code == 0, done.output
    assert bench.done == ["search slide", "slide at -3.8", "pan at -48"]
    words = flat(done.output)
    assert "emergency stop" in words
    assert "slide will go towards its low end at 40 mm a second until its switch closes, by 1320 mm at most" in words
    assert "come off it and into its travel at 4. Where it says that it stands means nothing before" in words
    assert "going to the switch slide counts from here: it stands at -3.8 mm" in words
    assert "pan says that it stands at 22 deg. Nothing moves now. Does pan stand at -48 deg?" in words
    assert (switched / "rig.json").read_bytes() == before


def test_nothing_moves_that_was_not_armed_or_said(bench: Bench, switched: Path) -> None:
    assert rig(switched, "--homing", "slide", typed="n\n").exit_code == 0
    done = rig(switched, "--homing", "slide", "--here", "pan=-48", typed="y\nn\nn\n")
    assert done.exit_code == 0
    assert "not armed; nothing moves" in done.output
    assert "it counts as before" in done.output
    assert bench.done == []


def test_trouble_ends_it_and_says_what_was_not_done(bench: Bench, switched: Path) -> None:
    bench.trouble = "the switch of slide did not close within 1320 mm; does the axis go towards it?"
    done = rig(switched, "--homing", "slide", "--here", "pan=-48", "--arm", "--yes", "--json")
    assert done.exit_code == 1
    assert bench.done == ["search slide"]
    (one,) = json.loads(done.stdout)["axes"]
    assert one == {
        "axis": "slide",
        "unit": "mm",
        "by": "switch",
        "said": 837.0,
        "stands": None,
        "trouble": bench.trouble,
    }
    assert bench.trouble in done.stderr
    assert "not homed: pan" in done.stderr


def test_a_rig_that_does_not_obey_is_trouble(bench: Bench, switched: Path) -> None:
    bench.deaf = "pan was told that it stands at 0, and says 22"
    done = rig(switched, "--here", "pan=0", "--arm", "--yes")
    assert done.exit_code == 1
    assert bench.deaf in done.output


def test_what_came_of_it_as_json(bench: Bench, switched: Path) -> None:
    done = rig(switched, "--homing", "slide", "--here", "pan=-48", "--arm", "--yes", "--json")
    assert done.exit_code == 0
    tree = json.loads(done.stdout)
    assert tree["rig"] == "Quay head on a short slider"
    assert [(one["axis"], one["by"], one["said"], one["stands"], one["trouble"]) for one in tree["axes"]] == [
        ("slide", "switch", 837.0, -3.8, ""),
        ("pan", "word", 22.0, -48.0, ""),
    ]


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--homing", "crane"), "the rig has no axis 'crane'"),
        (("--homing", "pan"), "pan has no homing in rig.json"),
        (("--here", "pan"), "'pan' names no axis and value; write pan=0"),
        (("--here", "crane=0"), "the rig has no axis 'crane'"),
        (("--here", "pan=far"), "--here: pan: 'far'"),
        (("--here", "pan=nan"), "--here: pan: 'nan'"),
        (("--here", "pan=171"), "pan cannot stand at 171, outside its travel; it goes from -170 to 170"),
        (("--here", "slide=0", "--homing", "slide"), "slide is to be homed by its switch as well; leave one"),
        (("--homing", "slide", "--travel", "pan=-9..9"), "home the rig first, then walk through its axes"),
        (("--homing", "slide", "--json"), "nobody can be asked while it prints one document"),
    ],
)
def test_what_cannot_be_is_refused_before_anything_moves(
    bench: Bench, switched: Path, options: tuple[str, ...], words: str
) -> None:
    done = rig(switched, *options, typed="y\ny\ny\n")
    assert done.exit_code == 2, done.output
    assert words in flat(done.output)
    assert bench.done == []


def test_a_homing_speed_above_the_axis_s_own_names_its_place(bench: Bench, switched: Path) -> None:
    change(switched, "rig.json", lambda tree: tree["axes"][3]["homing"].update(speed=401.0))
    done = rig(switched, "--homing", "slide", "--arm", "--yes")
    assert done.exit_code == 2
    assert "axes[3].homing" in done.output
    assert "slide shall home at 401, which is above its own speed 400" in flat(done.output)


@pytest.mark.parametrize("option", ["crane=3", "slide", "slide=far"])
def test_a_simulated_rig_whose_count_is_off_by_nothing_is_refused(switched: Path, option: str) -> None:
    done = CliRunner().invoke(app, ["device", "simulate", str(switched), "--count-off", option])
    assert done.exit_code == 2
    assert option.partition("=")[0] in done.output
