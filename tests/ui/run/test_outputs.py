"""Outputs where the operator arms: chosen, refused in words, told of in short and whole, and lost."""

from collections.abc import Iterator
from dataclasses import replace

import pytest
from PyQt6.QtCore import Qt
from PyQt6.QtGui import QStandardItemModel
from PyQt6.QtWidgets import QVBoxLayout, QWidget
from pytestqt.qtbot import QtBot

from sequencer.project.amend_outlets import with_outlet
from sequencer.rig.outlet import Outlet
from sequencer.shell.messages import Said
from tests.ui.link.fakes import Bench
from ui.link.choice import SIMULATED
from ui.run.form import OWN, TYPED, Form
from ui.run.panel import RunPanel
from ui.run.strip import Strip

LEFT = Qt.MouseButton.LeftButton
HEAD = Outlet(address="osc://192.0.2.20:9000", axes=("pan", "tilt", "roll"), at_end="drop power")
LENS = Outlet(address="osc://192.0.2.21:9000", axes=("slide", "focus"), on_loss="go on")
TOLD = ("pan, tilt, roll by osc://192.0.2.20:9000. When setpoints end: it drops motor power", "the second sentence")
LOST = "osc://192.0.2.21:9000 is lost, and the others go on: the port is gone"


@pytest.fixture(autouse=True)
def _no_ports(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Form, "look_for_ports", lambda form: None)


class Page:
    """Strip and panel on a rig with two outputs."""

    def __init__(self, bench: Bench, qtbot: QtBot) -> None:
        self.bench, self.qtbot = bench, qtbot
        for outlet in (HEAD, LENS):
            bench.desk.edit("add an output", with_outlet(bench.desk.history.now, None, outlet))
        bench.desk.turn_to("run")
        self.window = QWidget()
        self.strip, self.panel = Strip(bench.desk, bench.link), RunPanel(bench.desk, bench.link)
        whole = QVBoxLayout(self.window)
        whole.addWidget(self.strip)
        whole.addWidget(self.panel, 1)
        qtbot.addWidget(self.window)
        self.window.resize(1600, 700)
        self.window.show()

    def choose(self, rig: str) -> None:
        box = self.panel.form.rig
        place = box.findData(rig)
        box.setCurrentIndex(place)
        box.activated.emit(place)

    def say(self, code: str, *texts: str) -> None:
        self.bench.crew.says += [Said(self.bench.clock.ns, code, text) for text in texts]
        self.bench.go()

    def told(self) -> None:
        """Be connected by the rig's outputs, and told of them."""
        self.choose(OWN)
        self.bench.connect()
        self.say("output", *TOLD)


@pytest.fixture
def page(bench: Bench, qtbot: QtBot) -> Iterator[Page]:
    one = Page(bench, qtbot)
    yield one
    one.panel.form.judging.worker.wait()


def enabled(form: Form, rig: str) -> bool:
    model = form.rig.model()
    assert isinstance(model, QStandardItemModel)
    item = model.item(form.rig.findData(rig))
    return item is not None and item.isEnabled()


def test_the_rig_is_simulated_or_by_its_outputs_or_at_an_address(page: Page) -> None:
    form, link = page.panel.form, page.bench.link
    assert form.rig.currentData() == link.choice.rig == SIMULATED
    page.choose(OWN)
    assert link.choice.rig == ""
    assert not form.address.isVisible()
    assert page.strip.rig.value == "REAL 2 outputs"
    page.choose(TYPED)
    assert form.address.isVisible()
    assert link.choice.rig == "osc://127.0.0.1:9000"
    page.choose(SIMULATED)
    assert page.strip.rig.value == "SIMULATED"
    assert enabled(form, OWN)
    page.choose(OWN)
    for _ in range(2):
        page.bench.desk.undo()
    assert not enabled(form, OWN), "there are none"
    assert form.rig.currentData() == link.choice.rig == SIMULATED


