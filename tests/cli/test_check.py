"""`twintake check`: what an operator sees, what a program reads, and how it ends."""

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from typer.testing import CliRunner, Result

from sequencer.cli.app import app
from sequencer.cli.exits import console
from sequencer.project.store import load
from sequencer.shell.kinds import laws

PROJECTS = Path(__file__).parents[2] / "projects"
Tree = dict[str, Any]
Spoil = Callable[[Tree, Tree], None]
NUMBER = {"type": ["number", "null"]}
LEG = {
    "type": "object",
    "required": [
        *("axis", "from", "to", "ok", "peak_speed", "peak_acceleration", "peak_jerk", "travel", "limit", "worst", "at"),
        *("over_percent", "jumps", "jump_at"),
    ],
    "properties": {
        "peak_speed": NUMBER,
        "peak_acceleration": NUMBER,
        "peak_jerk": NUMBER,
        "over_percent": NUMBER,
        "worst": {"enum": ["speed", "acceleration", "jerk", "travel"]},
        "at": {"pattern": r"^\d\d:\d\d:\d\d:\d\d\.\d\d$"},
    },
}


@pytest.fixture
def spoilt(tmp_path: Path) -> Callable[[Spoil], Path]:
    """Return what copies the harbour project and changes its two files."""

    def copy(spoil: Spoil) -> Path:
        folder = tmp_path / "harbour"
        shutil.copytree(PROJECTS / "harbour-lanterns", folder, dirs_exist_ok=True)
        trees = [json.loads((folder / name).read_text(encoding="utf-8")) for name in ("project.json", "rig.json")]
        spoil(*trees)
        for name, tree in zip(("project.json", "rig.json"), trees, strict=True):
            (folder / name).write_text(json.dumps(tree), encoding="utf-8")
        return folder

    return copy


def flat(text: str) -> str:
    """Return words without the breaks of a terminal's lines."""
    return " ".join(text.split())


def run(*arguments: str, columns: int = 120, monkeypatch: pytest.MonkeyPatch | None = None) -> Result:
    if monkeypatch is not None:
        monkeypatch.setattr(console, "_width", columns)
    return CliRunner().invoke(app, ["check", *arguments])


def too_fast(project: Tree, rig: Tree) -> None:
    pan = next(axis for axis in rig["axes"] if axis["name"] == "pan")
    pan["speed"] = 40.0


def jolting(project: Tree, rig: Tree) -> None:
    for track in project["tracks"]:
        if track["axis"] == "pan":
            track["keys"][4]["ease"] = "linear"


def looking_both_ways(project: Tree, rig: Tree) -> None:
    for axis in rig["axes"]:
        if axis["name"] in ("pan", "tilt"):
            axis["reference"] = "world" if axis["name"] == "pan" else "base"


def keys_of(folder: Path, axis: str) -> list[str]:
    tracks = json.loads((folder / "project.json").read_text(encoding="utf-8"))["tracks"]
    return [key["at"] for track in tracks if track["axis"] == axis for key in track["keys"]]


@pytest.mark.parametrize("name", ["harbour-lanterns", "low-tide", "paper-boats"])
@pytest.mark.parametrize("columns", [80, 120])
def test_the_demo_projects_fit_and_their_tables_too(name: str, columns: int, monkeypatch: pytest.MonkeyPatch) -> None:
    done = run(str(PROJECTS / name), columns=columns, monkeypatch=monkeypatch)
    assert done.exit_code == 0
    lines = done.stdout.splitlines()
    assert lines[-1].startswith("fits, reserve ")
    assert max(map(len, lines)) <= columns
    assert "…" not in done.stdout
    for axis in load(PROJECTS / name, laws()).rig.axes:
        assert len([line for line in lines if line.startswith(axis.name)]) == 1


