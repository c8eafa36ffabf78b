"""The whole chain with its real processes: what the operator sees of good takes, and of what goes wrong on a set."""

import contextlib
import json
import os
import signal
import socket
import subprocess
import sys
import time
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from sequencer.errors import LinkError
from sequencer.motion.compile import compile_move
from sequencer.playback.state import Phase
from sequencer.project.store import load
from sequencer.project.takefile import read
from sequencer.shell import shoot
from sequencer.shell.companion import companion
from sequencer.shell.crew import CrewFailed
from sequencer.shell.engine import OPERATOR_SILENT_S
from sequencer.shell.kinds import laws
from sequencer.shell.messages import Arm, Hello, frame
from sequencer.wire.osc import decode
from tests.shell.conftest import Starter
from tests.shell.small import small_project

pytestmark = pytest.mark.real_time


def run(*arguments: str, patience_s: float = 60.0) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "sequencer", *arguments]
    return subprocess.run(command, capture_output=True, text=True, timeout=patience_s, check=False)


def test_takes_are_shot_compared_and_reported(tmp_path: Path) -> None:
    folder = small_project(tmp_path / "small")
    done = run("takes", str(folder), "--takes", "2", "--preroll", "1", "--through", "pipe", "--json")
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert [axis["axis"] for axis in found["axes"]] == ["pan", "tilt"]
    assert {"rms", "peak", "path_repeatability", "pixels_peak"} <= found["axes"][0].keys()
    takes = [read(Path(path)) for path in found["files"]]
    assert all(take.complete for take in takes)
    # the pan went where it was sent, twice: a hundredth of a second at its peak speed of 37.5 degrees a second
    assert all(abs(take.actual[-1, 0] - 20.0) < 0.1 for take in takes)
    assert found["axes"][0]["peak"] < 0.4
    report = Path(found["report"]).read_text(encoding="utf-8")
    assert "<svg" in report
    assert found["words"] in report.replace("&#x27;", "'")


def test_an_engine_that_is_killed_ends_in_a_stop_by_the_watchdog(start: Starter) -> None:
    running, watch, _ = start()
    running.wait_opened()
    running.tell(Arm(cue="turn"))
    watch.until(Phase.READY, 20)
    os.kill(running.engine_pid, signal.SIGSTOP)  # it hangs, which is worse than dying: nothing closes
    with pytest.raises(CrewFailed, match="watchdog"):
        watch.until(Phase.FINISHED, 10)


def test_a_stop_from_the_operator_is_latched_in_mid_move(start: Starter) -> None:
    running, watch, _ = start()
    running.wait_opened()
    running.tell(Arm(cue="turn"))
    watch.until(Phase.READY, 20)
    watch.stop()
    status = running.status()
    assert status is not None
    assert status.phase == Phase.STOPPED
    assert "operator" in status.cause


def test_a_rig_that_does_not_answer_is_told_before_anything_moves(start: Starter) -> None:
    running, _, _ = start("--mute")
    with pytest.raises(CrewFailed, match="does not answer; check its power") as caught:
        running.wait_opened()
    assert caught.value.exit_status == 3


def test_a_rig_that_vanishes_is_told_and_what_was_recorded_is_kept(start: Starter) -> None:
    running, watch, plan = start("--vanish-after-s", "3")
    running.wait_opened()
    path = plan.next_path()
    running.tell(Arm(cue="turn", take=str(path), heading=plan.heading(path.stem)))
    with pytest.raises(CrewFailed, match="has not answered"):
        watch.until(Phase.FINISHED, 20)
    kept = watch.until_kept()
    take = read(Path(kept.path))
    assert take.complete
    assert any(one.code == "stopped" and "has not answered" in one.text for one in take.happenings)


def test_a_move_beyond_the_motors_is_refused_with_its_place(tmp_path: Path) -> None:
    folder = small_project(tmp_path / "small", far=60.0)
    done = run("takes", str(folder), "--takes", "2", "--through", "pipe")
    assert done.returncode == 1
    words = " ".join(done.stderr.split())
    assert "pan" in words
    assert "10:00:02:" in words
    assert "limit" in words


def test_a_damaged_project_is_a_usage_fault(tmp_path: Path) -> None:
    folder = small_project(tmp_path / "small")
    (folder / "project.json").write_text((folder / "project.json").read_text()[:-30])
    done = run("takes", str(folder))
    assert done.returncode == 2
    assert "project.json" in done.stderr
    assert "Traceback" not in done.stderr


