"""A timelapse on the simulated rig as the operator has it: the real processes, a kill without a word, and a resume."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from msgspec.structs import replace

from sequencer.playback.timelapse import begin
from sequencer.project import shot_log
from sequencer.project.shot_log import Begun
from sequencer.project.store import load
from sequencer.shell import shoot
from sequencer.shell.crew import CrewFailed
from sequencer.shell.kinds import laws
from sequencer.shell.messages import Command, Fire, Go, Said, Status
from sequencer.shell.spread import Spread, spread
from sequencer.shell.timelapse import Teller, shoot_frames
from tests.shell.acted import QUIET
from tests.shell.small import small_project

pytestmark = pytest.mark.real_time
FRAMES = 6
INTERVAL_S = 1.5
PATIENCE_S = 60.0


def project(tmp_path: Path, **timelapse: Any) -> Path:
    folder = small_project(tmp_path / "small")
    tree = json.loads((folder / "project.json").read_text())
    lengths = {"frames": FRAMES, "interval_s": str(INTERVAL_S), "exposure_s": "1/5", "settle_s": "1/2"}
    tree["timelapse"] = {**lengths, "tolerance": {"pan": 0.05, "tilt": 0.05}, "still_s": 0.1, **timelapse}
    (folder / "project.json").write_text(json.dumps(tree))
    return folder


def started(folder: Path, output: str, *options: str) -> "subprocess.Popen[str]":
    command = [
        sys.executable,
        "-m",
        "sequencer",
        "timelapse",
        str(folder),
        "--out",
        output,
        "--shoot",
        "--arm",
        *options,
    ]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)


def wait_for(log: Path, frame: int) -> None:
    deadline = time.monotonic() + PATIENCE_S
    while time.monotonic() < deadline:
        if log.exists() and f'"exposed","frame":{frame},' in log.read_text():
            return
        time.sleep(0.02)
    raise AssertionError(f"frame {frame} was not exposed in {PATIENCE_S:.0f} s")


def demand_whole(found: Spread, log: Path, tolerance: float) -> shot_log.Shot:
    """Have every frame once, and the rig at its pose as far as it said."""
    shot = shot_log.read(log)
    assert [one.frame for one in shot.exposed] == list(range(FRAMES))
    stood = np.array([one.actual for one in shot.exposed])
    assert np.abs(stood - found.poses).max() < tolerance
    return shot


def test_a_shoot_that_is_killed_goes_on_at_the_right_frame_and_pose(tmp_path: Path) -> None:
    folder = project(tmp_path)
    log = folder / "takes" / "turn.shots.jsonl"
    found = spread(load(folder, laws()), laws())
    with shoot.simulated_rig(folder / "rig.json", 1) as (_, output):
        first = started(folder, output)
        wait_for(log, 2)
        # on the way to a pose as like as not
        os.kill(first.pid, signal.SIGKILL)
        first.communicate()
        before = shot_log.read(log)
        assert 3 <= before.next < FRAMES
        time.sleep(2.5)  # time for its engine to see that it is gone, and for frames to become overdue
        second = started(folder, output, "--resume", "--not-taken")
        said, _ = second.communicate(timeout=PATIENCE_S)
    assert second.returncode == 0, said
    assert f"frames 0 to {before.next - 1} are exposed" in said
    assert "This program is not a safety device" in said
    shot = demand_whole(found, log, 0.05)
    after = shot.exposed[before.next :]
    assert after[0].late_s > 1.0, "it was overdue, and is made up for"
    at = np.array([one.at for one in shot.exposed])
    assert (np.diff(at) > 0.2).all(), "no two frames in one exposure"
    assert (at >= shot.begins + INTERVAL_S * np.arange(FRAMES) - 0.001).all(), "none before its time"


def test_a_gap_is_shifted_where_that_is_wanted(tmp_path: Path) -> None:
    folder = project(tmp_path)
    log = folder / "takes" / "turn.shots.jsonl"
    with shoot.simulated_rig(folder / "rig.json", 1) as (_, output):
        first = started(folder, output)
        wait_for(log, 1)
        first.send_signal(signal.SIGINT)
        assert first.wait(PATIENCE_S) == 130
        assert first.stdout is not None
        first.stdout.close()
        before = shot_log.read(log)
        time.sleep(3.0)
        second = started(folder, output, "--resume", "--gap", "shift", "--not-taken")
        said, _ = second.communicate(timeout=PATIENCE_S)
    assert second.returncode == 0, said
    shot = demand_whole(spread(load(folder, laws()), laws()), log, 0.05)
    assert shot.begins > before.begins + 1.0
    # what is left keeps its intervals
    at = np.array([one.at for one in shot.exposed])[before.next + 1 :]
    assert np.abs(np.diff(at) - INTERVAL_S).max() < 0.5


def test_a_rig_that_moves_on_is_exposed_on_the_way_and_resumed_in_mid_move(tmp_path: Path) -> None:
    folder = project(tmp_path, manner="continuous")
    log = folder / "takes" / "turn.shots.jsonl"
    found = spread(load(folder, laws()), laws())
    with shoot.simulated_rig(folder / "rig.json", 1) as (_, output):
        first = started(folder, output)
        wait_for(log, 2)
        os.kill(first.pid, signal.SIGKILL)
        first.communicate()
        time.sleep(2.5)
        second = started(folder, output, "--resume", "--not-taken")
        said, _ = second.communicate(timeout=PATIENCE_S)
    assert second.returncode == 0, said
    # the pan goes at up to 3.6 degrees a second; what was heard last is some hundredths of a second old
    shot = demand_whole(found, log, 1.0)
    assert shot.begins > shot.begun.begins + 1.0


class Engine:
    """An engine's end of the talk, which goes anywhere at once; `says`: what comes of an order to the camera."""

    def __init__(self, found: Spread, says: str = "fired") -> None:
        self.told: list[Command] = []
        self.stopped = False
        self._axes, self._says, self._said = len(found.project.rig.axes), says, [Said(0, "other", "a word")]
        self._mark, self._at = "", (0.0,) * self._axes

    def tell(self, command: Command) -> None:
        self.told.append(command)
        if isinstance(command, Go):
            self._mark, self._at = command.name, tuple(value for _, value in command.position)
        if isinstance(command, Fire):
            self._said.append(Said(time.monotonic_ns(), self._says, f"shutter {self._says}"))

    def hear(self, _: float) -> list[Said]:
        time.sleep(0.001)
        said, self._said = self._said, []
        return said

    def status(self) -> Status:
        return replace(
            QUIET,
            at_ns=time.monotonic_ns(),
            phase="stopped" if self.stopped else "idle",
            cause="somebody pressed stop",
            asked=self._at,
            actual=self._at,
            mark=self._mark,
        )


