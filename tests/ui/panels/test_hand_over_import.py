"""Files of others in the editor: what would come is shown, choices are offered, and it is taken as one step or not."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import mido
import numpy as np
import pytest
from PyQt6.QtCore import Qt
from pytestqt.qtbot import QtBot

from sequencer.export.contract import Wanted
from sequencer.motion.compile import compile_move
from sequencer.project.document import Project
from sequencer.score.edits.offset import offset
from sequencer.shell.handover import Asked, gather, hand_over
from sequencer.shell.kinds import exports, laws
from tests.ui.conftest import LANTERNS
from tests.ui.panels.handed import Quay, choose, typed
from ui.panels.hand_over_import import ImportForm

LEFT = Qt.MouseButton.LeftButton
LOOSE = "0.3deg 5mm"  # fewer keys are found sooner
EDL = """TITLE: QUAY
FCM: NON-DROP FRAME
001  R001     V     C        01:00:00:00 01:00:08:00 10:00:07:10 10:00:15:10
* FROM CLIP NAME: quay wide
* LOC: 10:00:10:01 WHITE   a gull
* LOC: 10:00:11:05 WHITE   bell
002  R002     V     C        01:00:00:00 01:00:01:15 10:00:15:10 10:00:17:00
* FROM CLIP NAME: crane
"""


class Taking(Quay):
    """The part of the page that imports."""

    def __init__(self, tmp_path: Path, qtbot: QtBot) -> None:
        super().__init__(tmp_path, qtbot)
        self.form = ImportForm(self.desk, self.picks.append)
        self.show(self.form)

    def rest(self) -> None:
        self.qtbot.waitUntil(lambda: not self.form.busy, timeout=60_000)

    def read(self, file: Path, rate: str = "") -> None:
        self.form.take(file)
        self.rest()
        if rate:
            self.form.rate.setCurrentText(rate)
            self.form.rate.activated.emit(self.form.rate.currentIndex())
            self.rest()

    def show_it(self) -> None:
        self.qtbot.mouseClick(self.form.camera.show_it, LEFT)
        self.rest()

    def table(self) -> list[tuple[str, ...]]:
        table = self.form.cut.table
        cells = [[table.item(row, column) for column in range(5)] for row in range(table.rowCount())]
        return [tuple("" if one is None else one.text() for one in row) for row in cells]

    @property
    def refused(self) -> str:
        form = self.form
        shown = form.pages.currentWidget()
        return form.refused.text() or (form.cut if shown is form.cut else form.camera).outcome.refused.text()

    @property
    def told(self) -> str:
        return self.form.camera.outcome.told.text()


@pytest.fixture
def page(tmp_path: Path, qtbot: QtBot) -> Taking:
    return Taking(tmp_path, qtbot)


@pytest.fixture
def edl(tmp_path: Path) -> Path:
    path = tmp_path / "cut.edl"
    path.write_text(EDL, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def camera(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The harbour's own first cue as a table, as it is handed over."""
    file = tmp_path_factory.mktemp("camera") / "quay.csv"
    delivery, _ = gather(Asked(project=LANTERNS), "camera")
    hand_over(delivery, exports()["csv"], Wanted(), file)
    return file


def sampled(project: Project, at_s: np.ndarray) -> np.ndarray:
    return compile_move(project.rig, project.move, project.timebase.rate, laws()).sample(at_s)


# cuts


def test_a_file_is_chosen_by_the_editors_own_picker(page: Taking, edl: Path) -> None:
    page.qtbot.mouseClick(page.form.choose, LEFT)
    pick = page.picks.pop()
    assert pick.what == "file"
    assert {".edl", ".mid", ".wav", ".csv", ".glb", ".usda"} <= set(pick.suffixes)
    pick.then(edl)
    page.rest()
    assert page.form.file == edl
    # Source: the CMX 3600 form has no frame rate; it is asked for
    assert "does not say its frame rate" in page.refused
    assert "“Its frame rate”" in page.refused
    assert "--" not in page.refused


