"""Keys snap to beats and onsets as proposals that are seen before they are taken."""

from dataclasses import replace
from fractions import Fraction

from PyQt6.QtCore import Qt
from pytestqt.qtbot import QtBot

from sequencer.score.edits.offset import offset
from sequencer.score.edits.selection import everything
from sequencer.timebase.tempo import TempoMap
from tests.ui.panels.music.conftest import LEFT, find, tempo_of
from ui.desk import Desk
from ui.panels.music import MusicPanel


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
