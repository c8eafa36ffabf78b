"""The arithmetic of a timelapse: worked examples done by hand, exact NTSC figures, and every pair that may be missing.

The formulas are definitions (see the module); the examples are ours, computed by hand beside each.
"""

import itertools
import re
from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.score.interval import Known, Plan, guidance, refusal, solve
from sequencer.score.ramp import Intervals
from sequencer.score.stock import Stock, need
from sequencer.score.timelapse import Place, Timelapse
from sequencer.timebase.rate import Rate

F = Fraction
# six hours at one frame every 30 s are 720 frames, which at 25 a second last 28.8 s
TIDE: dict[str, Any] = {
    "event_s": F(21_600),
    "clip_s": F(144, 5),
    "rate": Rate(25),
    "exposure_s": F(2),
    "settle_s": F(1),
    "interval_s": F(30),
    "frames": 720,
}
WAY = F(3, 2)
TOGETHER = {"clip_s", "rate"}  # of these only the product is known


def tide(*missing: str, **other: Any) -> Known:
    return Known(**{name: value for name, value in TIDE.items() if name not in missing} | {"move_s": WAY} | other)


def test_all_that_is_known_agrees() -> None:
    plan = solve(tide())
    assert (plan.frames, plan.event_s, plan.clip_s, plan.shortest_s) == (720, F(21_600), F(144, 5), F(30))
    assert plan.notes == ()
    assert refusal(plan) == ""


@pytest.mark.parametrize("missing", [two for two in itertools.combinations(TIDE, 2) if set(two) != TOGETHER])
def test_whichever_two_are_missing_are_found(missing: tuple[str, str]) -> None:
    plan = solve(tide(*missing))
    assert refusal(plan) == ""
    found = {"event_s": plan.event_s, "clip_s": plan.clip_s, "rate": plan.rate, "exposure_s": plan.exposure_s}
    found |= {"settle_s": plan.settle_s, "interval_s": plan.shortest_s, "frames": plan.frames}
    # what no other figure says is chosen: the longest exposure and settle that fit, the least interval
    chosen: dict[str, Any] = {}
    if "exposure_s" in missing:
        chosen["exposure_s"] = F(30) - 1 - WAY
    if "settle_s" in missing:
        chosen["settle_s"] = F(30) - 2 - WAY
    if set(missing) == {"exposure_s", "settle_s"}:
        chosen = {"exposure_s": F(15), "settle_s": F(30) - 15 - WAY}
    if set(missing) == {"event_s", "interval_s"}:
        least = 2 + 1 + WAY
        chosen = {"interval_s": least, "event_s": 720 * least}
    assert found == TIDE | chosen


def test_what_cannot_be_known_is_said() -> None:
    with pytest.raises(ValueError, match=r"the clip's length and the rate cannot be known from the rest"):
        solve(tide("clip_s", "rate"))
    with pytest.raises(ValueError, match=r"cannot be known from the rest; give one more"):
        solve(Known(rate=Rate(25), exposure_s=F(1)))


@pytest.mark.parametrize(
    ("rate", "clip_s", "frames", "lasts_s"),
    [
        # 24000/1001 x 10 s = 239.76 frames, so 240, which last 240 x 1001/24000 = 10.01 s
        (Rate(24000, 1001), 10, 240, F(1001, 100)),
        # 30000/1001 x 10 s = 299.70 frames, so 300, which last 10.01 s
        (Rate(30000, 1001), 10, 300, F(1001, 100)),
        # 60000/1001 x 60 s = 3596.40 frames, so 3596, which last 59.993 s
        (Rate(60000, 1001), 60, 3596, F(3596 * 1001, 60000)),
        # 30000/1001 x 1001 s = 30000 frames exactly
        (Rate(30000, 1001), 1001, 30_000, F(1001)),
    ],
)
def test_ntsc_rates_are_exact(rate: Rate, clip_s: int, frames: int, lasts_s: Fraction) -> None:
    """Source: SMPTE ST 12-1: 1000/1001 of the nominal rate."""
    plan = solve(Known(clip_s=F(clip_s), rate=rate, event_s=F(7200), exposure_s=F(1, 10), settle_s=F(0)))
    assert (plan.frames, plan.clip_s) == (frames, lasts_s)
    assert plan.shortest_s == F(7200, frames)
    assert bool(plan.notes) == (clip_s != 1001)