def test_what_would_come_is_shown_and_taken_as_one_step(page: Taking, edl: Path) -> None:
    before = page.desk.project
    page.read(edl, "25")
    assert page.table() == [
        ("marker", "a gull", "10:00:10:01", "", "new"),
        ("marker", "bell", "10:00:11:05", "", "new"),
    ]
    assert "“Shots as cues” makes cues of them" in page.form.cut.outcome.told.text()
    page.qtbot.keyClick(page.form.cut.cues.box, Qt.Key.Key_Space)
    page.rest()
    assert ("cue", "crane", "10:00:15:10", "10:00:16:24", "new") in page.table()
    assert page.desk.project is before
    page.qtbot.mouseClick(page.form.cut.take, LEFT)
    page.rest()
    after = page.desk.project
    rate = after.timebase.rate
    assert [one.at for one in after.move.markers if one.name == "a gull"] == [10 * rate.fraction + 1]
    assert {"quay wide", "crane"} <= {one.name for one in after.move.cues}
    assert after.move.tracks == before.move.tracks
    assert "one step" in page.form.cut.outcome.done.text()
    assert {row[-1] for row in page.table()} == {"there already"}
    assert not page.form.cut.take.isEnabled()
    page.desk.undo()
    assert page.desk.project == before


def test_another_frame_rate_is_a_choice(page: Taking, edl: Path) -> None:
    page.read(edl, "24")
    cut = page.form.cut
    assert cut.other.isVisible()
    assert "Tick “Other frame rate”" in page.refused
    assert not cut.take.isEnabled()
    # what would come is there to be judged all the same: frame 5 of 24 is 5.208 of 25
    assert ("marker", "bell", "10:00:11:05.208", "", "new") in page.table()
    page.qtbot.keyClick(cut.other.box, Qt.Key.Key_Space)
    page.rest()
    assert page.refused == ""
    page.qtbot.mouseClick(cut.take, LEFT)
    page.rest()
    (bell,) = [one for one in page.desk.project.move.markers if one.name == "bell"]
    assert float(bell.at) == pytest.approx(11 * 25 + 5 * 25 / 24, abs=1e-8)
    # at the project's own rate there is nothing to choose
    page.read(edl, "25")
    assert not cut.other.isVisible()


def test_it_goes_where_it_is_said_to_begin_and_later(page: Taking, edl: Path) -> None:
    page.read(edl, "25")
    typed(page.form.cut.begins.line, "10:00:20:00")
    typed(page.form.cut.later.line, "2 f")
    page.rest()
    assert page.table()[0][:3] == ("marker", "a gull", "10:00:22:18")
    typed(page.form.cut.begins.line, "when it rains")
    assert page.form.cut.begins.fault.text()
    typed(page.form.cut.begins.line, "")
    page.rest()
    assert page.table()[0][:3] == ("marker", "a gull", "10:00:10:03")


def test_a_songs_tempo_is_taken_when_it_is_ticked(page: Taking, tmp_path: Path) -> None:
    song = mido.MidiFile(ticks_per_beat=480)
    track = mido.MidiTrack()
    song.tracks.append(track)
    track += [
        mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(120)),
        mido.MetaMessage("marker", text="drop", time=960),
    ]
    file = tmp_path / "song.mid"
    song.save(file)
    page.read(file)
    cut = page.form.cut
    assert cut.tempo.isVisible()
    assert not cut.cues.isVisible()
    assert not cut.place.isVisible()
    # two quarters at 120 a minute are a second
    assert page.table() == [("marker", "drop", "10:00:01:00", "", "new")]
    page.qtbot.keyClick(cut.tempo.box, Qt.Key.Key_Space)
    page.rest()
    page.qtbot.mouseClick(cut.take, LEFT)
    page.rest()
    assert page.desk.project.tempo is not None
    assert page.desk.project.tempo.bpm == 120


