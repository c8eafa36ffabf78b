"""The shoot report, the prep sheet and the copy of a project, as the editor writes them."""

from collections.abc import Iterator
from dataclasses import replace
from io import BytesIO
from pathlib import Path

import pytest
from pypdf import PdfReader
from PyQt6.QtCore import Qt
from pytestqt.qtbot import QtBot

from sequencer.project import takelog
from sequencer.project.library import FOLDER, Filed, library
from sequencer.project.store import load
from sequencer.shell.kinds import laws
from tests.cli.test_export import record
from tests.ui.panels.handed import Quay, choose, typed
from ui.acts.files import Files
from ui.panels.hand_over import PARTS, HandOverPanel

LEFT = Qt.MouseButton.LeftButton


class Page(Quay):
    """The whole page, with the takes that are chosen elsewhere."""

    def __init__(self, tmp_path: Path, qtbot: QtBot) -> None:
        super().__init__(tmp_path, qtbot)
        self.takes: list[Filed] = []
        self.out = tmp_path / "out"
        self.out.mkdir()
        self.files = Files(self.desk, tmp_path / "state")
        self.files.begin(None)
        self.files.picking.connect(self.picks.append)
        self.panel = HandOverPanel(self.desk, self.files, lambda: self.takes)
        self.show(self.panel)
        for form in (self.panel.report.document, self.panel.prep.document):
            typed(form.where.folder.line, str(self.out))

    def rest(self) -> None:
        panel = self.panel
        forms = (panel.export, panel.taken_in, panel.report.document, panel.prep.document, panel.copy)
        for form in forms:
            self.qtbot.waitUntil(lambda one=form: not one.busy, timeout=60_000)  # type: ignore[misc]  # bound now
        self.rest_files()

    def rest_files(self) -> None:
        self.qtbot.waitUntil(lambda: not self.files._worker.at_work and not self.files.watch._worker.at_work)


@pytest.fixture
def page(tmp_path: Path, qtbot: QtBot) -> Iterator[Page]:
    made = Page(tmp_path, qtbot)
    made.rest()
    yield made
    made.rest_files()  # the page itself is closed by now
    made.files.end()


def text_of(pdf: Path) -> str:
    reader = PdfReader(BytesIO(pdf.read_bytes()))
    return " ".join(" ".join(one.extract_text() for one in reader.pages).split())


def test_the_keyboard_comes_to_each_part(page: Page) -> None:
    for number, part in enumerate(PARTS):
        page.panel.turn_to(part)
        assert page.panel.pages.currentIndex() == number
        assert page.panel.list.hasFocus()
    page.qtbot.keyClick(page.panel.list, Qt.Key.Key_Up)
    assert page.panel.pages.currentIndex() == len(PARTS) - 2


def test_a_prep_sheet_is_written_as_pdf_with_its_cautions(page: Page) -> None:
    page.panel.turn_to("prep")
    prep = page.panel.prep
    typed(prep.reach.line, "0.45")
    typed(prep.margin.line, "50 cm")
    page.qtbot.mouseClick(prep.document.write, LEFT)
    page.rest()
    (file,) = page.out.iterdir()
    assert file.name == "Harbour-lanterns_prep-sheet.pdf"
    words = text_of(file)
    assert "crush, trap and drop" in words
    assert "Keep clear:" in prep.document.outcome.told.text()
    assert str(file) in prep.document.outcome.done.text()
    # what is there stays
    page.qtbot.mouseClick(prep.document.write, LEFT)
    page.rest()
    assert "is there already" in prep.document.outcome.refused.text()
    assert "“Replace”" in prep.document.outcome.refused.text()


def test_a_reach_that_no_rig_has_is_refused_and_none_is_said(page: Page) -> None:
    prep = page.panel.prep
    page.panel.turn_to("prep")
    typed(prep.reach.line, "wide")
    assert prep.reach.fault.text()
    typed(prep.reach.line, "0")
    prep.document.hand()
    page.rest()
    assert "is no reach; it is above 0" in prep.document.outcome.refused.text()
    typed(prep.reach.line, "")
    typed(prep.document.where.name.line, "sheet.html")
    choose(prep.document.cue.box, "crowd sweep")
    prep.document.hand()
    page.rest()
    assert "measure it" in prep.document.outcome.told.text()
    html = (page.out / "sheet.html").read_text(encoding="utf-8")
    assert "crowd sweep" in html
    typed(prep.document.where.name.line, "sheet.doc")
    prep.document.hand()
    page.rest()
    assert ".pdf or .html" in prep.document.outcome.refused.text()


