"""Handing over from the editor: what is written is read back, and what stands in the way is said beforehand."""

import csv
import re
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from pygltflib import GLTF2
from PyQt6.QtCore import Qt
from pytestqt.qtbot import QtBot

from sequencer.export.contract import ExportKind, Wanted
from sequencer.export.delivery import Delivery
from sequencer.motion.compile import compile_move
from sequencer.project.library import FOLDER, Filed, library
from sequencer.project.store import load
from sequencer.shell.kinds import laws
from tests.cli.test_export import record
from tests.ui.panels.handed import Quay, choose, typed
from ui.panels.hand_over_export import ExportForm

LEFT = Qt.MouseButton.LeftButton


class Handing(Quay):
    """The part of the page that exports, with the takes that are chosen elsewhere."""

    def __init__(self, tmp_path: Path, qtbot: QtBot) -> None:
        super().__init__(tmp_path, qtbot)
        self.takes: list[Filed] = []
        self.out = tmp_path / "out"
        self.out.mkdir()
        self.form = ExportForm(self.desk, self.picks.append, lambda: self.takes)
        self.show(self.form)
        typed(self.form.where.folder.line, str(self.out))
        self.rest()

    def rest(self) -> None:
        self.qtbot.waitUntil(lambda: not self.form.busy, timeout=30_000)

    def write(self) -> None:
        self.qtbot.mouseClick(self.form.write, LEFT)
        self.rest()

    @property
    def told(self) -> str:
        return " ".join(self.form.outcome.told.text().split())

    @property
    def refused(self) -> str:
        return self.form.outcome.refused.text()

    def names(self) -> list[str]:
        return sorted(path.name for path in self.out.iterdir())


@pytest.fixture
def page(tmp_path: Path, qtbot: QtBot) -> Handing:
    return Handing(tmp_path, qtbot)


def rows(file: Path) -> list[dict[str, str]]:
    with file.open(encoding="utf-8", newline="") as text:
        return list(csv.DictReader(text))


def column(file: Path, begins: str) -> np.ndarray:
    found = rows(file)
    name = next(one for one in found[0] if one.startswith(begins))
    return np.array([float(row[name] or "nan") for row in found])


