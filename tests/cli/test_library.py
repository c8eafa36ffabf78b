"""`twintake library` and `twintake copy`: what an operator reads, what a program reads, and what is refused."""

import json
import os
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from sequencer.cli.app import app
from sequencer.cli.exits import console
from sequencer.project import takelog
from sequencer.project.store import load
from sequencer.project.takelog import Entry
from sequencer.shell.kinds import laws
from sequencer.shell.shoot import plan
from tests.project.test_library import shoot
from tests.project.test_takefile import record, rows

Tree = dict[str, Any]


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(app, [str(one) for one in arguments])


def flat(text: str) -> str:
    return " ".join(text.split())


def told(*arguments: str | Path) -> Tree:
    result = run("library", *arguments, "--json")
    assert result.exit_code == 0, result.output
    tree: Tree = json.loads(result.stdout)
    return tree


def refused(*arguments: str | Path) -> str:
    result = run(*arguments)
    assert result.exit_code == 2, result.output
    return flat(result.output)


@pytest.fixture
def shot(harbour: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The harbour project with two takes of one pass and one of another, the last of which broke off."""
    monkeypatch.setattr(console, "_width", 80)
    folder = harbour / "takes"
    shoot(folder, "lantern-turn_band_001", started="2031-05-04T18:30:00+00:00", cue="lantern turn")
    shoot(folder, "lantern-turn_band_002", started="2031-05-04T18:31:00+00:00", cue="lantern turn")
    started = "2031-05-04T19:00:00+00:00"
    cut = shoot(folder, "lantern-turn_clean-plate_001", started=started, cue="lantern turn", run="clean plate")
    cut.write_bytes(cut.read_bytes()[:4000])
    return harbour


def test_takes_are_listed_with_sizes_and_what_is_left(shot: Path) -> None:
    result = run("library", shot)
    assert result.exit_code == 0
    words = flat(result.output)
    assert words.index("lantern-turn_clean-plate_001") < words.index("lantern-turn_band_002")
    assert "2.4 s" in words
    assert "broken off" in words
    assert "it breaks off before its end" in words
    assert "3 takes, " in words
    assert "free on the disk" in words
    assert all(len(line) <= 80 for line in result.output.splitlines() if line.startswith((" ", "◯")))


def test_a_project_without_takes_says_so(harbour: Path) -> None:
    assert "there are no takes yet" in flat(run("library", harbour).output)
    assert told(harbour)["takes"] == []


def test_notes_and_circles_are_kept_beside_the_takes(shot: Path) -> None:
    before = {path.name: path.read_bytes() for path in (shot / "takes").glob("*.mcap")}
    result = run(
        "library", shot, "--note", "2", "a gull  crossed", "--circle", "2", "--circle", "lantern-turn_band_001"
    )
    assert result.exit_code == 0
    assert "lantern-turn_band_002: note: a gull crossed" in flat(result.output)
    assert takelog.read(shot / "takes") == {
        "lantern-turn_band_001.mcap": Entry(circled=True),
        "lantern-turn_band_002.mcap": Entry(circled=True, note="a gull crossed"),
    }
    shown = flat(run("library", shot, "--circled").output)
    assert "“a gull crossed”" in shown
    assert "2 of 3 takes" in shown
    assert "◯ lantern-turn_band_002" in shown
    run("library", shot, "--uncircle", "2", "--note", "2", "")
    assert takelog.read(shot / "takes") == {"lantern-turn_band_001.mcap": Entry(circled=True)}
    assert {path.name: path.read_bytes() for path in (shot / "takes").glob("*.mcap")} == before


def test_words_narrow_the_list_and_what_a_number_means(shot: Path) -> None:
    assert [one["name"] for one in told(shot, "BAND")["takes"]] == ["lantern-turn_band_002", "lantern-turn_band_001"]
    assert told(shot, "band", "--order", "oldest")["takes"][0]["name"] == "lantern-turn_band_001"
    assert told(shot, "broken")["takes"][0]["pass"] == "clean plate"
    assert "none of 3 takes fits these words" in flat(run("library", shot, "seagull").output)
    assert told(shot, "clean", "--circle", "1")["done"] == ["lantern-turn_clean-plate_001: circled"]


def test_a_wrong_name_says_which_there_are(shot: Path) -> None:
    there = "there are: lantern-turn_band_001, lantern-turn_band_002, lantern-turn_clean-plate_001"
    for option in ("--circle", "--uncircle", "--remove"):
        assert there in refused("library", shot, option, "9")
    assert there in refused("library", shot, "--note", "lanterns", "x")
    assert "there are: none" in refused("library", shot, "--restore", "1")
    assert "more than once: lantern-turn_band_001 and lantern-turn_clean-plate_001" in refused(
        "library", shot, "--circle", "1"
    )
    assert "say it once" in refused("library", shot, "--circle", "2", "--uncircle", "2")
    # nothing of what was asked beside it is done
    refused("library", shot, "--circle", "2", "--circle", "9")
    assert takelog.read(shot / "takes") == {}
    refused("library", shot, "--remove", "2", "--remove", "9")
    assert (shot / "takes" / "lantern-turn_band_002.mcap").is_file()
    assert "there is no folder" in refused("library", shot / "nowhere")


def test_a_take_is_removed_and_comes_back(shot: Path) -> None:
    run("library", shot, "--note", "2", "stop")
    run("library", shot, "--remove", "2", "--remove", "002")
    assert (shot / "takes" / "removed" / "lantern-turn_band_002.mcap").is_file()
    words = flat(run("library", shot).output)
    assert "lantern-turn_band_002" not in words
    assert "1 removed" in words
    assert told(shot, "--removed")["takes"][0]["note"] == "stop"
    # its number is not given to the next take
    project = load(shot, laws())
    assert plan(project, "lantern turn", "band", shot / "takes").next_path().stem == "lantern-turn_band_003"
    run("library", shot, "--restore", "2")
    assert told(shot, "stop")["takes"][0]["name"] == "lantern-turn_band_002"


def test_a_program_reads_limits_and_what_the_take_is_of(harbour: Path) -> None:
    project = load(harbour, laws())
    shooting = plan(project, None, "band", harbour / "takes", of=harbour)
    path = shooting.next_path()
    record(path, [], shooting.heading(path.stem))
    (one,) = told(harbour)["takes"]
    assert [axis["name"] for axis in one["limits"]] == ["pan", "tilt", "roll", "slide", "focus"]
    assert one["limits"][0]["speed"] == project.rig.axes[0].speed
    assert one["made"].startswith("twintake ")
    assert len(one["document"]) == 64
    assert (one["cue"], one["pass"], one["number"], one["standing"]) == ("lantern turn", "band", 1, "whole")


def test_a_broken_log_is_kept_aside_and_said(shot: Path) -> None:
    (shot / "takes" / takelog.NAME).write_text("notes", encoding="utf-8")
    assert "log.json: not a log of takes" in flat(run("library", shot).output)
    assert "it is kept as log.json.broken" in flat(run("library", shot, "--circle", "2").output)
    assert (shot / "takes" / "log.json.broken").read_text(encoding="utf-8") == "notes"


@pytest.mark.skipif(os.geteuid() == 0, reason="the superuser may write anywhere")
def test_a_folder_that_may_not_be_written_is_said(shot: Path) -> None:
    (shot / "takes").chmod(0o555)
    try:
        assert "cannot be written" in refused("library", shot, "--circle", "2")
        assert "it is where it was" in refused("library", shot, "--remove", "2")
    finally:
        (shot / "takes").chmod(0o755)


# copies


def test_a_copy_opens_and_says_what_is_in_it(shot: Path, tmp_path: Path) -> None:
    run("library", shot, "--circle", "2")
    result = run("copy", shot, tmp_path / "to post")
    assert result.exit_code == 0
    words = flat(result.output)
    assert "4 files" in words
    assert "1 take" in words.split(", ")[2]
    assert "not in the copy, since the project does not need it: make_playback.py" in words
    assert load(tmp_path / "to post", laws()) == load(shot, laws())
    assert told(tmp_path / "to post")["takes"][0]["circled"]


def test_a_copy_for_programs(shot: Path, tmp_path: Path) -> None:
    result = run("copy", shot, tmp_path / "copy", "--takes", "all", "--json")
    tree = json.loads(result.stdout)
    assert len(tree["takes"]) == 3
    assert set(tree["files"]) >= {"project.json", "rig.json", "playback.wav"}
    assert tree["remarks"][0].startswith("lantern-turn_clean-plate_001.mcap: it breaks off")


def test_a_place_that_is_not_free_is_refused(shot: Path, tmp_path: Path) -> None:
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "notes.txt").write_text("kept", encoding="utf-8")
    assert "is there and is not empty" in refused("copy", shot, tmp_path / "full")
    assert "there is no folder" in refused("copy", shot, tmp_path / "nowhere" / "copy")
    assert [path.name for path in (tmp_path / "full").iterdir()] == ["notes.txt"]


def test_a_take_of_two_axes_beside_a_project_of_five_is_listed(shot: Path) -> None:
    record(shot / "takes" / "other.mcap", rows(0.1))
    assert "lanterns, band" in flat(run("library", shot, "other").output)
