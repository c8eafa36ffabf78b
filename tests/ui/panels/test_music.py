"""The music panel: the beat is found elsewhere, mended by hand, put on the grid as one step; keys snap as proposals."""

import shutil
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from PyQt6.QtCore import QEvent, QPoint, Qt
from PyQt6.QtGui import QKeyEvent
from PyQt6.QtWidgets import QAbstractButton, QApplication, QWidget
from pytestqt.qtbot import QtBot

from sequencer.project import audiofile
from sequencer.project.store import load
from sequencer.score.edits.offset import offset
from sequencer.score.edits.selection import everything
from sequencer.shell.kinds import laws
from sequencer.timebase.tempo import TempoMap
from tests.music import sounds
from tests.ui.conftest import LANTERNS
from ui.desk import Desk, Note
from ui.panels import hearing
from ui.panels.music import MusicPanel

LEFT = Qt.MouseButton.LeftButton


class Clock:
    """A clock that a test sets."""

    now_s = 0.0

    def __call__(self) -> float:
        return self.now_s


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return Path(shutil.copytree(LANTERNS, tmp_path / "harbour"))


@pytest.fixture
def bare(folder: Path, qtbot: QtBot) -> Desk:
    """A desk whose project has a playback and no tempo."""
    project = load(folder, laws())
    return Desk(replace(project, tempo=None), laws(), folder)


@pytest.fixture
def panel(bare: Desk, clock: Clock, qtbot: QtBot) -> Iterator[MusicPanel]:
    shown = MusicPanel(bare, clock)
    qtbot.addWidget(shown)
    shown.resize(420, 1000)
    shown.show()
    yield shown
    shown.hearing.cancel()


def find(panel: MusicPanel, qtbot: QtBot, button: QAbstractButton | None = None) -> None:
    qtbot.mouseClick(button or panel.listen, LEFT)
    qtbot.waitUntil(lambda: not panel.hearing.listening, timeout=20_000)


def tempo_of(desk: Desk) -> TempoMap:
    assert desk.project.tempo is not None
    return desk.project.tempo


def grid_of(panel: MusicPanel) -> TempoMap:
    assert panel.grid is not None
    return panel.grid


def sing(folder: Path, song: sounds.Song) -> None:
    soundfile.write(folder / "playback.wav", song.samples, song.rate_hz)


def test_the_beat_is_found_and_changes_nothing_until_it_is_put_on_the_grid(
    panel: MusicPanel, bare: Desk, qtbot: QtBot
) -> None:
    first = bare.project
    assert not panel.put.isEnabled()
    find(panel, qtbot)
    assert "96 BPM (sure)" in panel.said.text()
    assert "within 1 ms" in panel.quality.text()
    assert bare.project is first
    qtbot.mouseClick(panel.put, LEFT)
    assert tempo_of(bare) == TempoMap(Fraction(96), 4)
    assert [step.words for step in bare.history.past] == ["tempo 96 BPM in 4/4"]
    assert not panel.put.isEnabled()
    bare.undo()
    assert bare.project == first


def test_listening_can_be_stopped(panel: MusicPanel, bare: Desk, folder: Path, qtbot: QtBot) -> None:
    sing(folder, sounds.clicks(120, 60))
    qtbot.mouseClick(panel.listen, LEFT)
    assert panel.cancel.isVisible()
    assert "listening to playback.wav" in panel.said.text()
    thread = panel.hearing._thread
    assert thread is not None
    qtbot.mouseClick(panel.cancel, LEFT)
    thread.join(20)
    assert (thread.heard, thread.over) == (None, False)
    assert "stopped; nothing was changed" in panel.said.text()
    assert not panel.cancel.isVisible()
    assert panel.grid is None
    assert bare.project.tempo is None
    find(panel, qtbot)
    assert grid_of(panel).bpm == 120