def test_an_event_holds_whole_intervals_only() -> None:
    # 3600 s / 7 s = 514.28..., so 514 frames in 3598 s; 2 s are left
    plan = solve(Known(event_s=F(3600), interval_s=F(7), rate=Rate(24), exposure_s=F(1), settle_s=F(1)))
    assert (plan.frames, plan.event_s) == (514, F(3598))
    assert plan.notes == ("514 whole intervals fit the event; 2 s of it are left",)
    with pytest.raises(ValueError, match="less than an interval of 7 s"):
        solve(Known(event_s=F(6), interval_s=F(7), rate=Rate(24), exposure_s=F(1), settle_s=F(1)))


def test_a_rate_that_is_none_is_said_with_the_nearest() -> None:
    # 300 frames in 10.1 s are 29.703 a second
    with pytest.raises(ValueError, match=r"29\.703 a second, which is no rate; the nearest is 30000/1001.*10\.01 s"):
        solve(Known(frames=300, clip_s=F(101, 10), interval_s=F(5), exposure_s=F(1), settle_s=F(1)))


def test_two_things_that_exclude_each_other_are_said() -> None:
    with pytest.raises(ValueError, match="720 frames do not make a clip of 30 s, which is 750 frames at 25"):
        solve(tide(clip_s=F(30)))
    with pytest.raises(ValueError, match=r"720 frames at these intervals last 21600 s .* and the event 25200 s"):
        solve(tide(event_s=F(25_200)))


def test_an_interval_that_cannot_hold_its_exposure_is_refused_with_what_works() -> None:
    # 20 s exposure + 1 s settling + 1.5 s way = 22.5 s, and the interval is 20 s
    words = refusal(solve(tide("event_s", exposure_s=F(20), interval_s=F(20))))
    assert words == (
        "the interval of 20 s cannot hold 20 s exposure + 1 s settling + 1.5 s the way = 22.5 s; "
        "what works: an interval of 22.5 s, or an exposure of 17.5 s"
    )
    # each offer does work
    assert refusal(solve(tide("event_s", exposure_s=F(20), interval_s=F(45, 2)))) == ""
    assert refusal(solve(tide("event_s", exposure_s=F(35, 2), interval_s=F(20)))) == ""
    standing = tide("event_s", exposure_s=F(20), interval_s=F(20), move_s=F(0))
    assert "or 685 frames (27.4 s of clip) in the same event" in refusal(solve(standing))
    fewer = replace(standing, frames=685, clip_s=None, interval_s=None, event_s=F(14_400))
    assert refusal(solve(fewer)) == ""


def test_a_moving_rig_needs_no_time_for_way_and_settling() -> None:
    plan = solve(tide("event_s", exposure_s=F(20), interval_s=F(20), moving=True))
    assert plan.needs_s == 20
    assert refusal(plan) == ""


@pytest.mark.parametrize(
    ("exposure_s", "angle", "words"),
    [
        (F(15), 180, "blurs much as on film"),  # half of 30 s
        (F(5, 2), 30, "look choppy; 15 s would be 180"),  # a twelfth
        (F(55, 2), 330, "will smear; 15 s would be 180"),
    ],
)
def test_the_shutter_angle_is_said(exposure_s: Fraction, angle: int, words: str) -> None:
    plan = solve(tide(exposure_s=exposure_s, settle_s=F(0), move_s=F(0)))
    assert plan.angle_deg == angle
    assert words in guidance(plan)


def test_what_makes_no_sense_is_refused() -> None:
    for wrong in ({"frames": 0}, {"interval_s": F(0)}, {"exposure_s": F(-1)}, {"settle_s": F(-1)}, {"frames": 10**8}):
        with pytest.raises(ValueError, match=r"must be|more than"):
            tide(**wrong)
    with pytest.raises(ValueError, match="both given"):
        tide(ramp=Intervals(((0, F(1)),)))
    with pytest.raises(ValueError, match="leaves nothing for the exposure"):
        solve(tide("exposure_s", "frames", "clip_s", "event_s", interval_s=F(1), frames=10))
    for place in ({"latitude_deg": 91.0, "longitude_deg": 0.0}, {"latitude_deg": 0.0, "longitude_deg": 200.0}):
        with pytest.raises(ValueError, match="it must be from"):
            Place(**place)
    with pytest.raises(ValueError, match="poses_by time"):
        Timelapse(manner="continuous", known=Known(ramp=Intervals(((0, F(1)),))))


