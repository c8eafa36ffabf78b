"""The giver: a process that reads the engine's clock from shared memory, and what other machines receive of it."""

import json
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import cast

import msgspec
import numpy as np
import pytest

from sequencer.adapters.audio_ports.blocks import Block
from sequencer.adapters.audio_ports.streams import open_input
from sequencer.adapters.sources.pipe import open_pipe
from sequencer.errors import LinkError
from sequencer.shell.control import Control
from sequencer.shell.giver import Due, MtcTarget, Newest, opened, serve
from sequencer.shell.memory import Page
from sequencer.shell.messages import COMMANDS, REPORTS, Command, Failed, Hello, Opened, Quit, Report, Said
from sequencer.sync.reading import Clock, Lock
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timebase, Timecode
from sequencer.wire.ltc_word import decode
from tests.libltc import decoder
from tests.needs import needs
from tests.pulse import pulse_server
from tests.shell.small import small_project
from tests.sync.receiver import received, theirs

RATE_25 = Counting(Rate(25))
TEN = 10 * 3600 * 25  # frames from midnight at which the small project starts
TEN_O_CLOCK = Timebase(RATE_25, Timecode(10, 0, 0, 0))
NOBODY = Newest(cast(Page, None))  # of an engine that has never ticked
S = 1_000_000_000

Where = Callable[[float], tuple[Lock, float, float]]  # lock, position in s and speed, so many seconds after the start


def row(at_ns: int, lock: Lock, position_s: float, speed: float) -> bytes:
    """Return a status row as the engine publishes it."""
    told = {
        "at_ns": at_ns,
        "phase": "idle",
        "cause": "",
        "source": "the program's own clock",
        "lost": 0,
        "lock": lock,
        "timeline_s": position_s,
        "speed": speed,
        "uncertainty_s": 0.0,
        "asked": (0.0, 0.0),
        "actual": (),
        "ticks": 1,
        "skipped": 0,
        "late_ns": 0,
    }
    return msgspec.msgpack.encode(told)


def seconds(label: str) -> float:
    """Return how long after ten o'clock a frame of the small project begins."""
    return next(k for k in range(-200, 2000) if label == theirs(RATE_25, TEN + k)) / 25


class Giving:
    """A giver process, as the command and the engine see it."""

    def __init__(self, process: "subprocess.Popen[bytes]", control: Control[Report], page: Page) -> None:
        self.process = process
        self.control = control
        self.page = page
        self.began_ns = 0
        self._reports: list[Report] = []

    def report(self, kind: type[Report]) -> Report:
        """Wait for a report of this kind."""
        give_up_s = time.monotonic() + 20
        while time.monotonic() < give_up_s and not self.control.gone:
            self._reports += self.control.read()
            for one in self._reports:
                if isinstance(one, kind):
                    self._reports.remove(one)
                    return one
            time.sleep(0.01)
        raise AssertionError(f"no {kind.__name__}, but {self._reports}")

    def run(self, seconds: float, where: Where, meanwhile: Callable[[], None]) -> None:
        """Tick as the engine does for so long, calling `meanwhile` after each tick."""
        self.began_ns = due_ns = time.monotonic_ns()
        while due_ns < self.began_ns + seconds * S:
            self.page.publish(row(due_ns, *where((due_ns - self.began_ns) * 1e-9)))
            due_ns += 4_000_000
            meanwhile()
            time.sleep(max(0.0, (due_ns - time.monotonic_ns()) * 1e-9))


@contextmanager
def giver(folder: Path, *targets: str, rate: str = "25") -> Iterator[Giving]:
    project = small_project(folder / "project")
    if rate != "25":
        tree = json.loads((project / "project.json").read_text())
        tree["timebase"]["rate"] = rate
        (project / "project.json").write_text(json.dumps(tree))
    page = Page(folder / "page", new=True)
    with socket.create_server(("127.0.0.1", 0)) as door:
        door.settimeout(20)
        setup = {
            "project": str(project),
            "run": None,
            "output": "",
            "sync": "internal",
            "source": "",
            "give": targets,
            "port": door.getsockname()[1],
            "token": "quay",
        }
        (folder / "setup.json").write_text(json.dumps(setup))
        with subprocess.Popen([sys.executable, "-m", "sequencer.shell.giver", str(folder)]) as process:
            link, _ = door.accept()
            control: Control[Report] = Control(link, REPORTS)
            giving = Giving(process, control, page)
            try:
                hello = giving.report(Hello)
                assert hello == Hello("giver", "quay")
                yield giving
                control.say(Quit())
                assert process.wait(10) == 0
            finally:
                process.kill()
                control.close()


@pytest.mark.real_time
def test_a_receiver_of_midi_timecode_follows_the_engines_clock(tmp_path: Path) -> None:
    def where(passed_s: float) -> tuple[Lock, float, float]:
        if passed_s < 0.3:
            return Lock.LOCATED, 5.0, 0.0
        if passed_s < 1.2:
            return Lock.LOCKED, 5.0 + passed_s - 0.3, 1.0
        return Lock.FREEWHEEL, 65.0 + passed_s - 1.2, 1.0

    heard: list[tuple[int, bytes]] = []
    with open_pipe("pipe:0") as pipe, giver(tmp_path, f"mtc:{pipe.address}") as giving:

        def listen() -> None:
            while chunks := pipe.read(time.monotonic_ns()):
                heard.extend((chunk.stamp_ns, chunk.data) for chunk in chunks)

        ready = giving.report(Opened)
        assert isinstance(ready, Opened)
        assert ready.timing
        pipe.read(0)  # lets the sender in
        giving.run(2.0, where, listen)
        began_ns = giving.began_ns
    told = received(heard)
    full = [one.label for one in told if one.full]
    assert full[0] == "10:00:05:00"
    assert full[-1][:8] == "10:01:05"
    running = [one for one in told if not one.full]
    assert len(running) >= 15
    off = []
    for one in running:
        off.append(seconds(one.label) - where((one.at_ns - began_ns) * 1e-9)[1])
    # on a machine that may be busy
    assert max(abs(one) for one in off) < 0.5


