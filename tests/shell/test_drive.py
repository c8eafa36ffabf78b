"""`twintake drive` as the operator uses it: the command itself, with pads in hand and a simulated rig."""

import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from sequencer.project.store import load
from sequencer.shell.kinds import laws
from sequencer.shell.shoot import simulated_rig
from tests.shell.small import small_project
from tests.shell.told_pads import Hand, hand

__all__ = ["hand"]
pytestmark = pytest.mark.real_time


class Command:
    """The running command and what it has printed."""

    def __init__(self, process: subprocess.Popen[str], printed: Path) -> None:
        self.process, self._printed = process, printed

    @property
    def said(self) -> str:
        """What it has printed, as if the terminal had no end."""
        return " ".join(self._printed.read_text().split())

    def wait_for(self, words: str, patience_s: float = 15.0) -> None:
        until_s = time.monotonic() + patience_s
        while words not in self.said:
            assert time.monotonic() < until_s, f"never said {words!r}, but: {self.said}"
            time.sleep(0.02)

    def interrupt(self) -> int:
        self.process.send_signal(signal.SIGINT)
        return self.process.wait(15)


@contextmanager
def driving(folder: Path, pads: str, *options: str) -> Iterator[Command]:
    with simulated_rig(folder / "rig.json", 1) as (_, output), (folder / "printed").open("w") as out:
        command = [sys.executable, "-m", "sequencer", "drive", str(folder), "--out", output, "--pads", pads]
        process = subprocess.Popen([*command, *options], stdin=subprocess.PIPE, stdout=out, stderr=out, text=True)
        try:
            yield Command(process, folder / "printed")
        finally:
            process.kill()
            process.communicate()


def press(hand: Hand, button: str) -> None:
    """Press a button with the enabling control held, and let go of both."""
    hand.say(left_trigger=1.0)
    time.sleep(0.15)
    hand.say(button, left_trigger=1.0)
    time.sleep(0.15)
    hand.say()
    time.sleep(0.15)


def test_marks_are_stored_and_stepped_through_with_the_pad(tmp_path: Path, hand: Hand) -> None:
    folder = small_project(tmp_path / "small")
    with driving(folder, hand.address, "--arm") as command:
        command.wait_for("is not a safety device")
        time.sleep(0.5)
        hand.say()
        time.sleep(0.3)
        press(hand, "lower")
        command.wait_for("stored mark 1")
        hand.say(left_x=1.0, left_trigger=1.0)
        command.wait_for("driven by hand")
        time.sleep(0.8)
        hand.say()
        command.wait_for("let go of")
        press(hand, "lower")
        command.wait_for("stored mark 2")
        press(hand, "left")
        command.wait_for("at mark 1")
        press(hand, "left")
        command.wait_for("mark 1 is the first mark")
        press(hand, "right")
        command.wait_for("at mark 2")
        press(hand, "upper")
        command.wait_for("at the origin")
        assert command.interrupt() == 130
    first, second = load(folder, laws()).marks
    assert dict(first.position)["pan"] == 0.0
    assert dict(second.position)["pan"] > 3.0


def test_it_goes_on_after_a_stop_only_when_the_operator_says_so(tmp_path: Path, hand: Hand) -> None:
    folder = small_project(tmp_path / "small")
    with driving(folder, hand.address) as command:
        assert command.process.stdin is not None
        command.wait_for("Take the game controllers in hand?")
        command.process.stdin.write("y\n")
        command.process.stdin.flush()
        hand.say()
        time.sleep(0.5)
        press(hand, "start")
        command.wait_for("Stopped: stop was pressed on a game controller")
        command.process.stdin.write("n\n")
        command.process.stdin.flush()
        assert command.process.wait(15) == 3


def test_a_rig_that_another_program_changed_meanwhile_keeps_its_marks(tmp_path: Path, hand: Hand) -> None:
    folder = small_project(tmp_path / "small")
    with driving(folder, hand.address, "--arm") as command:
        command.wait_for("is not a safety device")
        time.sleep(0.5)
        hand.say()
        time.sleep(0.3)
        rig = folder / "rig.json"
        # what is called pan from here on is the other motor
        swapped = rig.read_text().replace('"name": "pan"', '"name": "?"').replace('"name": "tilt"', '"name": "pan"')
        rig.write_text(swapped.replace('"name": "?"', '"name": "tilt"'))
        press(hand, "lower")
        command.wait_for("the rig was changed while it is driven")
        assert command.interrupt() == 130
    assert load(folder, laws()).marks == ()


def test_without_game_controllers_there_is_nothing_to_drive_with(tmp_path: Path) -> None:
    folder = small_project(tmp_path / "small")
    with driving(folder, "none:", "--arm") as command:
        assert command.process.wait(20) == 3
        assert "'none:' is no game controller" in command.said
        assert "no game controllers were opened" in command.said


def test_a_mark_that_is_not_there_is_named_with_those_that_are(tmp_path: Path, hand: Hand) -> None:
    folder = small_project(tmp_path / "small")
    with driving(folder, hand.address, "--arm", "--to", "window") as command:
        assert command.process.wait(20) == 2
        assert "there is no mark 'window'; there are none" in command.said
