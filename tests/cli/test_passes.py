"""`twintake passes`: what an operator reads before a shoot, what a program reads, and what is never shot."""

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from sequencer.cli.app import app
from sequencer.cli.exits import console

PROJECTS = Path(__file__).parents[2] / "projects"
Tree = dict[str, Any]
With = Callable[..., Path]
FIELDS = {
    *("cue", "pass", "note", "prepare", "from", "to", "lasts_s", "speed", "rate", "step", "frames", "reversed"),
    *("offset", "scale", "time_off_percent", "ok", "problems", "reserve_percent", "fits_speed", "fits_rate"),
}


def run(*arguments: str) -> Result:
    return CliRunner().invoke(app, ["passes", *arguments])


def flat(text: str) -> str:
    return " ".join(text.split())


@pytest.fixture
def passing(tmp_path: Path) -> With:
    """Return what copies the harbour project and gives it other passes."""

    def copy(*passes: Tree) -> Path:
        folder = tmp_path / "harbour"
        shutil.copytree(PROJECTS / "harbour-lanterns", folder, dirs_exist_ok=True)
        tree = json.loads((folder / "project.json").read_text(encoding="utf-8"))
        tree["passes"] = [{"name": "band"}, *passes]
        (folder / "project.json").write_text(json.dumps(tree), encoding="utf-8")
        return folder

    return copy


def one(folder: Path, name: str, cue: str = "lantern turn") -> Tree:
    found: Tree = json.loads(run(str(folder), cue, "--json").stdout)
    return next(each for each in found["passes"] if each["pass"] == name)


@pytest.mark.parametrize("name", ["harbour-lanterns", "paper-boats"])
def test_the_demo_projects_have_passes_that_fit(name: str) -> None:
    done = run(str(PROJECTS / name), "--json")
    assert done.exit_code == 0, done.stdout
    found = json.loads(done.stdout)
    assert found["ok"]
    assert all(each.keys() == FIELDS and each["ok"] and each["problems"] == [] for each in found["passes"])


