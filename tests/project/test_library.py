"""The takes of a folder: read quickly and rightly, searched, circled, and taken out without losing one."""

import errno
import os
import shutil
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from sequencer.errors import TakeError
from sequencer.project import library, take_summary, takelog
from sequencer.project.library import REMOVED, Filed, chosen, found, ordered, remove, restore, size_words, when
from sequencer.project.take_summary import summary
from sequencer.project.takelog import Change
from sequencer.takes.rows import EventRow, Row
from tests.project.test_takefile import HEADING, ORIGIN_NS, record, rows


def shoot(folder: Path, name: str, told: list[Row] | None = None, **heading: object) -> Path:
    folder.mkdir(exist_ok=True)
    told = rows() if told is None else told
    return record(folder / f"{name}.mcap", told, replace(HEADING, name=name, **heading))  # type: ignore[arg-type]  # fields of many types


def names(takes: tuple[Filed, ...]) -> list[str]:
    return [one.name for one in takes]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Three takes, a minute apart."""
    folder = tmp_path / "takes"
    stopped: list[Row] = [
        *rows(1.0),
        EventRow(ORIGIN_NS + 2, "stopping", "braking: the operator pressed stop"),
        EventRow(ORIGIN_NS + 3, "stopped", "stopped: the operator pressed stop. Reset when it is safe"),
        EventRow(ORIGIN_NS + 1, "freewheel", "timecode is lost; going on for 2 s"),
    ]
    shoot(folder, "lanterns_band_001", started="2031-05-04T18:30:00+00:00")
    shoot(folder, "lanterns_band_002", stopped, started="2031-05-04T18:31:00+00:00")
    later = "2031-05-05T06:00:00+00:00"
    clean = "lanterns_clean-plate_001"
    shoot(folder, clean, rows(0.2), started=later, run="clean plate", by_hand=("tilt",), speed="1/2")
    return folder


def test_takes_are_listed_with_how_they_went(folder: Path) -> None:
    there = library.library(folder)
    assert names(there.takes) == ["lanterns_clean-plate_001", "lanterns_band_002", "lanterns_band_001"]
    clean, stopped, whole = there.takes
    assert (whole.cue, whole.run, whole.number, whole.standing, whole.stops) == ("lanterns", "band", 1, "whole", ())
    assert (stopped.number, stopped.standing, stopped.complete) == (2, "stopped", True)
    assert stopped.stops == ("braking: the operator pressed stop",)
    assert stopped.troubles == ("timecode is lost; going on for 2 s",)
    assert (clean.by_hand, clean.speed) == (("tilt",), Fraction(1, 2))
    assert whole.bytes == whole.path.stat().st_size
    assert there.bytes == sum(path.stat().st_size for path in folder.glob("*.mcap"))
    assert there.free is not None
    assert there.free > 0


def test_there_is_nothing_where_nothing_was_shot(tmp_path: Path) -> None:
    there = library.library(tmp_path / "takes")
    assert (there.takes, there.removed, there.fault) == ((), (), "")
    assert there.free


def test_what_cannot_be_read_is_listed_with_why(folder: Path) -> None:
    (folder / "none.mcap").write_bytes(b"notes")
    (folder / "empty.mcap").write_bytes(b"")
    (folder / "a folder.mcap").mkdir()
    (folder / "leads nowhere.mcap").symlink_to("nowhere")
    os.mkfifo(folder / "pipe.mcap")
    (folder / "report.html").write_text("no take", encoding="utf-8")
    there = {one.name: one for one in library.library(folder).takes}
    assert there["none"].fault.startswith("not a take file")
    assert there["empty"].fault.startswith("not a take file")
    assert there["a folder"].fault == there["pipe"].fault == "not a file; put take files there"
    assert there["leads nowhere"].fault
    assert all(one.standing == "cannot be used" for name, one in there.items() if not name.startswith("lanterns_"))
    assert len(there) == 8


def test_only_what_changed_is_read_again(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    first = library.library(folder)
    read_again = []

    def note(path: Path) -> take_summary.Summary:
        read_again.append(path.stem)
        return summary(path)

    monkeypatch.setattr(library, "summary", note)
    shoot(folder, "lanterns_band_003", rows(0.1))
    takelog.write(folder, {"lanterns_band_001.mcap": Change(circled=True)})
    second = library.library(folder, first.takes)
    assert read_again == ["lanterns_band_003"]
    assert [one.name for one in second.takes if one.circled] == ["lanterns_band_001"]


def test_whoever_waits_no_longer_ends_it(folder: Path) -> None:
    told: list[float] = []

    def go_on(part: float) -> bool:
        told.append(part)
        return len(told) < 2

    assert len(library.library(folder, go_on=go_on).takes) == 1
    assert told == [0.0, pytest.approx(1 / 3)]


def test_a_bad_log_hides_no_take(folder: Path) -> None:
    (folder / takelog.NAME).write_text("notes", encoding="utf-8")
    there = library.library(folder)
    assert len(there.takes) == 3
    assert there.fault.startswith("log.json: not a log of takes")


def test_a_folder_that_is_a_file_is_said(tmp_path: Path) -> None:
    (tmp_path / "takes").write_text("", encoding="utf-8")
    with pytest.raises(TakeError, match=r"cannot be read: .*; check it"):
        library.library(tmp_path / "takes")


@pytest.mark.parametrize(
    ("words", "fit"),
    [
        ("", [1, 2, 3]),
        ("BAND", [1, 2]),
        ("band stopped", [2]),
        ("clean", [3]),
        ("gull", [1]),
        ("GULL band 2031-05", [1]),
        ("circled", [1, 3]),
        ("circled band", [1]),
        ("hand tilt", [3]),
        ("whole", [1, 3]),
        ("broken", []),
        ("gull stopped", []),
    ],
)
def test_a_search_finds_takes_of_which_all_words_are_said(folder: Path, words: str, fit: list[int]) -> None:
    said = {
        "lanterns_band_001.mcap": Change(circled=True, note="a Gull crossed"),
        "lanterns_clean-plate_001.mcap": Change(circled=True),
    }
    takelog.write(folder, said)
    takes = ordered(library.library(folder).takes, "oldest")
    assert found(takes, words) == tuple(takes[number - 1] for number in fit)
    assert found(takes, words.split()) == found(takes, words)
    assert found(takes, words, circled=True) == tuple(one for one in found(takes, words) if one.circled)


def test_orders(folder: Path) -> None:
    takes = library.library(folder).takes
    first = {order: names(ordered(takes, order))[0].partition("_")[2] for order in library.ORDERS}
    assert first["newest"] == "clean-plate_001"
    assert first["oldest"] == first["longest"] == first["largest"] == first["name"] == "band_001"
    with pytest.raises(ValueError, match="there are newest, oldest"):
        ordered(takes, "loudest")  # type: ignore[arg-type]  # what a program may ask


def test_a_take_is_named_by_its_name_or_by_a_number_of_its_own(folder: Path) -> None:
    takes = library.library(folder).takes
    assert chosen(takes, "lanterns_band_002").number == 2
    assert chosen(takes, str(folder / "lanterns_band_002.mcap")).number == 2
    assert chosen(takes, "2") == chosen(takes, "002") == chosen(takes, "lanterns_band_002")
    with pytest.raises(TakeError, match="more than once: lanterns_band_001 and lanterns_clean-plate_001"):
        chosen(takes, "1")
    assert chosen(found(takes, "clean"), "1").run == "clean plate"
    for wrong in ("7", "0", "lanterns", "²", ""):
        with pytest.raises(
            TakeError, match="there are: lanterns_band_001, lanterns_band_002, lanterns_clean-plate_001"
        ):
            chosen(takes, wrong)
    with pytest.raises(TakeError, match="there are: none"):
        chosen((), "1")


# taking out


def test_a_take_that_is_removed_comes_back_with_its_note(folder: Path) -> None:
    takelog.write(folder, {"lanterns_band_002.mcap": Change(note="stopped early")})
    before = (folder / "lanterns_band_002.mcap").read_bytes()
    assert remove(chosen(library.library(folder).takes, "2")) == folder / REMOVED / "lanterns_band_002.mcap"
    there = library.library(folder)
    assert names(there.removed) == ["lanterns_band_002"]
    assert len(there.takes) == 2
    assert there.removed[0].note == "stopped early"
    restore(there.removed[0])
    again = library.library(folder)
    assert again.removed == ()
    assert chosen(again.takes, "2").note == "stopped early"
    assert (folder / "lanterns_band_002.mcap").read_bytes() == before


@pytest.mark.parametrize("links", [True, False])
def test_no_take_is_ever_written_over(folder: Path, monkeypatch: pytest.MonkeyPatch, links: bool) -> None:
    if not links:

        def none(*_: object, **__: object) -> None:
            raise OSError(errno.EPERM, "no links here")

        monkeypatch.setattr(os, "link", none)
    first = chosen(library.library(folder).takes, "2")
    (folder / REMOVED).mkdir()
    (folder / REMOVED / first.path.name).write_bytes(b"an earlier one")
    with pytest.raises(TakeError, match=r"cannot be moved to .*; it is where it was"):
        remove(first)
    assert first.path.is_file()
    (there,) = library.library(folder).removed
    with pytest.raises(TakeError, match=r"cannot be brought back .*; it is where it was"):
        restore(there)
    assert there.path.read_bytes() == b"an earlier one"
    there.path.unlink()
    assert remove(first).is_file()
    assert not first.path.exists()


def test_a_folder_that_cannot_be_made_keeps_the_take(folder: Path) -> None:
    (folder / REMOVED).write_text("in its place", encoding="utf-8")
    with pytest.raises(TakeError, match="it is where it was"):
        remove(chosen(library.library(folder, removed=False).takes, "2"))
    assert (folder / "lanterns_band_002.mcap").is_file()


def test_words_for_people() -> None:
    assert [size_words(size) for size in (0, 999, 1000, 615_129, 1_500_000, 2**31)] == [
        *("0 B", "999 B", "1 kB", "615 kB", "1.5 MB", "2.1 GB")
    ]
    assert when("no date") == "no date"
    assert when("2031-05-04T18:30:00+00:00").startswith("2031-05-0")


def test_many_takes_are_told_apart(folder: Path) -> None:
    for number in range(3, 60):
        shutil.copy(folder / "lanterns_band_001.mcap", folder / f"lanterns_band_{number:03}.mcap")
    there = library.library(folder)
    assert len({*there.takes}) == 60
    assert chosen(there.takes, "59").number == 59
