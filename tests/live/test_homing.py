"""Homing as a fold, on an axis of a few lines: it goes as it is told at once, its switch is where the test puts it."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import pytest

from sequencer.live.homing import ENDED, SLOW, Search, Seen, Stage, begin, furthest, given_up, look, part, slowed
from sequencer.rig.axis import Axis, End, Homing, Rig, Simulated

SPEED = 20.0
LOOK_S = 0.02
SLIDE = Axis(
    name="slide",
    kind="slide",
    unit="mm",
    travel=(0, 400),
    speed=200,
    acceleration=400,
    jerk=4000,
    homing=Homing(towards="low", speed=SPEED, at=-3.0),
    simulated=Simulated(switch_at=-3.0),
)
PAN = Axis(name="pan", kind="pan", unit="deg", travel=(-90, 90), speed=60, acceleration=120, jerk=600)


@dataclass
class Axle:
    """Where an axis truly is, and what it says: `off` more. `closed` is its switch by where it is and when."""

    place: float
    closed: Callable[[float, float], bool | None]
    off: float = 0.0
    stuck: bool = False
    coasts: float = 0.0  # how far it goes on when it is let go
    now_s: float = 100.0
    been: list[float] = field(default_factory=list)
    speeds: list[float] = field(default_factory=list)

    def home(self, search: Search) -> Search:
        """Fold until it has ended; the axis does as it is told."""
        while search.stage not in ENDED:
            speed = part(search) * search.homing.speed
            self.place += 0.0 if self.stuck else speed * LOOK_S
            self.now_s += LOOK_S
            self.been.append(self.place)
            self.speeds.append(speed)
            switch = self.closed(self.place, self.now_s)
            before = search
            search = look(
                search, Seen(now_s=self.now_s, position=self.place + self.off, switch=switch, stands=not speed)
            )
            if part(before) and not part(search):
                self.place += self.coasts * (1 if part(before) > 0 else -1)
            assert self.now_s < 1000, "it goes on for ever"
        return search


def below(switch_at: float) -> Callable[[float, float], bool | None]:
    return lambda place, now_s: place <= switch_at


def high() -> Axis:
    return replace(SLIDE, homing=Homing(towards="high", speed=SPEED, at=403.0), simulated=Simulated(switch_at=403.0))


@pytest.mark.parametrize("off", [0.0, 837.25, -5000.0])
@pytest.mark.parametrize("coasts", [0.0, 1.5])
@pytest.mark.parametrize("towards", ["low", "high"])
def test_whatever_it_counts_it_is_known_afterwards_where_it_stands(off: float, coasts: float, towards: End) -> None:
    axis, switch = (SLIDE, below(-3.0)) if towards == "low" else (high(), lambda place, _: place >= 403.0)
    axle = Axle(place=120.0, closed=switch, off=off, coasts=coasts)
    found = axle.home(begin(axis))
    assert found.stage is Stage.FOUND, found.trouble
    # a look is a fiftieth of a second: that is how late it may see the switch open
    assert found.value == pytest.approx(axle.place, abs=SPEED * SLOW * LOOK_S + 1e-6)
    assert max(map(abs, axle.speeds)) == SPEED
    assert {abs(speed) for speed in axle.speeds} == {0.0, SPEED, SPEED * SLOW}


def test_from_on_its_switch_it_only_comes_off() -> None:
    axle = Axle(place=-20.0, closed=below(-3.0), off=77.0)
    found = axle.home(begin(SLIDE))
    assert found.stage is Stage.FOUND
    assert min(axle.speeds) == 0.0
    assert found.value == pytest.approx(axle.place, abs=0.05)


def test_a_switch_that_does_not_come_ends_it_after_its_travel_and_a_tenth() -> None:
    axle = Axle(place=390.0, closed=lambda place, _: False)
    found = axle.home(begin(SLIDE))
    assert found.stage is Stage.FAILED
    assert "did not close within 440 mm; does the axis go towards it (`towards` is low)" in found.trouble
    assert furthest(found) == pytest.approx(440.0)
    assert 440.0 < 390.0 - min(axle.been) < 441.0
    assert part(found) == 0.0


def test_a_rig_that_says_nothing_of_switches_is_not_moved() -> None:
    axle = Axle(place=390.0, closed=lambda place, _: None)
    found = axle.home(begin(SLIDE))
    assert (
        "have it send /rig/slide/switch, 0 or 1, twice a second, or say where it stands (in the terminal: --here"
        in found.trouble
    )
    assert set(axle.speeds) == {0.0}
    assert axle.now_s == pytest.approx(102.0, abs=0.1)


def test_a_first_word_that_comes_late_is_waited_for() -> None:
    axle = Axle(place=20.0, closed=lambda place, now_s: None if now_s < 101.5 else place <= -3.0)
    assert axle.home(begin(SLIDE)).stage is Stage.FOUND


@pytest.mark.parametrize("from_place", [20.0, -20.0])
def test_a_switch_that_falls_silent_ends_it(from_place: float) -> None:
    axle = Axle(place=from_place, closed=lambda place, now_s: place <= -3.0 if now_s < 100.5 else None)
    found = axle.home(begin(SLIDE))
    assert (found.stage, part(found)) == (Stage.FAILED, 0.0)
    assert found.trouble == "the rig said nothing more of the switch of slide; is its wire loose?"


@pytest.mark.parametrize("from_place", [20.0, -20.0])
def test_an_axis_that_does_not_go_ends_it(from_place: float) -> None:
    axle = Axle(place=from_place, closed=below(-3.0), stuck=True)
    found = axle.home(begin(SLIDE))
    assert f"says that it stands at {from_place:g} although it is driven: is the motor on" in found.trouble
    assert axle.now_s < 103.0


def test_an_axis_that_is_held_half_way_ends_it() -> None:
    axle = Axle(place=300.0, closed=below(-3.0))
    search = begin(SLIDE)
    while axle.place > 150.0:
        axle.now_s += LOOK_S
        axle.place += part(search) * SPEED * LOOK_S
        search = look(search, Seen(now_s=axle.now_s, position=axle.place, switch=False, stands=False))
    axle.stuck = True
    assert "although it is driven" in axle.home(search).trouble


def test_a_switch_that_sticks_ends_it() -> None:
    axle = Axle(place=20.0, closed=lambda place, now_s: place <= -3.0 or now_s > 101.0)
    found = axle.home(begin(SLIDE))
    # the switch is outside the travel, so there is a tenth of the travel behind it at most, and a look's way onto it
    assert found.trouble == "the switch of slide did not open within 40.04 mm; does it stick, or is `at` wrong?"


def test_an_axis_that_brakes_far_onto_its_switch_comes_off_it_as_far() -> None:
    axle = Axle(place=120.0, closed=below(-3.0), coasts=65.0)
    found = axle.home(begin(SLIDE))
    assert found.stage is Stage.FOUND, found.trouble
    assert min(axle.been) < -65.0
    assert found.value == pytest.approx(axle.place, abs=SPEED * SLOW * LOOK_S + 1e-6)


def test_a_switch_that_sticks_ends_it_as_far_behind_where_the_axis_braked() -> None:
    axle = Axle(place=20.0, closed=lambda place, now_s: place <= -3.0 or now_s > 101.0, coasts=65.0)
    assert "did not open within 105 mm" in axle.home(begin(SLIDE)).trouble


@pytest.mark.parametrize("towards", ["low", "high"])
def test_an_axis_whose_switch_is_outside_its_travel_ends_inside(towards: End) -> None:
    axis = replace(SLIDE, homing=Homing(towards=towards, speed=SPEED, at=-3.0 if towards == "low" else 403.0))
    axle = Axle(place=200.0, closed=below(-3.0) if towards == "low" else lambda place, _: place >= 403.0, off=77.0)
    found = axle.home(begin(axis))
    assert found.stage is Stage.FOUND
    assert 0.0 <= found.value <= 400.0
    assert found.value == pytest.approx(0.0 if towards == "low" else 400.0, abs=0.1)
    assert found.value == pytest.approx(axle.place, abs=0.05)


def test_a_contact_that_bounces_counts_from_where_it_opened_last() -> None:
    been_on_it: list[float] = []

    def bouncing(place: float, _: float) -> bool:
        been_on_it.extend([place] if place <= -3.0 else [])
        return place <= -3.0 or (bool(been_on_it) and -2.95 < place <= -2.9)

    axle = Axle(place=120.0, closed=bouncing)
    found = axle.home(begin(SLIDE))
    assert found.stage is Stage.FOUND
    assert found.value == pytest.approx(axle.place - 0.1, abs=SPEED * SLOW * LOOK_S + 1e-6)


def test_a_switch_inside_the_travel_may_stay_closed_to_its_end() -> None:
    axis = replace(SLIDE, homing=Homing(towards="low", speed=SPEED, at=100.0))
    axle = Axle(place=-10.0, closed=below(100.0))
    assert axle.home(begin(axis)).stage is Stage.FOUND


def test_a_switch_that_opens_again_is_no_switch_at_an_end() -> None:
    axle = Axle(place=20.0, closed=lambda place, _: -3.5 < place <= -3.0, coasts=2.0)
    found = axle.home(begin(SLIDE))
    assert "opened again while the axis stood still on it; it must stay closed to the end" in found.trouble


def test_what_has_ended_stays_so() -> None:
    ended = given_up(begin(SLIDE), "stopped: by hand")
    assert look(ended, Seen(now_s=1.0, position=0.0, switch=True, stands=True)) is ended
    assert ended.trouble == "stopped: by hand"


def test_an_axis_without_a_switch_is_refused() -> None:
    with pytest.raises(
        ValueError,
        match=r"pan has no homing in rig.json.*say where it stands instead \(in the terminal: --here pan=VALUE\)",
    ):
        begin(PAN)


def test_an_axis_whose_switch_went_out_of_the_rig_meanwhile_is_not_driven_without_ends() -> None:
    rig = Rig(name="quay", axes=(PAN, replace(SLIDE, homing=None, simulated=Simulated())))
    words = "slide has no homing; describe it in rig.json, or home the axis by hand"
    with pytest.raises(ValueError, match=f"^{words}$"):
        slowed(rig, "slide", {"pan": 10.0, "slide": 900.0})


def test_a_homing_speed_above_the_axis_s_own_is_refused() -> None:
    fast = replace(SLIDE, homing=Homing(towards="low", speed=201.0, at=0.0))
    with pytest.raises(ValueError, match="slide shall home at 201, which is above its own speed 200"):
        begin(fast)


def test_the_rig_that_is_homed_has_no_ends_where_nobody_knows_them() -> None:
    rig = Rig(name="quay", axes=(PAN, SLIDE))
    inside = slowed(rig, "slide", {"pan": 10.0, "slide": 900.0})
    assert inside.axes[0] is PAN
    assert (inside.axes[1].travel, inside.axes[1].speed) == (None, SPEED)
    outside = slowed(rig, "slide", {"pan": 200.0, "slide": 10.0})
    assert (outside.axes[0].travel, outside.axes[0].speed) == (None, PAN.speed)


def test_what_lags_behind_the_setpoints_is_waited_for() -> None:
    search = replace(begin(SLIDE), stage=Stage.SETTLING, opened=7.0)
    place, now_s = 7.0, 100.0
    for _ in range(20):
        place, now_s = place + 0.01, now_s + LOOK_S
        search = look(search, Seen(now_s=now_s, position=place, switch=False, stands=True))
    assert search.stage is Stage.SETTLING
    while search.stage not in ENDED:
        now_s += LOOK_S
        search = look(search, Seen(now_s=now_s, position=place, switch=False, stands=True))
    assert search.value == pytest.approx(-3.0 + 0.2)


@pytest.mark.parametrize(("towards", "at"), [("low", 430.0), ("high", -30.0)])
def test_a_switch_beyond_the_other_end_of_the_travel_is_refused(towards: End, at: float) -> None:
    wrong = replace(SLIDE, homing=Homing(towards=towards, speed=SPEED, at=at))
    with pytest.raises(ValueError, match=f"beyond the other end of its travel .*really at the {towards} end"):
        begin(wrong)
