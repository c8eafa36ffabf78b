"""An output that another package brings: installed as a builder would, checked, and driven by the engine."""

import json
import os
import re
import socket
import subprocess
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path

import pytest

from sequencer.project.store import load
from sequencer.shell.kinds import laws
from tests.needs import needs_module

EXAMPLE = Path(__file__).parent / "example"
ROOT = Path(__file__).parents[2]
HARBOUR = ROOT / "projects" / "harbour-lanterns"

CHECK = """
import sys
from quay_lines import KIND
from sequencer.rig.axis import Axis, Rig
from sequencer.testing.outputs import check_output
axis = Axis(name="pan", kind="pan", unit="deg", travel=(-170, 170), speed=60, acceleration=120, jerk=600)
check_output(KIND, sys.argv[1], Rig(name="quay", axes=(axis,)))
"""
FOUND = """
import json
from sequencer.shell import kinds
print(json.dumps([kinds.output_kind("lines:").stop_action, kinds.outputs_left_out()]))
"""


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, str]:
    """Build and install the example beside this program, and return the environment that has it."""
    needs_module("hatchling")
    folder = tmp_path_factory.mktemp("own")
    target = folder / "packages"
    pip = [sys.executable, "-m", "pip", "install", "--quiet", "--no-deps", "--no-build-isolation", "--no-index"]
    subprocess.run([*pip, "--target", str(target), str(EXAMPLE)], check=True, timeout=120)
    return {**os.environ, "PYTHONPATH": str(target)}


@pytest.fixture
def rig() -> Iterator[socket.socket]:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as port:
        port.bind(("127.0.0.1", 0))
        port.setblocking(False)
        port.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4 * 1024 * 1024)
        yield port


def run(installed: Mapping[str, str], *words: str) -> str:
    done = subprocess.run(
        [sys.executable, *words], env=installed, cwd=ROOT, capture_output=True, text=True, timeout=120, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def heard(rig: socket.socket) -> list[str]:
    lines = []
    while True:
        try:
            lines.append(rig.recv(65_535).decode())
        except BlockingIOError:
            return lines


@pytest.mark.real_time
def test_it_is_found_by_its_entry_point(installed: Mapping[str, str]) -> None:
    stop_action, left_out = json.loads(run(installed, "-c", FOUND))
    assert "brakes and holds" in stop_action
    assert left_out == {}


@pytest.mark.real_time
def test_it_keeps_the_contract(installed: Mapping[str, str], rig: socket.socket) -> None:
    run(installed, "-c", CHECK, f"lines://127.0.0.1:{rig.getsockname()[1]}")
    lines = heard(rig)
    assert {line.split()[0] for line in lines} == {"pan", "go", "stop"}


@pytest.mark.real_time
def test_the_engine_plays_a_move_through_it(installed: Mapping[str, str], rig: socket.socket) -> None:
    address = f"lines://127.0.0.1:{rig.getsockname()[1]}?decimals=2"
    options = ["--sync", "internal", "--out", address, "--arm", "--preroll", "0", "--until", "10:00:10:00"]
    run(installed, "-m", "sequencer", "play", str(HARBOUR), *options)
    axes = load(HARBOUR, laws()).rig.axes
    lines = heard(rig)
    sets = [line.split() for line in lines if line not in ("go", "stop")]
    assert len(sets) > 200
    for words in sets:
        assert words[::2] == [axis.name for axis in axes]
        assert all(re.fullmatch(r"-?\d+\.\d\d", number) for number in words[1::2])
        for axis, number in zip(axes, words[1::2], strict=True):
            assert axis.travel is None or axis.travel[0] - 0.01 <= float(number) <= axis.travel[1] + 0.01
    assert len({tuple(words) for words in sets}) > 50, "the rig moved"
    assert "go" in lines
