"""The rig column: rows beside their lanes, positions that came from the rig, and markers that say why they are shut."""

from dataclasses import replace

import pytest
from PyQt6.QtCore import Qt
from pytestqt.qtbot import QtBot

from sequencer.score.move import Marker
from tests.ui.link.fakes import Bench
from ui.run.column import RigColumn


@pytest.fixture
def column(bench: Bench, qtbot: QtBot) -> RigColumn:
    one = RigColumn(bench.desk, bench.link)
    qtbot.addWidget(one)
    one.resize(260, 800)
    one.show()
    return one


def test_positions_are_those_of_the_rig(column: RigColumn, bench: Bench) -> None:
    moved: list[tuple[float | None, ...]] = []
    column.moved.connect(moved.append)
    bench.connect()
    number = len(bench.desk.project.rig.axes)
    actual = (1.25, None, *(0.0,) * (number - 2))
    bench.phase("idle", actual=actual, asked=(1.0,) * number)
    assert column.actual == actual
    assert moved[-1] == actual
    assert "at 1.25" in column.rows[0].accessibleName()
    assert "at -" in column.rows[1].accessibleName()
    bench.crew.silent = True
    bench.go(0.5)
    assert "stale" in column.rows[0].accessibleName()


def test_rows_lie_beside_their_lanes_and_are_spread_while_running(column: RigColumn, bench: Bench) -> None:
    names = bench.desk.project.rig.names
    column.align([(names[1], 30.0, 50.0), (names[0], 80.0, 70.0)])
    by_name = {row.near.axis.name: row.geometry() for row in column.rows}
    assert (by_name[names[1]].top(), by_name[names[1]].height()) == (30, 50)
    assert (by_name[names[0]].top(), by_name[names[0]].height()) == (80, 70)
    assert all(by_name[name].top() >= 150 for name in names[2:])
    bench.desk.turn_to("run")
    heights = {row.height() for row in column.rows}
    assert len(heights) == 1
    tops = [row.y() for row in column.rows]
    assert tops == sorted(tops)


def test_another_rig_has_other_rows(column: RigColumn, bench: Bench) -> None:
    project = bench.desk.project
    bare = replace(project.move, tracks=())
    bench.desk.edit("lift off", replace(project, rig=replace(project.rig, axes=project.rig.axes[:2]), move=bare))
    assert [row.near.axis.name for row in column.rows] == list(project.rig.names[:2])


def test_markers_send_the_playhead_anywhere_and_the_rig_to_cues_only(
    column: RigColumn, bench: Bench, qtbot: QtBot
) -> None:
    move = bench.desk.project.move
    cue = replace(move.cues[0], name="other")
    begin = Marker("at the cue", cue.start)
    bench.desk.edit("mark", replace(move, markers=(*move.markers, begin), cues=(*move.cues, cue)))
    bench.link.choose(replace(bench.link.choice, cue=None))
    marks = column.marks
    assert not marks.go.isEnabled()
    assert marks.why.text() == "choose a marker"
    shown = [marks.list.item(number) for number in range(marks.list.count())]
    place = next(number for number, item in enumerate(shown) if item is not None and "at the cue" in item.text())
    other = next(number for number, item in enumerate(shown) if item is not None and "at the cue" not in item.text())
    marks.list.setCurrentRow(other)
    assert "no cue begins here" in marks.why.text()
    assert not marks.go.isEnabled()
    marks.list.setCurrentRow(place)
    qtbot.mouseClick(marks.look, Qt.MouseButton.LeftButton)
    assert bench.desk.playhead == cue.start
    qtbot.mouseClick(marks.go, Qt.MouseButton.LeftButton)
    assert bench.link.choice.cue == move.cues[0].name
    bench.ready()
    assert "stop it first" in marks.why.text()
    assert not marks.go.isEnabled()