@pytest.mark.parametrize("columns", [80, 120])
def test_what_is_over_comes_first(
    columns: int, spoilt: Callable[[Spoil], Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = spoilt(too_fast)
    done = run(str(folder), columns=columns, monkeypatch=monkeypatch)
    assert done.exit_code == 1
    lines = done.stdout.splitlines()
    assert lines[0].strip() == "over"
    # the last line is for copying, and goes on as long as the folder's name does
    assert max(map(len, lines[:-1])) <= columns
    first = next(line for line in lines if line.startswith("pan"))
    # from -58 to 52 in 78.125 frames, 3-4-5: 110 / 3.125 * 15/8
    for piece in ("10:00:16:21.88", "speed", "66", "40", "65 %", "10:00:18:10.94"):
        assert piece in first
    assert "1 leg is over; it would fit at 60.6 % of its speed" in flat(done.stdout)
    assert f"try: twintake fit {folder}" in done.stdout.replace("\n", "")


def test_the_document_has_every_leg_and_its_numbers(spoilt: Callable[[Spoil], Path]) -> None:
    folder = spoilt(too_fast)
    done = run(str(folder), "--json")
    assert done.exit_code == 1
    document = json.loads(done.stdout)
    assert document["ok"] is False
    assert (document["pass"], document["speed"]) == ("band", "1")
    assert document["reserve_percent"] == pytest.approx(-65.0)
    assert document["speed_factor"] == pytest.approx(40 / 66)
    for leg in document["legs"]:
        jsonschema.validate(leg, LEG)
        assert leg["ok"] == (leg["over_percent"] <= 1e-4)
    keys = keys_of(folder, "pan")
    pan = [leg for leg in document["legs"] if leg["axis"] == "pan"]
    assert [leg["from"] for leg in pan] == keys[:-1]
    assert [leg["to"] for leg in pan] == keys[1:]
    (worst,) = [leg for leg in pan if leg["over_percent"] > 60]
    assert (worst["worst"], worst["at"], worst["jumps"]) == ("speed", "10:00:18:10.94", None)
    assert worst["over_percent"] == pytest.approx(65.0)
    assert worst["peak_speed"] == pytest.approx(66.0)
    assert worst["travel"] == pytest.approx([-58.0, 52.0])
    assert worst["limit"] == {"speed": 40.0, "acceleration": 160.0, "jerk": 700.0, "travel": [-170.0, 170.0]}


def test_what_has_no_end_is_null_and_says_why(spoilt: Callable[[Spoil], Path]) -> None:
    done = run(str(spoilt(jolting)), "--json")
    assert done.exit_code == 1
    document = json.loads(done.stdout)
    assert (document["reserve_percent"], document["speed_factor"]) == (None, 0.0)
    (leg,) = [one for one in document["legs"] if one["jumps"]]
    assert leg["jumps"] == "speed"
    assert leg["jump_at"] == leg["at"] == "10:00:16:21.88"
    assert (leg["peak_acceleration"], leg["peak_jerk"], leg["over_percent"]) == (None, None, None)
    assert leg["peak_speed"] == pytest.approx(110 / 3.125)
    assert leg["ok"] is False
    for one in document["legs"]:
        assert (None in (one["peak_speed"], one["peak_acceleration"], one["peak_jerk"])) == (one["jumps"] is not None)


def test_combined_limits_are_shown_and_written(
    spoilt: Callable[[Spoil], Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    def tie(project: Tree, rig: Tree) -> None:
        rig["combined"] = [
            {"name": "head and slide", "sum": {"pan": 1.0, "slide": 0.05}, "speed": 50},
            {"name": "slow when up", "axis": "pan", "while": "tilt", "between": [-45, 60], "speed": 90},
            {"name": "wall", "axis": "pan", "while": "slide", "between": [1150, 1200], "travel": [-40, 40]},
        ]

    folder = spoilt(tie)
    done = run(str(folder), columns=80, monkeypatch=monkeypatch)
    assert done.exit_code == 1
    assert "1 combined limit is over" in done.stdout
    assert "never in range" in done.stdout
    assert max(map(len, done.stdout.splitlines()[:-1])) <= 80
    summed, slow, wall = json.loads(run(str(folder), "--json").stdout)["combined"]
    assert (summed["name"], summed["what"], summed["ok"]) == ("head and slide", "pan + 0.05 slide", False)
    assert summed["limit"] == {"speed": 50.0, "acceleration": None, "jerk": None, "travel": None}
    assert (slow["ok"], slow["peak_speed"]) == (True, pytest.approx(66.0))
    assert wall == {
        "name": "wall",
        "what": "while slide is between 1150 and 1200",
        "axes": ["pan", "slide"],
        "holds": False,
        "ok": True,
    }


def test_a_pass_is_checked_at_its_own_speed(spoilt: Callable[[Spoil], Path]) -> None:
    def slow(project: Tree, rig: Tree) -> None:
        too_fast(project, rig)
        project["passes"].append({"name": "slow", "speed": "3/5"})

    folder = spoilt(slow)
    assert run(str(folder)).exit_code == 1
    done = run(str(folder), "--pass", "slow")
    assert done.exit_code == 0
    assert "fits at speed 3/5, reserve 1 %" in done.stdout
    document = json.loads(run(str(folder), "--pass", "slow", "--json").stdout)
    assert (document["pass"], document["speed"], document["ok"]) == ("slow", "3/5", True)
    assert max(leg["peak_speed"] for leg in document["legs"] if leg["axis"] == "pan") == pytest.approx(66 * 0.6)
    # the moment stays that of the move as it is written
    assert "10:00:18:10.94" in {leg["at"] for leg in document["legs"]}


def test_a_track_with_one_key_is_named_with_its_mend(spoilt: Callable[[Spoil], Path]) -> None:
    def cut(project: Tree, rig: Tree) -> None:
        for track in project["tracks"]:
            del track["keys"][1:]

    folder = spoilt(cut)
    done = run(str(folder))
    assert done.exit_code == 0
    assert "tracks[0].keys: pan has one key, so it stands at -48; add a second key to move it" in flat(done.stdout)
    document = json.loads(run(str(folder), "--json").stdout)
    assert len(document["notes"]) == len(document["legs"])
    assert all(leg["from"] == leg["to"] for leg in document["legs"])
    assert (document["speed_factor"], document["reserve_percent"]) == (None, 100.0)


@pytest.mark.parametrize(
    ("spoil", "message"),
    [
        (lambda project, rig: rig["axes"][0].update(speed=0), "rig.json: axes[0]: speed is 0.0; it must be above zero"),
        (lambda project, rig: rig["axes"][0].pop("jerk"), "rig.json: axes[0]: jerk is missing; add it"),
        (
            lambda project, rig: project["tracks"][0]["keys"][0].update(ease="glide"),
            "project.json: tracks[0].keys[0].ease: there is no motion law 'glide'",
        ),
        (
            lambda project, rig: project["tracks"][0]["keys"][1].update(at=project["tracks"][0]["keys"][0]["at"]),
            "project.json: tracks[0].keys[1].at: the key stands at the same instant as the one before it; move or",
        ),
        (
            lambda project, rig: project["tracks"][0]["keys"][0].update(ease={"law": "trapezoid", "ramp": 0.7}),
            "project.json: tracks[0].keys[0].ease: ramp is 0.7",
        ),
    ],
)
def test_what_cannot_be_checked_ends_with_status_2(spoil: Spoil, message: str, spoilt: Callable[[Spoil], Path]) -> None:
    for more in ((), ("--json",)):
        done = run(str(spoilt(spoil)), *more)
        assert done.exit_code == 2
        assert message in flat(done.stderr)
        assert done.stdout == ""
    assert run(str(PROJECTS / "nowhere")).exit_code == 2
    assert "passes: band, clean plate" in flat(run(str(PROJECTS / "harbour-lanterns"), "--pass", "x").stderr)


def test_mixed_look_modes_are_warned_of_and_change_no_verdict(spoilt: Callable[[Spoil], Path]) -> None:
    folder = spoilt(looking_both_ways)
    shown, told = run(str(folder)), run(str(folder), "--json")
    assert shown.exit_code == told.exit_code == 0
    tree = json.loads(told.stdout)
    assert tree["ok"] is True
    (warning,) = tree["warnings"]
    assert "pan is set against the world, tilt against the base" in warning
    assert warning in flat(shown.stdout)


def test_without_references_there_is_no_warning() -> None:
    assert json.loads(run(str(PROJECTS / "harbour-lanterns"), "--json").stdout)["warnings"] == []
