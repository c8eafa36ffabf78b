"""A small project folder that loads, as plain data that a test may spoil, and a table of laws."""

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sequencer.score.easing import LawKind, Laws, NoCurve, NoSettings, UnitCurve

Tree = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Bezier:
    """Settings as a law has them: a field without default, checked in plain words."""

    points: tuple[float, float, float, float]

    def __post_init__(self) -> None:
        if not (0 <= self.points[0] <= 1 and 0 <= self.points[2] <= 1):
            raise ValueError("the first and third of points lie in [0, 1]")


@dataclass(frozen=True, slots=True)
class Ramp:
    """Settings with a default."""

    ramp: float = 0.25


def straight(_: object) -> UnitCurve:
    return UnitCurve(np.array([0.0, 1.0]), np.array([[1.0], [0.0]]))


LAWS: Laws = {
    "hold": LawKind("hold", NoSettings, NoCurve.STILL),
    "through": LawKind("through", NoSettings, NoCurve.RUN),
    "linear": LawKind("linear", NoSettings, straight),
    "poly345": LawKind("poly345", NoSettings, straight),
    "trapezoid": LawKind("trapezoid", Ramp, straight),
    "bezier": LawKind("bezier", Bezier, straight),
}


@pytest.fixture
def laws() -> Laws:
    return LAWS


@pytest.fixture
def project() -> Tree:
    return {
        "format": "twintake/project",
        "version": 1,
        "name": "Test move",
        "timebase": {"rate": "25", "start": "10:00:00:00"},
        "tempo": {"bpm": "96", "beats_per_bar": 4, "first_beat": "10:00:00:05"},
        "playback": {"file": "song.wav", "at": "10:00:00:00"},
        "cues": [{"name": "one", "from": "10:00:01:00", "to": "10:00:03:00"}],
        "markers": [{"name": "hit", "at": "10:00:02:12.5"}],
        "passes": [{"name": "band", "speed": "1"}, {"name": "half speed", "speed": "1/2"}],
        "tracks": [
            {
                "axis": "pan",
                "keys": [
                    {"at": "10:00:01:00", "value": -20.0, "ease": "poly345"},
                    {"at": "10:00:02:12.5", "value": 5.0, "ease": {"law": "bezier", "points": [0.42, 0, 0.58, 1]}},
                    {"at": "10:00:04:00", "value": 12.0, "ease": "poly345"},
                ],
            },
            {"axis": "slide", "keys": [{"at": "10:00:01:00", "value": 0.0}, {"at": "10:00:03:00", "value": 400}]},
        ],
    }


@pytest.fixture
def rig() -> Tree:
    limits = {"speed": 60, "acceleration": 120, "jerk": 600}
    return {
        "format": "twintake/rig",
        "version": 1,
        "name": "Test rig",
        "axes": [
            {"name": "pan", "kind": "pan", "unit": "deg", "travel": [-170, 170], **limits},
            {"name": "slide", "kind": "slide", "unit": "mm", "travel": [0, 1200], **limits, "backlash": 0.1},
        ],
        "camera": {"sensor_mm": [24.9, 14.0], "pixels": [4096, 2304], "focal_mm": 35, "subject_m": 4},
    }


@pytest.fixture
def folder(tmp_path: Path, project: Tree, rig: Tree) -> Callable[[], Path]:
    """Write the two trees, spoilt or not, as a project folder of their own."""

    def write() -> Path:
        place = tmp_path / "move"
        place.mkdir(exist_ok=True)
        (place / "project.json").write_text(json.dumps(project), encoding="utf-8")
        (place / "rig.json").write_text(json.dumps(rig), encoding="utf-8")
        return place

    return write
