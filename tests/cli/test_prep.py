"""`twintake prep`: the sheet for the crew, its numbers against mechanics and against points thrown on the ground."""

import json
import math
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from sequencer.cli.app import app
from sequencer.project.store import load_rig
from sequencer.rig.pose import pupil_m
from tests.cli.harbour import Tree, change
from tests.export.reading import Page, Sheets

# word for word what every document shows
CAUTIONS = (
    "Motorised rigs crush, trap and drop things. The program is not a safety device: a hard-wired emergency stop that "
    "cuts motor power, in reach of a person who watches the rig, is required whatever the software does. Follow local "
    "codes and the set's responsible person; rigging over people, vehicles and powered lifts are for licensed people."
)
HOSTILE = "<script>alert(1)</script> ) Tj ET ("


def prep(folder: Path, *options: str) -> Result:
    return CliRunner().invoke(app, ["prep", str(folder), *options])


def found(folder: Path, *options: str) -> dict[str, Any]:
    result = prep(folder, "--json", *options)
    assert result.exit_code == 0, result.output
    tree: dict[str, Any] = json.loads(result.stdout)
    return tree


def said(result: Result) -> str:
    return " ".join(result.output.split())


def texts(folder: Path, at: Path, *options: str) -> tuple[str, str]:
    """What the sheet says as PDF and as HTML."""
    for name in ("sheet.pdf", "sheet.html"):
        result = prep(folder, "-o", str(at / name), "--force", *options)
        assert result.exit_code == 0, result.output
    html = Page((at / "sheet.html").read_text(encoding="utf-8"))
    assert not {"script", "link", "img", "iframe"} & {tag for tag, _ in html.elements}
    return Sheets.of((at / "sheet.pdf").read_bytes()).text, html.text


def test_the_sheet_has_the_cautions_the_area_and_what_is_to_be_filled_in(harbour: Path, tmp_path: Path) -> None:
    for text in texts(harbour, tmp_path, "--reach-m", "0.45"):
        assert CAUTIONS in text
        # slide from 0 to 1080 mm: 1.08 m times 0.9 m, and a disc of 0.45 m
        assert f"{1.08 * 0.9 + math.pi * 0.45**2:.2f} m², 1.98 m across and 0.90 m deep" in text
        for words in (
            "Emergency stop (hard-wired) is at",
            "Who watches, at the emergency stop",
            "Who is responsible on the set",
            "Passes band, clean plate, lanterns",
            "where it is printed at full size",
            "Beyond the edges of the drawing: Quay wall.",
            "Singer",
        ):
            assert words in text
    assert len(Sheets.of((tmp_path / "sheet.pdf").read_bytes()).pages) == 2


def test_without_a_reach_it_says_so_plainly_and_finds_nobody(harbour: Path, tmp_path: Path) -> None:
    change(harbour, "project.json", lambda tree: tree["stage"]["people"][0].update(x_m=0.5, y_m=0.0))
    for text in texts(harbour, tmp_path):
        assert "How far the rig reaches was not said, so no keep-clear area is drawn and nobody is found" in text
        assert "WITHIN" not in text
        assert "m², " not in text
    assert found(harbour)["keep_clear"] is None
    assert "measure it, and say --reach-m METRES" in said(prep(harbour, "-o", str(tmp_path / "again.pdf")))


def test_who_stands_within_the_area_is_named(harbour: Path, tmp_path: Path) -> None:
    def closer(tree: Tree) -> None:
        tree["stage"]["people"][0].update(name=HOSTILE, x_m=0.5, y_m=0.6)
        tree["stage"]["boxes"][0].update(centre_m=[-0.6, 0.0, 0.2])

    # shoulders of 1.72 m / 8 reach to y 0.385, and the box to x -0.475
    change(harbour, "project.json", closer)
    assert found(harbour, "--reach-m", "0.38")["keep_clear"]["inside"] == []
    assert found(harbour, "--reach-m", "0.39")["keep_clear"]["inside"] == [HOSTILE]
    assert found(harbour, "--reach-m", "0.48")["keep_clear"]["inside"] == [HOSTILE, "First lamp"]
    assert found(harbour, "--reach-m", "0.28", "--margin-m", "0.2")["keep_clear"]["inside"] == [HOSTILE, "First lamp"]
    for text in texts(harbour, tmp_path, "--reach-m", "0.5"):
        assert f"Within the keep-clear area, as the set is planned {HOSTILE}, First lamp (a thing)" in text
        assert f"{HOSTILE}: WITHIN" in text


