"""The report of a comparison: complete in itself, safe with any names, readable without colour, showing its numbers."""

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest

from sequencer.export.drawn import Plot
from sequencer.export.page import page as html
from sequencer.export.paper import Table
from sequencer.export.pdf import pdf
from sequencer.export.report import report
from sequencer.takes.compare import Comparison, compare
from sequencer.takes.take import Happening, Take
from tests.export.reading import Page, Sheets
from tests.takes.shot import Shot

SVG = "{http://www.w3.org/2000/svg}"


def three(**changes: Any) -> Comparison:
    shots = (
        Shot(name="band_001", run="band"),
        Shot(name="plate_001", run="clean plate", late_s=0.0001),
        Shot(name="lanterns_001", run="lanterns", offset=(0.01, -1.0)),
    )
    return compare([replace(shot.take(), **changes) for shot in shots], tolerance_px=5.0)


@pytest.fixture(scope="module")
def comparison() -> Comparison:
    return three()


@pytest.fixture(scope="module")
def page(comparison: Comparison) -> str:
    return html(report(comparison))


def plots(page: str) -> list[ElementTree.Element]:
    return [ElementTree.fromstring(found) for found in re.findall(r"<svg.*?</svg>", page, re.DOTALL)]


def test_it_opens_with_the_job_and_a_sentence(page: str) -> None:
    text = Page(page).text
    assert text.startswith("harbour-lanterns: lanterns, 3 takes compared")
    for said in (
        "lanterns, 10:00:02:00 to 10:00:06:00, 101 frames",
        "25 frames a second",
        "35 mm lens, 4096 × 2304 pixels over 24.9 × 14 mm, subject at 4 m",
        "plate_001 – clean plate, started 2031-05-04T18:30:00+00:00",
        "The takes match: the picture shifts by at most",
        "within the tolerance of 5",
        "a hard-wired emergency stop that cuts motor power",
    ):
        assert said in text


def test_it_shows_the_numbers_of_the_comparison(comparison: Comparison, page: str) -> None:
    text = Page(page).text
    for one in comparison.axes:
        for value in (one.mean, one.rms, one.peak, one.path_repeatability):
            assert value is not None
            assert f"{value:.4f}" in text
        assert one.pixels_peak is not None
        assert f"{one.pixels_peak:.2f}" in text
    # what a tenth of a millisecond costs at the pan's 60 deg/s: 0.60 pixels, worked out in tests/takes/test_pixels.py
    assert "What 0.1 ms of clock error is" in text
    assert "pan, at most 60.0 deg/s: 0.60 pixels" in text
    assert "timecode is running & trusted" in text


def test_as_pdf_it_says_the_same(comparison: Comparison) -> None:
    written = Sheets.of(pdf(report(comparison)))
    text = re.sub(r"\s+", "", written.text)
    for block in report(comparison).blocks:
        if isinstance(block, Table):
            for cell in (each for row in block.rows for each in row):
                assert re.sub(r"\s+", "", cell) in text
    assert "ahard-wiredemergencystopthatcutsmotorpower" in text
    # the words of the plots are words there too
    assert sum(isinstance(block, Plot) for block in report(comparison).blocks) == len(comparison.axes) + 2
    for said in ("shift,pixels", "frommean,deg", "frommean,mm", "playbackahead,ms"):
        assert said in text


def test_it_needs_nothing_from_anywhere(page: str) -> None:
    reader = Page(page)
    tags = {tag for tag, _ in reader.elements}
    assert not tags & {"script", "link", "img", "iframe", "object", "embed", "base", "image", "form"}
    for _, attributes in reader.elements:
        for name, value in attributes.items():
            assert not name.startswith("on")
            if name in ("src", "href", "xlink:href", "data", "action"):
                assert (value or "").startswith("#")
    assert re.findall(r"url\((?!#)|@import|<!ENTITY|SYSTEM", page) == []


def test_the_same_takes_give_the_same_bytes(page: str) -> None:
    assert html(report(three())) == page


def test_every_plot_is_sound_and_there(comparison: Comparison, page: str) -> None:
    drawn = plots(page)
    assert len(drawn) == len(comparison.axes) + 2
    told = [" ".join("".join(element.itertext()) for element in plot.iter(f"{SVG}text")) for plot in drawn]
    assert "shift, pixels" in told[0]
    assert "tolerance 5" in told[0]
    assert "pan, deg" in told[1]
    assert "asked" in told[1]
    assert "10:00:04:00" in told[1]
    assert "playback ahead, ms" in told[-1]


def strokes(plot: ElementTree.Element) -> set[str]:
    """The dash patterns of the lines that run all along the cue."""
    found = set()
    for path in plot.iter(f"{SVG}path"):
        style = path.get("style", "")
        if path.get("d", "").count("L") > 50 and "stroke: #b4b4b4" not in style:
            dashes = re.search(r"stroke-dasharray: ([^;]*)", style)
            found.add(dashes[1] if dashes else "solid")
    return found


def test_takes_can_be_told_apart_without_colour(page: str) -> None:
    assert len(strokes(plots(page)[1])) == 3


def test_names_are_only_names() -> None:
    nasty = '<script>alert("1")</script>&$x_1$\\frac'
    comparison = three(
        project=nasty,
        cue=nasty,
        run=nasty,
        started=nasty,
        axes=(nasty, "slide"),
        happenings=(Happening(0, nasty, nasty),),
    )
    page = html(report(replace(comparison, notes=(nasty,))))
    reader = Page(page)
    assert "script" not in {tag for tag, _ in reader.elements}
    assert reader.text.count(nasty) >= 9
    drawn = plots(page)[1]
    assert any(f"{nasty}, deg" == "".join(element.itertext()) for element in drawn.iter(f"{SVG}text"))


def silent(takes: Sequence[Take]) -> list[Take]:
    return [replace(take, actual=take.actual * np.array([np.nan, 1.0])) for take in takes]


def test_what_is_not_known_is_said_and_never_shown_as_a_number() -> None:
    takes = [Shot(name="a", sights=False).take(), Shot(name="b", silent_s=(3.01, 3.19)).take()]
    page = html(report(compare(silent([replace(take, camera=None, happenings=()) for take in takes]))))
    text = Page(page).text
    assert not re.search(r"\b(nan|inf|None)\b", text)
    for said in (
        "Not judged",
        "not one and the same in all takes, or not named in the rig file",
        "The rig did not say where this axis stood.",
        "b has no answer of slide for 4 frames (10:00:03:01 to 10:00:03:04)",
        "the playback clock, since the take holds no timecode of its cue",
        "Nothing was noted.",
    ):
        assert said in text
    assert len(plots(page)) == 3  # no plot of pixels


def test_many_takes_and_a_long_log_stay_on_the_page() -> None:
    takes = [
        replace(
            Shot(name=f"take {number}", offset=(number / 1000, 0.0)).take(),
            happenings=tuple(Happening(Shot.origin_ns + place, "lost", f"line {place}") for place in range(250)),
        )
        for number in range(6)
    ]
    text = Page(html(report(compare(takes)))).text
    assert "take 5 less take 4" in text
    assert "line 199" in text
    assert "line 200" not in text
    assert "50 lines more are in the take file." in text
