"""`twintake report` and what it gathers: takes on a disk, whole, broken, circled and of another project's folder."""

import json
import os
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner, Result

from sequencer.cli.app import app
from sequencer.project import takelog
from sequencer.shell.shot_report import gather
from sequencer.takes.take import Happening, Take
from tests.cli.harbour import change
from tests.export.reading import Page, Sheets
from tests.export.shots import kept
from tests.takes.shot import Shot

AXES = ("pan", "tilt", "roll", "slide", "focus")
KINDS = ("pan", "tilt", "roll", "slide", "focus")
UNITS = ("deg", "deg", "deg", "mm", "part")


def report(folder: Path, *options: str) -> Result:
    return CliRunner().invoke(app, ["report", str(folder), *options])


def found(folder: Path, *options: str) -> dict[str, Any]:
    result = report(folder, "--json", *options)
    assert result.exit_code == 0, result.output
    tree: dict[str, Any] = json.loads(result.stdout)
    return tree


def said(result: Result) -> str:
    return " ".join(result.output.split())


def shot(name: str, number: int, **how: Any) -> Take:
    """A take of the harbour project's first cue: its pan swings, and all its other axes stand."""
    made = Shot(name=name, cue_s=(7.4, 15.4), **how).take()
    still = np.zeros((len(made.due_ns), 4)), np.zeros((len(made.actual_ns), 4))
    return replace(
        made,
        project="Harbour lanterns",
        cue="lantern turn",
        axes=AXES,
        kinds=KINDS,
        units=UNITS,
        asked=np.concatenate([made.asked[:, :1], still[0]], axis=1),
        actual=np.concatenate([made.actual[:, :1], still[1]], axis=1),
        started=f"2031-05-04T18:3{number}:00+00:00",
    )