@pytest.mark.real_time
def test_a_receiver_of_linear_timecode_follows_the_engines_clock(tmp_path: Path) -> None:
    needs("pulseaudio")
    needs("pactl")
    with (
        pulse_server(),
        open_input("quay_heard", 48_000, 1) as came,
        giver(tmp_path, "ltc:quay") as giving,
    ):
        blocks: list[Block] = []
        giving.report(Opened)
        giving.run(
            2.5,
            lambda passed_s: (Lock.LOCKED, 5.0 + passed_s, 1.0),
            lambda: blocks.extend(came.read(time.monotonic_ns())),
        )
        began_ns = giving.began_ns
    samples = np.concatenate([block.samples[:, 0] for block in blocks])
    firsts = np.array([block.first for block in blocks])
    stamps_ns = np.array([block.stamp_ns for block in blocks])
    words = decoder(48_000, 25.0)(samples)
    off = []
    for one in words:
        at_s = (np.interp(firsts[0] + one.start, firsts, stamps_ns) - began_ns) * 1e-9
        off.append(seconds(str(decode(one.bits, 25))) - 5.0 - at_s)
    # a machine that is busy may lose words, but makes none of another time
    assert len(off) > 25
    assert max(abs(one) for one in off) < 0.5


@pytest.mark.parametrize(
    ("target", "words"),
    [
        ("mtc:pipe:1", "nobody listens on pipe:1"),
        ("mtc:quay", "no place for MIDI; write pipe:PORT"),
        ("osc:9000", "write mtc:virtual:NAME"),
        ("quay", "write mtc:virtual:NAME"),
        ("ltc:quay?channels=2", "write it as ltc:DEVICE"),
        ("ltc:quay?channel=0", "write it as ltc:DEVICE"),
    ],
)
def test_a_target_that_cannot_be_is_named(target: str, words: str) -> None:
    with pytest.raises(LinkError, match=words), opened(target, NOBODY, TEN_O_CLOCK):
        pass


@pytest.mark.real_time
def test_a_project_that_midi_timecode_cannot_carry_ends_the_giver(tmp_path: Path) -> None:
    with open_pipe("pipe:0") as pipe, giver(tmp_path, f"mtc:{pipe.address}", rate="50") as giving:
        failed = giving.report(Failed)
        assert isinstance(failed, Failed)
        assert "set the project to 25" in failed.text
        assert failed.exit_status == 2


class Port:
    """A MIDI port that takes all messages ahead of time, until it is unplugged."""

    ahead_ns = 3600 * S

    def __init__(self, good_for: int) -> None:
        self.sent: list[tuple[int, bytes]] = []
        self._good_for = good_for

    def send(self, data: bytes, due_ns: int) -> None:
        if len(self.sent) == self._good_for:
            raise LinkError("the port is gone; plug it in")
        self.sent.append((due_ns, data))

    def check(self, now_ns: int) -> None:
        pass


class Ending:
    """A target that quits the giver at its hundredth turn."""

    address = "the end"

    def __init__(self, command: "Control[Report]") -> None:
        self._command = command
        self._turns = 0

    def send(self, clock: Clock, now_ns: int) -> list[str]:
        self._turns += 1
        if self._turns == 100:
            self._command.say(Quit())
        return []


@contextmanager
def talk() -> Iterator[tuple[Control[Command], "Control[Report]"]]:
    with socket.create_server(("127.0.0.1", 0)) as door:
        near = socket.create_connection(door.getsockname())
        ends = Control(near, COMMANDS), Control(door.accept()[0], REPORTS)
    yield ends
    for end in ends:
        end.close()


@pytest.mark.real_time
def test_a_target_that_goes_away_is_told_and_the_others_go_on(tmp_path: Path) -> None:
    page = Page(tmp_path / "page", new=True)
    now_ns = time.monotonic_ns()
    # the ports take messages an hour ahead, so that this clock is an hour ahead too
    page.publish(row(now_ns + 3600 * S, Lock.LOCKED, 5.0, 1.0))
    weak, sound = Port(3), Port(1_000_000)
    with talk() as (control, command):
        targets: list[Due] = [
            MtcTarget("mtc:midi:Weak", weak, TEN_O_CLOCK),
            MtcTarget("mtc:midi:Sound", sound, TEN_O_CLOCK),
            Ending(command),
        ]
        serve(control, Newest(page), targets)
        said = [one for one in command.read() if isinstance(one, Said)]
    assert [one.text for one in said] == ["time is no longer given to mtc:midi:Weak: the port is gone; plug it in"]
    assert len(weak.sent) == 3
    assert [one for one in received(sound.sent) if not one.full]
    page.close()


def test_the_giver_ends_when_the_command_has_gone(tmp_path: Path) -> None:
    page = Page(tmp_path / "page", new=True)
    with talk() as (control, command):
        command.close()
        serve(control, Newest(page), [])
    page.close()
