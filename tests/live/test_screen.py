"""A hand on the screen: how far it swings an axis and back, who comes first, and when what is held counts for nothing.

That a push is a part of the speed limit, or of half the range, is as the guide says. No published source.
"""

from dataclasses import dataclass, field, replace
from itertools import pairwise

import pytest

from sequencer.live.handling import Handling, Stick, default_handlings
from sequencer.live.hands import let_go, sent_off
from sequencer.live.screen import SCREEN, Push, press, swings
from sequencer.rig.axis import Axis, Rig
from tests.live.pad import TICK_NS, Drive, held, row
from tests.live.rigs import PAN, SLIDE

SAY_NS = 30_000_000
RIG = Rig(name="head", axes=(PAN, SLIDE))
ROOM = 1e-9


@dataclass
class Screen:
    """A rig with a screen that says its push every 30 ms, beside what pads say."""

    handlings: tuple[Handling, ...] = ()
    push: Push | None = None
    words: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.drive = Drive(RIG, self.handlings)

    def say(self, pan: float = 0.0, slide: float = 0.0, **how: object) -> "Screen":
        """Have the screen say this from now on."""
        self.push = Push(parts=(pan, slide), **how)  # type: ignore[arg-type]  # the test's own fields
        return self

    def last(self, lasts_s: float) -> "Screen":
        """Let time pass; no limit of an axis is broken meanwhile."""
        begun = len(self.drive.states) - 1
        self.drive.last(lasts_s, self._press)
        self._check(begun)
        return self

    def _press(self) -> None:
        if self.push is not None and self.drive.now_ns // SAY_NS != (self.drive.now_ns - TICK_NS) // SAY_NS:
            self.drive.hands, done = press(self.drive.hands, self.push, self.drive.now_ns)
            self.words += [one.words for one in done]

    def _check(self, begun: int) -> None:
        states = self.drive.states[begun:]
        for place, one in enumerate(RIG.axes):
            for before, after in pairwise(states):
                assert abs(after.velocity[place]) <= one.speed * (1 + ROOM)
                assert abs(after.acceleration[place]) <= one.acceleration * (1 + ROOM)
                far = abs(after.position[place] - before.position[place])
                assert far <= one.speed * TICK_NS * 1e-9 * (1 + ROOM), "it jumped"

    def at(self, name: str) -> float:
        return self.drive.at(name)


def screen(*handlings: Handling) -> Screen:
    return Screen(handlings)


def test_a_push_is_a_part_of_full_speed_under_rate_control() -> None:
    one = screen().say(0.5, top=0.5).last(1.0)
    assert one.drive.speed("pan") == pytest.approx(0.25 * PAN.speed)
    assert one.at("slide") == SLIDE.home
    one.say().last(2.0)
    assert one.drive.stands
    assert one.at("pan") > 5.0


@pytest.mark.parametrize("range_deg", [30.0, 45.0, 77.5, 90.0, 180.0])
def test_a_full_push_swings_by_half_the_range_and_let_go_it_returns_to_where_it_was(range_deg: float) -> None:
    one = screen().say(1.0).last(0.5).say().last(2.0)
    began = one.at("pan")
    one.say(0.0, range_deg=range_deg).last(0.1).say(1.0, range_deg=range_deg).last(8.0)
    assert one.at("pan") - began == pytest.approx(range_deg / 2, abs=1e-6)
    one.say(-0.5, range_deg=range_deg).last(8.0)
    assert one.at("pan") - began == pytest.approx(-range_deg / 4, abs=1e-6)
    one.say(0.0, range_deg=range_deg).last(8.0)
    assert one.at("pan") == pytest.approx(began, abs=1e-6)
    assert one.drive.wanted[-1] is None


def test_it_swings_at_the_part_of_speed_that_is_chosen() -> None:
    one = screen().say(range_deg=180.0, top=0.1).last(0.1).say(1.0, range_deg=180.0, top=0.1).last(3.0)
    assert one.drive.speed("pan") == pytest.approx(0.1 * PAN.speed)
    assert max(state.velocity[0] for state in one.drive.states) <= 0.1 * PAN.speed * (1 + ROOM)