def on_stage(tmp_path: Path, **engine: Any) -> tuple[Spread, Engine, Path]:
    folder = project(tmp_path, interval_s="1/50", exposure_s="1/1000", settle_s="0.001", speed="1", still_s=0.0)
    found = spread(load(folder, laws()), laws())
    return found, Engine(found, **engine), folder / "takes" / "turn.shots.jsonl"


def exposed_by(engine: Engine, found: Spread, path: Path, **told: Any) -> None:
    """Expose all frames with this engine. Error: CrewFailed."""
    course = found.course(time.time(), told.pop("changes", frozenset()))
    begun = Begun(of="turn", frames=FRAMES, begins=course.begins_s, sha256=found.sha256)
    teller = Teller(said=lambda _: None) if not told else Teller(**told)
    with shot_log.Log.begin(path, begun) as log:
        shoot_frames(engine, found, course, begin(course), log, teller)  # type: ignore[arg-type]  # in place of a crew


def test_each_frame_is_gone_to_and_fired_in_turn(tmp_path: Path) -> None:
    found, engine, path = on_stage(tmp_path)
    words: list[str] = []
    frames: list[int] = []
    asked: list[str] = []
    exposed_by(
        engine,
        found,
        path,
        said=words.append,
        exposed=lambda frame, _: frames.append(frame),
        ask=asked.append,
        changes=frozenset({3}),
    )
    orders = [one.name for one in engine.told if isinstance(one, Go | Fire)]
    assert orders == [name for frame in range(FRAMES) for name in (f"frame {frame}", "shutter")]
    assert {one.part for one in engine.told if isinstance(one, Go)} == {"1"}
    assert frames == list(range(FRAMES))
    assert asked == ["Frame 3 is next, and waits. Go on?"]
    assert words[0] == "a word"
    demand_whole(found, path, 1e-9)


def test_an_order_that_reaches_no_camera_ends_it_and_leaves_no_doubt(tmp_path: Path) -> None:
    found, engine, path = on_stage(tmp_path, says="not fired")
    with pytest.raises(CrewFailed, match="frame 0 was not exposed: shutter not fired"):
        exposed_by(engine, found, path)
    shot = shot_log.read(path)
    assert (shot.next, shot.doubtful, shot.again) == (0, False, ())


def test_an_order_with_which_the_link_went_is_in_doubt(tmp_path: Path) -> None:
    found, engine, path = on_stage(tmp_path, says="perhaps fired")
    with pytest.raises(CrewFailed, match="shutter perhaps fired"):
        exposed_by(engine, found, path)
    shot = shot_log.read(path)
    assert (shot.next, shot.doubtful, shot.again) == (0, True, ()), "the card is to be counted"


def test_a_stop_ends_it_and_says_why(tmp_path: Path) -> None:
    found, engine, path = on_stage(tmp_path)
    engine.stopped = True
    with pytest.raises(CrewFailed, match="stopped: somebody pressed stop"):
        exposed_by(engine, found, path)
    assert shot_log.read(path).next == 0