def test_what_was_heard_is_kept_until_the_file_is_another(
    panel: MusicPanel, folder: Path, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    read: list[Path] = []

    def counted(path: Path, *rest: Any) -> Any:
        read.append(path)
        return loaded(path, *rest)

    loaded = audiofile.load
    monkeypatch.setattr(hearing, "load", counted)
    find(panel, qtbot)
    qtbot.mouseClick(panel.leave, LEFT)
    find(panel, qtbot)
    assert len(read) == 1
    assert grid_of(panel).bpm == 96
    sing(folder, sounds.clicks(110, 12, 12_000))
    find(panel, qtbot)
    assert len(read) == 2
    assert grid_of(panel).bpm == 110


def test_double_halve_and_a_typed_tempo(panel: MusicPanel, bare: Desk, qtbot: QtBot) -> None:
    find(panel, qtbot)
    for button, bpm in ((panel.double, 192), (panel.halve, 96), (panel.halve, 48)):
        qtbot.mouseClick(button, LEFT)
        assert panel.grid is not None
        assert panel.grid.bpm == bpm
    panel.tempo.line.setFocus()
    panel.tempo.line.selectAll()
    qtbot.keyClicks(panel.tempo.line, "93,7")
    qtbot.keyClick(panel.tempo.line, Qt.Key.Key_Return)
    assert grid_of(panel).bpm == Fraction("93.7")
    bare.place(Fraction(40))
    qtbot.mouseClick(panel.one, LEFT)
    qtbot.mouseClick(panel.put, LEFT)
    assert tempo_of(bare).bpm == Fraction("93.7")
    rate = bare.project.timebase.rate
    assert tempo_of(bare).at_s < 0
    assert (rate.frames(tempo_of(bare).at_s) * 10**9).denominator == 1  # as a project file holds it
    for text, words in (("fast", "is not a number"), ("-3", "no tempo"), ("1e9", "more than one number")):
        panel.tempo.line.selectAll()
        qtbot.keyClicks(panel.tempo.line, text)
        qtbot.keyClick(panel.tempo.line, Qt.Key.Key_Return)
        assert words in panel.tempo.said.text()
        assert panel.grid is None
    assert tempo_of(bare).bpm == Fraction("93.7")


def test_the_beat_is_found_near_a_typed_tempo(panel: MusicPanel, qtbot: QtBot) -> None:
    panel.tempo.line.setFocus()
    qtbot.keyClicks(panel.tempo.line, "47 ")
    find(panel, qtbot, panel.near)
    assert panel.grid is not None
    assert panel.grid.bpm == 48


def test_beat_one_comes_to_the_playhead(panel: MusicPanel, bare: Desk, qtbot: QtBot) -> None:
    find(panel, qtbot)
    rate = bare.project.timebase.rate
    bare.place(Fraction(63))  # half a frame after the fifth beat, which is at frame 62.5
    bare.place(Fraction(32))  # and this is nearest to the third, at 31.25
    qtbot.mouseClick(panel.one, LEFT)
    assert panel.grid is not None
    beat = panel.grid.beat(rate.seconds(Fraction("31.25")))
    assert panel.grid.in_bar(beat).beat == 0
    qtbot.mouseClick(panel.onto_beat, LEFT)
    assert not panel.onto_beat.isChecked()
    qtbot.mouseClick(panel.one, LEFT)
    assert panel.grid.in_bar(panel.grid.beat(rate.seconds(Fraction(32)))).beat == 0
    before = panel.grid.at_s
    qtbot.mouseClick(panel.later, LEFT)
    assert panel.grid.at_s - before == rate.seconds(Fraction(1, 20))
    qtbot.mouseClick(panel.put, LEFT)
    assert tempo_of(bare).at_s == before + rate.seconds(Fraction(1, 20))
    qtbot.mouseClick(panel.half, LEFT)
    assert grid_of(panel).at_s == tempo_of(bare).at_s + Fraction(5, 16)


def test_bars_get_another_number_of_beats(panel: MusicPanel, bare: Desk, qtbot: QtBot) -> None:
    find(panel, qtbot)
    panel.metre.setFocus()
    qtbot.keyClick(panel.metre, Qt.Key.Key_Down)
    qtbot.mouseClick(panel.put, LEFT)
    assert tempo_of(bare).beats_per_bar == 3
    qtbot.keyClick(panel.metre, Qt.Key.Key_Up)  # and of the grid that the project has now
    qtbot.mouseClick(panel.put, LEFT)
    assert tempo_of(bare).beats_per_bar == 4


def test_taps_tell_the_tempo_by_enter_or_mouse(panel: MusicPanel, bare: Desk, clock: Clock, qtbot: QtBot) -> None:
    find(panel, qtbot)
    assert panel.grid is not None
    first = panel.grid.at_s
    panel.tap.setFocus()
    for number in range(3):
        clock.now_s = 100.2 + number * 0.5
        qtbot.keyClick(panel.tap, Qt.Key.Key_Return)
    assert "takes 4 taps at least; there are 3" in panel.said.text()
    for number in range(3, 8):
        clock.now_s = 100.2 + number * 0.5
        qtbot.mouseClick(panel.tap, LEFT)
    assert grid_of(panel) == TempoMap(Fraction(120), 4, first)
    assert "where the beats fall stays" in panel.said.text()
    held = QKeyEvent(QEvent.Type.KeyPress, Qt.Key.Key_Return, Qt.KeyboardModifier.NoModifier, "", True)
    QApplication.sendEvent(panel.tap, held)
    assert panel.tap.count == 8
    clock.now_s += 10
    qtbot.keyClick(panel.tap, Qt.Key.Key_Return)
    assert "there are 1" in panel.said.text()


def test_taps_while_the_playhead_runs_tell_where_beats_fall(
    panel: MusicPanel, bare: Desk, clock: Clock, qtbot: QtBot
) -> None:
    rate = bare.project.timebase.rate
    for number in range(8):
        clock.now_s = 50 + number * 0.625
        bare.place(rate.frames(Fraction(3) + number * Fraction(5, 8)))
        qtbot.keyClick(panel.tap, Qt.Key.Key_Enter)
    assert panel.grid is not None
    assert panel.grid.bpm == 96
    assert abs(panel.grid.nearest(Fraction(3)) - 3) < Fraction(1, 1000)


def test_music_that_gets_faster_is_followed_or_not(panel: MusicPanel, bare: Desk, folder: Path, qtbot: QtBot) -> None:
    sing(folder, sounds.drums(106, 30, at_s=sounds.gliding(103, 109, 30), rate_hz=12_000))
    panel.tempo.line.setFocus()
    qtbot.keyClicks(panel.tempo.line, "106")
    find(panel, qtbot, panel.near)
    assert "they are not even" in panel.said.text()
    assert panel.steps.isChecked()
    assert panel.grid is not None
    assert len(panel.grid.changes) >= 1
    assert "tempi from 10" in panel.quality.text()
    qtbot.mouseClick(panel.put, LEFT)
    assert tempo_of(bare).changes
    qtbot.mouseClick(panel.steps, LEFT, pos=QPoint(8, panel.steps.height() // 2))
    assert panel.grid is not None
    assert panel.grid.changes == ()
    assert "the farthest" in panel.quality.text()


def test_keys_snap_to_beats_as_a_proposal(panel: MusicPanel, bare: Desk, qtbot: QtBot) -> None:
    find(panel, qtbot)
    qtbot.mouseClick(panel.put, LEFT)
    moved = offset(bare.project.move, {"tilt": {1}, "pan": {2}}, frames=Fraction("2.25"))
    bare.edit("shift", offset(moved, {"roll": {0}}, frames=Fraction("-0.5")))
    first = bare.project
    bare.select({"tilt": {1}})
    qtbot.mouseClick(panel.snap.show_it, LEFT)
    assert bare.project is first
    assert bare.proposal is not None
    assert bare.proposal.lines == ("tilt, key 2 at 10:00:12:14.75: -2.25 frames",)
    panel.snap.which.setCurrentIndex(1)
    qtbot.mouseClick(panel.snap.show_it, LEFT)
    assert bare.proposal is not None
    assert [line.split(":")[-1] for line in bare.proposal.lines] == [" -2.25 frames", " -2.25 frames", " +0.50 frames"]
    assert panel.snap.moves.count() == 3
    bare.take_proposal()
    assert panel.snap.moves.count() == 0
    at = [key.at for track in bare.project.move.tracks for key in track.keys]
    grid, rate = tempo_of(bare), bare.project.timebase.rate
    assert all(abs(rate.frames(grid.nearest(rate.seconds(each))) - each) < Fraction(1, 10**6) for each in at)
    bare.undo()
    assert bare.project == first


def test_keys_snap_to_onsets_of_a_strength(panel: MusicPanel, bare: Desk, qtbot: QtBot) -> None:
    panel.snap.onto.setCurrentIndex(4)
    bare.select(everything(bare.project.move))
    qtbot.mouseClick(panel.snap.show_it, LEFT)
    assert "no onsets were heard yet" in panel.snap.said.text()
    find(panel, qtbot)
    many = len(panel.onsets())
    panel.threshold.setFocus()
    qtbot.keyClick(panel.threshold, Qt.Key.Key_End)
    assert 0 < len(panel.onsets()) < many
    assert panel.counted.text() == f"{len(panel.onsets())} onsets"
    qtbot.keyClick(panel.threshold, Qt.Key.Key_Home)
    assert len(panel.onsets()) > many
    panel.threshold.setValue(20)
    bare.edit("shift", offset(bare.project.move, {"tilt": {1}}, frames=Fraction(2)))
    bare.select({"tilt": {1}})
    qtbot.mouseClick(panel.snap.show_it, LEFT)
    assert bare.proposal is not None
    bare.take_proposal()
    key = bare.project.move.tracks[1].keys[1]
    assert abs(key.at - Fraction("312.5")) < Fraction(1, 20)  # where the song's 21st beat sounds, to 2 ms


def test_what_cannot_be_snapped_is_said(panel: MusicPanel, bare: Desk, qtbot: QtBot) -> None:
    bare.select({"tilt": {1}})
    qtbot.mouseClick(panel.snap.show_it, LEFT)
    assert "put a tempo on the grid first" in panel.snap.said.text()
    bare.edit("tempo", replace(bare.project, tempo=TempoMap(Fraction(1), 4)))
    panel.snap.which.setCurrentIndex(1)
    qtbot.mouseClick(panel.snap.show_it, LEFT)
    assert "would come at the same instant as" in panel.snap.said.text()
    assert "@" not in panel.snap.said.text()
    assert bare.proposal is None
    panel.snap.which.setCurrentIndex(0)
    bare.select({})
    qtbot.mouseClick(panel.snap.show_it, LEFT)
    assert "no key is chosen" in panel.snap.said.text()


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda path: path.unlink(), "playback.wav is not there; copy it into"),
        (lambda path: path.write_bytes(b"no sound at all"), "no audio file that can be read"),
        (lambda path: path.write_bytes(path.read_bytes()[:30]), "no audio file that can be read"),
        (lambda path: soundfile.write(path, np.zeros(120_000), 12_000), "no steady beat found: the audio is silent"),
        (lambda path: soundfile.write(path, sounds.noise(9, 12_000), 12_000), "no steady beat found: nothing"),
        (lambda path: soundfile.write(path, np.zeros(0), 12_000), "no steady beat found: the audio lasts 0.0 s"),
        (
            lambda path: soundfile.write(path, np.full(120_000, np.nan), 12_000, subtype="FLOAT"),
            "has samples that are no numbers; export it again",
        ),
    ],
    ids=["gone", "text", "cut", "silent", "noise", "empty", "nan"],
)
def test_a_playback_that_cannot_be_used_is_said_with_the_mend(
    panel: MusicPanel, bare: Desk, folder: Path, qtbot: QtBot, spoil: Any, words: str
) -> None:
    spoil(folder / "playback.wav")
    find(panel, qtbot)
    assert words in panel.said.text()
    assert panel.grid is None
    assert not panel.put.isEnabled()
    assert bare.project.tempo is None