def test_top_speeds_are_those_of_the_check_and_stops_those_of_mechanics(harbour: Path) -> None:
    tree = found(harbour)
    checked = json.loads(CliRunner().invoke(app, ["check", str(harbour), "--json"]).stdout)
    rig = {axis["name"]: axis for axis in json.loads((harbour / "rig.json").read_text(encoding="utf-8"))["axes"]}
    for one in tree["axes"]:
        own = rig[one["axis"]]
        peaks = [leg["peak_speed"] for leg in checked["legs"] if leg["axis"] == one["axis"]]
        assert one["top_speed"] == pytest.approx(max(peaks))
        for speed, goes, lasts_s in (
            (one["top_speed"], one["stop_goes"], one["stop_s"]),
            (own["speed"], one["limit_stop_goes"], one["limit_stop_s"]),
        ):
            # half of the speed for as long as the stop lasts; see tests/motion/test_stopping.py
            a, j = own["acceleration"], own["jerk"]
            lasts = speed / a + a / j if speed >= a * a / j else 2 * math.sqrt(speed / j)
            assert lasts_s == pytest.approx(lasts)
            assert goes == pytest.approx(speed * lasts / 2)
            assert goes >= speed**2 / (2 * a)  # what any mechanics textbook has without the limit of jerk


def test_a_cue_alone_has_its_own_speeds(harbour: Path) -> None:
    whole, cue = found(harbour), found(harbour, "--cue", "last light", "--pass", "band")
    assert cue["passes"] == ["band"]
    assert cue["stretch"] == "cue last light, 10:00:27:00 to 10:00:39:00"
    tops = {one["axis"]: one["top_speed"] for one in cue["axes"]}
    checked = json.loads(CliRunner().invoke(app, ["check", str(harbour), "--json"]).stdout)
    legs = [leg for leg in checked["legs"] if leg["axis"] == "slide" and leg["from"] >= "10:00:27:00"]
    assert tops["slide"] == pytest.approx(max(leg["peak_speed"] for leg in legs))
    assert tops["pan"] < next(one["top_speed"] for one in whole["axes"] if one["axis"] == "pan")


def test_a_faster_pass_is_the_one_that_counts(harbour: Path) -> None:
    once = found(harbour, "--pass", "band")
    change(harbour, "project.json", lambda tree: tree["passes"].append({"name": "quick", "speed": "11/10"}))
    quick = found(harbour)
    for one, other in zip(once["axes"], quick["axes"], strict=True):
        assert other["top_speed"] == pytest.approx(1.1 * one["top_speed"])
        assert other["pass"] == "quick"
    assert quick["camera"]["turn_deg_s"]["value"] == pytest.approx(
        1.1 * once["camera"]["turn_deg_s"]["value"], rel=1e-6
    )


def test_a_stop_near_the_end_of_a_leg_makes_the_area_longer(harbour: Path) -> None:
    def jolting(tree: Tree) -> None:
        tree["tracks"] = [
            {
                "axis": "slide",
                "keys": [
                    {"at": "10:00:01:00", "value": 100.0, "ease": "linear"},
                    {"at": "10:00:02:00", "value": 400.0, "ease": "hold"},
                ],
            }
        ]

    change(harbour, "project.json", jolting)
    tree = found(harbour, "--reach-m", "0.3")
    # it goes at 300 mm/s to the very end, and a stop from there takes 300/2 (300/600 + 600/3000) mm
    span = next(one["span"] for one in tree["axes"] if one["axis"] == "slide")
    assert span[0] == pytest.approx(100.0)
    assert 400 + 105 * 0.9 < span[1] <= 505
    across = [point[0] for point in tree["keep_clear"]["outline"]]
    assert max(across) == pytest.approx(span[1] / 1000 + 0.3, abs=1e-3)
    assert "the motors cannot do it as it is" in tree["fits"]


