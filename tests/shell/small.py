"""A small project for tests that run in real time: two axes, and a cue of a second and a half."""

import itertools
import json
from pathlib import Path

AXIS = {
    "unit": "deg",
    "travel": [-90.0, 90.0],
    "speed": 60.0,
    "acceleration": 240.0,
    "jerk": 2400.0,
    "latency_s": 0.005,
}


def small_project(folder: Path, *, far: float = 20.0, legs: int = 1, ease: str = "poly345") -> Path:
    """Write the project into `folder` and return it; the pan goes to `far` degrees in one second.

    It goes there and back in `legs` such legs.
    """
    folder.mkdir(exist_ok=True)
    places = zip(range(2, legs + 3), itertools.cycle((0.0, far)), strict=False)
    keys = [{"at": f"10:{at // 60:02}:{at % 60:02}:00", "value": value, "ease": ease} for at, value in places]
    end = f"10:{(legs + 2) // 60:02}:{(legs + 2) % 60:02}:12"
    project = {
        "format": "twintake/project",
        "version": 1,
        "name": "Small",
        "timebase": {"rate": "25", "start": "10:00:00:00"},
        "cues": [{"name": "turn", "from": "10:00:02:00", "to": end}],
        "markers": [{"name": "on the way", "at": "10:00:02:12"}],
        "tracks": [{"axis": "pan", "keys": keys}],
    }
    axes = [{"name": name, "kind": name, **AXIS} for name in ("pan", "tilt")]
    camera = {"sensor_mm": [24.9, 14.0], "pixels": [4096, 2304], "focal_mm": 35.0, "subject_m": 3.0}
    rig = {"format": "twintake/rig", "version": 1, "name": "Small head", "axes": axes, "camera": camera}
    (folder / "project.json").write_text(json.dumps(project))
    (folder / "rig.json").write_text(json.dumps(rig))
    return folder
