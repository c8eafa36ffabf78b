"""From a take in which hands had axes to a proposal: axes, nearness, stretch, gaps, numbers; kept, left, cancelled."""

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from PyQt6.QtCore import QItemSelectionModel, Qt
from pytestqt.qtbot import QtBot

from sequencer.motion.check import check
from sequencer.motion.compile import compile_move
from sequencer.project.performance import performance
from sequencer.project.takefile import read
from sequencer.shell.recorder import Recorder
from sequencer.takes.pixels import pixels
from sequencer.takes.rows import EventRow, Heading, SetpointRow
from tests.live.hand import performed
from ui.desk import Desk
from ui.panels.capture import CapturePanel
from ui.panels.takes import TakesPanel

HZ = 100
FIRST_S, LASTS_S = 7.398, 7.0  # of the cue, from the project's start
IN_S, OUT_S = 1.0, 5.5
ORIGIN_NS = 77_000_000_001
LEFT = Qt.MouseButton.LeftButton
NAME = "lantern-turn_band_001"


def shoot(
    desk: Desk,
    folder: Path,
    *,
    by_hand: tuple[str, ...] = ("pan", "focus"),
    punches: bool = True,
    jump_s: float = 0.0,
) -> Path:
    """Record a take in which hands had axes from 1 s to 5.5 s; its clock jumps in the middle of that by `jump_s`."""
    rig, folder = desk.project.rig, folder / "takes"
    folder.mkdir(exist_ok=True)
    heading = Heading(
        name=NAME,
        project=desk.project.name,
        cue="lantern turn",
        run="band",
        cue_s=(FIRST_S, FIRST_S + LASTS_S),
        rate="25",
        drop=False,
        start="10:00:00:00",
        axes=rig.names,
        kinds=tuple(axis.kind for axis in rig.axes),
        units=tuple(axis.unit for axis in rig.axes),
        sensor_mm=None,
        pixels=None,
        focal_mm=None,
        subject_m=None,
        started="2031-05-04T18:30:01+00:00",
        by_hand=by_hand,
    )
    columns = [performed(rig, name, place, LASTS_S)[1][:: 250 // HZ] for place, name in enumerate(rig.names)]
    path = folder / f"{NAME}.mcap"
    with Recorder.open(path, heading) as recorder:
        for step in range(round(LASTS_S * HZ)):
            at_ns, at_s = ORIGIN_NS + step * 10_000_000, FIRST_S + step / HZ
            if step / HZ >= (IN_S + OUT_S) / 2:
                at_s += jump_s
            position = tuple(float(column[step]) for column in columns)
            recorder.write(SetpointRow(at_ns, at_s, "running", position, (0.0,) * len(position)))
            for punch_s, way in ((IN_S, "in"), (OUT_S, "out")):
                if punches and step == round(punch_s * HZ):
                    recorder.write(EventRow(at_ns, "punch", way))
    return path


@pytest.fixture
def panel(desk: Desk, tmp_path: Path, qtbot: QtBot) -> Iterator[CapturePanel]:
    desk.open(desk.project, tmp_path)
    one = CapturePanel(desk)
    qtbot.addWidget(one)
    one.resize(1000, 300)
    one.show()
    yield one
    one.give_up()


def settled(panel: CapturePanel, qtbot: QtBot) -> None:
    qtbot.waitUntil(lambda: not panel.busy, timeout=60_000)


def begin(panel: CapturePanel, qtbot: QtBot, path: Path) -> None:
    panel.begin(path)
    settled(panel, qtbot)


def typed(panel: CapturePanel, axis: str, text: str, unit: str) -> None:
    row = panel.axes.rows[axis]
    row.unit.setCurrentIndex(row.unit.findData(unit))
    row.line.setText(text)


def table(panel: CapturePanel) -> list[list[str]]:
    columns = range(panel.table.columnCount())
    return [
        [item.text() for column in columns if (item := panel.table.item(row, column)) is not None]
        for row in range(panel.table.rowCount())
    ]


def test_a_take_says_which_axes_and_when_hands_had_them(
    panel: CapturePanel, desk: Desk, tmp_path: Path, qtbot: QtBot
) -> None:
    begin(panel, qtbot, shoot(desk, tmp_path))
    assert list(panel.axes.rows) == ["pan", "focus"]
    assert "hands performed pan, focus" in panel.which.text()
    rate = desk.project.timebase.rate
    # whole frames inside of what was punched, from 8.398 s to 12.898 s, which are frames 209.95 and 322.45; the rig, as
    # late as its slowest axis there (6 ms), is where it was sent from frame 210.1 on
    assert [panel.spans.itemData(0).start, panel.spans.itemData(0).end] == [Fraction(211), Fraction(322)]
    assert panel.start.text == str(desk.project.timebase.label(Fraction(211)))
    assert panel.end.text == str(desk.project.timebase.label(rate.frames(Fraction(322, 25))))
    assert not panel.gaps.isVisible()
    # pan moves the picture, focus does not: nobody guesses how near it is to be
    assert panel.axes.rows["pan"].unit.currentData() == "px"
    assert panel.axes.rows["focus"].unit.count() == 1
    assert panel.axes.rows["focus"].line.text() == ""


def test_keys_are_proposed_with_their_numbers_and_taken_as_one_step(
    panel: CapturePanel, desk: Desk, tmp_path: Path, qtbot: QtBot
) -> None:
    path = shoot(desk, tmp_path)
    begin(panel, qtbot, path)
    typed(panel, "pan", "1,5 px", "px")
    typed(panel, "focus", "0.01", "part")
    before = desk.project
    qtbot.mouseClick(panel.show_it, LEFT)
    assert panel.cancel.isVisible()
    settled(panel, qtbot)
    assert desk.project is before
    proposal = desk.proposal
    assert proposal is not None
    pan, focus = table(panel)
    assert (pan[0], focus[0]) == ("pan (deg)", "focus (part)")
    keys = {track.axis: [key for key in track.keys if 211 <= key.at <= 322] for track in proposal.move.tracks}
    counts = [int(cells[1].partition(",")[0]) for cells in (pan, focus)]
    assert counts == [len(keys["pan"]), len(keys["focus"])]
    assert float(pan[3]) <= 1.5
    off, _, most = focus[2].partition(" of ")
    assert float(off) <= float(most) == 0.01
    assert focus[3] == "–"
    # held against what was recorded, here and not by the panel
    take = read(path)
    after = compile_move(before.rig, proposal.move, before.timebase.rate, desk.laws)
    inside = (take.timeline_s > 8.5) & (take.timeline_s < 12.8)
    place = before.rig.index("pan")
    there = after.sample(take.timeline_s[inside] + before.rig.axes[place].latency_s)[:, place]
    camera = before.rig.camera
    assert camera is not None
    off_px = pixels(there - take.asked[inside, place], "pan", "deg", camera)
    assert 0.1 < float(off_px.max()) <= 1.5
    judged = check(before.rig, proposal.move, before.timebase.rate, desk.laws)
    assert ("keeps all limits" in proposal.lines[0]) is judged.ok
    assert ("breaks limits" in proposal.lines[0]) is not judged.ok
    assert proposal.lines[1].startswith(f"pan: {counts[0]} keys for ")
    steps = len(desk.history.past)
    qtbot.mouseClick(panel.take, LEFT)
    assert desk.project.move is proposal.move
    assert len(desk.history.past) == steps + 1
    assert desk.history.past[-1].words == f"keys of pan, focus performed in {NAME}"
    assert panel.said.text() == "Taken: one step, which undo takes back."
    desk.undo()
    assert desk.project == before


def test_it_is_the_same_as_the_command_makes(panel: CapturePanel, desk: Desk, tmp_path: Path, qtbot: QtBot) -> None:
    path = shoot(desk, tmp_path)
    begin(panel, qtbot, path)
    typed(panel, "pan", "0.2", "deg")
    typed(panel, "focus", "1 %", "part")
    panel.make()
    settled(panel, qtbot)
    both = performance(
        desk.project, desk.laws, read(path), {"pan": 0.2, "focus": 0.01}, start=Fraction(211), end=Fraction(322)
    )
    assert desk.proposal is not None
    assert desk.proposal.move == both.project.move


def test_an_axis_that_is_not_ticked_keeps_its_keys(
    panel: CapturePanel, desk: Desk, tmp_path: Path, qtbot: QtBot
) -> None:
    begin(panel, qtbot, shoot(desk, tmp_path))
    panel.axes.rows["focus"].tick.setChecked(False)
    panel.make()
    settled(panel, qtbot)
    assert desk.proposal is not None
    tracks = {track.axis: track for track in desk.proposal.move.tracks}
    assert tracks["focus"] == desk.track("focus")
    assert tracks["pan"] != desk.track("pan")
    qtbot.mouseClick(panel.leave, LEFT)
    assert desk.proposal is None
    assert not panel.take.isEnabled()


@pytest.mark.parametrize(
    ("pan", "focus", "words"),
    [
        ("1", "", "focus: nothing is written here"),
        ("0", "0.1", "is not how far off it may be; write a number above zero"),
        ("far", "0.1", "pan: “far” is not a number"),
        ("1 mm", "0.1", "pan: this is counted in px, not in mm"),
        ("1", "9", "focus"),
    ],
)
def test_a_nearness_that_is_none_is_refused_in_words(
    panel: CapturePanel, desk: Desk, tmp_path: Path, qtbot: QtBot, pan: str, focus: str, words: str
) -> None:
    begin(panel, qtbot, shoot(desk, tmp_path))
    typed(panel, "pan", pan, "px")
    typed(panel, "focus", focus, "part")
    panel.make()
    settled(panel, qtbot)
    assert words in panel.refused.text()
    assert panel.refused.isVisible()
    assert desk.proposal is None


def test_no_axis_and_no_stretch_are_refused(panel: CapturePanel, desk: Desk, tmp_path: Path, qtbot: QtBot) -> None:
    begin(panel, qtbot, shoot(desk, tmp_path, by_hand=("pan",)))
    panel.start.line.setText(panel.end.text)
    panel.make()
    assert "end before they begin" in panel.refused.text()
    panel.start.line.setText("at -1 s")
    panel.make()
    settled(panel, qtbot)
    assert "was not performed" in panel.refused.text()
    assert "@" not in panel.refused.text()
    panel.axes.rows["pan"].tick.setChecked(False)
    panel.make()
    assert "no axis is ticked" in panel.refused.text()
    assert desk.proposal is None


def test_gaps_of_the_clock_are_told_and_part_what_was_performed(
    panel: CapturePanel, desk: Desk, tmp_path: Path, qtbot: QtBot
) -> None:
    begin(panel, qtbot, shoot(desk, tmp_path, jump_s=0.4))
    assert panel.spans.count() == 2
    assert "the clock jumps forward at 10:00:10:" in panel.gaps.text()
    assert "by 0.4 s" in panel.gaps.text()
    spans = [panel.spans.itemData(place) for place in range(2)]
    assert spans[0].end - spans[0].start >= spans[1].end - spans[1].start
    qtbot.keyClick(panel.spans, Qt.Key.Key_Down)
    assert panel.start.text == str(desk.project.timebase.label(spans[1].start))
    typed(panel, "focus", "0.01", "part")
    panel.make()
    settled(panel, qtbot)
    assert desk.proposal is not None


def test_without_a_punch_it_is_all_of_the_run(panel: CapturePanel, desk: Desk, tmp_path: Path, qtbot: QtBot) -> None:
    begin(panel, qtbot, shoot(desk, tmp_path, punches=False))
    one = panel.spans.itemData(0)
    assert (one.start, one.end) == (186, 359)  # 7.404 s and 14.388 s, in whole frames inside


def test_a_cancelled_making_changes_nothing(panel: CapturePanel, desk: Desk, tmp_path: Path, qtbot: QtBot) -> None:
    begin(panel, qtbot, shoot(desk, tmp_path, by_hand=("pan",)))
    panel.make()
    job = panel._job
    assert job is not None
    qtbot.mouseClick(panel.cancel, LEFT)
    assert not panel.busy
    assert panel.said.text() == "Cancelled. The move is as it was."
    assert job.join(60.0)
    qtbot.wait(60)  # an answer that was on its way would be here by now
    assert desk.proposal is None
    assert panel.show_it.isEnabled()


def test_keys_for_a_project_that_changed_meanwhile_are_dropped(
    panel: CapturePanel, desk: Desk, tmp_path: Path, qtbot: QtBot
) -> None:
    begin(panel, qtbot, shoot(desk, tmp_path, by_hand=("pan",)))
    panel.make()
    desk.edit("no markers", replace(desk.project.move, markers=()))
    assert not panel.busy
    assert "was changed meanwhile" in panel.said.text()
    qtbot.wait(60)  # as above
    assert desk.proposal is None


def test_a_take_without_hands_or_none_at_all_says_why(
    panel: CapturePanel, desk: Desk, tmp_path: Path, qtbot: QtBot
) -> None:
    begin(panel, qtbot, shoot(desk, tmp_path, by_hand=()))
    assert "no axis was performed by hand" in panel.refused.text()
    assert not panel.show_it.isEnabled()
    (tmp_path / "none.mcap").write_bytes(b"no take")
    begin(panel, qtbot, tmp_path / "none.mcap")
    assert "not a take file" in panel.refused.text()


def test_what_was_refused_of_a_take_is_not_said_of_what_is_read_after(
    panel: CapturePanel, desk: Desk, tmp_path: Path, qtbot: QtBot
) -> None:
    begin(panel, qtbot, shoot(desk, tmp_path))
    panel.start.line.setText("never")
    panel.make()
    assert panel.refused.text()
    panel.coasts.click()
    settled(panel, qtbot)
    assert panel.refused.text() == ""


def test_an_axis_that_is_gone_is_said(panel: CapturePanel, desk: Desk, tmp_path: Path, qtbot: QtBot) -> None:
    path = shoot(desk, tmp_path)
    rig, move = desk.project.rig, desk.project.move
    axes = tuple(axis for axis in rig.axes if axis.name != "focus")
    tracks = tuple(track for track in move.tracks if track.axis != "focus")
    desk.edit("no focus", replace(desk.project, rig=replace(rig, axes=axes), move=replace(move, tracks=tracks)))
    begin(panel, qtbot, path)
    assert panel.refused.text() == "The rig has no focus any more; it gets no keys."
    assert list(panel.axes.rows) == ["pan"]
    panel.make()
    settled(panel, qtbot)
    assert desk.proposal is not None


def test_every_control_has_a_name_to_be_spoken(panel: CapturePanel, desk: Desk, tmp_path: Path, qtbot: QtBot) -> None:
    begin(panel, qtbot, shoot(desk, tmp_path))
    for row in panel.axes.rows.values():
        for widget in (row.tick, row.line, row.unit):
            assert row.axis.name in widget.accessibleName()
    for control in (
        panel.spans,
        panel.start.line,
        panel.end.line,
        panel.coasts,
        panel.show_it,
        panel.table,
        panel.back,
    ):
        assert control.accessibleName()


@pytest.mark.parametrize(("by_hand", "offered"), [(("pan",), True), ((), False)])
def test_the_takes_offer_keys_of_a_take_with_hands(
    desk: Desk, tmp_path: Path, qtbot: QtBot, by_hand: tuple[str, ...], offered: bool
) -> None:
    shoot(desk, tmp_path, by_hand=by_hand)
    desk.open(desk.project, tmp_path)
    takes = TakesPanel(desk)
    qtbot.addWidget(takes)
    takes.show()
    qtbot.waitUntil(lambda: takes.model.rowCount() == 1, timeout=20_000)
    assert not takes.keys.isEnabled()
    selection = takes.table.selectionModel()
    assert selection is not None
    flag = QItemSelectionModel.SelectionFlag
    selection.select(takes.model.index(0, 0), flag.Select | flag.Rows)
    assert takes.keys.isEnabled() is offered
    if not offered:
        return
    qtbot.mouseClick(takes.keys, LEFT)
    settled(takes.capture, qtbot)
    assert takes.capture.isVisible()
    assert not takes.table.isVisible()
    qtbot.mouseClick(takes.capture.back, LEFT)
    assert takes.table.isVisible()


def test_hands_columns_are_in_the_list(desk: Desk, tmp_path: Path, qtbot: QtBot) -> None:
    shoot(desk, tmp_path)
    desk.open(desk.project, tmp_path)
    takes = TakesPanel(desk)
    qtbot.addWidget(takes)
    qtbot.waitUntil(lambda: takes.model.rowCount() == 1, timeout=20_000)
    titles = [takes.model.headerData(column, Qt.Orientation.Horizontal) for column in range(takes.model.columnCount())]
    assert takes.model.index(0, titles.index("by hand")).data() == "pan, focus"


def test_positions_of_the_hand_are_no_straight_line(desk: Desk) -> None:
    """What the other tests capture is a movement."""
    path = performed(desk.project.rig, "pan", desk.project.rig.index("pan"), LASTS_S)[1]
    assert float(np.ptp(path)) > 1.0
