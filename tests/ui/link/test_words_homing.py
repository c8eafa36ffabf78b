"""What is read of an axis whose rig is gone by the time that it was to be told where it stands."""

from dataclasses import replace
from pathlib import Path

from tests.ui.link.test_homing import Home
from ui.desk import Desk


def test_a_rig_that_is_gone_is_told_nothing_and_that_is_said(desk: Desk, tmp_path: Path) -> None:
    home = Home(desk)
    load = home.homing._to_tell(home.axis, 12.0, desk.project, replace(home.bench.link.choice), tmp_path)
    load.prepare(None)
    assert home.told == [], "there is nobody to be told"
    assert home.homing._outcome == ["there is no rig any more"]
