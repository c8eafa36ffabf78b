"""Real processes, the simulated rig: an axis is homed to its switch from the editor, stopped on the way, and told."""

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QWidget
from pytestqt.qtbot import QtBot

from sequencer.project.store import load
from sequencer.shell.kinds import laws
from tests.shell.small import small_project
from ui.desk import Desk
from ui.link.link import Link
from ui.panels.typed import typed_number
from ui.run.homing import HomingPanel

pytestmark = pytest.mark.real_time
LEFT = Qt.MouseButton.LeftButton
SPEED = 10.0
AT = -11.0
LOW = -10.0
TRULY_AT = -10.0  # where the simulated switch is: the count is off by one degree before it was homed


class Homed:
    """A desk with the small project, of which pan has a switch, a link and the page for homing."""

    def __init__(self, folder: Path, qtbot: QtBot) -> None:
        self.qtbot = qtbot
        self.desk = Desk(load(folder, laws()), laws(), folder)
        self.link = Link(self.desk, lambda then, otherwise: then())
        self.panel = HomingPanel(self.desk, self.link, typed_number)
        self.states: list[str] = []
        self.link.standing.connect(lambda now: self.states.append(f"{now.state}, {now.how}"))
        qtbot.addWidget(self.panel)
        self.panel.resize(700, 500)
        self.panel.show()
        self.link.open()
        qtbot.waitUntil(self.panel.search.isEnabled, timeout=40_000)

    def hold(self, hold: QWidget, until: str, timeout: int = 30_000) -> None:
        self.qtbot.mousePress(hold, LEFT)
        self.wait(until, timeout)
        self.qtbot.mouseRelease(hold, LEFT)

    def wait(self, until: str, timeout: int = 30_000) -> None:
        self.qtbot.waitUntil(lambda: until in self.panel.words.text(), timeout=timeout)

    @property
    def reached(self) -> float:
        """Where the rig was told that pan stands."""
        return self.panel.homing._value

    def actual(self) -> list[float]:
        self.qtbot.waitUntil(lambda: self.link.newest is not None and None not in self.link.newest.actual)
        assert self.link.newest is not None
        return [place for place in self.link.newest.actual if place is not None]


@pytest.fixture
def homed(tmp_path: Path, qtbot: QtBot) -> Iterator[Homed]:
    folder = small_project(tmp_path / "small", legs=1)
    tree = json.loads((folder / "rig.json").read_text())
    pan = tree["axes"][0]
    pan["travel"] = [LOW, 10.0]
    pan["homing"] = {"towards": "low", "speed": SPEED, "at": AT}
    pan["simulated"] = {"switch_at": TRULY_AT}
    (folder / "rig.json").write_text(json.dumps(tree))
    (folder / "project.json").write_text((folder / "project.json").read_text().replace('"value": 20.0', '"value": 5.0'))
    one = Homed(folder, qtbot)
    yield one
    one.link.end()


def test_an_axis_finds_its_switch_and_the_rig_is_connected_again(homed: Homed) -> None:
    assert "pan will go towards its low end at 10 deg a second" in homed.panel.way.text()
    before = homed.actual()
    homed.hold(homed.panel.search, "pan counts from here")
    homed.qtbot.waitUntil(lambda: homed.link.now.state == "idle", timeout=10_000)
    assert "armed, about to home an axis" in homed.states
    assert "moving, homing an axis" in homed.states
    assert homed.states.index("moving, homing an axis") < homed.states.index("opening, being told where it stands")
    after = homed.actual()
    # it stands at the end of its travel, counted from where rig.json says that its switch opens
    assert after[0] == pytest.approx(LOW, abs=0.3)
    assert after[0] == pytest.approx(homed.reached, abs=0.01), "nothing moved when it was connected again"
    assert after[1] == pytest.approx(before[1], abs=1e-3)
    assert not homed.desk.locked
    assert not homed.link.why_not_drive()


def test_a_stop_on_the_way_is_latched_and_leaves_the_count_as_it_was(homed: Homed) -> None:
    homed.hold(homed.panel.search, "It goes to its switch.")
    homed.qtbot.waitUntil(lambda: homed.link.now.how == "homing an axis", timeout=5_000)
    assert homed.desk.locked
    assert homed.link.why_not_drive()
    homed.link.stop()
    homed.wait("Stopped. Look at the rig, then reset")
    homed.qtbot.waitUntil(lambda: homed.link.now.can_reset, timeout=5_000)
    stood = homed.actual()[0]
    assert stood > TRULY_AT, "it was stopped before the switch"
    homed.link.reset()
    homed.wait("pan was not homed; it counts as before.")
    homed.qtbot.waitUntil(lambda: homed.link.now.state == "idle", timeout=20_000)
    assert homed.actual()[0] == pytest.approx(stood, abs=0.05)


def test_the_operators_word_moves_nothing_and_is_what_the_rig_says_then(homed: Homed) -> None:
    panel = homed.panel
    panel.axis.setCurrentIndex(1)
    panel.axis.activated.emit(1)
    assert "no switch is set up for it" in panel.way.text()
    assert not panel.search.isEnabled()
    assert not panel.here.isEnabled()
    panel.place.setText("7,5 deg")
    homed.hold(panel.here, "tilt counts from here: it stands at 7.5 deg.")
    homed.qtbot.waitUntil(lambda: homed.link.now.state == "idle", timeout=20_000)
    assert homed.actual()[1] == pytest.approx(7.5, abs=1e-3)
    assert not any(state.startswith("moving") for state in homed.states)