def test_a_table_has_each_frame_of_the_cue_as_the_move_has_it(page: Handing) -> None:
    choose(page.form.kind.box, ".csv")
    choose(page.form.cue.box, "crowd sweep")
    page.rest()
    cue = page.desk.project.cue("crowd sweep")
    page.write()
    name = "Harbour-lanterns_crowd-sweep_band_planned.csv"
    assert page.names() == [name, f"{name}.svg", f"{name}.txt"]
    rate = page.desk.project.timebase.rate
    first = -(-cue.start // 1)
    frames = [Fraction(first + n) for n in range(int(cue.end // 1) - int(first) + 1)]
    assert len(rows(page.out / name)) == len(frames)
    moved = compile_move(page.desk.project.rig, page.desk.project.move, rate, laws())
    wanted = moved.sample(np.array([float(rate.seconds(at)) for at in frames]))
    np.testing.assert_allclose(column(page.out / name, "axis slide"), wanted[:, 3], atol=1e-5)
    assert f"Written in {page.out}: {name}" in page.form.outcome.done.text()
    # the text that says how to check it is there to be read
    assert page.form.outcome.text.toPlainText() == (page.out / f"{name}.txt").read_text(encoding="utf-8")
    assert page.notes[-1].weight == "done"


def test_gltf_has_a_key_a_frame_at_the_projects_rate(page: Handing) -> None:
    choose(page.form.kind.box, ".glb")
    typed(page.form.where.name.line, "turn.glb")
    page.rest()
    assert "201 frames, 10:00:07:10 to 10:00:15:10" in page.told
    page.write()
    # Source: Khronos glTF 2.0, "Animations": input accessors hold seconds; read by pygltflib
    read = GLTF2.load(str(page.out / "turn.glb"))
    assert read is not None
    times = read.accessors[read.animations[0].samplers[0].input]
    assert (times.count, times.min, times.max) == (201, [0.0], [8.0])
    assert len(read.cameras) == 1


def test_what_a_format_cannot_hold_is_said_before_it_is_written(page: Handing) -> None:
    page.desk.open(load(Path("projects/paper-boats"), laws()), Path("projects/paper-boats"))
    page.rest()
    choose(page.form.kind.box, ".glb")
    page.rest()
    # Source: Khronos glTF 2.0 animates no camera property; KHR_animation_pointer does
    assert "What this format cannot hold:" in page.told
    assert "KHR_animation_pointer" in page.told
    assert page.names() == []


def test_samples_are_of_the_cameras_shutter_or_of_one_that_is_typed(page: Handing) -> None:
    choose(page.form.kind.box, ".csv")
    typed(page.form.samples.line, "3")
    page.rest()
    assert "“Shutter” 180" in page.refused
    assert not page.form.write.isEnabled()
    typed(page.form.shutter.line, "180")
    typed(page.form.where.name.line, "blur")
    typed(page.form.first.line, "1001")
    page.rest()
    assert page.refused == ""
    page.write()
    assert len(rows(page.out / "blur.csv")) == 3 * 201
    assert min(column(page.out / "blur.csv", "frame")) == pytest.approx(1001 - 0.25, abs=0.26)
    for line, text in ((page.form.samples, "0"), (page.form.samples, "2.5"), (page.form.shutter, "400")):
        typed(line.line, text)
        assert line.fault.text()
    page.rest()


def test_the_first_frame_has_a_whole_number(page: Handing) -> None:
    choose(page.form.kind.box, ".csv")
    typed(page.form.first.line, "1001.5")
    assert page.form.first.fault.text() == "write a whole number, such as 1001"
    assert page.form.wanted.first is None
    typed(page.form.first.line, "1001")
    assert page.form.first.fault.text() == ""
    assert page.form.wanted.first == 1001
    page.rest()


def test_a_file_that_is_there_stays_until_the_tick_says_otherwise(page: Handing) -> None:
    choose(page.form.kind.box, ".csv")
    typed(page.form.where.name.line, "turn.csv")
    (page.out / "turn.csv").write_text("somebody else's")
    page.rest()
    page.write()
    assert "turn.csv is there already" in page.refused
    assert "“Replace”" in page.refused
    assert "--force" not in page.refused
    assert (page.out / "turn.csv").read_text() == "somebody else's"
    assert page.names() == ["turn.csv"]
    page.qtbot.keyClick(page.form.where.force.box, Qt.Key.Key_Space)
    page.rest()
    page.write()
    assert page.refused == ""
    assert len(rows(page.out / "turn.csv")) == 201


def test_a_take_is_handed_over_as_it_went_and_as_it_was_asked(page: Handing) -> None:
    record(page.folder)
    page.takes = list(library(page.folder / FOLDER).takes)
    page.form.follow()
    choose(page.form.kind.box, ".csv")
    at_s = (185 + np.arange(201)) / 25
    for part, slide in (("the rig says it stood", 102.0), ("was asked", 100.0)):
        choose(page.form.what.box, part)
        page.rest()
        assert not page.form.cue.isEnabled()
        assert not page.form.run.isEnabled()
        assert "take take_001" in page.told
        page.write()
        found = column(page.out / page.form.where.usual, "axis slide")
        late_s = 0.0 if slide == 102.0 else page.desk.project.rig.axes[3].latency_s
        assert found == pytest.approx(slide + 50 * np.cos(at_s - late_s), abs=1e-3)
    # a take that is no longer chosen is no longer offered
    page.takes = []
    page.form.follow()
    page.rest()
    assert page.form.what.box.count() == 1


def test_frames_that_are_not_known_are_counted(page: Handing) -> None:
    record(page.folder, silent_s=(8.0, 9.0))
    page.takes = list(library(page.folder / FOLDER).takes)
    page.form.follow()
    choose(page.form.kind.box, ".csv")
    choose(page.form.what.box, "the rig says it stood")
    page.rest()
    found = re.search(r"(\d+) frames are not known", page.told)
    assert found is not None
    # a second of silence at 25 frames a second; the frames at its edges may still be found
    assert 22 <= int(found[1]) <= 26


def test_edits_that_are_not_saved_are_handed_over_and_named(page: Handing) -> None:
    choose(page.form.kind.box, ".csv")
    move = page.desk.project.move
    cue = replace(move.cues[0], end=move.cues[0].end - 100)
    page.desk.edit("shorter", replace(move, cues=(cue, *move.cues[1:])))
    page.rest()
    assert "101 frames" in page.told
    assert "edits that were not saved" in page.told
    page.write()
    assert len(rows(page.out / page.form.where.usual)) == 101


def test_it_is_written_while_nothing_may_be_edited(page: Handing) -> None:
    choose(page.form.kind.box, ".csv")
    page.desk.lock("The rig is armed.")
    page.rest()
    page.write()
    assert page.refused == ""
    assert len(page.names()) == 3


def test_an_axis_that_is_up_is_asked_where_the_format_has_both(page: Handing) -> None:
    for part, asked in ((".usda", True), (".glb", False), (".csv", False), (".mid", False)):
        choose(page.form.kind.box, part)
        assert page.form.up.isVisible() is asked, part
        assert page.form.samples.isVisible() is (part != ".mid")
    page.rest()


def test_what_is_not_installed_is_said_with_how_to_have_it(page: Handing, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(_delivery: Delivery, _suffix: str, _wanted: Wanted) -> bytes:
        raise ImportError("no module of that name", name="lanternlib")

    fake = ExportKind(name="fake", title="a fake", suffixes=(".fake",), holds="camera", make=fails, extra="fake")
    monkeypatch.setattr("ui.acts.handing.exports", lambda: {"fake": fake})
    monkeypatch.setattr("ui.acts.handing.lacking", lambda extra: ("lanternlib",) if extra == "fake" else ())
    form = ExportForm(page.desk, page.picks.append, tuple)
    page.show(form)
    page.qtbot.waitUntil(lambda: not form.busy)
    assert "lanternlib" in form.kind.means.text()
    assert "pip install 'twintake[fake]'" in form.kind.means.text()
    typed(form.where.folder.line, str(page.out))
    page.qtbot.waitUntil(lambda: not form.busy)
    form.hand()
    page.qtbot.waitUntil(lambda: not form.busy)
    assert "pip install 'twintake[fake]'" in form.outcome.refused.text()
    assert page.names() == []


def test_a_format_that_fails_ends_no_editor(page: Handing, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(_delivery: Delivery, _wanted: Wanted) -> tuple[str, ...]:
        raise RuntimeError("out of oil")

    fake = ExportKind(
        name="fake", title="a fake", suffixes=(".fake",), holds="camera", make=lambda *_: b"", remarks=fails
    )
    monkeypatch.setattr("ui.acts.handing.exports", lambda: {"fake": fake})
    form = ExportForm(page.desk, page.picks.append, tuple)
    page.show(form)
    page.qtbot.waitUntil(lambda: not form.busy)
    assert "a fake: a fault of this format, RuntimeError: out of oil" in form.outcome.refused.text()
    assert not form.write.isEnabled()


def test_a_folder_is_chosen_or_typed_and_must_be_there(page: Handing) -> None:
    where = page.form.where
    page.qtbot.mouseClick(where.choose, LEFT)
    pick = page.picks.pop()
    assert (pick.what, pick.start) == ("place", page.out)
    pick.then(page.folder)
    assert where.path == page.folder
    for text in ("", "out", str(page.out / "gone")):
        typed(where.folder.line, text)
        assert "folder" in where.folder.fault.text()
        assert where.path == page.folder
    typed(where.name.line, "../over.csv")
    assert "slash" in where.name.fault.text()
    assert where.typed == ""
    page.rest()


def test_a_folder_that_cannot_be_written_to_is_named(page: Handing) -> None:
    choose(page.form.kind.box, ".csv")
    gone = page.out / "gone"
    gone.mkdir()
    typed(page.form.where.folder.line, str(gone))
    gone.rmdir()
    page.rest()
    page.write()
    assert f"there is no folder {gone}" in page.refused
    assert page.form.outcome.done.text() == ""