@pytest.fixture
def shoot(harbour: Path) -> Path:
    """The harbour project with two whole takes, one that stopped, one that breaks off, and what is no take."""
    folder = harbour / "takes"
    kept(folder, shot("lantern-turn_band_001", 1))
    kept(folder, shot("lantern-turn_band_002", 2, late_s=0.001))
    stopped = shot("lantern-turn_band_003", 3)
    stop = Happening(int(stopped.due_ns[0]) + 4_100_000_000, "stopping", "the link dropped; look at the cable")
    kept(folder, replace(stopped, happenings=(*stopped.happenings, stop)))
    broken = kept(folder, shot("lantern-turn_band_004", 4))
    broken.write_bytes(broken.read_bytes()[: os.path.getsize(broken) * 2 // 3])
    (folder / "lantern-turn_band_005.mcap").write_text("nothing of a take")
    takelog.write(folder, {"lantern-turn_band_002.mcap": takelog.Change(circled=True, note="the good one <b>")})
    return harbour


def test_it_writes_a_pdf_and_an_html_page(shoot: Path, tmp_path: Path) -> None:
    for name in ("report.pdf", "report.html"):
        result = report(shoot, "-o", str(tmp_path / name), "--within", "60")
        assert result.exit_code == 0, result.output
        assert "Harbour lanterns: 5 takes, 2 of them whole" in said(result)
    texts = (
        Sheets.of((tmp_path / "report.pdf").read_bytes()).text,
        Page((tmp_path / "report.html").read_text(encoding="utf-8")).text,
    )
    for text in texts:
        assert "Quay head on a short slider" in text
        assert "5, of these 2 whole, 1 stopped, 1 broken off, 1 cannot be used; 1 circled" in text
        assert "whole yes the good one <b>" in text
        assert "lantern-turn_band_003 – stopped: the link dropped; look at the cable" in text
        assert "10:00:09:10 stopping the link dropped; look at the cable" in text
        assert "lantern-turn_band_004 – broken off: it breaks off before its end" in text
        assert "lantern-turn_band_005 – cannot be used: not a take file" in text
        numbered = "Compared, and numbered so in the plots: 1 lantern-turn_band_001, 2 lantern-turn_band_002."
        assert f"{numbered} 2 not whole are left out." in text
        assert "The takes match" in text


def test_its_numbers_are_those_of_the_takes(shoot: Path) -> None:
    tree = found(shoot)
    assert [one["standing"] for one in tree["takes"]] == ["cannot be used", "whole", "whole", "stopped", "broken off"]
    by_name = {one["name"]: one for one in tree["takes"]}
    good = by_name["lantern-turn_band_002"]
    assert (good["circled"], good["note"], good["cue"], good["pass"]) == (
        True,
        "the good one <b>",
        "lantern turn",
        "band",
    )
    pan = good["measured"]["axes"][0]
    assert pan["limits"] == [90.0, 160.0, 700.0]  # of the rig file, since these takes do not say theirs
    assert pan["sent"][0] == pytest.approx(60.0, rel=0.01)
    assert pan["error_peak"] == pytest.approx(60 * 0.001, rel=0.02)
    assert by_name["lantern-turn_band_005"]["measured"] is None
    assert by_name["lantern-turn_band_004"]["measured"]["unanswered"] > 0
    (group,) = tree["groups"]
    assert group["comparison"]["axes"][0]["peak"] == pytest.approx(0.06, rel=0.02)
    # what the check says of the legs in the cue: pan's fastest there is not that of the whole move, 66
    checked = json.loads(CliRunner().invoke(app, ["check", str(shoot), "--json"]).stdout)
    legs = [one for one in checked["legs"] if one["axis"] == "pan" and "10:00:07:10" < one["to"] <= "10:00:15:10"]
    assert group["planned"]["pan"][0] == pytest.approx(max(one["peak_speed"] for one in legs))
    assert group["planned"]["pan"][0] < 40


def test_takes_can_be_named_by_name_number_or_file(shoot: Path, tmp_path: Path) -> None:
    elsewhere = kept(tmp_path / "card", shot("lantern-turn_band_007", 7))
    tree = found(shoot, "lantern-turn_band_002", "1", str(elsewhere))
    assert [one["name"][-3:] for one in tree["takes"]] == ["001", "002", "007"]
    assert tree["groups"][0]["comparison"]["takes"] is not None
    result = report(shoot, "no-such", "--json")
    assert result.exit_code == 2
    assert "there is no take 'no-such' here; there are: lantern-turn_band_001" in said(result)


def test_two_takes_of_one_name_are_never_one_compared_with_itself(shoot: Path, tmp_path: Path) -> None:
    elsewhere = kept(tmp_path / "card", shot("lantern-turn_band_001", 7, late_s=0.002))
    (group,) = found(shoot, "lantern-turn_band_001", str(elsewhere))["groups"]
    # pan swings at up to 60 deg/s
    assert group["comparison"]["axes"][0]["peak"] == pytest.approx(60 * 0.002, rel=0.02)


def test_its_differences_are_those_of_compare(shoot: Path) -> None:
    paths = [str(shoot / "takes" / f"lantern-turn_band_00{number}.mcap") for number in (1, 2)]
    compared = json.loads(CliRunner().invoke(app, ["compare", *paths, "--json"]).stdout)
    (group,) = found(shoot)["groups"]
    assert group["comparison"]["axes"] == compared["axes"]
    assert group["comparison"]["words"] == compared["words"]


def test_a_name_never_speaks_to_the_terminal(shoot: Path, tmp_path: Path) -> None:
    takes = shoot / "takes"
    takes.joinpath("a\x1b]0;quay\x07\n\u202e_009.mcap").write_text("nothing of a take")
    for arguments in (["report", str(shoot), "-o", str(tmp_path / "r.html")], ["library", str(shoot)]):
        result = CliRunner().invoke(app, arguments)
        assert result.exit_code == 0, result.output
        assert not set(result.output) & set("\x1b\x07\u202e")
        assert "a\\x1b]0;quay\\x07\\n\\u202e_009" in "".join(result.output.split())
    refused = CliRunner().invoke(app, ["library", str(shoot), "--circle", "no such"])
    assert refused.exit_code == 2
    assert "\x1b" not in refused.output


def test_numbers_are_json_whatever_files_are_called(shoot: Path) -> None:
    odd = os.fsdecode(b"lantern-turn\xff_010.mcap")
    try:
        shutil.copy(shoot / "takes" / "lantern-turn_band_001.mcap", shoot / "takes" / odd)
    except OSError:
        pytest.skip("this file system takes no such name")
    result = report(shoot, "--json")
    result.stdout_bytes.decode("utf-8")
    takes = {one["name"]: one for one in json.loads(result.stdout)["takes"]}
    assert takes[odd.removesuffix(".mcap")]["standing"] == "whole"
    assert (takes["lantern-turn_band_005"]["cue"], takes["lantern-turn_band_005"]["pass"]) == (None, None)


def test_a_cue_or_a_pass_alone(shoot: Path) -> None:
    kept(shoot / "takes", replace(shot("lantern-turn_clean-plate_001", 6), run="clean plate"))
    assert [one["name"] for one in found(shoot, "--pass", "clean plate")["takes"]] == ["lantern-turn_clean-plate_001"]
    assert len(found(shoot, "--cue", "lantern turn")["takes"]) == 5
    assert found(shoot, "--cue", "last light")["takes"] == []
    for options, words in (
        (("--cue", "nowhere"), "no cue 'nowhere' in Harbour lanterns; cues: lantern turn, crowd sweep, last light"),
        (("--pass", "nobody"), "no pass 'nobody' in Harbour lanterns; passes: band, clean plate, lanterns"),
    ):
        result = report(shoot, "--json", *options)
        assert result.exit_code == 2
        assert words in said(result)


def test_a_project_without_takes_is_reported_too(harbour: Path, tmp_path: Path) -> None:
    result = report(harbour, "-o", str(tmp_path / "none.pdf"))
    assert result.exit_code == 0, result.output
    assert "There are no takes." in Sheets.of((tmp_path / "none.pdf").read_bytes()).text


def test_one_take_alone_is_not_compared(harbour: Path) -> None:
    kept(harbour / "takes", shot("lantern-turn_band_001", 1))
    (group,) = gather(harbour).groups
    assert group.comparison is None
    assert group.compared.endswith("that takes two whole takes, and there is lantern-turn_band_001 alone.")


def test_of_many_takes_eight_are_compared_and_it_is_said(harbour: Path) -> None:
    for number in range(1, 11):
        kept(harbour / "takes", shot(f"lantern-turn_band_{number:03}", number % 10, answers_s=0.02))
    made = gather(harbour)
    (group,) = made.groups
    assert group.comparison is not None
    assert len(group.comparison.takes) == 8
    assert "Of 10 whole takes, the circled ones and then the latest are compared." in group.compared


def test_takes_of_a_cue_that_is_gone_are_reported_without_a_plan(shoot: Path) -> None:
    change(shoot, "project.json", lambda tree: tree.update(cues=[]))
    (group,) = gather(shoot).groups
    assert group.planned is None


@pytest.mark.parametrize(
    ("out", "words"),
    [
        ("report.docx", "report.docx: a document is written as .pdf or .html; name such a file"),
        ("nowhere/report.pdf", "there is no folder"),
        ("there.pdf", "there.pdf is there already; name another file, or say --force to replace it"),
        ("folder.pdf", "is a folder; name a file in it"),
    ],
)
def test_a_file_that_cannot_be_written_is_a_clear_word_and_nothing_is_left(
    shoot: Path, tmp_path: Path, out: str, words: str
) -> None:
    there = tmp_path / "out"
    (there / "folder.pdf").mkdir(parents=True)
    (there / "there.pdf").write_text("kept")
    result = report(shoot, "-o", str(there / out))
    assert result.exit_code == 2
    assert words in said(result)
    assert sorted(path.name for path in there.iterdir()) == ["folder.pdf", "there.pdf"]
    assert (there / "there.pdf").read_text() == "kept"


def test_without_a_file_it_asks_for_one(shoot: Path) -> None:
    result = report(shoot)
    assert result.exit_code == 2
    assert "name the file to write: -o FILE.pdf" in said(result)


def test_a_file_that_is_there_is_replaced_where_that_is_said(shoot: Path, tmp_path: Path) -> None:
    out = tmp_path / "report.html"
    out.write_text("before")
    assert report(shoot, "-o", str(out), "--force").exit_code == 0
    assert "shoot report" in out.read_text(encoding="utf-8")
    again = out.read_bytes()
    assert report(shoot, "-o", str(out), "--force").exit_code == 0
    assert out.read_bytes() == again
