"""The form of outputs: what is pressed and typed becomes rig.json's outputs, and what cannot run says so beside it."""

from collections.abc import Iterator
from pathlib import Path
from threading import Event

import pytest
from PyQt6.QtCore import QPoint, Qt
from PyQt6.QtWidgets import QPushButton
from pytestqt.qtbot import QtBot

from sequencer.project.store import load, save
from sequencer.rig.outlet import Outlet
from sequencer.shell.kinds import laws
from ui.acts.outlets import Offer
from ui.desk import Desk
from ui.panels.fields import Field, Pull
from ui.panels.outputs import OutputsForm

LEFT = Qt.MouseButton.LeftButton
OFFERS = (
    Offer("osc", (), "", ("osc://192.168.1.20:9000",)),
    Offer("gcode", ("gcode:/dev/ttyS9?baud=115200&slide=X",), "", ("gcode:/dev/ttyUSB0?baud=115200&slide=X",)),
    Offer("midi, virtual", (), "no MIDI system here", ("midi:PORT NAME?slide=cc16",)),
)


@pytest.fixture
def form(desk: Desk, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch) -> Iterator[OutputsForm]:
    monkeypatch.setattr("ui.panels.outputs_found.offers", lambda axes: OFFERS)
    form = OutputsForm(desk)
    qtbot.addWidget(form)
    form.resize(900, 1000)
    with qtbot.waitActive(form):
        form.show()
        form.activateWindow()
    yield form
    for judging in (form.judging.worker, form.form.found.judging.worker):
        judging.wait()


def write(field: Field, text: str) -> None:
    field.line.setFocus()
    field.line.selectAll()
    QtBot.keyClick(field.line, Qt.Key.Key_Delete)
    QtBot.keyClicks(field.line, text)
    QtBot.keyClick(field.line, Qt.Key.Key_Return)


def press(button: QPushButton) -> None:
    QtBot.mouseClick(button, LEFT)


def tick(form: OutputsForm, axis: str) -> None:
    box = form.form.axes.boxes[axis]
    QtBot.mouseClick(box, LEFT, pos=QPoint(8, box.height() // 2))


def pull(row: Pull, place: int) -> None:
    row.box.setFocus()
    row.box.setCurrentIndex(place)
    row.box.activated.emit(place)


def outlets(form: OutputsForm) -> tuple[Outlet, ...]:
    return form.desk.project.rig.outlets


def test_an_output_is_added_described_and_saved(form: OutputsForm, desk: Desk, tmp_path: Path) -> None:
    assert form.none.isVisible()
    assert not form.form.isVisible()
    assert not form.buttons["remove"].isEnabled()
    press(form.buttons["add"])
    assert outlets(form) == (Outlet(address="osc://192.168.1.20:9000"),)
    write(form.form.address, "osc://192.0.2.20:9000?form=d")
    tick(form, "pan")
    tick(form, "tilt")
    write(form.form.rate, "100 Hz")
    write(form.form.latency, "12,5 ms")
    pull(form.form.on_loss, 2)
    pull(form.form.at_end, 2)
    one = Outlet(
        address="osc://192.0.2.20:9000?form=d",
        axes=("pan", "tilt"),
        rate_hz=100.0,
        latency_s=0.0125,
        on_loss="go on",
        at_end="drop power",
    )
    assert outlets(form) == (one,)
    save(tmp_path / "one", desk.project, laws())
    assert load(tmp_path / "one", laws()).rig.outlets == (one,)
    assert desk.history.past[-1].words == "end of setpoints of output osc://192.0.2.20:9000?form=d"
    write(form.form.rate, "")
    write(form.form.latency, "")
    assert (outlets(form)[0].rate_hz, outlets(form)[0].latency_s) == (None, 0.0)
    while desk.dirty:
        desk.undo()
    assert outlets(form) == ()
    assert form.none.isVisible()


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("address", "the blue cable", "must begin with a kind of output"),
        ("rate", "fast", "not a number"),
        ("rate", "0", "above 0"),
        ("latency", "-3", "from 0 to 2"),
    ],
)
def test_what_the_file_could_not_hold_is_refused_at_its_field(
    name: str, text: str, words: str, form: OutputsForm
) -> None:
    press(form.buttons["add"])
    first = form.desk.project
    field: Field = getattr(form.form, name)
    write(field, text)
    assert words in field.fault.text()
    assert form.desk.project is first
    assert field.line.text() == text


