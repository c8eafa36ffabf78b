"""The timecode sender: what it sends, when each message is due, and what it says of it."""

import json
import queue
import select
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from sequencer.adapters.sources.pipe import PipeIn, open_pipe
from sequencer.shell.timecode_sender import QUIT, Faults, Sender, main
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting

MS = 1_000_000
RATE_30 = Counting(Rate(30))
DROP = Counting(Rate(30000, 1001), True)


class Wire:
    """Where messages end, each with the instant that it was due at; nothing is late on it."""

    ahead_ns = 3_600_000_000_000

    def __init__(self) -> None:
        self.sent: list[tuple[int, bytes]] = []

    def send(self, data: bytes, due_ns: int) -> None:
        self.sent.append((due_ns, data))

    def check(self, now_ns: int) -> None:
        pass


def played(
    capsys: pytest.CaptureFixture[str], counting: Counting, *lines: object, faults: Faults | None = None, seed: int = 1
) -> tuple[list[tuple[int, bytes]], list[dict[str, Any]]]:
    """Return what the sender sent for these lines, and what it said. Nothing waits: all is handed over ahead."""
    wire, told = Wire(), queue.SimpleQueue[str]()
    for line in lines:
        told.put(line if isinstance(line, str) else json.dumps(line))
    told.put(QUIT)
    Sender(wire, counting, faults or Faults(), seed, told).serve()
    return wire.sent, [json.loads(line) for line in capsys.readouterr().out.splitlines()]


def run(start: str, until: str, speed: float = 1.0) -> dict[str, object]:
    return {"run": {"from": start, "until": until, "speed": speed}}


@pytest.mark.parametrize(
    ("start", "until", "way"), [("23:59:59:00", "00:00:01:00", 1.0), ("00:00:01:00", "23:59:59:00", -1.0)]
)
def test_a_run_goes_on_over_midnight(capsys: pytest.CaptureFixture[str], start: str, until: str, way: float) -> None:
    sent, said = played(capsys, RATE_30, run(start, until, way))
    assert [next(iter(one)) for one in said] == ["running", "done"]
    # a full frame, then four quarter frames in each of 60 frames, and the last frame's own
    assert 240 <= len(sent) - 1 <= 248
    assert sent[-1][0] - sent[1][0] == pytest.approx(2e9, abs=0.07e9)


def test_the_specifications_example_is_sent(capsys: pytest.CaptureFixture[str]) -> None:
    # Source: MIDI Time Code and Cueing, 1987, worked example of 01:37:52:16 at 30 frames a second
    sent, said = played(capsys, RATE_30, run("01:37:52:16", "01:37:52:18"))
    assert sent[0][1] == bytes.fromhex("F0 7F 7F 01 01 61 25 34 10 F7")
    pieces = "F100 F111 F124 F133 F145 F152 F161 F176"
    assert b"".join(data for _, data in sent[1:9]) == bytes.fromhex(pieces)
    # the next cycle tells the address two frames later
    assert sent[9][1] == bytes.fromhex("F102")
    assert len(sent) == 10
    assert [next(iter(one)) for one in said] == ["running", "done"]
    assert said[1]["done"]["sent"] == 9


def test_backward_ends_with_piece_0_of_the_end(capsys: pytest.CaptureFixture[str]) -> None:
    sent, said = played(capsys, RATE_30, run("01:37:52:18", "01:37:52:16", -1.0))
    assert sent[0][1][-2] == 18
    assert b"".join(data for _, data in sent[1:]) == bytes.fromhex("F176 F161 F152 F145 F133 F124 F111 F100")
    # the first quarter frame backward is the one before the start
    from_ns = said[0]["running"]["from_ns"]
    assert [due - from_ns for due, _ in sent[1:]] == [round(k * 1e9 / 120) for k in range(1, 9)]


@pytest.mark.parametrize("speed", [1.0, 0.5, 1.04])
def test_instants_do_not_drift(capsys: pytest.CaptureFixture[str], speed: float) -> None:
    # 29.97 drop over the minute edge where two labels are left out: 10 s are 299.7 frames
    sent, said = played(capsys, DROP, run("10:00:55;00", "10:01:05;00", speed))
    from_ns = said[0]["running"]["from_ns"]
    dues = [due - from_ns for due, _ in sent[1:]]
    quarters = 4 * (10 * 30 - 2)
    assert len(dues) == quarters + 1
    assert dues[0] == 0
    assert dues[-1] == pytest.approx(quarters * 1001 / 120_000 / speed * 1e9, abs=1)
    assert all(abs((b - a) * speed - 1001 / 120_000 * 1e9) < 2 for a, b in pairwise(dues))


