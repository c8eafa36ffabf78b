"""The check of a move: exact leg by leg against dense samples, jumps at the right leg, passes, reserve, travel."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from sequencer.errors import ProjectError
from sequencer.motion.check import Check, LegCheck, check
from sequencer.motion.legs import legs
from sequencer.motion.peaks import TOLERANCE, Peak, peaks
from sequencer.motion.repair.written import drawn
from sequencer.rig.axis import Rig
from sequencer.score.laws.bezier import Bezier
from sequencer.score.laws.trapezoid import Trapezoid
from sequencer.score.move import Ease, Key, Move, Track
from tests.motion.machines import LAWS, SECONDS, leg, rig, seeded_keys, track

# what a machine that never complains about jumps is built from
SMOOTH = [Ease("poly345"), Ease("poly4567"), Ease("cycloidal"), Ease("modified-sine"), Ease("modified-trapezoid")]
OTHERS = [Ease("linear"), Ease("harmonic"), Ease("trapezoid"), Ease("trapezoid", Trapezoid(0.2)), Ease("s-curve")]
BEZIER = Ease("bezier", Bezier((0.3, -0.4, 0.6, 1.5)))


def checked(move: Move, machine: Rig | None = None, speed: Fraction = Fraction(1)) -> Check:
    return check(machine or rig(), move, SECONDS, LAWS, speed)


def mixed(seed: int, eases: list[Ease], count: int = 9, axis: str = "pan0") -> Track:
    """Return a track of slow legs, each with an ease drawn from `eases`."""
    rng = np.random.default_rng(seed)
    at_s, values = seeded_keys("beats", seed, count)
    chosen = [eases[int(number)] for number in rng.integers(len(eases), size=count)]
    return track([float(t) * 3 for t in at_s], values.tolist(), chosen, axis)


def with_drawn_legs(one: Track) -> Track:
    """Return the track with its third and fourth leg drawn by hand, smooth at its ends and not beyond the limits."""
    keys_s = np.array([float(key.at) for key in one.keys[2:5]])
    nodes_s = np.sort(np.append(keys_s, (keys_s[:-1] + keys_s[1:]) / 2))
    state = np.zeros((5, 3))
    state[::2, 0] = [key.value for key in one.keys[2:5]]
    state[1::2, 0] = (state[:-2:2, 0] + state[2::2, 0]) / 2 + 3
    state[1:-1, 1] = 2.0
    return drawn(one, 2, 4, keys_s, nodes_s, state)


def dense(done: Check, one: LegCheck, order: int) -> np.ndarray:
    """Return samples of a leg at 100 kHz, and at the ends of its pieces, from both sides."""
    ends_s = done.trajectory.from_s
    inside_s = ends_s[(ends_s >= one.from_s) & (ends_s < one.to_s)]
    # the later piece counts where two meet: the last instant of a leg is a hair before the next
    left_s = np.nextafter(np.append(inside_s[inside_s > one.from_s], one.to_s), -np.inf)
    t_s = np.concatenate((np.arange(one.from_s, one.to_s, 1e-5), inside_s, left_s))
    return done.trajectory.sample(np.sort(t_s), order)[:, done.rig.index(one.axis)]


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("kind", ["smooth", "jolting", "bezier", "through", "drawn"])
def test_each_legs_peaks_are_those_of_dense_samples_and_never_below(kind: str, seed: int) -> None:
    eases = {"jolting": OTHERS, "bezier": [BEZIER], "through": [Ease("through")]}.get(kind, SMOOTH)
    one = mixed(seed, eases)
    done = checked(Move(tracks=(with_drawn_legs(one) if kind == "drawn" else one,)))
    axis = done.rig.axes[0]
    compared = 0
    for each in done.legs():
        for order, exact, limit in (
            (1, each.peak.speed, axis.speed),
            (2, each.peak.acceleration, axis.acceleration),
            (3, each.peak.jerk, axis.jerk),
        ):
            if np.isfinite(exact.value):
                sampled = np.abs(dense(done, each, order)).max()
                assert exact.value >= sampled - 1e-12 * limit
                assert exact.value == pytest.approx(sampled, rel=0, abs=1e-9 * limit)
                assert each.from_s <= exact.at_s <= each.to_s
                compared += 1
        way = dense(done, each, 0)
        assert each.peak.low.value == pytest.approx(way.min(), rel=0, abs=1e-7)
        assert each.peak.high.value == pytest.approx(way.max(), rel=0, abs=1e-7)
        assert each.peak.low.value <= way.min() + 1e-11
        assert each.peak.high.value >= way.max() - 1e-11
    assert compared >= len(one.keys) - 1


def same(ours: Peak, theirs: Peak) -> None:
    for name in ("speed", "acceleration", "jerk", "low", "high"):
        a, b = getattr(ours, name), getattr(theirs, name)
        assert a.value == pytest.approx(b.value, rel=1e-11, abs=1e-10), name


def test_the_whole_of_all_legs_is_what_the_trajectory_asks() -> None:
    machine = rig(4)
    hold = track([0, 1, 3, 4], [1, 5, 5, 5], [Ease("poly345"), Ease("hold"), Ease("linear"), Ease("linear")], "pan2")
    tracks = (mixed(1, SMOOTH + OTHERS, 30, "pan0"), mixed(2, [Ease("through"), BEZIER], 30, "pan1"), hold)
    done = checked(Move(tracks=tracks), machine)
    for ours, theirs in zip(done.axes(), peaks(done.trajectory, machine), strict=True):
        same(ours, theirs)
    assert len(done.rows) == 29 + 29 + 3
    half = checked(Move(tracks=tracks), machine, Fraction(1, 2))
    for ours, theirs in zip(half.axes(), peaks(done.trajectory.stretched(Fraction(1, 2), 0.0), machine), strict=True):
        same(ours, theirs)


def test_a_jolt_is_charged_to_the_leg_that_begins_there_or_ends_before_a_rest() -> None:
    eases = [Ease("poly345"), Ease("linear"), Ease("hold"), Ease("poly345"), Ease("linear"), Ease("poly345")]
    done = checked(Move(tracks=(track([0, 2, 4, 6, 8, 10], [0, 5, 9, 9, 12, 15], eases),)))
    jumps = [one.peak.jump for one in done.legs()]
    assert jumps == [None, ("speed", 2.0), None, None, ("speed", 8.0)]
    only_the_end = replace(eases[0], law="trapezoid", how=Trapezoid(0.5))
    last = checked(Move(tracks=(track([0, 2, 4], [0, 5, 5], [only_the_end, Ease("hold"), Ease("hold")]),)))
    assert [one.peak.jump for one in last.legs()] == [("acceleration", 0.0), None]
    # nothing but its end jumps: a leg that speeds up for ever, from a drawn start at rest
    keys = (Key(Fraction(0), 0.0, Ease("linear")), Key(Fraction(1), 10.0, Ease("linear")))
    ramp = drawn(
        Track("pan0", keys), 0, 1, np.array([0.0, 1.0]), np.array([0.0, 1.0]), np.array([[0.0] * 3, [10, 20, 9]])
    )
    (end,) = checked(Move(tracks=(ramp,))).legs()
    assert end.peak.jump == ("speed", 1.0)
    assert np.isfinite(end.peak.speed.value)


def test_jumps_count_from_the_same_size_as_for_a_trajectory() -> None:
    for size, jumps in ((0.5, False), (2.0, True)):
        step = size * TOLERANCE * 60.0  # of the speed limit
        flat = track([0, 1, 2], [0, 1, 2 + step], "linear")
        done = checked(Move(tracks=(flat,)))
        second = list(done.legs())[1]
        # it stops at its end anyway, so only the instant tells
        assert second.peak.jump == ("speed", 1.0 if jumps else 2.0)


def test_reserve_and_the_speed_at_which_it_just_fits() -> None:
    done = checked(leg(Ease("poly345"), way=32.0, lasts_s=2.0))  # speed 30 of 60, acceleration 46.19, jerk 240
    assert done.ok
    assert done.reserve == pytest.approx(0.5)
    (one,) = done.legs()
    assert one.worst.of == "speed"
    assert (one.worst.value, one.worst.at_s) == pytest.approx((30.0, 1.0))
    assert done.speed_factor == pytest.approx(min(2.0, (120 / 46.188) ** 0.5, (600 / 240) ** (1 / 3)), rel=1e-5)
    factor = Fraction(done.speed_factor)
    assert checked(leg(Ease("poly345"), 32.0, 2.0), speed=factor).ok
    assert checked(leg(Ease("poly345"), 32.0, 2.0), speed=factor).reserve == pytest.approx(0.0, abs=1e-9)
    too_fast = checked(leg(Ease("poly345"), 32.0, 2.0), speed=factor * Fraction(1001, 1000))
    assert not too_fast.ok
    assert [one.worst.of for one in too_fast.over()] == ["jerk"]
    # the instant is that of the move as it is written
    assert checked(leg(Ease("poly345"), 32.0, 2.0), speed=Fraction(1, 2)).over() == []
    (slow,) = checked(leg(Ease("poly345"), 32.0, 2.0), speed=Fraction(1, 2)).legs()
    assert slow.peak.speed.at_s == pytest.approx(1.0)
    assert slow.peak.speed.value == pytest.approx(15.0)


def test_what_is_over_comes_worst_first() -> None:
    done = checked(Move(tracks=(track([0, 1, 2, 4, 5], [0, 40, 40, 80, 0], "poly345"),)))
    assert [(one.key, one.worst.of) for one in done.over()] == [(3, "jerk"), (0, "jerk")]
    assert done.reserve == pytest.approx(1 - 60 * 80 / 600)
    assert done.speed_factor == pytest.approx(60 / 150)  # speed would come down last
    jolting = checked(Move(tracks=(track([0, 1, 2], [0, 1, 1], "linear"),)))
    assert (jolting.reserve, jolting.speed_factor) == (-np.inf, 0.0)


def test_travel_counts_only_when_it_is_broken() -> None:
    machine = rig(travel=(0.0, 32.0))
    at_its_ends = checked(leg(Ease("poly345"), 32.0, 4.0), machine)
    assert at_its_ends.ok
    assert at_its_ends.reserve == pytest.approx(0.75)
    state = np.array([[0.0, 0, 0], [40, 0, 0], [32, 0, 0]])
    keys = track([0, 12], [0, 32], "poly345")
    beyond = drawn(keys, 0, 1, np.array([0.0, 12.0]), np.array([0.0, 8.0, 12.0]), state)
    done = checked(Move(tracks=(beyond,)), machine)
    (one,) = done.over()
    assert one.worst.of == "travel"
    assert (one.worst.limit, one.worst.at_s) == pytest.approx((32.0, 8.0))
    assert one.worst.value == pytest.approx(40.0)
    assert done.reserve == pytest.approx(-8 / 32)
    assert done.speed_factor == 0.0


def test_a_move_with_one_key_stands_there() -> None:
    machine = rig(2, travel=(-5.0, 5.0))
    done = checked(Move(tracks=(track([3], [4.0], "poly345"),)), machine)
    assert done.ok
    assert (done.reserve, done.speed_factor) == (1.0, np.inf)
    assert [(one.axis, one.key, one.from_s, one.to_s) for one in done.legs()] == [("pan0", 0, 3.0, 3.0)]
    outside = checked(Move(tracks=(track([3], [7.0], "poly345"),)), machine)
    assert [(one.worst.of, one.worst.value) for one in outside.over()] == [("travel", 7.0)]
    assert list(checked(Move(tracks=()), machine).legs()) == []


def test_an_endless_axis_is_checked_the_way_it_goes() -> None:
    keys = (Key(Fraction(0), 170.0, Ease("poly345"), turn="short"), Key(Fraction(2), -170.0, Ease("poly345")))
    short = checked(Move(tracks=(Track("pan0", keys),)))
    assert short.ok
    assert short.axes()[0].speed.value == pytest.approx(20 * 1.875 / 2)
    long = checked(Move(tracks=(Track("pan0", (replace(keys[0], turn=None), keys[1])),)))
    assert not long.ok


@pytest.mark.parametrize(
    ("one", "message"),
    [
        (track([0, 1, 1], [0, 1, 2], "poly345"), "tracks[0].keys[2].at: the key stands at the same instant"),
        (
            track([0, 1, 1 + Fraction(1, 10**8)], [0, 1, 2], "poly345"),
            "tracks[0].keys[2].at: the key stands less than a millionth of a frame after",
        ),
        (track([0, 2, 1], [0, 1, 2], "poly345"), "tracks[0].keys[2].at: the key stands 1 frames before the one before"),
        (track([0, 1], [0, 1], "glide"), "tracks[0].keys[0].ease: there is no motion law 'glide'; there are bezier,"),
        (track([0, 1], [0, 1], Ease("trapezoid", 0.4)), "the motion law 'trapezoid' cannot use the settings 0.4"),
        (track([0, 1], [0, 1], "bezier"), "tracks[0].keys[0].ease: the motion law 'bezier' needs its settings"),
        (track([0, 1], [0, 1], "hold"), "the axis should hold at 0, but the next key is at 1; no motor can jump"),
        (track([0, 1], [0, float("nan")], "linear"), "tracks[0].keys[1].value: the value is nan; give it a number"),
        (track([0, 1], [0, 1e308], "linear"), "tracks[0].keys[1].value: the value is 1e+308; give it a number"),
        (Track("pan0", ()), "tracks[0].keys: the track has no keys; give it a key, or remove the track"),
        (track([0, 1], [0, 1], "linear", "lift"), "tracks[0].axis: the rig has no axis 'lift'; its axes are pan0"),
    ],
)
def test_what_cannot_be_checked_is_named_with_its_place(one: Track, message: str) -> None:
    with pytest.raises(ProjectError) as caught:
        checked(Move(tracks=(one,)))
    assert message in str(caught.value)


def test_impossible_parameters_are_refused_in_words() -> None:
    with pytest.raises(ValueError, match=r"ramp is 0\.7"):
        Trapezoid(0.7)
    with pytest.raises(ValueError, match="time does not run backward"):
        Bezier((1.5, 0, 0, 1))


def test_a_law_that_takes_its_ramp_from_the_limits_is_looked_at_leg_by_leg() -> None:
    legs_of = [Ease("trapezoid", Trapezoid("limits"))] * 4
    move = Move(tracks=(track([0, 2, 4, 8], [0, 20, 50, 55], legs_of),))
    whole = legs(rig(), move, SECONDS, LAWS)
    assert len(set(whole.law[1:4].tolist())) == 3
    # each has the shortest ramp that keeps 120 deg/s², where one does
    accelerations = [np.abs(dense(checked(move), one, 2)).max() for one in checked(move).legs()]
    assert accelerations == pytest.approx([120.0, 120.0, 120.0], rel=1e-6)


def test_limits_that_are_whole_numbers_judge_as_the_same_limits_with_a_point() -> None:
    move = Move(tracks=(mixed(3, SMOOTH),))
    axes = tuple(replace(axis, speed=60, acceleration=120, jerk=600, travel=(-170, 170)) for axis in rig().axes)
    pointed = tuple(
        replace(axis, speed=60.0, acceleration=120.0, jerk=600.0, travel=(-170.0, 170.0)) for axis in rig().axes
    )
    whole, same = (checked(move, replace(rig(), axes=ones)).excess for ones in (axes, pointed))
    assert np.array_equal(whole, same)
