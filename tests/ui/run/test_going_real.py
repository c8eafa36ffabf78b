"""Real processes, the simulated rig: stored where it is, sent away by a hold and back again, stopped on the way."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QWidget
from pytestqt.qtbot import QtBot

from sequencer.project.store import load
from sequencer.score.marks import Lasting, Mark
from sequencer.shell.kinds import laws
from tests.shell.small import small_project
from ui.acts.poses import Poses
from ui.desk import Desk
from ui.link.link import Link
from ui.run.going import GoPanel

pytestmark = pytest.mark.real_time
LEFT = Qt.MouseButton.LeftButton
FAR = Mark("far", (("pan", 10.0),))


def test_the_rig_goes_from_mark_to_mark_and_is_stopped_on_the_way(tmp_path: Path, qtbot: QtBot) -> None:
    folder = small_project(tmp_path / "small", legs=1)
    project = load(folder, laws())
    desk = Desk(replace(project, marks=(FAR,)), laws(), folder)
    link = Link(desk, lambda then, otherwise: then())
    poses = Poses(desk, link)
    panel = GoPanel(poses)
    qtbot.addWidget(panel)
    panel.resize(320, 300)
    panel.show()

    def held(hold: QWidget, until: str) -> None:
        qtbot.waitUntil(hold.isEnabled, timeout=5_000)
        qtbot.mousePress(hold, LEFT)
        qtbot.waitUntil(lambda: until in panel.words.text(), timeout=15_000)
        qtbot.mouseRelease(hold, LEFT)

    try:
        link.open()
        qtbot.waitUntil(lambda: link.now.state == "idle" and link.newest is not None, timeout=40_000)
        assert poses.store()
        assert poses.stands() == ("", "here")
        held(panel.back, "At far.")
        assert link.newest is not None
        assert link.newest.asked[desk.project.rig.index("pan")] == pytest.approx(10.0)
        assert poses.rename("mark 1", "begin")
        assert poses.pace(("begin",), Lasting(Fraction(20)))
        held(panel.on, "On the way to begin")
        assert desk.locked
        assert poses.store(), "marks are stored on the way, too"
        link.stop()
        qtbot.waitUntil(lambda: "Interrupted on the way to begin" in panel.words.text(), timeout=5_000)
        qtbot.waitUntil(lambda: link.now.can_reset, timeout=5_000)
        link.reset()
        poses.pace(("begin",), FAR.leg)
        poses.delete(("mark 1",))
        poses.choose(("begin",), "begin")
        held(panel.there, "At begin.")
    finally:
        link.end()
    assert [mark.name for mark in desk.project.marks] == ["far", "begin"]