def test_nothing_is_taken_while_nothing_may_be_edited(page: Taking, edl: Path) -> None:
    page.read(edl, "25")
    assert page.form.cut.take.isEnabled()
    page.desk.lock("The rig is armed.")
    assert not page.form.cut.take.isEnabled()
    before = page.desk.project
    page.form.cut.take_it()
    assert page.desk.project is before
    assert page.notes[-1].words == "The rig is armed."


@pytest.mark.parametrize(
    ("name", "data", "words"),
    [
        ("cut.edl", b"\x00\x01\x02", "cut.edl"),
        # Source: Standard MIDI Files 1.0: a division below zero counts frames of timecode
        ("song.mid", b"MThd\0\0\0\x06\0\x01\0\x01\xe7\x28MTrk\0\0\0\x04\0\xff\x2f\0", "frames of timecode"),
        ("shot.glb", b"glTF", "shot.glb"),
        ("shot.png", b"", "its name does not say what it is"),
    ],
)
def test_a_file_that_cannot_be_used_is_named(page: Taking, tmp_path: Path, name: str, data: bytes, words: str) -> None:
    file = tmp_path / name
    file.write_bytes(data)
    before = page.desk.project
    page.read(file)
    assert words.casefold() in page.refused.casefold()
    assert page.desk.project is before
    page.form.take(tmp_path / "gone.edl")
    page.rest()
    assert "there is no file" in page.refused


# cameras


def test_a_camera_is_shown_dashed_and_taken_as_one_step(page: Taking, camera: Path) -> None:
    before = page.desk.project
    page.read(camera)
    page.show_it()
    assert "“Replace keys”" in page.refused
    assert "--" not in page.refused
    page.qtbot.keyClick(page.form.camera.replace_keys.box, Qt.Key.Key_Space)
    page.show_it()
    assert page.refused == ""
    assert page.desk.proposal is not None
    assert page.desk.project is before
    for words in (
        "201 samples, from 10:00:07:10 to 10:00:15:10, in the cue lantern turn",
        "The motors can do it",
        "pixels",
    ):
        assert words in page.told
    assert page.desk.proposal.lines[0].startswith("The motors can do it")
    assert page.form.camera.table.rowCount() == 4
    page.qtbot.mouseClick(page.form.camera.take, LEFT)
    assert len(page.desk.history.past) == 1
    assert "one step" in page.form.camera.outcome.done.text()
    at_s = np.arange(185, 386) / 25
    off = np.abs(sampled(page.desk.project, at_s) - sampled(before, at_s)).max(axis=0)
    # a pixel of 4096 across a field of 39 degrees is a hundredth of one
    assert off[:3].max() < 0.02
    assert 0 < off[3] < 1.0
    page.desk.undo()
    assert page.desk.project == before


def test_what_is_left_is_as_it_was(page: Taking, camera: Path) -> None:
    before = page.desk.project
    page.read(camera)
    page.form.camera.replace_keys.box.setChecked(True)
    typed(page.form.camera.within.line, LOOSE)
    page.show_it()
    page.qtbot.mouseClick(page.form.camera.leave, LEFT)
    assert page.desk.proposal is None
    assert page.desk.project is before
    assert not page.form.camera.take.isEnabled()


def test_a_camera_of_another_frame_rate_is_a_choice(page: Taking, camera: Path) -> None:
    page.read(camera, "50")
    form = page.form.camera
    assert form.convert.isVisible()
    assert "50 frames a second, and the project 25" in form.convert.means.text()
    form.replace_keys.box.setChecked(True)
    typed(form.within.line, LOOSE)
    page.show_it()
    assert "choose “Other frame rate”" in page.refused
    for part, lasts in (("keep its time: 4 s", 100), ("keep frame for frame: 8 s", 200)):
        choose(form.convert.box, part)
        page.show_it()
        assert form.found is not None, page.refused
        assert form.found.done.span[1] - form.found.done.span[0] == lasts


