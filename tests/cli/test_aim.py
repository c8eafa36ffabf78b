"""`twintake aim`: points named, found and aimed at; what is written, what is printed, and how wrong use is told."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner, Result

from sequencer.cli.app import app
from sequencer.motion.compile import compile_move
from sequencer.project.store import save
from sequencer.rig.pose import pose
from sequencer.score.marks import Mark
from sequencer.score.points import Point
from sequencer.shell.kinds import laws
from tests.cli.harbour import files, opened
from tests.motion.aim_oracles import between

pytestmark = pytest.mark.usefixtures("terminal")

BOLLARD = Point("bollard", (1.2, 4.0, 0.6))
LAMP = (0.8, 6.0, 2.2)


@pytest.fixture
def quay(harbour: Path) -> Path:
    """The harbour project with points, and marks that look at a lamp from three places, as near as the gear does."""
    project = opened(harbour)
    marks = []
    for name, slide in (("left", 0.0), ("middle", 250.0), ("right", 700.0)):
        position = {"pan": 0.0, "tilt": 0.0, "roll": 0.0, "slide": slide, "focus": 0.5}
        lens = pose(project.rig, [position.get(axis, 0.0) for axis in project.rig.names]).position
        right, ahead, up = np.array(LAMP) - lens
        position["pan"] = round(float(np.degrees(np.arctan2(-right, ahead))), 3)
        position["tilt"] = round(float(np.degrees(np.arctan2(up, np.hypot(right, ahead)))), 3)
        marks.append(Mark(name, tuple(position.items())))
    marks.append(Mark("half", (("pan", 3.0), ("tilt", 2.0))))
    points = (BOLLARD, Point("boathouse", (-1.5, 7.0, 1.8)))
    save(harbour, replace(project, points=points, marks=tuple(marks)), laws())
    return harbour


def run(folder: Path, *options: str) -> Result:
    return CliRunner().invoke(app, ["aim", str(folder), *options])


def facts(folder: Path, *options: str, status: int = 0) -> dict[str, Any]:
    done = run(folder, *options, "--json")
    assert done.exit_code == status, done.output
    read = json.loads(done.stdout)
    assert isinstance(read, dict)
    return read


def test_without_an_operation_it_lists_the_points(quay: Path) -> None:
    before = files(quay)
    for options in ((), ("--list",)):
        done = run(quay, *options)
        assert done.exit_code == 0
        assert "bollard" in done.stdout
        assert "boathouse" in done.stdout
    assert facts(quay)["points"][0] == {"name": "bollard", "at_m": [1.2, 4.0, 0.6], "sigma_m": None}
    assert files(quay) == before


def test_points_are_added_moved_and_taken_out(quay: Path) -> None:
    done = run(quay, "--add", "mast=-2,9.5,7", "--add", "bollard=1.25,4,0.6", "--remove", "boathouse")
    assert "named mast, named bollard, took out boathouse" in done.stdout
    assert "nothing written; --write keeps it" in done.stdout
    assert len(opened(quay).points) == 2
    run(quay, "--add", "mast=-2,9.5,7", "--add", "bollard=1.25,4,0.6", "--remove", "boathouse", "--write")
    assert opened(quay).points == (Point("bollard", (1.25, 4.0, 0.6)), Point("mast", (-2.0, 9.5, 7.0)))


def test_a_point_is_found_from_marks_with_how_sure_it_is(quay: Path) -> None:
    found = facts(quay, "--find", "lamp", "--marks", "left, middle,right", "--write")
    assert found["written"]
    away_m = np.linalg.norm(np.array(found["found"]["at_m"]) - LAMP)
    # marks are to a thousandth of a degree, far below what an aim is taken to be off by
    assert away_m < 0.01
    assert away_m < found["found"]["sigma_m"]
    assert found["found"]["agree"]
    assert [one["mark"] for one in found["found"]["aims"]] == ["left", "middle", "right"]
    point = opened(quay).points[-1]
    assert point.name == "lamp"
    assert point.sigma_m == pytest.approx(found["found"]["sigma_m"], rel=0.01)
    words = run(quay, "--find", "lamp", "--marks", "left,right").stdout
    assert "sure to" in words
    assert "the aims meet at" in words


@pytest.mark.parametrize("clear", [True, False])
def test_an_aim_writes_keys_that_keep_the_lens_on_the_point(quay: Path, clear: bool) -> None:
    project = opened(quay)
    cue = project.move.cues[0]
    if clear:
        others = tuple(track for track in project.move.tracks if track.axis not in ("pan", "tilt"))
        save(quay, replace(project, move=replace(project.move, tracks=others)), laws())
    # the way on to harbour's next key has too little time; without that key all fits
    status = 0 if clear else 1
    told = facts(quay, "--at", "bollard", "--cue", cue.name, "--tolerance", "0.02", "--write", status=status)
    assert told["written"]
    assert told["check"]["ok"] is clear
    assert [words.split(";")[0] for words in told["aim"]["beside"]] == (
        [] if clear else ["pan has too little time from 10:00:15:10 to 10:00:16:21.88"]
    )
    assert told["aim"]["furthest_deg"] <= 0.02
    assert {one["axis"] for one in told["aim"]["axes"]} == {"pan", "tilt"}
    after = opened(quay)
    rate = after.timebase.rate
    t_s = np.linspace(float(rate.seconds(cue.start)), float(rate.seconds(cue.end)), 997)
    where = pose(after.rig, compile_move(after.rig, after.move, rate, laws()).sample(t_s))
    ways = zip(where.forward, np.array(BOLLARD.at_m) - where.position, strict=True)
    assert max(between(ahead, way)[0] for ahead, way in ways) <= 0.02


def test_an_aim_shows_what_it_is_worth_and_what_the_motors_say(quay: Path) -> None:
    before = files(quay)
    done = run(quay, "--at", "bollard", "--then", "boathouse", "--blend", "4")
    assert "aimed at bollard, then boathouse in" in done.stdout
    assert "deg at most (at 10:00:" in done.stdout
    assert "turns by" in done.stdout
    assert "then:   " in done.stdout
    assert "nothing written; --write keeps it" in done.stdout
    assert files(quay) == before


def test_a_blend_that_is_too_fast_ends_with_status_1_and_says_how_long_would_do(quay: Path) -> None:
    done = run(quay, "--at", "bollard", "--then", "boathouse", "--blend", "0.5", "--tolerance", "0.5")
    assert done.exit_code == 1, done.output
    assert "worst:" in done.stdout
    assert "perhaps --blend" in done.stdout


@pytest.mark.parametrize(
    ("options", "what"),
    [
        (("--at", "buoy"), "there is no point 'buoy'; points: bollard, boathouse"),
        (("--at", "bollard", "--cue", "none"), "no cue 'none'"),
        (("--at", "bollard", "--tolerance", "-1"), "give an angle above zero"),
        (("--at", "bollard", "--then", "boathouse"), "--blend: it takes some time to turn from bollard to boathouse"),
        (("--at", "bollard", "--blend", "3"), "there is no second point to turn to"),
        (("--at", "bollard", "--then", "boathouse", "--blend", "900"), "stay inside the cue"),
        (("--at", "bollard", "--then", "boathouse", "--blend", "2", "--blend-at", "later"), "--blend-at"),
        (("--at", "bollard", "--then", "boathouse", "--blend", "4", "--ease", "wobble"), "no motion law 'wobble'"),
        (("--at", "bollard", "--list"), "give one at a time"),
        (("--add", "mast"), "'mast' is no name with a place"),
        (("--add", "mast=1,2"), "write NAME=X,Y,Z in metres"),
        (("--add", "=1,2,3"), "no name of a point"),
        (("--add", "mast=1,2,99999"), "from -10000 to 10000 metres"),
        (("--remove", "buoy"), "there is no point 'buoy'"),
        (("--find", "lamp"), "from two marks or more"),
        (("--find", "lamp", "--marks", "left,left"), "two aims or more"),
        (("--find", "lamp", "--marks", "left,gone"), "no mark 'gone'"),
        (("--find", "lamp", "--marks", "left,half"), "the mark half does not say where roll stands"),
        (("--find", "lamp", "--marks", "left,middle", "--sigma", "2"), "so the distance is not known"),
        (("--find", "lamp", "--marks", "left,middle", "--sigma", "0"), "above zero"),
    ],
)
def test_wrong_use_is_told_and_writes_nothing(quay: Path, options: tuple[str, ...], what: str) -> None:
    before = files(quay)
    done = run(quay, *options, "--write")
    assert done.exit_code == 2, done.output
    assert what in " ".join(done.stderr.split())
    assert files(quay) == before


def test_a_point_behind_what_tilt_can_reach_says_so_in_timecode(quay: Path) -> None:
    run(quay, "--add", "zenith=0.4,0.05,80", "--write")
    done = run(quay, "--at", "zenith")
    assert done.exit_code == 2
    assert "zenith is where the camera cannot be turned to" in done.stderr
    assert ", from 10:00:" in done.stderr