def test_a_screen_that_is_not_held_any_more_brakes_and_never_returns() -> None:
    one = screen().say(range_deg=90.0).last(0.1).say(1.0, range_deg=90.0).last(0.6)
    assert one.drive.speed("pan") > 0
    one.say(held=False, range_deg=90.0).last(3.0)
    stands = one.at("pan")
    assert one.drive.stands
    assert stands > 3.0
    one.say(range_deg=90.0).last(2.0)
    assert one.at("pan") == stands


def test_a_screen_that_falls_silent_brakes_and_under_spring_back_must_be_let_go_before_it_counts_again() -> None:
    one = screen().say(range_deg=90.0).last(0.1).say(1.0, range_deg=90.0).last(0.4)
    one.push = None
    one.last(3.0)
    stands = one.at("pan")
    assert one.drive.stands
    one.say(1.0, range_deg=90.0).last(1.0)
    assert one.at("pan") == stands
    assert one.words == ["what is pushed on the screen must be let go first"]
    one.say(0.0, range_deg=90.0).last(0.1).say(1.0, range_deg=90.0).last(6.0)
    assert one.at("pan") - stands == pytest.approx(45.0, abs=1e-6)


def test_under_rate_control_a_push_after_a_silence_counts_at_once() -> None:
    one = screen().say(1.0).last(0.3)
    one.push = None
    one.last(3.0)
    stands = one.at("pan")
    one.say(1.0).last(0.5)
    assert one.at("pan") > stands + 1


@pytest.mark.parametrize("range_deg", [None, 90.0])
def test_what_is_held_as_hands_are_let_go_of_counts_for_nothing_until_it_is_released(range_deg: float | None) -> None:
    one = screen().say(range_deg=range_deg).last(0.1).say(1.0, range_deg=range_deg).last(0.4)
    one.drive.hands = let_go(one.drive.hands)
    # whoever lets go has the rig brake; here nobody else does
    one.drive.steered = (0.0, 0.0)
    one.last(3.0)
    stands = one.at("pan")
    assert one.drive.stands
    one.say(0.0, range_deg=range_deg).last(0.1).say(1.0, range_deg=range_deg).last(0.5)
    assert one.at("pan") > stands + 1


@pytest.mark.parametrize("held_s", [0.0, 0.2], ids=["lost at once", "held on"])
@pytest.mark.parametrize("before", [0.0, 1.0], ids=["pushed while stopped", "pushed before"])
def test_what_is_held_as_hands_are_let_go_of_counts_for_nothing_after_a_silence_either(
    before: float, held_s: float
) -> None:
    """A rig that is stopped lets go at every tick."""
    one = Screen().say(before).last(0.5)
    one.drive.hands = let_go(one.drive.hands)
    if before == 0.0:
        one.say(1.0).last(0.05)
    one.last(held_s)
    one.drive.hands = let_go(let_go(one.drive.hands))
    one.push = None
    one.last(3.0)
    stands = one.at("pan")
    one.say(1.0).last(1.0)
    assert one.at("pan") == stands
    one.say(0.0).last(0.1)
    one.push = None
    one.last(0.5)
    assert one.say(1.0).last(0.5).at("pan") > stands, "it was at rest once"


def test_a_screen_that_was_left_as_hands_were_let_go_of_counts_at_once_when_it_is_taken_again() -> None:
    one = Screen().say(1.0).last(0.5)
    one.drive.hands = let_go(one.drive.hands)
    one.last(0.1).say(held=False).last(0.1)
    one.drive.hands = let_go(one.drive.hands)
    one.push = None
    one.last(3.0)
    stands = one.at("pan")
    assert one.say(1.0).last(0.5).at("pan") > stands


@pytest.mark.parametrize("was_stopped", [False, True])
def test_a_screen_at_rest_as_hands_were_let_go_of_counts_at_once_after_a_silence(was_stopped: bool) -> None:
    """As before a punch in: what is pushed meanwhile is said only from then on."""
    one = Screen().say(1.0).last(0.5)
    if was_stopped:
        # a rig that is stopped lets go at every tick
        for _ in range(20):
            one.drive.hands = let_go(one.drive.hands)
            one.last(0.01)
    one.say().last(1.0)
    one.push, one.words = None, []
    one.drive.hands = let_go(one.drive.hands)
    one.last(3.0)
    stands = one.at("pan")
    assert one.say(1.0).last(0.5).at("pan") > stands + 1
    assert one.words == []


