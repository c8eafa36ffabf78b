"""The takes panel: files good and bad, notes and circles on the disk, comparisons with plots, and the report."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PyQt6.QtCore import QItemSelectionModel, QPoint, Qt
from PyQt6.QtWidgets import QLineEdit
from pytestqt.qtbot import QtBot

from sequencer.project import takelog
from sequencer.project.takelog import Entry
from sequencer.shell.recorder import Recorder
from sequencer.takes.rows import ActualRow, EventRow, Heading, SetpointRow, TimecodeRow
from ui.desk import Desk
from ui.panels.takes import TakesPanel
from ui.panels.takes_model import CIRCLED, NOTE, STANDING

HEADING = Heading(
    name="lantern-turn_band_001",
    project="Harbour lanterns",
    cue="lantern turn",
    run="band",
    cue_s=(2.0, 3.0),
    rate="25",
    drop=False,
    start="10:00:00:00",
    axes=("pan",),
    kinds=("pan",),
    units=("deg",),
    sensor_mm=(24.9, 14.0),
    pixels=(4096, 2304),
    focal_mm=35.0,
    subject_m=4.0,
    started="2031-05-04T18:30:01+00:00",
)
ORIGIN_NS = 77_000_000_001


def shoot(folder: Path, number: int, off_deg: float = 0.0) -> Path:
    """Record a take whose pan stands `off_deg` beside where it was asked to."""
    folder.mkdir(exist_ok=True)
    name = f"lantern-turn_band_{number:03}"
    path = folder / f"{name}.mcap"
    with Recorder.open(path, replace(HEADING, name=name, started=f"2031-05-04T18:30:{number:02}+00:00")) as recorder:
        for step in range(400):
            at_ns, at_s = ORIGIN_NS + step * 10_000_000, step / 100
            pan = float(np.sin(at_s) * 10)
            recorder.write(SetpointRow(at_ns, at_s, "running", (pan,), (0.0,)))
            recorder.write(ActualRow(at_ns + 1, at_ns + 2, (pan + off_deg,)))
            recorder.write(TimecodeRow(at_ns + 2, at_s))
    return path


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "takes"


@pytest.fixture
def panel(desk: Desk, folder: Path, qtbot: QtBot) -> Iterator[TakesPanel]:
    for number, off_deg in ((1, 0.0), (2, 0.01)):
        shoot(folder, number, off_deg)
    desk.open(desk.project, folder.parent)
    panel = TakesPanel(desk)
    qtbot.addWidget(panel)
    panel.resize(980, 640)
    panel.show()
    settled(panel, qtbot)
    yield panel
    settled(panel, qtbot)


def settled(panel: TakesPanel, qtbot: QtBot) -> None:
    qtbot.waitUntil(lambda: not panel.busy, timeout=60_000)


def names(panel: TakesPanel) -> list[str]:
    return [take.path.stem for take in panel.model.listed.takes]


def choose(panel: TakesPanel, *rows: int) -> None:
    selection = panel.table.selectionModel()
    assert selection is not None
    selection.clearSelection()
    flag = QItemSelectionModel.SelectionFlag
    for row in rows:
        selection.select(panel.model.index(row, 0), flag.Select | flag.Rows)


def test_takes_are_listed_the_newest_first(panel: TakesPanel) -> None:
    assert names(panel) == ["lantern-turn_band_002", "lantern-turn_band_001"]
    cells = [panel.model.index(0, column).data() for column in range(panel.model.columnCount())]
    assert cells[1:7] == ["lantern-turn_band_002", "whole", "", "lantern turn", "band", "1"]
    assert cells[8] == "4.0 s"


def test_a_click_circles_a_take_on_the_disk(panel: TakesPanel, folder: Path, qtbot: QtBot) -> None:
    cell = panel.table.visualRect(panel.model.index(1, CIRCLED))
    qtbot.mouseClick(panel.table.viewport(), Qt.MouseButton.LeftButton, pos=QPoint(cell.left() + 10, cell.center().y()))
    assert takelog.read(folder) == {"lantern-turn_band_001.mcap": Entry(circled=True)}
    assert panel.model.index(1, CIRCLED).data(Qt.ItemDataRole.CheckStateRole) == Qt.CheckState.Checked
    choose(panel, 1)
    qtbot.mouseClick(panel.circle, Qt.MouseButton.LeftButton)
    assert takelog.read(folder) == {}


def test_a_note_is_typed_in_place(panel: TakesPanel, folder: Path, qtbot: QtBot) -> None:
    panel.table.setCurrentIndex(panel.model.index(0, NOTE))
    qtbot.keyClick(panel.table, Qt.Key.Key_F2)
    editor = panel.table.viewport().findChild(QLineEdit)  # type: ignore[union-attr]  # every table has one
    assert editor is not None
    qtbot.keyClicks(editor, "a gull crossed")
    # a folder that changes now takes nothing away from who types
    shoot(folder, 3)
    panel.refresh()
    assert not panel.busy
    assert editor.text() == "a gull crossed"
    qtbot.keyClick(editor, Qt.Key.Key_Return)
    said = {"lantern-turn_band_002.mcap": Entry(note="a gull crossed")}
    qtbot.waitUntil(lambda: takelog.read(folder) == said)
    qtbot.waitUntil(lambda: len(names(panel)) == 3, timeout=20_000)
    assert panel.model.index(1, NOTE).data() == "a gull crossed"


def test_a_new_take_comes_into_the_list_by_itself(panel: TakesPanel, folder: Path, qtbot: QtBot) -> None:
    choose(panel, 0)
    shoot(folder, 3)
    qtbot.waitUntil(lambda: len(names(panel)) == 3, timeout=20_000)
    assert names(panel)[0] == "lantern-turn_band_003"
    # what was chosen is the same take
    assert [take.path.stem for take in panel.chosen()] == ["lantern-turn_band_002"]


def test_a_takes_folder_that_is_made_later_is_found(desk: Desk, tmp_path: Path, qtbot: QtBot) -> None:
    desk.open(desk.project, tmp_path)
    panel = TakesPanel(desk)
    qtbot.addWidget(panel)
    settled(panel, qtbot)
    assert "no takes yet" in panel.told.text()
    shoot(tmp_path / "takes", 1)
    qtbot.waitUntil(lambda: len(names(panel)) == 1, timeout=20_000)
    assert panel.told.text() == ""


def test_damaged_takes_are_listed_with_why(panel: TakesPanel, folder: Path, qtbot: QtBot) -> None:
    whole = (folder / "lantern-turn_band_001.mcap").read_bytes()
    (folder / "cut.mcap").write_bytes(whole[: len(whole) // 2])
    (folder / "none.mcap").write_bytes(b"no take")
    (folder / "a folder.mcap").mkdir()
    panel.refresh()
    settled(panel, qtbot)
    states = {
        take.path.stem: panel.model.index(row, STANDING).data() for row, take in enumerate(panel.model.listed.takes)
    }
    assert states["cut"] == "broken off"
    assert states["none"] == states["a folder"] == "cannot be used"
    assert states["lantern-turn_band_001"] == "whole"
    # a search for what stands there finds it
    panel.search.setText("broken off")
    assert names(panel) == ["cut"]
    panel.search.setText("")
    assert panel.table.columnWidth(NOTE) == 240
    choose(panel, names(panel).index("none"))
    assert panel.told.text().startswith("none.mcap: not a take file")


def test_chosen_takes_are_compared_with_plots_and_the_report_written(
    panel: TakesPanel, folder: Path, qtbot: QtBot
) -> None:
    choose(panel, 0, 1)
    qtbot.keyClicks(panel.within, "0,5 px")
    qtbot.mouseClick(panel.compare_chosen, Qt.MouseButton.LeftButton)
    settled(panel, qtbot)
    assert panel.result.words.text().startswith("The takes do not match")
    axes = panel.result.axes
    assert [axes.item(row, 0).text() for row in range(axes.rowCount())] == ["pan (deg)"]  # type: ignore[union-attr]  # all cells are filled
    assert axes.item(0, 3).text() == "0.0100"  # type: ignore[union-attr]  # as above
    # 0.01 deg at 35 mm on 24.9 mm and 4096 pixels: 35 tan(0.01 deg) 4096 / 24.9. Source: the pinhole camera
    assert float(axes.item(0, 5).text()) == pytest.approx(1.00, abs=0.02)  # type: ignore[union-attr]  # as above
    assert len(panel.result.plots) == 3
    assert all(plot.renderer().isValid() for plot in panel.result.plots)  # type: ignore[union-attr]  # each has one
    qtbot.mouseClick(panel.report, Qt.MouseButton.LeftButton)
    settled(panel, qtbot)
    page = (folder / "lantern-turn_band_001-002.html").read_text(encoding="utf-8")
    assert "lantern-turn_band_002" in page
    assert "lantern-turn_band_001-002.html" in panel.told.text()


@pytest.mark.parametrize("typed", ["-1", "0", "three", "1 mm"])
def test_a_tolerance_that_is_none_is_refused_in_words(panel: TakesPanel, qtbot: QtBot, typed: str) -> None:
    choose(panel, 0, 1)
    qtbot.keyClicks(panel.within, typed)
    qtbot.keyClick(panel.within, Qt.Key.Key_Return)
    assert not panel.busy
    assert panel.result.words.text()
    assert not panel.result.plots


def test_takes_that_cannot_be_compared_say_why(panel: TakesPanel, folder: Path, qtbot: QtBot) -> None:
    (folder / "none.mcap").write_bytes(b"no take")
    panel.refresh()
    settled(panel, qtbot)
    choose(panel, 0, names(panel).index("none"))
    qtbot.mouseClick(panel.compare_chosen, Qt.MouseButton.LeftButton)
    settled(panel, qtbot)
    assert "none.mcap: not a take file" in panel.result.words.text()
    assert not panel.report.isEnabled()


def test_a_bad_log_is_said_and_kept_aside(panel: TakesPanel, folder: Path, qtbot: QtBot) -> None:
    (folder / takelog.NAME).write_text("notes of the crew", encoding="utf-8")
    panel.refresh()
    settled(panel, qtbot)
    assert panel.told.text().startswith("log.json: not a log of takes")
    choose(panel, 0)
    qtbot.mouseClick(panel.circle, Qt.MouseButton.LeftButton)
    assert takelog.read(folder) == {"lantern-turn_band_002.mcap": Entry(circled=True)}
    assert (folder / "log.json.broken").read_text(encoding="utf-8") == "notes of the crew"
    assert "log.json.broken" in panel.told.text()


def test_a_log_that_cannot_be_written_changes_nothing(
    panel: TakesPanel, folder: Path, qtbot: QtBot, desk: Desk
) -> None:
    (folder / takelog.NAME).write_text('{"format": "twintake/take-log", "version": 9, "takes": {}}', encoding="utf-8")
    notes: list[object] = []
    desk.noted.connect(notes.append)
    choose(panel, 0)
    qtbot.mouseClick(panel.circle, Qt.MouseButton.LeftButton)
    assert panel.model.index(0, CIRCLED).data(Qt.ItemDataRole.CheckStateRole) == Qt.CheckState.Unchecked
    assert "newer version" in panel.told.text()
    assert notes


def test_another_project_brings_its_own_takes(panel: TakesPanel, desk: Desk, tmp_path: Path, qtbot: QtBot) -> None:
    desk.open(desk.project, tmp_path / "elsewhere")
    settled(panel, qtbot)
    assert names(panel) == []
    desk.open(desk.project, None)
    settled(panel, qtbot)
    assert "Save the project first" in panel.told.text()


def test_a_project_that_is_saved_elsewhere_shows_the_takes_there(
    panel: TakesPanel, desk: Desk, tmp_path_factory: pytest.TempPathFactory, qtbot: QtBot
) -> None:
    qtbot.waitUntil(lambda: panel.model.rowCount() == 2)
    other = tmp_path_factory.mktemp("elsewhere")
    shoot(other / "takes", 7)
    desk.folder = other
    desk.saved(desk.project)
    qtbot.waitUntil(lambda: panel.model.rowCount() == 1)
    assert panel.model.listed.takes[0].path.parent == other / "takes"


# the search


def searched(panel: TakesPanel, qtbot: QtBot, words: str) -> list[str]:
    panel.search.clear()
    qtbot.keyClicks(panel.search, words)
    return [name[-3:] for name in names(panel)]


def test_a_search_shows_takes_of_which_all_words_are_said(panel: TakesPanel, folder: Path, qtbot: QtBot) -> None:
    takelog.write(folder, {"lantern-turn_band_001.mcap": Entry(circled=True, note="a Gull crossed")})
    qtbot.waitUntil(lambda: panel.model.entry(1).circled, timeout=20_000)
    assert panel.total.text().startswith("2 takes, 1 circled, ")
    assert "free on the disk" in panel.total.text()
    assert searched(panel, qtbot, "gull band") == ["001"]
    assert panel.total.text().startswith("1 of 2 takes, 1 circled, ")
    assert searched(panel, qtbot, "circled") == ["001"]
    assert searched(panel, qtbot, "2031-05") == ["002", "001"]
    assert searched(panel, qtbot, "band broken") == []
    assert panel.told.text() == "No take fits these words; the search looks for all of them."
    panel.search.clear()
    assert names(panel) == ["lantern-turn_band_002", "lantern-turn_band_001"]
    assert panel.told.text() == ""


def test_what_is_chosen_and_shown_is_the_take_and_not_the_row(panel: TakesPanel, folder: Path, qtbot: QtBot) -> None:
    choose(panel, 1)
    assert searched(panel, qtbot, "001") == ["001"]
    assert [take.name for take in panel.chosen()] == ["lantern-turn_band_001"]
    qtbot.mouseClick(panel.circle, Qt.MouseButton.LeftButton)
    assert takelog.read(folder) == {"lantern-turn_band_001.mcap": Entry(circled=True)}
    panel.search.clear()
    assert [panel.model.entry(row).circled for row in (0, 1)] == [False, True]
    assert [take.name for take in panel.chosen()] == ["lantern-turn_band_001"]


def test_a_take_that_no_longer_fits_stays_until_the_next_search(panel: TakesPanel, qtbot: QtBot) -> None:
    choose(panel, 0)
    panel.circle_chosen()
    assert searched(panel, qtbot, "circled") == ["002"]
    choose(panel, 0)
    panel.circle_chosen()
    assert names(panel) == ["lantern-turn_band_002"]
    assert panel.total.text().startswith("1 of 2 takes, 0 circled")
    assert searched(panel, qtbot, "circled") == []


def test_keys_lead_to_the_search_and_circle(panel: TakesPanel, folder: Path, qtbot: QtBot) -> None:
    panel.activateWindow()
    panel.table.setFocus()
    qtbot.waitUntil(panel.table.hasFocus)
    choose(panel, 0, 1)
    qtbot.keyClick(panel.table, Qt.Key.Key_Return, Qt.KeyboardModifier.ControlModifier)
    assert [entry.circled for entry in takelog.read(folder).values()] == [True, True]
    qtbot.keyClick(panel.table, Qt.Key.Key_Return, Qt.KeyboardModifier.ControlModifier)
    assert takelog.read(folder) == {}
    qtbot.keyClick(panel.table, Qt.Key.Key_F, Qt.KeyboardModifier.ControlModifier)
    assert panel.search.hasFocus()


def test_a_circle_leaves_the_note_that_somebody_else_wrote(panel: TakesPanel, folder: Path) -> None:
    """Before the panel has seen it."""
    takelog.write(folder, {"lantern-turn_band_002.mcap": Entry(note="from the truck")})
    choose(panel, 0)
    panel.circle_chosen()
    assert takelog.read(folder) == {"lantern-turn_band_002.mcap": Entry(circled=True, note="from the truck")}


def test_sizes_and_stops_are_shown(panel: TakesPanel, folder: Path, qtbot: QtBot) -> None:
    path = folder / "stopped.mcap"
    with Recorder.open(path, replace(HEADING, name="stopped")) as recorder:
        recorder.write(EventRow(ORIGIN_NS, "stopped", "stopped: the operator pressed stop"))
    panel.refresh()
    settled(panel, qtbot)
    row = names(panel).index("stopped")
    cells = [panel.model.index(row, column).data() for column in range(panel.model.columnCount())]
    assert cells[STANDING] == "stopped"
    assert cells[9] == f"{path.stat().st_size / 1000:.0f} kB"
    assert cells[-1] == "stopped: the operator pressed stop"
    choose(panel, row)
    assert panel.told.text() == "stopped.mcap: stopped: the operator pressed stop"


def test_a_circle_is_said_to_who_does_not_see_it(panel: TakesPanel) -> None:
    choose(panel, 0)
    panel.circle_chosen()
    said = [panel.model.index(row, CIRCLED).data(Qt.ItemDataRole.AccessibleTextRole) for row in (0, 1)]
    assert said == ["circled", "not circled"]
