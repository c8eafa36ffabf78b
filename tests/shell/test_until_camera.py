"""Waiting for what the camera is told behind the end of a cue, with a crew of the test's own."""

import time
from dataclasses import dataclass, field

import pytest
from msgspec.structs import replace

from sequencer.playback.state import Phase
from sequencer.shell import shoot
from sequencer.shell.messages import Said, Status
from tests.shell.acted import QUIET

FINISHED = replace(QUIET, phase=Phase.FINISHED.value, lock="locked", speed=1.0)


@dataclass
class Crew:
    """One whose camera has its last order in `left_s`; a look takes a tenth of a second. `stands`: the clock does."""

    left_s: float
    stands: bool = False
    now_s: float = 50.0
    said: list[Said] = field(default_factory=list)

    def hear(self, _: float) -> list[Said]:
        self.now_s += 0.1
        if not self.stands and 0 < self.left_s <= 0.1:
            self.said.append(Said(0, "fired", "cut"))
        self.left_s = self.left_s if self.stands else max(0.0, self.left_s - 0.1)
        said, self.said = self.said, []
        return said

    def status(self) -> Status:
        return replace(FINISHED, camera_s=self.left_s)


def waited(crew: Crew, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Wait, and return what was told."""
    told: list[str] = []
    monkeypatch.setattr(time, "monotonic", lambda: crew.now_s)
    watch = shoot.Watch(crew, lambda _, said: told.extend(one.text for one in said))  # type: ignore[arg-type]  # in place of a crew
    watch.until_camera()
    return told


def test_the_last_order_is_waited_for_and_told(monkeypatch: pytest.MonkeyPatch) -> None:
    crew = Crew(left_s=6.05)
    assert waited(crew, monkeypatch) == ["cut"]
    assert 6.0 < crew.now_s - 50.0 < 6.5


def test_where_there_is_none_nobody_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    crew = Crew(left_s=0.0)
    assert waited(crew, monkeypatch) == []
    assert crew.now_s - 50.0 < 0.5


def test_a_clock_that_stands_behind_the_end_is_not_waited_for_and_told(monkeypatch: pytest.MonkeyPatch) -> None:
    crew = Crew(left_s=2.0, stands=True)
    (told,) = waited(crew, monkeypatch)
    assert told.startswith("the camera was not told everything: the clock stands behind the end")
    assert 3.0 <= crew.now_s - 50.0 < 3.5