def test_a_table_is_shown_with_what_is_to_be_done(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(console, "_width", 200)
    done = run(str(PROJECTS / "paper-boats"))
    assert done.exit_code == 0
    words = flat(done.stdout)
    assert "far bridge at 1:12" in words
    assert "rig to the set at scale 1/2, about slide 30, lift 140" in words
    assert "every 2nd frame shot is a frame of the move" in words
    assert "order: what takes longest to change is changed least often" in words


def test_a_pass_that_the_motors_cannot_do_is_said_with_the_nearest_that_works(passing: With) -> None:
    folder = passing({"name": "fast", "rate": "75"})
    done = run(str(folder), "lantern turn")
    assert done.exit_code == 1
    found = one(folder, "fast")
    assert (found["ok"], found["speed"], found["step"]) == (False, "3", "1")
    fits = found["fits_speed"]
    said = flat(done.stdout)
    assert "limit" in found["problems"][0]
    assert "instead of 3, with the camera at" in said
    # what is offered is good, and shows the same frames
    better = passing({"name": "fast", "speed": fits, "rate": found["fits_rate"]})
    again = one(better, "fast")
    assert (again["ok"], again["step"]) == (True, "1")
    # three figures of speed are a hundredth of it at most, and three hundredths of the jerk
    assert 0 <= again["reserve_percent"] < 3.1


@pytest.mark.parametrize(
    ("written", "words"),
    [
        ({"offset": {"crane": 65.0}}, "the rig has no axis 'crane'"),
        ({"offset": {"slide": 900.0}}, "an offset from"),
        ({"scale": {"factor": "3"}}, "a scale of up to"),
        ({"of": "lantern turn", "reversed": True, "offset": {"roll": 200.0}}, "roll would be at"),
    ],
)
def test_a_pass_that_cannot_be_made_is_said_before_the_shoot(written: Tree, words: str, passing: With) -> None:
    folder = passing({"name": "one", **written})
    done = run(str(folder), "lantern turn")
    assert done.exit_code == 1
    assert words in flat(done.stdout)
    assert one(folder, "one")["reserve_percent"] is None
    for command in (["check", str(folder), "--pass", "one"], ["play", str(folder), "--pass", "one", "--arm"]):
        refused = CliRunner().invoke(app, command)
        assert refused.exit_code == 2, refused.output


def test_a_cue_that_does_not_rest_is_not_run_backward(passing: With) -> None:
    folder = passing({"name": "back", "of": "short", "reversed": True})
    tree = json.loads((folder / "project.json").read_text(encoding="utf-8"))
    tree["cues"].append({"name": "short", "from": "10:00:07:10", "to": "10:00:12:00"})
    (folder / "project.json").write_text(json.dumps(tree), encoding="utf-8")
    (said, *_) = one(folder, "back", "short")["problems"]
    assert "pan moves at 10:00:12:00, where short ends" in said
    assert "let it end where pan rests: 10:00:07:12.5 or 10:00:15:00" in said


def test_scale_zero_is_refused_by_every_command(passing: With) -> None:
    done = run(str(passing({"name": "one", "scale": {"factor": "0"}})))
    assert done.exit_code == 2
    assert "passes[1].scale.factor: '0' is not a number above zero" in flat(done.output)


def test_a_model_pass_says_what_the_camera_is_set_to_and_how_exact_that_is(passing: With) -> None:
    folder = passing({"name": "model", "scale": {"factor": "1/2", "time": True, "about": {"slide": 0.0}}})
    found = one(folder, "model")
    # 25 x sqrt(2) = 35.3553..., to a thousandth
    assert (found["rate"], found["speed"], found["step"]) == ("7071/200", "7071/5000", "1")
    assert abs(found["time_off_percent"]) < 0.002
    assert found["prepare"] == [
        "rig to the set at scale 1/2, about slide 0",
        "distances are scaled and the focus motor is not: pull focus anew",
        "camera to 35.355 fps",
    ]


def test_the_check_judges_the_pass_as_it_is_run(passing: With) -> None:
    folder = passing({"name": "small", "scale": {"factor": "1/10"}}, {"name": "back", "reversed": True})
    found = {}
    for name in ("band", "small", "back"):
        done = CliRunner().invoke(app, ["check", str(folder), "--pass", name, "--json"])
        found[name] = json.loads(done.stdout)
    slides = {
        name: max(leg["peak_speed"] for leg in each["legs"] if leg["axis"] == "slide") for name, each in found.items()
    }
    assert slides["small"] == pytest.approx(slides["band"] / 10, rel=1e-9)
    first = [leg for leg in found["back"]["legs"] if leg["axis"] == "slide"]
    assert max(leg["travel"][1] for leg in first) == pytest.approx(1080.0)


def test_a_repair_is_not_written_from_positions_that_are_not_in_the_file(passing: With) -> None:
    done = CliRunner().invoke(app, ["fit", str(passing({"name": "eye", "offset": {"slide": 5.0}})), "--pass", "eye"])
    assert done.exit_code == 2
    assert "scaled or offset positions" in flat(done.output)


def test_a_pass_of_another_cue_is_not_shot(passing: With) -> None:
    folder = passing({"name": "turn only", "of": "lantern turn"})
    done = CliRunner().invoke(app, ["takes", str(folder), "--cue", "last light", "--pass", "turn only", "--takes", "1"])
    assert done.exit_code == 2
    assert "the pass turn only belongs to the cue lantern turn, not to last light" in flat(done.output)


def test_a_cue_that_is_not_there_is_said() -> None:
    done = run(str(PROJECTS / "paper-boats"), "finale")
    assert done.exit_code == 2
    assert "no cue 'finale' in Paper boats; cues: crossing" in flat(done.output)


@pytest.mark.parametrize("name", ["harbour-lanterns", "low-tide", "paper-boats"])
def test_every_pass_of_the_demo_projects_fits(name: str) -> None:
    done = run(str(PROJECTS / name), "--json")
    assert done.exit_code == 0, done.output
    assert all(one["ok"] and not one["problems"] for one in json.loads(done.stdout)["passes"])