def test_without_a_playback_or_a_folder_it_says_what_to_do(panel: MusicPanel, bare: Desk, qtbot: QtBot) -> None:
    bare.open(bare.project, None)
    find(panel, qtbot)
    assert "save the project first" in panel.said.text()
    bare.edit("no playback", replace(bare.project, playback=None))
    find(panel, qtbot)
    assert "has no playback" in panel.said.text()
    qtbot.mouseClick(panel.double, LEFT)
    assert "there is no tempo to change yet" in panel.said.text()


def test_while_editing_is_locked_nothing_is_put_on_the_grid(panel: MusicPanel, bare: Desk, qtbot: QtBot) -> None:
    notes: list[Note] = []
    bare.noted.connect(notes.append)
    find(panel, qtbot)
    bare.lock("the rig is armed")
    assert not panel.put.isEnabled()
    assert not panel.snap.show_it.isEnabled()
    panel.put_on_grid()
    assert bare.project.tempo is None
    bare.lock("")
    qtbot.mouseClick(panel.put, LEFT)
    assert tempo_of(bare).bpm == 96


def test_every_control_has_a_name_and_the_keyboard_reaches_it(panel: MusicPanel, qtbot: QtBot) -> None:
    find(panel, qtbot)
    inside = panel.widget()
    assert inside is not None
    controls = [
        one for one in inside.findChildren(QWidget) if one.focusPolicy() & Qt.FocusPolicy.TabFocus and one.isVisible()
    ]
    assert len(controls) >= 14
    # the text inside a box of numbers has the box's name
    assert not [one for one in controls if not one.accessibleName() and one.parent() is not panel.metre]
    order: list[QWidget] = []
    at: QWidget | None = panel.listen
    while at is not None and at not in order:
        order.append(at)
        at = at.nextInFocusChain()
    assert set(controls) <= set(order)


def test_it_fits_a_narrow_column(panel: MusicPanel, qtbot: QtBot) -> None:
    find(panel, qtbot)
    inside = panel.widget()
    assert inside is not None
    assert inside.minimumSizeHint().width() <= 340