def test_a_wrong_address_is_said_beside_it_and_undone(form: OutputsForm, qtbot: QtBot) -> None:
    press(form.buttons["add"])
    qtbot.waitUntil(lambda: "osc://192.168.1.20:9000" in form.form.told.text())
    write(form.form.address, "smoke:signals")
    qtbot.waitUntil(lambda: "'smoke:signals' is no output" in form.form.fault.text())
    assert form.form.fault.isVisible()
    assert not form.form.told.isVisible()
    assert form.list.texts() == ["✕ smoke:signals"]
    form.desk.undo()
    qtbot.waitUntil(lambda: not form.form.fault.isVisible())
    assert form.list.texts() == ["osc://192.168.1.20:9000"]
    assert "When setpoints end" in form.form.told.text()


def test_two_outputs_that_claim_an_axis_are_said_at_the_later_one(form: OutputsForm, qtbot: QtBot) -> None:
    press(form.buttons["add"])
    tick(form, "pan")
    press(form.buttons["add"])
    write(form.form.address, "osc://192.0.2.21:9000")
    tick(form, "pan")
    qtbot.waitUntil(lambda: "pan is claimed by osc://192.168.1.20:9000 too" in form.form.fault.text())
    assert form.list.texts() == ["osc://192.168.1.20:9000", "✕ osc://192.0.2.21:9000"]
    form.list.setCurrentRow(0)
    assert not form.form.fault.isVisible()
    form.list.setCurrentRow(1)
    assert form.form.fault.isVisible()
    tick(form, "pan")
    tick(form, "tilt")
    qtbot.waitUntil(lambda: "no output drives roll, slide, focus" in form.whole.text())
    assert not form.form.fault.isVisible()


def test_outputs_are_ordered_and_removed(form: OutputsForm, qtbot: QtBot) -> None:
    for name in ("a", "b", "c"):
        press(form.buttons["add"])
        write(form.form.address, f"osc://{name}:9000")
    press(form.buttons["up"])
    assert [one.address[6] for one in outlets(form)] == ["a", "c", "b"]
    assert form.list.currentRow() == 1
    press(form.buttons["down"])
    assert [one.address[6] for one in outlets(form)] == ["a", "b", "c"]
    assert not form.buttons["down"].isEnabled()
    form.list.setCurrentRow(1)
    press(form.buttons["remove"])
    assert [one.address[6] for one in outlets(form)] == ["a", "c"]
    form.desk.undo()
    assert [one.address[6] for one in outlets(form)] == ["a", "b", "c"]


def test_an_address_that_is_found_or_an_example_is_taken_by_a_press(form: OutputsForm, qtbot: QtBot) -> None:
    press(form.buttons["add"])
    found = form.form.found
    qtbot.waitUntil(lambda: found.list.count() == 7)
    assert found.list.texts()[1] == "    example: osc://192.168.1.20:9000"
    assert found.list.texts()[5] == "midi, virtual: no MIDI system here"
    assert not found.take.isEnabled()
    found.list.setCurrentRow(3)
    assert found.list.texts()[3] == "    found: gcode:/dev/ttyS9?baud=115200&slide=X"
    press(found.take)
    assert outlets(form)[0].address == "gcode:/dev/ttyS9?baud=115200&slide=X"
    assert form.form.address.line.text() == outlets(form)[0].address


def test_the_window_goes_on_while_the_machine_is_looked_at(form: OutputsForm, qtbot: QtBot) -> None:
    gate = Event()

    def slow(_: object) -> tuple[Offer, ...]:
        assert gate.wait(10)
        return OFFERS[:1]

    form.form.found.judging.worker.wait()
    press(form.buttons["add"])
    found = form.form.found
    qtbot.waitUntil(found.again.isEnabled)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("ui.panels.outputs_found.offers", slow)
        press(found.again)
        assert found.judging.worker.at_work
        assert "Looking" in found.state.text()
        tick(form, "focus")
        assert outlets(form)[0].axes == ("focus",)
        gate.set()
        qtbot.waitUntil(lambda: found.list.count() == 2)
    assert found.again.isEnabled()


def test_ticking_an_axis_writes_its_way_where_the_address_names_them(form: OutputsForm, qtbot: QtBot) -> None:
    press(form.buttons["add"])
    write(form.form.address, "sacn:1?pan=1")
    tick(form, "pan")
    tick(form, "tilt")
    assert outlets(form)[0].address == "sacn:1?pan=1&tilt=3"
    qtbot.waitUntil(lambda: "roll" in form.whole.text())
    assert not form.form.fault.isVisible()


def test_nothing_is_edited_while_the_rig_is_armed(form: OutputsForm) -> None:
    press(form.buttons["add"])
    form.desk.lock("the rig is armed or moves; stop it to edit")
    tick(form, "pan")
    assert outlets(form)[0].axes == ()
    assert not form.form.axes.boxes["pan"].isChecked()
    assert "stop it to edit" in form.form.axes.fault.text()
    press(form.buttons["remove"])
    assert "stop it to edit" in form.fault.text()
    assert len(outlets(form)) == 1