def test_ctrl_c_stops_the_rig_in_order(tmp_path: Path) -> None:
    folder = small_project(tmp_path / "small")
    command = [sys.executable, "-m", "sequencer", "takes", str(folder), "--through", "pipe", "--preroll", "10"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        for line in process.stdout:
            if "waiting for timecode" in line:
                break
        process.send_signal(signal.SIGINT)
        rest, errors = process.communicate(timeout=30)
    assert process.returncode == 130
    assert "stopped: the operator pressed stop" in rest
    assert "interrupted" in errors
    take = read(next((folder / "takes").glob("*.mcap")))
    assert any("pressed stop" in one.text for one in take.happenings)


def test_play_follows_its_own_clock_and_assumes_home_when_nobody_answers(tmp_path: Path) -> None:
    folder = small_project(tmp_path / "small")
    done = run("play", str(folder), "--arm", "--preroll", "1", "--out", "osc://127.0.0.1:9")
    assert done.returncode == 0, done.stdout + done.stderr
    words = " ".join(done.stdout.split())
    assert "taken to stand at home (pan 0, tilt 0)" in words
    assert "emergency stop" in words
    assert "the cue is done" in words


def test_a_rehearsal_is_the_same_path_at_a_part_of_the_speed(tmp_path: Path) -> None:
    folder = small_project(tmp_path / "small")
    with shoot.simulated_rig(folder / "rig.json", 1) as (_, output):
        ordered = ("--cue", "turn", "--record", "--speed", "50%", "--arm", "--preroll", "1", "--out", output)
        done = run("play", str(folder), *ordered)
    assert done.returncode == 0, done.stdout + done.stderr
    take = read(next((folder / "takes").glob("*.mcap")))
    assert take.speed == Fraction(1, 2)
    start_s, end_s = take.cue_s
    assert end_s - start_s == pytest.approx(2 * 1.48)
    project = load(folder, laws())
    whole = compile_move(project.rig, project.move, project.timebase.rate, laws())
    # each axis is sent as far ahead as its latency, and half of that on the way as written
    written_s = start_s + (take.timeline_s + 0.005 - start_s) / 2
    inside = (take.timeline_s > start_s) & (take.timeline_s < end_s)
    assert inside.sum() > 600
    np.testing.assert_allclose(take.asked[inside], whole.sample(written_s[inside]), atol=1e-6)


def test_a_rehearsal_that_is_too_fast_for_the_motors_is_refused(tmp_path: Path) -> None:
    done = run("play", str(small_project(tmp_path / "small")), "--arm", "--speed", "3", "--out", "osc://127.0.0.1:9")
    assert done.returncode == 1
    assert "not armed: pan asks" in " ".join(done.stderr.split())


def test_timecode_that_starts_and_is_set_anew_in_mid_move_is_joined(start: Starter) -> None:
    running, watch, plan = start(legs=8, sync="mtc", sources=("pipe:0",))
    opened = running.wait_opened()
    said: list[str] = []
    watch.tell = lambda status, words: said.extend(one.code for one in words)
    watch.arm(Arm(cue="turn", late="join"))
    watch.until(Phase.READY, 20)
    with shoot.timecode_sender(opened, plan.project) as sender:
        sender.say({"run": {"from": "10:00:03:00", "until": "10:00:12:00"}})
        watch.until(Phase.RUNNING, 10)
        sender.say({"run": {"from": "10:00:07:00", "until": "10:00:12:00"}})
        watch.until(Phase.JOINING, 10)
        watch.until(Phase.FINISHED, 20)
    assert [code for code in said if code in ("joining", "joined", "finished")] == [
        *("joining", "joined"),  # started late
        *("joining", "joining", "joined"),  # set to another place, and running from there
        "finished",
    ]


def test_a_rig_that_is_armed_under_running_timecode_joins_at_once_and_goes_on(start: Starter) -> None:
    """It is ready for one tick only, which a look at the status now and then does not see."""
    running, watch, plan = start(legs=8, sync="mtc", sources=("pipe:0",), tick_hz=1000)
    with shoot.timecode_sender(running.wait_opened(), plan.project) as sender:
        sender.say({"run": {"from": "10:00:02:12", "until": "10:00:12:00"}})
        while (status := watch.look()) is None or status.lock != "locked":
            pass
        watch.arm(Arm(cue="turn", late="join"))
        watch.until(Phase.READY, 4)
        watch.until(Phase.FINISHED, 20)


def test_a_take_is_never_written_over_another(start: Starter) -> None:
    _, _, plan = start()
    first = plan.next_path()
    first.touch()
    (plan.folder / f"{plan.stem}_007.mcap").touch()
    assert plan.next_path().name == f"{plan.stem}_008.mcap"


def test_the_stop_word_is_obeyed_without_a_message(start: Starter) -> None:
    running, watch, _ = start()
    running.wait_opened()
    running.stop_now()
    with pytest.raises(CrewFailed, match="the operator pressed stop"):
        watch.until(Phase.READY, 5)


def test_who_is_not_ready_in_time_is_named(start: Starter, monkeypatch: pytest.MonkeyPatch) -> None:
    running, _, _ = start(give=("mtc:virtual:quay",))
    monkeypatch.setattr("sequencer.shell.crew._START_S", 0.0)
    with pytest.raises(CrewFailed, match="the engine and giver and io process was not ready"):
        running.wait_opened()


def test_an_operator_who_thinks_for_long_before_arming_is_still_there(start: Starter) -> None:
    running, watch, _ = start()
    running.wait_opened()
    time.sleep(OPERATOR_SILENT_S + 0.2)
    watch.arm(Arm(cue="turn"))
    # the engine may run on before the command does
    time.sleep(OPERATOR_SILENT_S / 3)
    status = running.status()
    assert status is not None
    assert status.phase in (Phase.LOCATING, Phase.READY)


def test_a_cue_of_any_name_has_a_next_take(tmp_path: Path) -> None:
    project = load(small_project(tmp_path / "small"), laws())
    cue = replace(project.cue(None), name="turn [wide] 1/2")
    plan = shoot.Plan(project=project, cue=cue, run=project.run(None), folder=tmp_path / "takes")
    first = plan.next_path()
    first.touch()
    assert plan.next_path() != first


def test_a_large_move_is_armed_however_long_that_takes_to_work_out(start: Starter, tmp_path: Path) -> None:
    # longer than the watchdog lets a heart stand still: 0.5 s where this was written
    running, watch, _ = start(legs=3400, ease="harmonic")
    running.wait_opened()
    watch.arm(Arm(cue="turn"))
    watch.until(Phase.READY, 20)


def test_a_project_of_50_frames_a_second_is_shot_by_timecode_of_25(tmp_path: Path) -> None:
    folder = small_project(tmp_path / "small")
    written = (folder / "project.json").read_text().replace('"rate": "25"', '"rate": "50"')
    (folder / "project.json").write_text(written)
    done = run("takes", str(folder), "--takes", "1", "--preroll", "1", "--through", "pipe")
    assert done.returncode == 0, done.stdout + done.stderr
    take = read(next((folder / "takes").glob("*.mcap")))
    # the cue's places are those of the project: from 2 s on, and the pan there after one second
    assert take.sighted_s[0] < 2.0
    assert take.asked[take.timeline_s > 3.05][0] == pytest.approx([20.0, 0.0], abs=1e-3)


def test_an_output_that_cannot_be_opened_is_told(tmp_path: Path) -> None:
    done = run("play", str(small_project(tmp_path / "small")), "--arm", "--out", "osc://127.0.0.1")
    assert done.returncode == 3
    assert "write it as osc://" in " ".join(done.stderr.split())
    assert "Traceback" not in done.stderr


def test_the_operator_hears_what_is_there_before_being_asked(tmp_path: Path) -> None:
    folder = small_project(tmp_path / "small")
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as rig:
        rig.bind(("127.0.0.1", 0))
        command = [sys.executable, "-m", "sequencer", "play", str(folder)]
        address = f"osc://127.0.0.1:{rig.getsockname()[1]}"
        done = subprocess.run([*command, "--out", address], input="n", capture_output=True, text=True, check=False)
        rig.setblocking(False)
        heard: set[str] = set()
        with contextlib.suppress(BlockingIOError):
            while True:
                heard.update(message.address for message in decode(rig.recv(65_535)))
    assert done.returncode == 0, done.stderr
    words = " ".join(done.stdout.split())
    assert words.index("taken to stand at home") < words.index("Arm and move to the start?")
    assert heard <= {"/rig/ask", "/rig/ping"}
    assert "/rig/ask" in heard


@pytest.mark.parametrize("ended_by", [signal.SIGTERM, signal.SIGHUP])
def test_a_command_that_is_ended_from_outside_stops_the_rig_and_keeps_the_take(
    tmp_path: Path, ended_by: signal.Signals
) -> None:
    folder = small_project(tmp_path / "small")
    command = [sys.executable, "-m", "sequencer", "takes", str(folder), "--through", "pipe", "--preroll", "10"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        for line in process.stdout:
            if "waiting for timecode" in line:
                break
        process.send_signal(ended_by)
        rest, _ = process.communicate(timeout=30)
    assert process.returncode == 130
    path = next((folder / "takes").glob("*.mcap"))
    assert f"kept {path}".replace(" ", "") in "".join(rest.split())
    assert read(path).complete


def test_a_stranger_at_the_command_s_door_is_put_out_and_the_door_is_closed_once_all_are_in(start: Starter) -> None:
    running, _, _ = start()
    with socket.create_connection(("127.0.0.1", running.port)) as stranger:
        stranger.sendall(frame(Hello("engine", "naïve")))
        running.wait_opened()
        stranger.settimeout(5)
        assert stranger.recv(1) == b""
    with pytest.raises(ConnectionError):  # noqa: PT012  # the watchdog may come in a moment after all others are ready
        while True:
            socket.create_connection(("127.0.0.1", running.port)).close()
            running.hear()


def test_the_simulated_rig_s_end_is_told(tmp_path: Path) -> None:
    folder = small_project(tmp_path / "small")
    with shoot.simulated_rig(folder / "rig.json", 1) as (rig, _):
        os.kill(rig.pid, signal.SIGKILL)
        with pytest.raises(LinkError, match="ended by itself"):
            rig.wait_for("nothing that it says")


def test_what_a_companion_complains_of_is_told() -> None:
    arguments = ("--to", "pipe:1", "--rate", "50")
    with (
        companion("timecode sender", "sequencer.shell.timecode_sender", *arguments) as sender,
        pytest.raises(LinkError, match="timecode sender: 50 frames a second cannot be carried"),
    ):
        sender.wait_for("ready")