def test_cuts_and_several_cameras_are_choices(page: Taking, tmp_path: Path) -> None:
    heads = "frame,x (m),y (m),z (m),pan (deg),tilt (deg),roll (deg)"
    rate = "25"
    lines = [heads]
    for frame in range(80):
        pan = 0.05 * frame if frame < 40 else 30 + 0.05 * frame
        lines.append(f"{frame},0,0,1.4,{pan},0,0")
    file = tmp_path / "two.csv"
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    page.read(file, rate)
    form = page.form.camera
    assert not form.camera.isVisible()
    assert form.shot.isVisible()
    assert [form.shot.box.itemText(place) for place in range(2)] == ["frames 0 to 39", "frames 40 to 79"]
    assert (form.first.line.text(), form.last.line.text()) == ("0", "39")
    choose(form.shot.box, "40 to 79")
    assert (form.first.line.text(), form.last.line.text()) == ("40", "79")
    choose(form.place.box, "where the rig stands")
    form.replace_keys.box.setChecked(True)
    page.show_it()
    assert form.found is not None, page.refused
    assert (form.found.done.film.frames[0], form.found.done.film.frames[-1]) == (40.0, 79.0)
    # the whole is refused in the words of the page
    typed(form.first.line, "")
    typed(form.last.line, "")
    page.show_it()
    assert "“From frame” 0 “To frame” 39" in page.refused


def test_no_keys_are_made_while_something_is_dragged(page: Taking, camera: Path) -> None:
    page.read(camera)
    desk, form = page.desk, page.form.camera
    desk.draft(offset(desk.project.move, {"tilt": {1}}, value=1.0))
    page.show_it()
    assert page.refused == "end what you are dragging first"
    assert desk.proposal is None
    desk.abandon()
    typed(form.within.line, LOOSE)
    form.replace_keys.box.setChecked(True)
    page.show_it()
    assert page.refused == ""
    assert desk.proposal is not None


def test_what_is_typed_wrong_is_said_at_its_field(page: Taking, camera: Path) -> None:
    page.read(camera)
    form = page.form.camera
    for field, text in (
        (form.scale, "0"),
        (form.turn, "left"),
        (form.within, "near"),
        (form.lasts, "-1"),
        (form.begins, "x"),
    ):
        typed(field.line, text)
        assert field.fault.text(), text
    typed(form.scale.line, "1:6")
    typed(form.within.line, "2 px")
    typed(form.axes.line, "pan, tilt")
    assert form.scale.fault.text() == form.within.fault.text() == ""
    asked = form.asked()
    assert asked.placing.scale == pytest.approx(1 / 6)
    assert (asked.within.px, asked.axes) == (2.0, ("pan", "tilt"))
    typed(form.within.line, "0.05deg slide=1")
    assert (form.asked().within.units, form.asked().within.axes) == ((("deg", 0.05),), (("slide", 1.0),))
    # another file is asked anew
    other = page.folder / "other.csv"
    other.write_bytes(camera.read_bytes())
    page.read(other)
    assert form.asked().axes is None
    assert form.axes.line.text() == ""


def test_keys_made_for_a_project_that_has_changed_are_not_shown(page: Taking, camera: Path) -> None:
    page.read(camera)
    form = page.form.camera
    form.replace_keys.box.setChecked(True)
    typed(form.within.line, LOOSE)
    form.make()
    page.desk.edit("another name", replace(page.desk.project, name="Quay"))
    page.rest()
    assert page.desk.proposal is None
    assert "changed meanwhile" in page.told
    page.show_it()
    page.desk.edit("and another", replace(page.desk.project, name="Quay wall"))
    assert page.desk.proposal is None
    assert not form.take.isEnabled()


def test_too_fast_for_the_motors_is_said_with_what_helps(page: Taking, camera: Path) -> None:
    page.read(camera)
    form = page.form.camera
    form.replace_keys.box.setChecked(True)
    typed(form.within.line, LOOSE)
    typed(form.lasts.line, "0.3")
    typed(form.last.line, "265")
    page.show_it()
    assert form.found is not None, page.refused
    assert "The motors cannot do it as it is" in page.told
    assert form.found.slower is not None
    assert form.found.slower > Fraction(3, 10)
    assert "“Lasts”" in page.told
    assert "limit" in page.told
