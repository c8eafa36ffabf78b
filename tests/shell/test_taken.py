"""The list of takes that goes out with an export: from headings alone, and the same as from the takes themselves."""

from fractions import Fraction
from pathlib import Path

from sequencer.export.sampled import span_of
from sequencer.project import takelog
from sequencer.project.library import library
from sequencer.project.takefile import read
from sequencer.project.takelog import Change
from sequencer.shell.taken import taken
from tests.project.test_library import shoot


def test_takes_are_listed_with_their_place_and_what_is_said_of_them(tmp_path: Path) -> None:
    # 24000/1001 fps: seconds are no round numbers of frames, and 48 frames are meant
    cue_s = (48 * 1001 / 24000, 96 * 1001 / 24000)
    shoot(tmp_path, "lanterns_band_002", started="2031-05-04T18:31:00+00:00", rate="24000/1001", cue_s=cue_s)
    shoot(tmp_path, "lanterns_band_001", started="2031-05-04T18:30:00+00:00")
    takelog.write(tmp_path, {"lanterns_band_002.mcap": Change(circled=True, note="the best")})
    made, remarks = taken(library(tmp_path))
    assert remarks == ()
    assert [(one.name, one.number, one.circled, one.note) for one in made] == [
        ("lanterns_band_001", 1, False, ""),
        ("lanterns_band_002", 2, True, "the best"),
    ]
    assert made[0].span == (Fraction(50), Fraction(75))
    assert made[1].span == (Fraction(48), Fraction(96))
    for one in made:
        take = read(tmp_path / one.file)
        assert one.span == span_of(take.cue_s, take.timebase.rate)
        assert (one.cue, one.run, one.file) == ("lanterns", "band", f"{one.name}.mcap")


def test_what_cannot_be_used_is_left_out_and_said(tmp_path: Path) -> None:
    shoot(tmp_path, "lanterns_band_001")
    (tmp_path / "none.mcap").write_bytes(b"notes")
    (tmp_path / takelog.NAME).write_text("notes", encoding="utf-8")
    made, (left, unknown) = taken(library(tmp_path))
    assert len(made) == 1
    assert left.startswith("none.mcap is left out: not a take file")
    assert unknown.startswith("which takes are circled, and notes, are not known: log.json")


def test_a_take_that_was_renamed_keeps_its_own_name(tmp_path: Path) -> None:
    shoot(tmp_path, "lanterns_band_001").rename(tmp_path / "copy of it.mcap")
    ((one,), _) = taken(library(tmp_path))
    assert (one.name, one.file, one.number) == ("lanterns_band_001", "copy of it.mcap", 0)
