"""Exact extremes: closed forms of the cam trade, dense samples, and the words for what is too much."""

from itertools import pairwise

import numpy as np
import pytest

from sequencer.motion.compile import compile_move
from sequencer.motion.peaks import Peak, over, peaks
from sequencer.motion.trajectory import Trajectory
from sequencer.rig.axis import Axis, Rig
from sequencer.score.laws.bezier import Bezier
from sequencer.score.laws.trapezoid import Trapezoid
from sequencer.score.move import Ease, Move
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timebase, Timecode
from tests.motion.machines import LAWS, SECONDS, leg, rig, seeded_keys, track

TIMEBASE = Timebase(Counting(Rate(25)), Timecode(10, 0, 0, 0))


def peak_of(ease: Ease, way: float = 1.0, lasts_s: float = 1.0) -> Peak:
    return peaks(compile_move(rig(), leg(ease, way, lasts_s), SECONDS, LAWS), rig())[0]


@pytest.mark.parametrize(
    ("ease", "printed", "closed", "slack"),
    [
        (Ease("poly345"), (1.875, 5.77, 60.0), (15 / 8, 10 / np.sqrt(3), 60.0), 1e-12),
        (Ease("trapezoid"), (1.5, 4.5, np.inf), (1.5, 4.5, np.inf), 1e-12),
        (Ease("trapezoid", Trapezoid(0.25)), (1.333, 5.333, np.inf), (4 / 3, 16 / 3, np.inf), 1e-12),
        # fitted: the speed and acceleration are those of the fit
        (Ease("harmonic"), (1.57, 4.93, np.inf), (np.pi / 2, np.pi**2 / 2, np.inf), 1e-7),
        (Ease("linear"), (1.0, np.inf, np.inf), (1.0, np.inf, np.inf), 1e-12),
    ],
    ids=lambda each: each.law if isinstance(each, Ease) else "",
)
def test_peak_factors_of_the_laws(
    ease: Ease, printed: tuple[float, ...], closed: tuple[float, ...], slack: float
) -> None:
    """Source: Cam Design Handbook (Rothbart ed., McGraw-Hill 2004), from memory; closed forms worked by hand."""
    peak = peak_of(ease)
    ours = (peak.speed.value, peak.acceleration.value, peak.jerk.value)
    assert ours == pytest.approx(printed, abs=5e-3)
    assert ours == pytest.approx(closed, rel=slack)
    stretched = peak_of(ease, way=-30.0, lasts_s=4.0)
    scaled = (stretched.speed.value * 4 / 30, stretched.acceleration.value * 16 / 30, stretched.jerk.value * 64 / 30)
    assert scaled == pytest.approx(closed, rel=max(slack, 1e-11))


def test_the_instants_of_the_345_polynomials_peaks() -> None:
    peak = peak_of(Ease("poly345"), way=40.0, lasts_s=2.0)
    assert peak.speed.at_s == pytest.approx(1.0, abs=1e-9)
    fastest = 1 - 1 / np.sqrt(3)
    assert min(abs(peak.acceleration.at_s - fastest), abs(2 - peak.acceleration.at_s - fastest)) < 1e-9
    assert peak.jerk.at_s in (0.0, 2.0)
    assert (peak.low.value, peak.high.value) == pytest.approx((0.0, 40.0), abs=1e-12)


@pytest.mark.parametrize("kind", ["beats", "uneven", "one way", "holds"])
@pytest.mark.parametrize("law", ["through", "poly345", "bezier"])
def test_exact_extremes_bound_dense_samples_and_meet_them(kind: str, law: str) -> None:
    ease = Ease(law, Bezier((0.3, -0.4, 0.6, 1.5)) if law == "bezier" else None)
    for seed in range(3):
        at_s, values = seeded_keys(kind, seed, 12)
        move = Move(tracks=(track([float(t) for t in at_s], values.tolist(), ease),))
        trajectory = compile_move(rig(), move, SECONDS, LAWS)
        peak = peaks(trajectory, rig())[0]
        dense_s = [np.linspace(a, b, 20_001)[:-1] for a, b in pairwise(at_s)]
        # and the ends of the pieces, where what jumps has its extreme
        t_s = np.concatenate([*dense_s, np.nextafter(trajectory.from_s[2:], -np.inf)])
        for exact, dense in (
            (peak.speed.value, np.abs(trajectory.sample(t_s, 1)).max()),
            (peak.acceleration.value, np.abs(trajectory.sample(t_s, 2)).max()),
            (peak.jerk.value, np.abs(trajectory.sample(t_s, 3)).max()),
            (peak.high.value, trajectory.sample(t_s).max()),
            (-peak.low.value, -trajectory.sample(t_s).min()),
        ):
            if np.isinf(exact):  # at a jump between two samples
                assert law == "bezier"
                continue
            assert exact >= dense - 1e-9 * abs(dense)
            assert exact == pytest.approx(dense, rel=1e-3 if law == "bezier" else 1e-5, abs=1e-5)


def test_an_extreme_is_reached_where_it_is_said_to_be() -> None:
    at_s, values = seeded_keys("uneven", 4)
    move = Move(tracks=(track([float(t) for t in at_s], values.tolist(), "through"),))
    trajectory = compile_move(rig(), move, SECONDS, LAWS)
    peak = peaks(trajectory, rig())[0]
    for order, extreme in ((0, peak.high), (1, peak.speed), (2, peak.acceleration)):
        there = trajectory.sample(np.array([extreme.at_s]), order)[0, 0]
        assert abs(there) == pytest.approx(extreme.value, rel=1e-7)