def test_outputs_that_cannot_be_are_refused_below_them_at_once(page: Page) -> None:
    form, qtbot = page.panel.form, page.qtbot
    page.choose(TYPED)
    form.address.setText("pan,tilt=osc://192.0.2.20:9000; tilt=osc://192.0.2.21:9000")
    form.address.editingFinished.emit()
    qtbot.waitUntil(lambda: "tilt is claimed by osc://192.0.2.20:9000 too" in form.refused.text())
    assert form.refused.isVisible()
    form.address.setText("osc://192.0.2.20:9000")
    form.address.editingFinished.emit()
    qtbot.waitUntil(lambda: not form.refused.isVisible())
    page.choose(OWN)
    assert not form.refused.isVisible()
    desk = page.bench.desk
    desk.edit("axes", with_outlet(desk.history.now, 1, replace(LENS, axes=("focus",))))
    qtbot.waitUntil(lambda: "no output drives slide" in form.refused.text())
    page.choose(SIMULATED)
    assert not form.refused.isVisible()


def test_what_is_told_of_outputs_is_short_in_the_strip_and_whole_in_its_tip(page: Page) -> None:
    page.choose(OWN)
    assert page.strip.ends.isHidden()
    page.told()
    assert page.strip.rig.value == "REAL 2 outputs"
    assert page.strip.ends.value == "POWER OFF"
    assert page.strip.ends.isVisible()
    for told in TOLD:
        assert told in page.strip.rig.toolTip()
        assert told in page.strip.ends.toolTip()
    page.window.resize(1280, 720)
    assert page.strip.rig.value == "REAL"
    assert page.strip.ends.isVisible()
    page.bench.link.leave()
    assert page.strip.ends.isHidden()
    assert TOLD[0] not in page.strip.rig.toolTip()


@pytest.mark.parametrize("size", [(1600, 900), (1280, 720), (640, 560)])
def test_the_whole_is_a_press_away_and_gives_way_to_what_arms(page: Page, size: tuple[int, int]) -> None:
    panel = page.panel
    page.window.resize(*size)
    assert not panel.outputs.button.isVisible()
    page.told()
    button = panel.outputs.button
    assert button.isVisible()
    assert button.text() == "2 outputs"
    assert TOLD[0] in button.toolTip()
    assert panel.arm.isVisible()
    assert panel.rect().contains(panel.arm.geometry())
    page.qtbot.mouseClick(button, LEFT)
    assert panel.outputs.whole.isVisible()
    assert panel.outputs.whole.toPlainText() == "\n\n".join(TOLD)
    assert not panel.log.isVisible()
    page.bench.link.clear(True)
    page.bench.link.arm()
    assert not panel.outputs.whole.isVisible(), "armed, nobody reads"
    assert panel.arm.isVisible()
    assert not button.isEnabled()
    assert not button.isChecked()


def test_a_lost_output_is_told_in_the_link_plate_and_below_the_strip(page: Page) -> None:
    page.told()
    page.bench.phase("running", link="up", round_trip_s=0.012)
    page.say("link", LOST)
    assert page.strip.link.value == "up, trouble"
    assert LOST in page.strip.link.toolTip()
    assert "The link to the rig is up" in page.strip.link.toolTip()
    assert page.strip.trouble.isVisible()
    assert page.strip.trouble.text().endswith(LOST)
    assert not page.panel.watch.seen.dropped, "nothing stopped by it"
    page.bench.phase("running", link="unknown")
    assert page.strip.link.value == "unknown, trouble"
    page.bench.phase("stopped", link="unknown")
    page.bench.phase("idle", link="unknown")
    assert page.strip.link.value == "unknown"
    assert page.strip.trouble.isHidden()


def test_a_drop_of_the_whole_rig_comes_before_a_lost_output(page: Page) -> None:
    page.told()
    page.say("link", LOST)
    page.bench.phase("stopped", link="down", silent_s=3.0)
    assert page.strip.link.value == "down 3 s"
    assert "Nothing is sent before it is back" in page.strip.trouble.text()