def test_the_whole_travel_is_more(harbour: Path) -> None:
    area = found(harbour, "--reach-m", "0.45", "--whole-travel")["keep_clear"]
    assert area["area_m2"] == pytest.approx(1.2 * 0.9 + math.pi * 0.45**2)

    def endless(tree: Tree) -> None:
        slide = next(axis for axis in tree["axes"] if axis["name"] == "slide")
        slide["travel"] = None

    change(harbour, "rig.json", endless)
    tree = found(harbour, "--reach-m", "0.45", "--whole-travel")
    assert tree["keep_clear"]["area_m2"] == pytest.approx(1.08 * 0.9 + math.pi * 0.45**2)
    assert tree["remarks"] == ["slide has no ends in rig.json: of it the area holds the planned move alone."]


def test_a_lens_whose_pupil_moves_counts_where_it_is_furthest_out(harbour: Path) -> None:
    def pupil(tree: Tree) -> None:
        tree["camera"]["focus_table"] = [{"at": 0.0, "distance": "4 m"}, {"at": 1.0, "distance": "1 m"}]
        # focus stands at 0.3 when the move begins, goes down to 0.24 and up to 0.62
        tree["camera"]["pupil"] = [{"distance": "4 m", "ahead_mm": 40.0}, {"distance": "1 m", "ahead_mm": 240.0}]

    change(harbour, "rig.json", pupil)
    low, high = found(harbour, "--whole-travel")["lens_m"]
    ahead_m = pupil_m(load_rig(harbour), [0.0, 0.0, 0.0, 0.0, 0.62])[1]
    assert ahead_m > pupil_m(load_rig(harbour), [0.0, 0.0, 0.0, 0.0, 0.3])[1] + 0.01
    assert (low, high) == pytest.approx((1.5 - ahead_m, 1.5 + ahead_m), abs=1e-6)


def test_a_rig_whose_slide_cannot_be_read_says_so(harbour: Path) -> None:
    def strange(tree: Tree) -> None:
        next(axis for axis in tree["axes"] if axis["name"] == "pan")["unit"] = "mm"

    change(harbour, "rig.json", strange)
    assert any(one.startswith("pan counts in mm, not in deg") for one in found(harbour)["remarks"])


def test_a_move_without_keys_is_a_sheet_too(harbour: Path, tmp_path: Path) -> None:
    change(harbour, "project.json", lambda tree: tree.update(tracks=[]))
    for text in texts(harbour, tmp_path, "--reach-m", "0.4"):
        assert "does not move" in text
        assert f"{math.pi * 0.16:.2f} m²" in text


@pytest.mark.parametrize("name", ["low-tide", "paper-boats"])
def test_every_demo_project_has_a_sheet(name: str, tmp_path: Path) -> None:
    folder = Path(__file__).parents[2] / "projects" / name
    for text in texts(folder, tmp_path, "--reach-m", "0.3"):
        assert CAUTIONS in text
        assert ("This project is a timelapse" in text) == (name == "low-tide")


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--cue", "nowhere"), "no cue 'nowhere' in Harbour lanterns"),
        (("--pass", "nobody"), "no pass 'nobody' in Harbour lanterns"),
        (("--reach-m", "0"), "0 m is no reach; it is above 0 and up to 100 m"),
        (("--reach-m", "nan"), "nan m is no reach; it is above 0 and up to 100 m"),
        (("--margin-m", "-1"), "-1 m is no margin; it is from 0 to 100 m"),
    ],
)
def test_what_is_asked_wrongly_is_said_and_nothing_is_written(
    harbour: Path, tmp_path: Path, options: tuple[str, ...], words: str
) -> None:
    result = prep(harbour, "-o", str(tmp_path / "sheet.pdf"), *options)
    assert result.exit_code == 2
    assert words in said(result)
    assert not (tmp_path / "sheet.pdf").exists()


def test_a_pass_of_another_cue_is_refused(harbour: Path) -> None:
    change(harbour, "project.json", lambda tree: tree["passes"][2].update(of="last light"))
    result = prep(harbour, "--json", "--cue", "crowd sweep", "--pass", "lanterns")
    assert result.exit_code == 2
    assert "the pass lanterns belongs to the cue last light, not to crowd sweep" in said(result)
    assert found(harbour, "--cue", "crowd sweep")["passes"] == ["band", "clean plate"]