def test_faults_keep_the_order_and_come_again_with_the_seed(capsys: pytest.CaptureFixture[str]) -> None:
    asked = run("10:00:00:00", "10:00:20:00")
    faults = Faults(jitter_s=0.002, lose=0.1)
    sent, said = played(capsys, RATE_30, asked, faults=faults)
    done = said[1]["done"]
    assert done["sent"] + done["lost"] == 2401
    assert len(sent) - 1 == done["sent"]
    assert 180 < done["lost"] < 300
    dues = [due for due, _ in sent]
    assert dues == sorted(dues)
    gaps = np.array(dues[1:]) - done["from_ns"]
    off = (gaps + 1e9 / 240) % (1e9 / 120) - 1e9 / 240
    assert 1.7 * MS < off.std() < 2.3 * MS
    again, told = played(capsys, RATE_30, asked, faults=faults)
    shift = told[0]["running"]["from_ns"] - done["from_ns"]
    assert [(due - shift, data) for due, data in again] == sent
    other, _ = played(capsys, RATE_30, asked, faults=faults, seed=2)
    assert [data for _, data in other] != [data for _, data in sent]


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (run("10:00:61:00", "10:01:00:00"), "has 61 seconds"),
        (run("10:00:02:00", "10:00:01:00"), "wrong side"),
        (run("10:00:01:00", "10:00:02:00", -1.0), "wrong side"),
        (run("10:00:01:00", "10:00:02:00", 0.0), "forward"),
        (run("10:00:01:00", "10:00:02:00", float("nan")), "forward"),
        (
            {"run": {"from": "10:00:01:00", "until": "10:00:02:00", "start_in_s": -0.5}},
            "ValueError: start_in_s is -0.5; it must be from 0 to 86400",
        ),
        (
            {"run": {"from": "10:00:01:00", "until": "10:00:02:00", "start_in_s": 1e300}},
            "ValueError: start_in_s is 1e+300; it must be from 0 to 86400",
        ),
        (run("10:00:01:00", "10:00:02:00", 1e-310), "timecode runs forward at 0.001 to 1000, or backward"),
        ({"run": {"from": "10:00:01:00", "until": "10:00:02:00", "speed": 10**400}}, "OverflowError"),
        ({"run": {"until": "10:00:02:00"}}, "from"),
        ({"run": 5}, "TypeError"),
        ({"go": True}, 'write {"run"'),
        ("5", "TypeError"),
        ("{", "JSONDecodeError"),
    ],
)
def test_a_wrong_line_is_told_and_the_next_one_is_obeyed(
    capsys: pytest.CaptureFixture[str], line: object, words: str
) -> None:
    sent, said = played(capsys, RATE_30, line, run("10:00:01:00", "10:00:01:01"))
    assert words in said[0]["error"]
    assert [next(iter(one)) for one in said[1:]] == ["running", "done"]
    assert len(sent) == 6


@pytest.mark.parametrize(
    ("arguments", "status", "words"),
    [
        (["--to", "pipe:1", "--rate", "50"], 2, "50 frames a second cannot be carried"),
        (["--to", "pipe:1", "--rate", "25", "--drop"], 2, "drop"),
        (["--to", "pipe:1", "--rate", "25", "--lose", "2"], 2, "the part that is lost is 2.0"),
        (["--to", "pipe:1", "--rate", "25", "--jitter-ms", "-2"], 2, "jitter is -0.002 s; it must be zero or more"),
        (["--to", "pipe:1", "--rate", "25"], 3, "pipe:1"),
        (["--to", "quay", "--rate", "25"], 3, "quay"),
    ],
)
def test_what_cannot_be_is_an_exit_status_and_a_line(
    capsys: pytest.CaptureFixture[str], arguments: list[str], status: int, words: str
) -> None:
    assert main(arguments) == status
    said = json.loads(capsys.readouterr().out)
    assert list(said) == ["error"]
    assert words in said["error"]


@contextmanager
def sender_process(pipe: PipeIn, *arguments: str) -> Iterator["subprocess.Popen[str]"]:
    command = [sys.executable, "-m", "sequencer.shell.timecode_sender", "--to", pipe.address, "--rate", "25"]
    with subprocess.Popen([*command, *arguments], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        yield process


def say(process: "subprocess.Popen[str]", line: object) -> None:
    assert process.stdin is not None
    process.stdin.write(json.dumps(line) + "\n")
    process.stdin.flush()


def said(process: "subprocess.Popen[str]", key: str) -> Any:
    assert process.stdout is not None
    return json.loads(process.stdout.readline())[key]


def hear(pipe: PipeIn, wanted: int) -> bytes:
    """Read until `wanted` bytes are here, or none for two seconds."""
    heard = b""
    while len(heard) < wanted:
        number = pipe.fileno()
        if number is not None and not select.select([number], [], [], 2.0)[0]:
            break
        heard += b"".join(chunk.data for chunk in pipe.read(time.monotonic_ns()))
    return heard


@pytest.mark.real_time
def test_one_process_serves_many_runs_and_ends_with_its_input() -> None:
    with open_pipe("pipe:0") as pipe, sender_process(pipe) as process:
        said(process, "ready")
        for start, until in (("10:00:02:00", "10:00:02:02"), ("10:00:07:10", "10:00:07:12")):
            say(process, run(start, until))
            assert said(process, "running")["from"] == start
            heard = hear(pipe, 28)
            assert len(heard) == 28
            assert heard[:5] == bytes.fromhex("F07F7F0101")
            assert said(process, "done")["sent"] == 9
        assert process.stdin is not None
        process.stdin.close()
        assert process.wait(5) == 0


@pytest.mark.real_time
def test_stop_and_a_new_run_cut_a_run_short_at_once() -> None:
    with open_pipe("pipe:0") as pipe, sender_process(pipe) as process:
        said(process, "ready")
        long = run("10:00:02:00", "11:00:00:00")
        say(process, long)
        said(process, "running")
        hear(pipe, 50)
        say(process, {"stop": True})
        assert 20 <= said(process, "done")["sent"] < 10_000
        say(process, long)
        said(process, "running")
        say(process, run("10:00:30:00", "10:00:30:02"))
        said(process, "done")
        assert said(process, "running")["from"] == "10:00:30:00"
        assert said(process, "done")["sent"] == 9


@pytest.mark.real_time
def test_a_listener_that_goes_ends_the_sender_with_a_line() -> None:
    with ExitStack() as listening:
        pipe = listening.enter_context(open_pipe("pipe:0"))
        with sender_process(pipe) as process:
            said(process, "ready")
            say(process, run("10:00:02:00", "11:00:00:00"))
            said(process, "running")
            hear(pipe, 50)
            listening.close()
            assert "timecode pipe is gone" in said(process, "error")
            assert process.wait(5) == 3