def test_a_prep_sheet_has_edits_that_are_not_saved(page: Page) -> None:
    page.desk.edit("another name", replace(page.desk.project, name="Quay at night"))
    page.panel.turn_to("prep")
    typed(page.panel.prep.document.where.name.line, "sheet.html")
    page.panel.prep.document.hand()
    page.rest()
    assert "Quay at night" in (page.out / "sheet.html").read_text(encoding="utf-8")


def test_a_report_is_of_all_takes_or_of_those_that_are_chosen(page: Page) -> None:
    for name in ("lantern-turn_band_001", "lantern-turn_band_002"):
        record(page.folder, name=name)
    report = page.panel.report
    page.panel.turn_to("report")
    typed(report.document.where.name.line, "all.html")
    page.qtbot.mouseClick(report.document.write, LEFT)
    page.rest()
    html = (page.out / "all.html").read_text(encoding="utf-8")
    assert "lantern-turn_band_001" in html
    assert "lantern-turn_band_002" in html
    assert "2 takes" in report.document.outcome.told.text()
    choose(report.which.box, "chosen")
    report.document.hand()
    assert "no take is chosen" in report.document.outcome.refused.text()
    page.takes = [one for one in library(page.folder / FOLDER).takes if one.name.endswith("002")]
    typed(report.document.where.name.line, "one.html")
    report.document.hand()
    page.rest()
    html = (page.out / "one.html").read_text(encoding="utf-8")
    assert "lantern-turn_band_001" not in html
    assert "lantern-turn_band_002" in html


def test_a_project_that_was_never_saved_has_no_takes_to_report_and_yet_a_prep_sheet(page: Page) -> None:
    page.desk.open(page.desk.project, None)
    report, prep = page.panel.report.document, page.panel.prep.document
    for form, name in ((report, "report.html"), (prep, "sheet.html")):
        typed(form.where.folder.line, str(page.out))
        typed(form.where.name.line, name)
        form.hand()
        page.rest()
    assert report.outcome.refused.text() == "this project has no folder, and so no takes yet; save it first"
    assert prep.outcome.refused.text() == ""
    assert [path.name for path in page.out.iterdir()] == ["sheet.html"]


def test_a_copy_has_what_the_project_needs(page: Page, tmp_path: Path) -> None:
    for name in ("lantern-turn_band_001", "lantern-turn_band_002"):
        record(page.folder, name=name)
    takelog.write(page.folder / FOLDER, {"lantern-turn_band_002.mcap": takelog.Change(circled=True)})
    page.panel.turn_to("copy")
    page.qtbot.mouseClick(page.panel.copy.choose, LEFT)
    pick = page.picks.pop()
    assert (pick.what, pick.start) == ("folder", tmp_path)
    pick.then(tmp_path / "copied")
    page.rest()
    copied = tmp_path / "copied"
    assert load(copied, laws()) == page.desk.project
    assert [path.name for path in (copied / FOLDER).glob("*.mcap")] == ["lantern-turn_band_002.mcap"]
    assert "1 takes" in page.panel.copy.outcome.done.text() or "1 take" in page.panel.copy.outcome.done.text()
    # what is there stays
    page.panel.copy.copy(copied)
    page.rest()
    assert "is not empty" in page.panel.copy.outcome.refused.text()


def test_edits_are_saved_before_they_are_copied(page: Page, tmp_path: Path) -> None:
    page.panel.turn_to("copy")
    page.desk.edit("another name", replace(page.desk.project, name="Quay at night"))
    assert "Save" in page.panel.copy.choose.text()
    page.qtbot.mouseClick(page.panel.copy.choose, LEFT)
    page.qtbot.waitUntil(lambda: bool(page.picks))
    assert not page.desk.dirty
    page.picks.pop().then(tmp_path / "copied")
    page.rest()
    assert load(tmp_path / "copied", laws()).name == "Quay at night"


def test_another_project_begins_with_empty_answers(page: Page) -> None:
    page.panel.turn_to("prep")
    typed(page.panel.prep.reach.line, "0.45")
    typed(page.panel.prep.document.where.name.line, "sheet.pdf")
    boats = Path("projects/paper-boats")
    page.desk.open(load(boats, laws()), boats)
    assert page.panel.prep.reach.line.text() == ""
    assert page.panel.prep.document.where.path == boats.resolve()
    assert page.panel.prep.document.where.file.name == "Paper-boats_prep-sheet.pdf"