def test_random_polynomials_of_any_degree_against_numpys_roots() -> None:
    rng = np.random.default_rng(11)
    for size in (1, 2, 3, 4, 6, 8):
        for _ in range(40):
            coeffs = rng.normal(0, 1, (size, 1))
            trajectory = Trajectory.joined(("pan0",), [(np.array([0.0, 2.0]), coeffs, 0.0)], np.zeros(1))
            turns = np.roots(np.polyder(coeffs[:, 0])) if size > 1 else np.array([])
            inside = [t.real for t in turns if abs(t.imag) < 1e-9 and 0 < t.real < 2]
            values = [float(np.polyval(coeffs[:, 0], t)) for t in (*inside, 0.0, 2.0)]
            # the axis then jumps to rest at 0
            assert peaks(trajectory, rig())[0].high.value == pytest.approx(max(*values, 0.0), rel=1e-9, abs=1e-12)
            assert peaks(trajectory, rig())[0].low.value == pytest.approx(min(*values, 0.0), rel=1e-9, abs=1e-12)
            assert peaks(trajectory, rig())[0].speed.value == np.inf


def limited(**limits: float | tuple[float, float] | str) -> Rig:
    fields = {"name": "tilt", "kind": "tilt", "unit": "deg", "travel": None, "speed": 60.0, "acceleration": 1e6}
    return Rig(name="one", axes=(Axis(**{"jerk": 1e9, **fields, **limits}),))  # type: ignore[arg-type]  # test fields


def words_of(machine: Rig, move: Move) -> list[str]:
    trajectory = compile_move(machine, move, SECONDS, LAWS)
    return [violation.words(TIMEBASE) for violation in over(trajectory, machine)]


def test_too_much_is_said_in_words_with_the_mend() -> None:
    move = Move(tracks=(track([0, 2], [0, 78.9333333333], "poly345", "tilt"),))
    assert words_of(limited(), move) == [
        "tilt asks 74 deg/s at 10:00:01:00, limit 60; give the leg more time or a gentler ease"
    ]
    assert words_of(limited(speed=75.0), move) == []
    assert words_of(limited(speed=75.0, travel=(-10.0, 70.0)), move) == [
        "tilt goes to 78.9 deg at 10:00:02:00, its travel ends at 70; "
        "move the key inside the travel, or choose an ease that does not overshoot"
    ]
    jolt = Move(tracks=(track([1, 2], [0, 20], "linear", "tilt"),))
    assert words_of(limited(), jolt) == [
        "tilt changes its speed at once at 10:00:01:00, acceleration limit 1000000 deg/s²; "
        "choose an ease that begins or ends more gently there",
        "tilt changes its acceleration at once at 10:00:01:00, jerk limit 1000000000 deg/s³; "
        "choose an ease that begins or ends more gently there",
    ]
    lens = limited(unit="part", speed=0.5)
    assert (
        "asks 0.938 of its range/s at 10:00:01:00, limit 0.5"
        in words_of(lens, Move(tracks=(track([0, 2], [0, 1], "poly345", "tilt"),)))[0]
    )


def test_a_value_at_its_limit_is_no_violation() -> None:
    at_limit = Move(tracks=(track([0, 1], [0, 32], "poly345", "tilt"),))
    assert words_of(limited(speed=60.0, travel=(0.0, 32.0)), at_limit) == []
    assert len(words_of(limited(speed=59.9), at_limit)) == 1
    # asked and limit never read alike
    assert words_of(limited(speed=59.9999), at_limit)[0].startswith("tilt asks 60 deg/s at 10:00:00:12, limit 59.9999;")


def test_straight_legs_that_meet_at_one_speed_do_not_jolt_between() -> None:
    move = Move(tracks=(track([0, 1, 2], [0, 10, 20], "linear"),))
    trajectory = compile_move(rig(), move, SECONDS, LAWS)
    assert peaks(trajectory, rig())[0].acceleration.at_s == 0.0
    # the same path from a start in motion has no jolt until it ends
    tail = Trajectory.joined(("pan0",), [(np.array([0.0, 2.0]), np.array([[10.0], [0.0]]), 20.0)], np.zeros(1))
    assert peaks(tail, rig())[0].acceleration.value == np.inf


def test_an_axis_knows_nothing_of_where_the_one_before_it_ends() -> None:
    both = peaks(Trajectory.still(("pan0", "pan1"), np.array([-7.0, 30.0])), rig(2))
    assert [(peak.speed.value, peak.low.value, peak.high.value) for peak in both] == [(0, -7, -7), (0, 30, 30)]
    move = Move(tracks=(track([0, 2], [0, 40], "poly345", "pan0"), track([1, 3], [9, 5], "poly345", "pan1")))
    fast, slow = peaks(compile_move(rig(2), move, SECONDS, LAWS), rig(2))
    assert (fast.speed.value, slow.speed.value) == pytest.approx((37.5, 3.75))
    assert (fast.speed.at_s, slow.speed.at_s) == pytest.approx((1.0, 2.0))


def test_a_standing_axis_asks_nothing() -> None:
    peak = peaks(Trajectory.still(("pan0",), np.array([-7.0])), rig())[0]
    assert (peak.speed.value, peak.acceleration.value, peak.jerk.value) == (0.0, 0.0, 0.0)
    assert (peak.low.value, peak.high.value) == (-7.0, -7.0)