def test_a_return_does_not_go_on_when_the_rig_is_sent_somewhere() -> None:
    one = screen().say(range_deg=90.0).last(0.1).say(1.0, range_deg=90.0).last(5.0)
    one.say(range_deg=90.0).last(0.2)
    assert one.drive.speed("pan") < 0
    one.drive.hands = sent_off(one.drive.hands)
    one.drive.steered = (0.0, 0.0)
    one.last(2.0)
    assert one.drive.stands
    assert one.at("pan") > 1.0


def test_an_axis_without_a_range_of_its_own_stays_with_rate_control() -> None:
    one = screen().say(range_deg=90.0).last(0.1).say(slide=0.5, range_deg=90.0).last(1.0)
    assert one.drive.speed("slide") == pytest.approx(0.5 * SLIDE.speed)
    assert swings(RIG, (), 90.0) == (45.0, None)


def test_an_axis_that_pads_swing_over_its_own_range_has_it_on_the_screen_too() -> None:
    own = Handling(sticks=(Stick(control="right x", axis="slide", range=200.0),))
    assert swings(RIG, (own,), 30.0) == (15.0, 100.0)
    one = screen(own).say(range_deg=30.0).last(0.1).say(slide=1.0, range_deg=30.0).last(5.0)
    assert one.at("slide") == pytest.approx(SLIDE.home + 100.0, abs=1e-6)


@pytest.mark.parametrize("range_deg", [None, 90.0])
@pytest.mark.parametrize("priority", [-1_000_000, 0, 5])
def test_a_pad_takes_an_axis_over_and_gives_it_back_without_a_jump(range_deg: float | None, priority: int) -> None:
    mine = replace(default_handlings(RIG)[0], priority=priority)
    one = screen(mine).say(range_deg=range_deg)
    one.drive.say(row())
    one.last(0.1).say(0.5, 0.3, range_deg=range_deg).last(1.5)
    slides = one.drive.speed("slide")
    assert slides > 0
    one.drive.say(held())
    one.last(0.1)
    one.drive.say(held(left_x=-1.0))
    one.last(1.5)
    assert one.drive.speed("pan") < 0, "the pad comes first"
    assert one.drive.speed("slide") == slides, "and has nothing to do with what it does not push"
    one.drive.say(row())
    one.last(2.0)
    # rate control has it again; who lost it under spring-back must let go of it before
    assert (one.drive.speed("pan") > 0) == (range_deg is None)


def test_another_manner_begins_from_rest() -> None:
    one = screen().say(1.0).last(0.5).say(1.0, range_deg=90.0).last(2.0)
    assert one.drive.stands
    assert one.words == ["what is pushed on the screen must be let go first"]


@pytest.mark.parametrize(
    ("push", "words"),
    [(Push(parts=(0.0, 0.0), top=0.0), "top"), (Push(parts=(0.0, 0.0), range_deg=-1.0), "range_deg")],
)
def test_numbers_that_cannot_be_are_refused(push: Push, words: str) -> None:
    one = screen()
    with pytest.raises(ValueError, match=words):
        press(one.drive.hands, push, 0)


def test_a_number_that_is_none_pushes_nothing() -> None:
    one = screen().say(float("nan")).last(0.5)
    assert one.drive.stands


def test_more_axes_than_a_pad_has_are_pushed_as_far_as_there_are_controls() -> None:
    axes: tuple[Axis, ...] = tuple(replace(PAN, name=f"a{number}") for number in range(40))
    hands = Drive(Rig(name="many", axes=axes), ()).hands
    hands, _ = press(hands, Push(parts=(1.0,) * 40), 0)
    (pad,) = hands.pads
    assert pad.number == SCREEN
    assert pad.pushed == (1.0,) * 32 + (0.0,) * 8
