"""What hands ask of the rig through the editor: pads, marks, punches; and what speaks against it."""

from dataclasses import replace

import msgspec

from sequencer.score.marks import Mark
from sequencer.shell.messages import Go, Pressed, Punch, Said, TakeHands
from tests.ui.link.fakes import Bench

DOORWAY = Mark("doorway", (("pan", -20.0),))
WINDOW = Mark("window", (("pan", 35.0),))


def arrived(bench: Bench) -> None:
    bench.crew.says.append(Said(bench.clock.ns, "at mark", "at it"))
    bench.link.poll()


def test_nothing_is_passed_on_before_a_rig_is_connected(bench: Bench) -> None:
    hands = bench.link.hands
    assert not hands.take(True)
    assert not hands.go(DOORWAY)
    assert not hands.punch(True)
    assert "connect a rig first" in bench.said[-1].text


def test_pads_are_taken_in_hand_and_given_back(bench: Bench) -> None:
    bench.connect()
    assert bench.link.hands.take(True)
    bench.crew.now = msgspec.structs.replace(bench.crew.now, hands=True)
    bench.go(0.1)
    assert bench.link.hands.taken
    assert bench.link.hands.take(False)
    assert bench.crew.told == [TakeHands(True), TakeHands(False)]


def test_a_real_rig_goes_nowhere_before_people_are_said_to_be_clear(bench: Bench) -> None:
    bench.link.choose(replace(bench.link.choice, rig="osc://127.0.0.1:9000"))
    bench.connect()
    assert not bench.link.hands.go(DOORWAY)
    assert not bench.link.hands.take(True)
    assert bench.crew.told == []


def test_next_goes_on_from_the_mark_that_was_reached_and_repeats_a_leg_that_was_interrupted(bench: Bench) -> None:
    bench.connect()
    hands = bench.link.hands
    marks = (DOORWAY, WINDOW)
    assert hands.step(marks, 1)
    assert hands.step(marks, 1)  # never arrived: the same leg again
    arrived(bench)
    assert hands.at == "doorway"
    assert hands.step(marks, 1)
    assert [one.name for one in bench.crew.told if isinstance(one, Go)] == ["doorway", "doorway", "window"]
    arrived(bench)
    assert not hands.step(marks, 1)
    assert "window is the last mark" in bench.said[-1].text


def test_the_origin_is_no_mark(bench: Bench) -> None:
    bench.connect()
    hands = bench.link.hands
    hands.go(DOORWAY)
    arrived(bench)
    assert hands.home(bench.desk.project.rig)
    arrived(bench)
    assert hands.at is None
    order = bench.crew.told[-1]
    assert isinstance(order, Go)
    assert dict(order.position) == {axis.name: axis.home for axis in bench.desk.project.rig.axes}


def test_what_is_pressed_on_a_pad_is_told(bench: Bench) -> None:
    bench.connect()
    told: list[Pressed] = []
    bench.link.hands.pressed.connect(told.append)
    bench.crew.says.append(Pressed("store mark", 0))
    bench.link.poll()
    assert told == [Pressed("store mark", 0)]


def test_a_punch_needs_no_word_that_people_are_clear_since_it_plays_already(bench: Bench) -> None:
    bench.connect()
    bench.phase("running")
    assert bench.link.hands.punch(True)
    assert bench.crew.told == [Punch(True)]


def test_on_the_way_to_a_mark_the_rig_is_dangerous_and_the_desk_is_locked(bench: Bench) -> None:
    bench.connect()
    bench.phase("going")
    assert bench.link.now.how == "going to a mark"
    assert bench.link.dangerous
    assert bench.desk.locked
    assert bench.link.hands.go(WINDOW)
