"""A stranger on the trigger port of a real run sends whatever there is: what is armed may run, nothing else changes."""

import csv
import hashlib
import random
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import numpy as np
import pytest

from sequencer.shell.shoot import simulated_rig
from sequencer.wire import mmc
from sequencer.wire.osc import command
from tests.shell.small import small_project
from tests.shell.test_drive import Command
from tests.shell.test_play_remote import ASKED, answer, free_port, send, times

pytestmark = pytest.mark.real_time
ESCAPES = "\x1b[2J\x1b]0;all is well\x07\x1b[31m"
BARRAGE_S = 4.0
TRAVEL, SPEED, ACCELERATION = 90.0, 60.0, 240.0  # of the small project's axes


def osc(address: str, *texts: str) -> bytes:
    """Return a message of any address and texts, also such as no library would write. Source: OSC 1.0."""
    parts = [address.encode(), b"," + b"s" * len(texts), *(text.encode() for text in texts)]
    return b"".join(part + b"\0" * (4 - len(part) % 4) for part in parts)


def hostile(chance: random.Random) -> bytes:
    """Return one packet that means no good."""
    number = chance.randrange(10**6)
    packets = (
        command("/run/start"),
        osc("/run/locate", f"10:00:0{chance.randrange(6)}:{chance.randrange(25):02}"),
        osc("/run/locate", ESCAPES),
        osc("/mark/go", "on the way"),
        osc("/mark/go", f"{ESCAPES}{number}"),
        osc("/mark/go", "../../etc/passwd"),
        osc("/cue/take", "turn"),
        osc("/cue/take", f"no such cue {number}"),
        osc("/cue/take", "x" * 5_000),
        osc(f"/{ESCAPES}{number}"),
        osc("/rig/pan/position", "1e9"),
        osc("/arm"),
        osc("/reset"),
        osc("/rig/limits", "pan", "100000"),
        osc("/project/save", "/tmp/evil"),
        chance.randbytes(chance.randrange(200)),
    )
    return packets[chance.randrange(len(packets))]


def contents(folder: Path) -> dict[str, str]:
    """Return what each file of the folder holds, as a digest."""
    files = sorted(one for one in folder.rglob("*") if one.is_file())
    return {str(one.relative_to(folder)): hashlib.sha256(one.read_bytes()).hexdigest() for one in files}


@contextmanager
def playing(folder: Path, aside: Path, *options: str) -> Iterator[Command]:
    with simulated_rig(folder / "rig.json", 1) as (_, output), (aside / "printed").open("w") as out:
        outputs = ["--out", output, "--out", f"csv:{aside / 'sent.csv'}"]
        arguments = ["play", str(folder), "--arm", "--remote", "--late", "join", *outputs, *options]
        process = subprocess.Popen(
            [sys.executable, "-m", "sequencer", *arguments], stdin=subprocess.PIPE, stdout=out, stderr=out, text=True
        )
        try:
            yield Command(process, aside / "printed")
        finally:
            process.kill()
            process.communicate()


def barrage(port: int, pipe: int, seconds: float) -> int:
    """Send as fast as it goes, by OSC and by MIDI; return how many packets that were."""
    chance, count = random.Random(7), 0
    until_s = time.monotonic() + seconds
    play = mmc.encode([mmc.Transport.PLAY, mmc.Locate(1, 10, 0, 1, 0)])
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as udp, socket.create_connection(("127.0.0.1", pipe)) as tcp:
        tcp.setblocking(False)
        while time.monotonic() < until_s:
            for _ in range(20):
                udp.sendto(hostile(chance), ("127.0.0.1", port))
            with suppress(BlockingIOError):
                tcp.send(play * 50 + chance.randbytes(100))
            count += 21
            time.sleep(0.002)
    return count


def assert_within_limits(sent: Path) -> None:
    """Source: the numbers of the rig file, and difference quotients of what went out."""
    with sent.open() as table:
        rows = [row for row in csv.DictReader(table) if row["position pan (deg)"]]
    due_s = np.array([int(row["due (ns)"]) for row in rows]) * 1e-9
    pan = np.array([float(row["position pan (deg)"]) for row in rows])
    span_s = np.diff(due_s)
    speed = np.diff(pan) / span_s
    change = np.diff(speed) / ((span_s[1:] + span_s[:-1]) / 2)
    assert len(pan) > 1000
    assert np.abs(pan).max() > 1.0, "it moved"
    assert np.abs(pan).max() <= TRAVEL
    assert np.abs(speed).max() <= SPEED * (1 + 1e-5)
    assert np.abs(change).max() <= ACCELERATION * (1 + 1e-4)


def test_a_barrage_changes_no_file_clears_no_stop_and_prints_nothing_that_a_terminal_obeys(tmp_path: Path) -> None:
    folder, port, pipe = small_project(tmp_path / "small"), free_port(), free_port()
    with playing(folder, tmp_path, "--trigger", f"osc:{port}", "--trigger", f"pipe:{pipe}") as one:
        one.wait_for("waiting for timecode")
        before = contents(folder)
        send(port, command("/run/start"))
        one.wait_for("following timecode")
        time.sleep(0.5)  # by then the pan is fast
        assert barrage(port, pipe, BARRAGE_S) > 10_000
        send(port, command("/stop"))
        times(one, ASKED, 1)
        barrage(port, pipe, 1.0)
        assert one.process.poll() is None
        assert "nothing moves before it is armed" not in one.said, "which is said at a reset"
        assert one.said.count("stopped: ") == 1
        assert contents(folder) == before
        answer(one, "n")
        assert one.process.wait(15) == 3
    printed = (tmp_path / "printed").read_text()
    assert "\x1b" not in printed
    assert "\x07" not in printed
    assert len(printed) < 60_000
    assert contents(folder) == before
    assert_within_limits(tmp_path / "sent.csv")
