"""What one pad says: what is lacking, off its centre or mad counts as let go, and buttons are pressed once."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.live.handling import RANGES_DEG, TOPS, Deed, Handling, Stick, default_handlings
from sequencer.live.pads import SILENT_NS, Done, Pad, felt, lacking, learned, met, reading, shaped, smoothed
from sequencer.wire.pad import PadRow
from tests.live.pad import ROW_NS, row
from tests.live.rigs import RIG

FIRST = default_handlings(RIG)[0]


def said(*rows: PadRow, handling: Handling = FIRST, apart_ns: int = ROW_NS) -> tuple[Pad, list[Done]]:
    """Return the pad after these rows, and all that was done or told."""
    told: list[Done] = []
    pad = met(RIG, handling, rows[0], 0)
    for number, one in enumerate(rows):
        pad, done = felt(RIG, pad, one, number * apart_ns)
        told += done
    return pad, told


def pushed(pad: Pad) -> dict[str, float]:
    return {name: value for name, value in zip(RIG.names, pad.pushed, strict=True) if value}


@given(st.floats(0, 0.9), st.floats(0, 1), st.floats(-1, 1), st.floats(-1, 1))
def test_the_response_is_odd_even_growing_and_without_a_step(
    dead_band: float, response: float, one: float, other: float
) -> None:
    handling = Handling(dead_band=dead_band, response=response)
    low, high = sorted((one, other))
    assert shaped(handling, low) <= shaped(handling, high)
    assert shaped(handling, -one) == -shaped(handling, one)
    assert abs(shaped(handling, one)) <= 1
    assert shaped(handling, 1.0) == 1.0
    assert shaped(handling, dead_band) == 0.0
    # the steepest that it can be, from the edge of the dead band on
    steepest = (1 + 2 * response) / (1 - dead_band)
    assert shaped(handling, high) - shaped(handling, low) <= steepest * (high - low) + 1e-12


@pytest.mark.parametrize(("response", "half"), [(0.0, 0.5), (1.0, 0.125), (0.4, 0.35)])
def test_half_a_push_counts_as_the_curve_says(response: float, half: float) -> None:
    assert shaped(Handling(dead_band=0, response=response), 0.5) == pytest.approx(half)


def test_sticks_push_their_axes_and_the_modifier_turns_one_into_roll() -> None:
    pad, _ = said(row(), row(left_x=1.0, left_y=-1.0, right_x=1.0))
    assert pushed(pad) == {"pan": 1.0, "tilt": -1.0, "slide": 1.0}
    pad, _ = said(row(), row("left shoulder", left_x=1.0, left_y=-1.0))
    assert pushed(pad) == {"roll": 1.0, "tilt": -1.0}


def test_a_reversed_stick_and_two_buttons() -> None:
    handling = Handling(
        sticks=(
            Stick(control="left x", axis="pan", reverse=True),
            Stick(control="pad up", axis="focus"),
            Stick(control="pad down", axis="focus", reverse=True),
        )
    )
    pad, _ = said(row(), row("pad up", left_x=1.0), handling=handling)
    assert pushed(pad) == {"pan": -1.0, "focus": 1.0}
    pad, _ = said(row(), row("pad up", "pad down"), handling=handling)
    assert pushed(pad) == {}


def test_a_stick_that_comes_off_its_centre_counts_once_it_was_there() -> None:
    pad, told = said(row(left_x=0.6), row(left_x=0.6, left_y=1.0))
    assert pushed(pad) == {"tilt": 1.0}
    assert [one.words for one in told] == ["left x of pad 1 (Pad) must be let go first; if it is, widen the dead band"]
    pad, _ = said(row(left_x=0.6), row(left_x=0.05), row(left_x=0.6))
    assert pushed(pad)["pan"] > 0


def test_a_trigger_that_comes_pulled_enables_once_it_was_let_go() -> None:
    pad, told = said(row(left_trigger=1.0), row(left_trigger=1.0))
    assert not pad.enabled
    assert "left trigger of pad 1 (Pad) must be let go first" in told[0].words
    pad, _ = said(row(left_trigger=1.0), row(), row(left_trigger=1.0))
    assert pad.enabled


def test_a_trigger_has_play_between_held_and_let_go() -> None:
    pulls = (0.0, 0.3, 0.45, 0.3, 0.2, 0.3)
    held = []
    pad = met(RIG, FIRST, row(), 0)
    for number, pull in enumerate(pulls):
        pad, _ = felt(RIG, pad, row(left_trigger=pull), number * ROW_NS)
        held.append(pad.enabled)
    assert held == [False, False, True, True, False, False]


def test_a_button_is_pressed_once_and_not_by_coming_held() -> None:
    _, told = said(row(), row("lower"), row("lower"), row(), row("lower", "right stick"))
    assert [one.deed for one in told] == [Deed.STORE, Deed.STORE, Deed.PUNCH]
    _, told = said(row("lower"), row("lower"))
    assert told == []
    # a stop is obeyed even then
    _, told = said(row("start", "lower"))
    assert told == [Done(Deed.STOP, 0)]


@pytest.mark.parametrize(("button", "deed"), [("right", Deed.NEXT), ("left", Deed.PREVIOUS), ("upper", Deed.ORIGIN)])
def test_what_sends_the_rig_off_is_asked_for_with_the_enabling_control_held(button: str, deed: Deed) -> None:
    # a bump on a pad that lies about sends nobody anywhere
    _, told = said(row(), row(button))
    assert told == [Done(None, 0, f"{deed.value}: hold left trigger, and press {button} again")]
    _, told = said(row(), row(button), row(button, left_trigger=1.0))
    assert [one.deed for one in told] == [None]
    _, told = said(row(), row(left_trigger=1.0), row(button, left_trigger=1.0))
    assert told == [Done(deed, 0)]
    _, told = said(row(), row(button), handling=replace(FIRST, enabling=None))
    assert told == [Done(deed, 0)]


def test_rows_that_do_not_count_change_nothing_and_can_only_stop() -> None:
    pad = met(RIG, FIRST, row(), 0)
    told: list[Done] = []
    rows = [row(), row("right shoulder", "back", left_trigger=1.0), row(left_x=1.0, left_trigger=1.0)]
    for number, one in enumerate([*rows, row("start", left_x=1.0), row("start", left_x=1.0)]):
        pad, done = felt(RIG, pad, one, number * ROW_NS, counts=False)
        told += [each for each in done if each.deed]
        assert (pushed(pad), pad.enabled, pad.fine, pad.manner) == ({}, False, False, "rate")
    assert told == [Done(Deed.STOP, 0)]
    # what is held when it counts again was never let go of
    pad, _ = felt(RIG, pad, row(left_x=1.0), 5 * ROW_NS)
    assert pushed(pad) == {}


def test_after_a_silence_the_pad_is_as_new() -> None:
    pad, told = said(row(), row(left_x=1.0), row(left_x=1.0), apart_ns=SILENT_NS + 1)
    assert pushed(pad) == {}
    assert "left x" in told[-1].words
    pad, _ = said(row(), row(left_x=1.0), row(left_x=1.0), apart_ns=SILENT_NS)
    assert pushed(pad) == {"pan": 1.0}


def test_a_pad_that_goes_and_comes_back_must_be_centred() -> None:
    gone = row(here=False)
    pad, _ = said(row(), row(left_x=1.0, left_trigger=1.0), gone)
    assert (pushed(pad), pad.enabled, pad.here) == ({}, False, False)
    pad, _ = said(row(), row(left_x=1.0), gone, row(left_x=1.0))
    assert pushed(pad) == {}


def test_numbers_that_are_none_count_as_let_go() -> None:
    mad = PadRow(pad=0, name="Pad", axes=(math.nan, math.inf, -math.inf, 7.0, 0.0, 0.0))
    pad, _ = said(row(), mad)
    # a number that is too large is a full push
    assert pushed(pad) == {"focus": 1.0}
    assert [reading(mad, one) for one in ("left x", "right y")] == [0.0, 1.0]


def test_a_pad_that_is_not_known_has_numbers_only_and_says_so() -> None:
    raw = PadRow(pad=1, name="Old pad", axes=(0.0, 0.0, 0.0), buttons=frozenset(), known=False)
    (words,) = lacking(RIG, FIRST, raw)
    assert words.startswith("pad 2 (Old pad) has no left trigger, no left shoulder, no left x")
    assert "it is not known by its sticks" in words
    handling = Handling(enabling="button 3", modifier=None, sticks=(Stick(control="axis 2", axis="pan"),))
    assert lacking(RIG, handling, raw) == ()
    pad, _ = said(raw, replace(raw, axes=(0.0, 0.0, 1.0), buttons=frozenset({3})), handling=handling)
    assert (pushed(pad), pad.enabled) == ({"pan": 1.0}, True)


def test_a_pad_with_few_sticks_has_the_others_let_go() -> None:
    few = PadRow(pad=0, name="Small pad", axes=(0.0, 0.0))
    (words,) = lacking(RIG, FIRST, few)
    assert "no right x" in words
    assert "no left x" not in words
    pad, _ = said(few, replace(few, axes=(0.0, 1.0)))
    assert pushed(pad) == {"tilt": 1.0}


def test_axes_that_the_rig_does_not_have_are_told_and_move_nothing() -> None:
    handling = Handling(sticks=(Stick(control="left x", axis="jib"), Stick(control="left y", axis="tilt")))
    (words,) = lacking(RIG, handling, row())
    assert words == "pad 1 (Pad) is to move jib, which this rig does not have; assign other axes"
    pad, _ = said(row(), row(left_x=1.0, left_y=1.0), handling=handling)
    assert pushed(pad) == {"tilt": 1.0}
    assert lacking(RIG, Handling(), row()) == ("pad 1 (Pad) drives nothing yet; assign its sticks to axes",)


def test_faster_and_slower_go_by_steps_and_never_beyond_the_limit() -> None:
    pad, told = said(row(), *([row("pad up"), row()] * 5))
    assert pad.top == 1.0
    assert [one.words for one in told][:2] == ["up to 75% of full speed", "up to 100% of full speed"]
    pad, _ = said(row(), *([row("pad down"), row()] * 5))
    assert pad.top == TOPS[0]
    pad, told = said(row(), row("right shoulder"))
    assert pad.part == pytest.approx(0.5 * FIRST.fine)
    assert told[0].words == "fine: up to 10% of full speed"


def test_the_range_goes_by_steps_and_from_a_typed_one_to_the_next() -> None:
    pad, told = said(row(), row("pad right"))
    assert pad.range_deg == 180
    assert told[0].words == "range 180 degrees, 90 to each side"
    typed = replace(FIRST, range_deg=60.0)
    assert said(row(), row("pad left"), handling=typed)[0].range_deg == 45
    assert said(row(), *([row("pad left"), row()] * 5), handling=typed)[0].range_deg == RANGES_DEG[0]
    wide = replace(FIRST, range_deg=270.0)
    assert said(row(), row("pad right"), handling=wide)[0].range_deg == 270.0


def test_the_manner_changes_and_a_stick_held_over_counts_no_more() -> None:
    pad, told = said(row(), row("back"))
    assert pad.manner == "spring"
    assert told[0].words == (
        "spring-back control: a stick says how far, up to 45 degrees to each side of where the axis is"
    )
    pad, told = said(row(), row(left_x=1.0, left_trigger=1.0), row("back", left_x=1.0, left_trigger=1.0))
    assert pushed(pad) == {}
    assert told[-1].words.endswith("Let go of the sticks first")
    assert pad.enabled


def test_smoothing_is_a_first_order_lag_that_ends() -> None:
    """Source: step response of a first-order lag, textbook: 1 - 1/e after its time constant."""
    handling = replace(FIRST, smoothing_s=0.1)
    pad, _ = said(row(), row(left_x=1.0, left_trigger=1.0), handling=handling)
    once = smoothed(pad, pad.at_ns, 0.1)
    assert once.eased[0] == pytest.approx(1 - math.exp(-1))
    often = pad
    for _ in range(100):
        often = smoothed(often, pad.at_ns, 0.001)
    assert often.eased[0] == pytest.approx(once.eased[0])
    assert smoothed(pad, pad.at_ns, 2.0).eased[0] == 1.0
    released, _ = felt(RIG, once, row(left_trigger=1.0), pad.at_ns + ROW_NS)
    assert smoothed(released, released.at_ns, 1.0).eased[0] == 0.0
    # who lets go of what enables is obeyed at once
    dropped, _ = felt(RIG, once, row(left_x=1.0), pad.at_ns + ROW_NS)
    assert smoothed(dropped, dropped.at_ns, 0.001).eased[0] == 0.0


def test_what_was_moved_or_pressed_is_learned() -> None:
    assert learned(row(), row(right_x=-0.8, left_x=0.1)) == ("right x", True)
    assert learned(row(), row("pad left", left_x=0.9)) == ("pad left", False)
    assert learned(row(), row(left_x=0.3)) is None
    raw = PadRow(pad=0, name="Old pad", axes=(0.0, -1.0), buttons=frozenset({2}), known=False)
    assert learned(raw, replace(raw, axes=(0.0, 1.0))) == ("axis 1", False)
    assert learned(raw, replace(raw, buttons=frozenset({2, 5}))) == ("button 5", False)
    assert learned(raw, raw) is None
    assert learned(replace(raw, axes=()), replace(raw, axes=())) is None