def test_card_and_battery_are_reckoned_and_their_ends_named() -> None:
    plan = solve(tide())
    # 720 frames of 50 MB are 36 GB; 32 GB hold 640. 12 W for 6 h are 72 Wh; 60 Wh last 5 h, that is 600 frames
    stock = Stock(frame_bytes=50_000_000, card_bytes=32_000_000_000, battery_wh=F(60), load_w=F(12))
    found = need(plan, stock)
    assert (found.card_bytes, found.card_frames) == (36_000_000_000, (640,))
    assert (found.battery_wh, found.battery_frames) == (F(72), (600,))
    assert found.warnings()[0].startswith("the card is full by frame 640")
    enough = need(plan, Stock(frame_bytes=50_000_000, card_bytes=36_000_000_000, battery_wh=F(72), load_w=F(12)))
    assert enough.warnings() == ()
    assert need(plan, Stock()).card_bytes is None


def test_every_change_of_card_and_battery_is_named_not_the_first_alone() -> None:
    plan = solve(tide())
    # 12.5 GB hold 250 frames of 50 MB; 25 Wh at 12 W last 2 h 5 min, that is 250 intervals of 30 s
    stock = Stock(frame_bytes=50_000_000, card_bytes=12_500_000_000, battery_wh=F(25), load_w=F(12))
    found = need(plan, stock)
    assert (found.card_frames, found.battery_frames) == ((250, 500), (250, 500))
    assert found.warnings()[0].endswith(
        "by frame 250; change it there (--change-at 250 --change-at 500), or use a larger one"
    )
    many = need(plan, Stock(frame_bytes=50_000_000, card_bytes=2_500_000_000))
    assert many.card_frames == tuple(range(50, 720, 50))
    assert "--change-at 200, and so on, 14 times)" in many.warnings()[0]
    # not one frame: 1 Wh at 200 W lasts 18 s
    none = need(plan, Stock(frame_bytes=2, card_bytes=1, battery_wh=F(1), load_w=F(200)))
    assert (none.card_frames, none.battery_frames) == ((0,), (0,))
    assert none.warnings() == (
        "the card is full by frame 0; use a larger card",
        "the battery is empty by frame 0; use a larger battery",
    )
    # along a ramp a battery's frames are those of its own stretch: 4, 6, 8 ... s
    ramp = Intervals(((0, F(4)), (10, F(24))))
    longer = solve(Known(ramp=ramp, frames=9, rate=Rate(25), exposure_s=F(1), settle_s=F(1)))
    # 20 s hold 4 + 6 + 8 = 18 s, then 10 s, then 12 s, and so on: each alone is less than 20, two are more
    held = need(longer, Stock(battery_wh=F(1), load_w=F(180))).battery_frames
    assert held == (3, 4, 5, 6, 7, 8)


def test_what_is_said_to_work_at_the_most_does_work() -> None:
    # 1 s less a way of 2/7 s and a settle of 1/7 s leaves 4/7 s = 0.5714...: 0.572 would not fit
    tight = {"interval_s": F(1), "move_s": F(2, 7), "settle_s": F(1, 7), "frames": 10, "rate": Rate(25)}
    assert "the longest that works: 0.571 s" in solve(Known(**tight)).notes[0]  # type: ignore[arg-type]  # figures by name
    words = refusal(solve(Known(**tight, exposure_s=F(1))))  # type: ignore[arg-type]  # figures by name
    assert words.endswith("or an exposure of 0.571 s")
    assert refusal(solve(Known(**tight, exposure_s=F(571, 1000)))) == ""  # type: ignore[arg-type]  # figures by name


def test_a_ramp_is_the_sum_of_its_intervals() -> None:
    # 10 intervals of 4 s; then 4, 6, 8, 10, 12 ... up to 24 s at frame 20; then 24 s
    ramp = Intervals(((10, F(4)), (20, F(24))))
    assert [ramp.of(frame) for frame in (0, 10, 11, 15, 20, 25)] == [4, 4, 6, 14, 24, 24]
    # 40 + (4 + 6 + ... + 22) = 40 + 10 x 13 = 170
    assert (ramp.at(10), ramp.at(20), ramp.at(22)) == (F(40), F(170), F(218))
    plan = solve(Known(ramp=ramp, frames=30, rate=Rate(25), exposure_s=F(1), settle_s=F(1)))
    assert plan.event_s == 170 + 10 * 24
    assert plan.shortest_s == 4
    tight = replace(plan, exposure_s=F(5))
    assert "the interval of 4 s at frame 0 cannot hold" in refusal(tight)
    assert ramp.scaled(F(1, 2)).at(20) == 85


