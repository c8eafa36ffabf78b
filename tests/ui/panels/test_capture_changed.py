"""Keys of a performance, asked for while the rig is described otherwise: another lens, no camera, an axis that goes."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from pytestqt.qtbot import QtBot

from sequencer.takes.pixels import pixels
from tests.ui.panels.test_capture import begin, panel, settled, shoot, typed
from ui.desk import Desk
from ui.panels.capture import CapturePanel

__all__ = ["panel"]


def test_pixels_are_of_the_lens_that_there_is_when_keys_are_made(
    panel: CapturePanel, desk: Desk, tmp_path: Path, qtbot: QtBot
) -> None:
    begin(panel, qtbot, shoot(desk, tmp_path, by_hand=("pan",)))
    typed(panel, "pan", "2", "px")
    row, camera = panel.axes.rows["pan"], desk.project.rig.camera
    assert camera is not None
    before, told = panel.axes.within()["pan"], row.worth.text()
    long = replace(camera, focal_mm=2 * camera.focal_mm)
    desk.edit("a longer lens", replace(desk.project, rig=replace(desk.project.rig, camera=long)))
    assert float(pixels(np.array(panel.axes.within()["pan"]), "pan", "deg", long)) == pytest.approx(2.0)
    assert panel.axes.within()["pan"] == pytest.approx(before / 2, rel=1e-3)
    assert row.worth.text() not in ("", told)
    desk.edit("no camera", replace(desk.project, rig=replace(desk.project.rig, camera=None)))
    assert row.worth.text() == ""
    panel.make()
    assert panel.refused.text() == "pan: the rig's camera is not described any more; describe it, or choose deg"
    typed(panel, "pan", "0.2", "deg")
    panel.make()
    settled(panel, qtbot)
    assert desk.proposal is not None


def test_more_pixels_than_an_axis_can_move_are_refused(
    panel: CapturePanel, desk: Desk, tmp_path: Path, qtbot: QtBot
) -> None:
    begin(panel, qtbot, shoot(desk, tmp_path, by_hand=("pan",)))
    typed(panel, "pan", "100000000", "px")
    panel.make()
    assert panel.refused.text() == "no difference of pan moves the picture by 1e+08 pixels; give fewer"


def test_an_axis_that_goes_while_its_keys_are_asked_for_is_said(
    panel: CapturePanel, desk: Desk, tmp_path: Path, qtbot: QtBot
) -> None:
    begin(panel, qtbot, shoot(desk, tmp_path, by_hand=("focus",)))
    typed(panel, "focus", "0.1", "part")
    rig, move = desk.project.rig, desk.project.move
    less = replace(rig, axes=tuple(axis for axis in rig.axes if axis.name != "focus"))
    kept = replace(move, tracks=tuple(track for track in move.tracks if track.axis != "focus"))
    desk.edit("no focus", replace(desk.project, rig=less, move=kept))
    panel.make()
    settled(panel, qtbot)
    assert panel.refused.text() == "the rig has no axis 'focus'; its axes are pan, tilt, roll, slide"
    assert desk.proposal is None
