"""`twintake fit`: what an operator sees before and after a repair, what is written, and how it ends."""

import json
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from sequencer.cli.app import app
from sequencer.motion.check import check
from sequencer.motion.repair.choices import CHOICES
from sequencer.project.store import save
from sequencer.shell.kinds import laws
from tests.cli.harbour import Tree, change, files, opened

pytestmark = pytest.mark.usefixtures("terminal")


def fit(folder: Path, *options: str) -> Result:
    return CliRunner().invoke(app, ["fit", str(folder), *options])


def slow_pan(rig: Tree) -> None:
    """The fastest pan of the demo asks 66 degrees a second."""
    rig["axes"][0]["speed"] = 50.0


@pytest.fixture
def tight(harbour: Path) -> Path:
    change(harbour, "rig.json", slow_pan)
    return harbour


def fits(folder: Path) -> bool:
    project = opened(folder)
    return check(project.rig, project.move, project.timebase.rate, laws()).ok


def test_without_a_choice_every_repair_is_tried_and_nothing_is_written(tight: Path) -> None:
    before = files(tight)
    done = fit(tight)
    assert done.exit_code == 0, done.output
    assert "1 leg is over" in done.output
    assert [line.split()[0] for line in done.output.splitlines() if line.strip().split(" ")[0] in CHOICES] == [*CHOICES]
    assert files(tight) == before


def test_an_offer_for_a_faster_pass_fits_at_that_speed(harbour: Path) -> None:
    """Its laws take their shape from the limits, which are others at that speed."""

    def twice_as_fast(tree: Tree) -> None:
        for one in tree["passes"]:
            one["speed"] = "2"

    change(harbour, "project.json", twice_as_fast)
    done = fit(harbour, "--how", "soften", "--offer", "1", "--write")
    assert done.exit_code == 0, done.output
    assert "s-curve gets the shape" in " ".join(done.output.split())
    project = opened(harbour)
    assert check(project.rig, project.move, project.timebase.rate, laws(), project.move.passes[0].speed).ok


@pytest.mark.parametrize("how", CHOICES)
def test_every_repair_makes_it_fit_and_is_kept_only_when_asked(how: str, tight: Path) -> None:
    before = files(tight)
    shown = fit(tight, "--how", how)
    assert shown.exit_code == 0, shown.output
    assert "nothing written" in shown.output
    assert files(tight) == before
    kept = fit(tight, "--how", how, "--write")
    assert kept.exit_code == 0, kept.output
    assert fits(tight)
    assert (tight / "project.json.bak").read_bytes() == before["project.json"]


@pytest.mark.parametrize("how", ["soften", "smooth"])
def test_all_else_in_the_project_stays_byte_for_byte(how: str, tight: Path) -> None:
    save(tight, opened(tight), laws())  # laid out as the program does
    before = files(tight)
    assert fit(tight, "--how", how, "--write").exit_code == 0
    after = files(tight)
    assert {name: each for name, each in after.items() if not name.startswith("project.json")} == {
        name: each for name, each in before.items() if not name.startswith("project.json")
    }
    old, new = (json.loads(each["project.json"]) for each in (before, after))
    legs = 0
    for track, was in zip(new.pop("tracks"), old.pop("tracks"), strict=True):
        assert track["axis"] == was["axis"]
        for key, before_key in zip(track["keys"], was["keys"], strict=True):
            legs += key.pop("ease") != before_key.pop("ease")
            assert key == before_key
    assert legs == 1
    assert new == old


def walled(rig: Tree) -> None:
    """Each axis keeps its own limits, both together do not keep theirs."""
    rig["combined"] = [{"name": "wall", "sum": {"pan": 1, "slide": 0.05}, "speed": 40}]


def test_a_combined_limit_that_smoothing_leaves_broken_ends_with_status_1_and_other_repairs_mend_it(
    harbour: Path,
) -> None:
    change(harbour, "rig.json", walled)
    left = fit(harbour, "--how", "smooth")
    assert left.exit_code == 1
    assert "wall is still over its limit" in left.output
    for how in ("soften", "spread", "stretch", "stretch-smooth"):
        done = fit(harbour, "--how", how)
        assert done.exit_code == 0, done.output
        assert "after: fits" in done.output


def test_what_fits_is_said_to_fit(harbour: Path) -> None:
    for how in ("soften", "smooth", "spread", "stretch", "stretch-smooth"):
        done = fit(harbour, "--how", how)
        assert done.exit_code == 0, done.output
        assert "nothing asks too much: the move stays as it is" in done.output


