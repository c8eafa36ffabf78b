"""Laws that other packages bring, and those that fail to load."""

import json
import os
import subprocess
import sys
from pathlib import Path

from sequencer.shell import kinds

GLIDE = """
import numpy as np
from sequencer.score.easing import LawKind, NoSettings, UnitCurve
CURVE = UnitCurve(np.array([0.0, 1.0]), np.array([[-2.0], [3.0], [0.0], [0.0]]))
KIND = LawKind("glide", NoSettings, lambda how: CURVE)
AGAIN = LawKind("linear", NoSettings, KIND.curve)
"""


def install(folder: Path, points: str) -> None:
    """Lay a package out as an installer does: a module, and its entry points in a dist-info folder."""
    (folder / "their_glide.py").write_text(GLIDE)
    (folder / "their_broken.py").write_text("1 / 0\n")
    info = folder / "their_laws-1.0.dist-info"
    info.mkdir()
    (info / "METADATA").write_text("Metadata-Version: 2.1\nName: their-laws\nVersion: 1.0\n")
    (info / "entry_points.txt").write_text(f"[twintake.laws]\n{points}")


def test_a_strangers_law_is_found_and_a_broken_one_stops_nobody(tmp_path: Path) -> None:
    install(
        tmp_path,
        "glide = their_glide:KIND\nbad = their_broken:KIND\nnothing = their_glide:GONE\nnumber = their_glide:np\n"
        "again = their_glide:AGAIN\n",
    )
    # a process of its own: what is installed is looked up once
    asked = (
        "import json; from sequencer.shell import kinds; print(json.dumps([list(kinds.laws()), kinds.laws_left_out()]))"
    )
    environment = {**os.environ, "PYTHONPATH": str(tmp_path)}
    answer = subprocess.run([sys.executable, "-c", asked], env=environment, capture_output=True, text=True, check=True)
    found, reasons = json.loads(answer.stdout)
    assert set(found) == {*kinds.laws(), "glide"}
    assert set(reasons) == {
        "bad (their_broken:KIND)",
        "nothing (their_glide:GONE)",
        "number (their_glide:np)",
        "again (their_glide:AGAIN)",
    }
    assert "ZeroDivisionError" in reasons["bad (their_broken:KIND)"]
    assert "not a LawKind" in reasons["number (their_glide:np)"]
    assert "already" in reasons["again (their_glide:AGAIN)"]
