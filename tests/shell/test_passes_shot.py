"""Passes as the rig runs them: at shared frames it stands where it stood in the pass as written, to its own noise."""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from sequencer.project.takefile import read
from sequencer.takes.align import align
from sequencer.takes.frames import cue_frames, positions_at
from tests.shell.small import small_project

pytestmark = pytest.mark.real_time

NOISE_DEG = 0.01  # standard deviation of each answer of the simulated rig
PASSES: list[dict[str, Any]] = [
    {"name": "as written"},
    {"name": "half", "speed": "1/2", "note": "water alone"},
    {"name": "back", "reversed": True},
]


def stood(folder: Path, name: str) -> NDArray[np.float64]:
    """Shoot one take of a pass; return where each axis stood at each frame of its cue. Shape: (F, A)."""
    command = ("takes", str(folder), "--takes", "1", "--preroll", "1", "--through", "pipe", "--pass", name)
    done = subprocess.run(
        [sys.executable, "-m", "sequencer", *command], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    take = read(next((folder / "takes").glob(f"turn_{name.replace(' ', '-')}_*.mcap")))
    assert take.run == name
    found = align(take, cue_frames(take)[1])
    stamps_s = (take.actual_ns - found.origin_ns).astype(np.float64) * 1e-9
    return positions_at(stamps_s, take.actual, found.at_s)


def off(one: NDArray[np.float64], other: NDArray[np.float64]) -> float:
    """Return the median of what two paths are apart: a late tick of a busy machine is not the rig's noise."""
    return float(np.nanmedian(np.abs(one - other)))


def test_at_shared_frames_the_rig_stands_where_it_stood(tmp_path: Path) -> None:
    folder = small_project(tmp_path / "small")
    project, rig = (json.loads((folder / name).read_text()) for name in ("project.json", "rig.json"))
    project["passes"] = PASSES
    for axis in rig["axes"]:
        axis["simulated"] = {"lag_s": 0.016, "transport_s": 0.005, "noise": NOISE_DEG}
    (folder / "project.json").write_text(json.dumps(project))
    (folder / "rig.json").write_text(json.dumps(rig))
    plain, half, back = (stood(folder, one["name"])[:, 0] for one in PASSES)
    assert np.nanmax(plain) == pytest.approx(20, abs=0.2)
    # the difference of two answers has a standard deviation of 1.4 times the noise, and a median of 0.95 times it
    moving = slice(2, 24)
    assert len(half) == 2 * len(plain) - 1
    assert off(half[::2][moving], plain[moving]) < 3 * NOISE_DEG
    assert off(half[1::2][moving], plain[moving]) > 10 * NOISE_DEG, "half a frame off is seen"
    assert off(back[::-1][moving], plain[moving]) < 3 * NOISE_DEG
