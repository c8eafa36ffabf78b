"""Both ends of an axis's way, driven to with a game controller: the real processes, in real time."""

import threading
import time
from collections.abc import Callable
from contextlib import nullcontext
from dataclasses import replace
from pathlib import Path

import pytest

from sequencer.live.handling import Handling, Stick
from sequencer.project.store import load
from sequencer.shell import shoot, travel
from sequencer.shell.crew import CrewFailed
from sequencer.shell.kinds import laws
from sequencer.shell.trials import Ground, stands
from tests.shell.acted import Acted
from tests.shell.small import small_project
from tests.shell.told_pads import Hand, hand

__all__ = ["hand"]
SPEED = 12.0


def test_only_sticks_of_the_axis_are_left(tmp_path: Path) -> None:
    project = load(small_project(tmp_path / "small"), laws())
    sticks = [stick for one in travel.handlings(project, "pan") for stick in one.sticks]
    assert [stick.axis for stick in sticks] == ["pan"]
    with pytest.raises(ValueError, match="no stick is assigned to crane"):
        travel.handlings(project, "crane")


def test_a_pad_without_a_button_for_marks_cannot_say_where_an_end_is(tmp_path: Path) -> None:
    project = load(small_project(tmp_path / "small"), laws())
    bare = replace(project, hands=(Handling(sticks=(Stick(control="left x", axis="pan"),)),))
    with pytest.raises(ValueError, match="no button is assigned to store a mark"):
        travel.handlings(bare, "pan")


def test_where_no_pad_was_opened_the_travel_is_to_be_typed_and_nothing_is_asked_to_move(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    crew = Acted()
    monkeypatch.setattr(travel, "crew", lambda setup: nullcontext(crew))
    project = load(small_project(tmp_path / "small"), laws())
    place = Ground(project=project, output="osc://127.0.0.1:9", folder=tmp_path / "ours", takes=tmp_path / "takes")
    words = "^no game controllers were opened, so nothing can be driven; type the travel$"
    with pytest.raises(CrewFailed, match=words):
        travel.driven(place, "pan", {"pan": 0.0, "tilt": 0.0}, SPEED, lambda _: None)
    assert crew.told == []


class Operator:
    """Does with the pad what the words ask for."""

    def __init__(self, hand: Hand) -> None:
        self.hand, self.words = hand, list[str]()
        self.acts: list[tuple[float, Callable[[], None]]] = []

    def push(self, way: float, lasts_s: float) -> None:
        self.acts.append((lasts_s, lambda: self.hand.say(left_x=way, left_y=1.0, left_trigger=1.0)))
        self.acts.append((1.2, self.hand.say))

    def press(self, *, pushed: float = 0.0) -> None:
        self.acts.append((0.2, lambda: self.hand.say("lower", left_x=pushed, left_trigger=1.0 if pushed else 0.0)))
        self.acts.append((0.2, self.hand.say))

    def work(self) -> None:
        until_s = time.monotonic() + 20.0
        while not self.words and time.monotonic() < until_s:
            time.sleep(0.02)
        self.hand.say()
        time.sleep(0.3)  # what is pushed as a pad comes counts as let go
        for lasts_s, act in self.acts:
            act()
            time.sleep(lasts_s)


@pytest.mark.real_time
def test_the_ends_are_where_the_axis_stood_as_the_button_was_pressed(tmp_path: Path, hand: Hand) -> None:
    folder = small_project(tmp_path / "small")
    project = load(folder, laws())
    operator = Operator(hand)
    operator.push(-1.0, 1.0)
    operator.press()
    operator.press()  # the same place is no other end
    operator.push(1.0, 2.0)
    operator.press()
    operator.push(-1.0, 0.5)
    with shoot.simulated_rig(folder / "rig.json", 1, 0) as (_, output):
        ground = Ground(project=project, output=output, folder=tmp_path / "ours", takes=tmp_path / "takes")
        places = stands(ground)
        hands = threading.Thread(target=operator.work)
        hands.start()
        try:
            (low, high), there = travel.driven(ground, "pan", places, SPEED, operator.words.append, pads=hand.address)
        finally:
            hands.join()
        after = stands(ground)
    assert low == pytest.approx(-0.5 * SPEED, rel=0.3)  # half of its speed is what a stick asks for at first
    assert high == pytest.approx(0.5 * SPEED, rel=0.5)
    assert low < there < high
    assert after["pan"] == pytest.approx(there, abs=0.05)
    assert after["tilt"] == pytest.approx(places["tilt"], abs=1e-3), "the other stick is pushed as well"
    assert sum("one end at" in one for one in operator.words) == 1
    assert any("that is the end that is known" in one for one in operator.words)
    assert any("the other end at" in one for one in operator.words)


@pytest.mark.real_time
def test_a_stop_on_the_pad_ends_it_in_words(tmp_path: Path, hand: Hand) -> None:
    folder = small_project(tmp_path / "small")
    operator = Operator(hand)
    operator.acts.append((0.5, lambda: hand.say("start")))
    with shoot.simulated_rig(folder / "rig.json", 1, 0) as (_, output):
        ground = Ground(project=load(folder, laws()), output=output, folder=tmp_path / "ours", takes=tmp_path / "takes")
        hands = threading.Thread(target=operator.work)
        hands.start()
        try:
            with pytest.raises(CrewFailed, match="stop was pressed on a game controller"):
                travel.driven(ground, "pan", stands(ground), SPEED, operator.words.append, pads=hand.address)
        finally:
            hands.join()
