"""The shoot report: a sensible document of no take, of one and of hundreds, with the numbers that were measured."""

from dataclasses import replace
from pathlib import Path

import pytest

from sequencer.export.cautions import CAUTIONS
from sequencer.export.page import page
from sequencer.export.pdf import pdf
from sequencer.export.shoot import Group, Listed, Noted, Shoot, Use
from sequencer.export.shoot_report import shoot_report
from sequencer.takes.compare import compare
from tests.export.reading import Page, Sheets
from tests.export.shots import RIG, listed
from tests.takes.shot import Shot

PLANNED = (
    Use(axis="pan", peaks=(58.0, 90.0, 140.0), limits=(90.0, 160.0, 700.0)),
    Use(axis="slide", peaks=(300.0, float("inf"), float("inf")), limits=(400.0, 600.0, 3000.0)),
)


def shoot(takes: tuple[Listed, ...], groups: tuple[Group, ...] = ()) -> Shoot:
    return Shoot(
        project="harbour-lanterns",
        rig=RIG.name,
        made="twintake 1.2.3",
        timebase="25 frames a second, from 10:00:00:00",
        outputs="none in rig.json: whichever the operator named",
        sync="no playback file; offsets: none",
        takes=takes,
        groups=groups,
    )


def two() -> Shoot:
    shots = Shot(name="band_001"), Shot(name="band_002", late_s=0.0001)
    takes = (
        listed(shots[0], circled=True, note="the good one"),
        listed(shots[1]),
        Listed(
            name="band_003",
            path=Path("band_003.mcap"),
            cue="lanterns",
            run="band",
            started="2031-05-04T18:40:00+00:00",
            standing="broken off",
            fault="it breaks off before its end, so its last moments are missing",
        ),
    )
    comparison = compare([shot.take() for shot in shots], tolerance_px=5.0)
    group = Group(
        cue="lanterns",
        run="band",
        takes=takes,
        planned=PLANNED,
        comparison=comparison,
        compared="Compared: band_001, band_002. 1 not whole is left out.",
    )
    return shoot(takes, (group,))


@pytest.fixture(scope="module")
def report() -> tuple[str, str]:
    """The report on two takes, as HTML and PDF say it."""
    paper = shoot_report(two())
    return Page(page(paper)).text, Sheets.of(pdf(paper)).text


def test_both_documents_say_what_was_shot(report: tuple[str, str]) -> None:
    for text in report:
        for said in (
            "harbour-lanterns: shoot report",
            "Shot on 2031-05-04",
            "3, of these 2 whole, 1 broken off; 1 circled",
            "band_001 lanterns band 2031-05-04 18:30:00 whole yes the good one",
            "band_003 – broken off: it breaks off before its end",
            "10:00:02:00 to 10:00:06:00, 101 frames",
            "25 frames a second, pass at speed 1",
            "250 a second",
            "one straight line through the timecode",
            "35 mm lens, 4096 × 2304 pixels",
            "Compared: band_001, band_002. 1 not whole is left out.",
            "The takes match: the picture shifts by at most",
            "No fault, no stop and nothing else out of the ordinary was noted.",
            CAUTIONS,
        ):
            assert said in text


def test_both_documents_show_the_numbers(report: tuple[str, str]) -> None:
    found = two()
    comparison = found.groups[0].comparison
    assert comparison is not None
    for text in report:
        # pan: limit 90, planned 58 (64 %), sent and actual 60 of the swing (67 %)
        assert "pan, speed deg/s 90 58 64 % 60 67 % 60 67 %" in text
        # what jumps has no part of a limit
        assert "slide, acceleration mm/s² 600 a jump – 300 50 % 300 50 %" in text
        for one in comparison.axes:
            assert f"{one.peak:.4f}" in text
            assert f"{one.path_repeatability:.4f}" in text
        for take in found.takes[:2]:
            assert take.measured is not None
            for use in take.measured.uses:
                assert f"{use.error_rms:.4f} {use.error_peak:.4f} {use.error_at}" in text


def test_it_has_plots_with_words_for_those_who_do_not_see_them() -> None:
    drawn = Page(page(shoot_report(two()))).all("svg")
    said = [one["aria-label"] or "" for one in drawn]
    assert len(drawn) == 3  # the picture's shift, pan, slide
    assert said[0].startswith("the picture's largest shift between any two takes over timecode: at most 0.6")
    assert "pan of 2 takes over timecode" in said[1]


def test_the_same_takes_give_the_same_bytes() -> None:
    assert pdf(shoot_report(two())) == pdf(shoot_report(two()))
    assert page(shoot_report(two())) == page(shoot_report(two()))


def test_no_take_is_a_report_too() -> None:
    paper = shoot_report(shoot(()))
    for text in (Page(page(paper)).text, Sheets.of(pdf(paper)).text):
        assert "Shot on nothing was shot" in text
        assert "There are no takes." in text
        assert CAUTIONS in text


def test_one_take_has_its_numbers_and_no_comparison() -> None:
    one = listed(Shot())
    group = Group(
        cue="lanterns", run="band", takes=(one,), planned=None, comparison=None, compared="Nothing is compared: …"
    )
    text = Sheets.of(pdf(shoot_report(shoot((one,), (group,))))).text
    assert "Nothing is compared: …" in text
    assert "what was planned is not known" in text
    assert "pan, speed deg/s 90 – – 60 67 %" in text


def test_hundreds_of_takes_stay_readable() -> None:
    one = listed(Shot())
    worst = listed(Shot(late_s=0.05))
    takes = tuple(replace(worst if place == 200 else one, name=f"band_{place:03}") for place in range(400))
    group = Group(cue="lanterns", run="band", takes=takes, planned=PLANNED, comparison=None, compared="…")
    found = Sheets.of(pdf(shoot_report(shoot(takes, (group,)))))
    pages = found.pages
    assert 20 < len(pages) < 45
    assert "400, of these 400 whole; none circled" in pages[0]
    text = " ".join(pages)
    assert [place for place in range(400) if f"band_{place:03} lanterns" not in text] == []
    # of so many the following error is told where it is worst
    assert "of 400 takes the worst of each axis" in text
    assert text.count("band_200 pan deg") == 1
    assert "band_199 pan deg" not in text


def test_long_notes_stand_in_full_and_stops_are_told_with_their_timecode() -> None:
    note = " ".join(f"word{number}" for number in range(300))
    one = listed(Shot(), note=note, standing="stopped", fault="the link dropped")
    assert one.measured is not None
    log = (Noted(at="10:00:04:12", code="stopping", text="the link dropped; look at the cable"),)
    one = replace(one, measured=replace(one.measured, log=(*one.measured.log, *log)))
    group = Group(cue="lanterns", run="band", takes=(one,), planned=None, comparison=None, compared="…")
    text = Sheets.of(pdf(shoot_report(shoot((one,), (group,))))).text
    assert "… (in full below)" in text
    assert note in text.replace("take 1: ", "")
    assert "10:00:04:12 stopping the link dropped; look at the cable" in text
    # what every good take says is left out
    assert "timecode is running & trusted" not in text


def test_takes_of_any_clock_are_listed_on_one() -> None:
    made = two()
    first, *others = made.takes
    here = replace(made, takes=(replace(first, started="2031-05-05T00:40:00+02:00"), *others))
    text = Page(page(shoot_report(here))).text
    assert "started, UTC" in text
    assert "2031-05-04 22:40:00" in text
    assert "Shot on 2031-05-04 Takes" in text
    unknown = replace(made, takes=(replace(first, started="dusk"), *others))
    assert "dusk" in Page(page(shoot_report(unknown))).text