def test_pinned_keys_keep_their_time_or_the_repair_is_refused_by_name(tight: Path) -> None:
    refused = fit(tight, "--how", "stretch", "--pin", "beats")
    assert refused.exit_code == 1
    assert "not possible: " in refused.output
    assert "pin" in refused.output
    free = fit(tight, "--how", "stretch", "--pin", "beats", "--unpin")
    assert free.exit_code == 1, "pins asked for beside --unpin count"
    kept = fit(tight, "--how", "spread", "--pin", "markers", "--write")
    assert kept.exit_code == 0, kept.output
    markers = {marker.at for marker in opened(tight).move.markers}
    keys = [key for track in opened(tight).move.tracks for key in track.keys]
    assert {key.at for key in keys if key.pin} == markers


def cramped(project: Tree) -> None:
    """Pan from -48 to 52 degrees in a fifth of a second: no curve does that."""
    keys: list[dict[str, Any]] = project["tracks"][0]["keys"]
    del keys[1:]
    keys += [{"at": "10:00:07:17.5", "value": 52.0}, {"at": "10:00:12:00", "value": 52.0}]
    keys[0]["ease"] = "poly345"


def test_what_is_impossible_is_said_with_offers_and_an_offer_can_be_kept(harbour: Path) -> None:
    change(harbour, "project.json", cramped)
    done = fit(harbour, "--how", "smooth", "--json")
    assert done.exit_code == 1
    (tried,) = json.loads(done.stdout)["tried"]
    assert not tried["possible"]
    assert tried["reasons"]
    assert tried["offers"], tried
    assert all(offer["ok"] for offer in tried["offers"])
    assert not fits(harbour)
    kept = fit(harbour, "--how", "smooth", "--offer", "1", "--write")
    assert kept.exit_code == 0, kept.output
    assert fits(harbour)


def test_json_says_before_and_after_and_nothing_else(tight: Path) -> None:
    done = fit(tight, "--how", "smooth", "--json")
    facts = json.loads(done.stdout)
    assert not facts["before"]["ok"]
    assert facts["before"]["peaks"]["pan"]["speed"] == pytest.approx(66.0)
    assert facts["chosen"]["ok"]
    assert facts["chosen"]["peaks"]["pan"]["speed"] <= 50.0 * (1 + 1e-9)
    assert facts["chosen"]["lasts_s"] == pytest.approx(facts["before"]["lasts_s"])
    assert facts["written"] is False


def test_an_offer_that_is_not_there_is_refused_with_those_that_are(harbour: Path) -> None:
    change(harbour, "project.json", cramped)
    before = files(harbour)
    offers = len(json.loads(fit(harbour, "--how", "smooth", "--json").stdout)["tried"][0]["offers"])
    done = fit(harbour, "--how", "smooth", "--offer", str(offers + 1), "--write")
    assert done.exit_code == 2
    words = f"command line: --offer: there is no offer {offers + 1}; choose one up to {offers}\n"
    assert words in done.stderr
    assert files(harbour) == before
    assert fit(harbour, "--how", "smooth", "--offer", str(offers)).exit_code in (0, 1), "that one is there"


def test_an_offer_is_refused_where_none_was_found(tight: Path) -> None:
    options = ("--how", "stretch", "--pin", "all")
    (tried,) = json.loads(fit(tight, *options, "--json").stdout)["tried"]
    assert (tried["possible"], tried["offers"]) == (False, [])
    done = fit(tight, *options, "--offer", "1")
    assert done.exit_code == 2
    assert "command line: --offer: there is no offer 1; none was found: choose another repair\n" in done.stderr


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--write",), "--how: choose the repair"),
        (("--offer", "1"), "--how: choose the repair"),
        (("--how", "smooth", "--offer", "1"), "--offer: the repair is possible as it is"),
        (("--pass", "none"), "no pass 'none'"),
    ],
)
def test_wrong_use_is_named(options: tuple[str, ...], words: str, tight: Path) -> None:
    done = fit(tight, *options)
    assert done.exit_code == 2
    assert words in done.stderr


def test_beats_need_a_tempo(tight: Path) -> None:
    change(tight, "project.json", lambda project: project.pop("tempo"))
    done = fit(tight, "--how", "spread", "--pin", "beats")
    assert done.exit_code == 2
    assert "project.json: tempo: there is none" in done.stderr