points = st.lists(st.tuples(st.integers(1, 60), st.fractions(F(1, 50), 100)), min_size=1, max_size=6).map(
    lambda steps: tuple(
        (frame - steps[0][0], interval)
        for frame, (_, interval) in zip(itertools.accumulate(s for s, _ in steps), steps, strict=True)
    )
)


@given(points, st.integers(0, 400))
def test_a_frames_time_is_the_exact_sum_of_all_intervals_before(given: Any, frame: int) -> None:
    ramp = Intervals(given)
    assert ramp.at(frame) == sum((ramp.of(one) for one in range(frame)), F(0))
    assert ramp.within(ramp.at(frame)) == frame
    every = [ramp.of(one) for one in range(max(frame, 1))]
    assert ramp.shortest(len(every))[1] == min(every)
    assert ramp.longest(len(every))[1] == max(every)


@given(st.data())
def test_a_plan_is_found_again_from_any_of_its_figures(data: st.DataObject) -> None:
    rate = data.draw(st.sampled_from([Rate(24), Rate(24000, 1001), Rate(25), Rate(30000, 1001), Rate(60)]))
    frames = data.draw(st.integers(1, 5000))
    parts = [data.draw(st.fractions(F(1, 1000), 60)) for _ in range(4)]
    exposure_s, settle_s, move_s, spare_s = parts
    interval_s = sum(parts, F(0)) + spare_s
    whole: Plan = solve(
        Known(frames=frames, rate=rate, interval_s=interval_s, exposure_s=exposure_s, settle_s=settle_s, move_s=move_s)
    )
    lengths = {"event_s": whole.event_s, "clip_s": whole.clip_s, "interval_s": interval_s, "frames": frames}
    kept = data.draw(st.sampled_from([("event_s", "clip_s"), ("event_s", "interval_s"), ("event_s", "frames")]))
    given = {name: lengths[name] for name in kept}
    again = solve(Known(rate=rate, exposure_s=exposure_s, settle_s=settle_s, move_s=move_s, **given))  # type: ignore[arg-type]  # figures by name
    assert again == whole


def test_a_settle_that_leaves_nothing_for_the_exposure_is_refused() -> None:
    # 30 s less a way of 1.5 s are 28.5 s
    words = "settling for 28.5 s leaves nothing of the interval for the exposure; shorten one, or lengthen the other"
    with pytest.raises(ValueError, match=re.escape(words)):
        solve(tide("exposure_s", settle_s=F(57, 2)))
    assert solve(tide("exposure_s", settle_s=F(28))).exposure_s == F(1, 2)
    assert solve(tide("exposure_s", "event_s", settle_s=F(57, 2), interval_s=F(31))).exposure_s == 1


@pytest.mark.parametrize(
    ("exposure_s", "interval_s", "words"),
    [
        # with a way of 1.5 s
        (29, F(61, 2), "an exposure of 29 s does not fit in; it takes an interval of 30.5 s"),
        (1200, F(2403, 2), "an exposure of 1200 s does not fit in; it takes an interval of 1201.5 s"),
        # and as much: 2 h 0 min 1.5 s
        (
            7200,
            F(14_403, 2),
            "an exposure of 7200 s (2 h 00 min) does not fit in; it takes an interval of 7201.5 s (2 h 00",
        ),
    ],
)
def test_an_exposure_that_leaves_no_time_to_settle_is_refused(
    exposure_s: int, interval_s: Fraction, words: str
) -> None:
    with pytest.raises(ValueError, match=re.escape(words)):
        solve(tide("settle_s", exposure_s=F(exposure_s)))
    assert solve(tide("settle_s", "event_s", exposure_s=F(exposure_s), interval_s=interval_s)).settle_s == 0


def test_an_exposure_below_a_second_is_refused_as_a_fraction() -> None:
    short = tide("settle_s", "event_s", exposure_s=F(1, 2), interval_s=F(1, 4), move_s=F(0))
    with pytest.raises(ValueError, match="an exposure of 1/2 s does not fit in; it takes an interval of 1/2 s"):
        solve(short)
    assert solve(replace(short, interval_s=F(1, 2))).settle_s == 0
