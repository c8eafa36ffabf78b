"""The earliest along a path: legal all along, on the path, through the keys, axes together, pins kept."""

import re
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from numpy.typing import NDArray
from ruckig import InputParameter, Result, Ruckig
from ruckig import Trajectory as Profile

from sequencer.motion.compile import compile_move
from sequencer.motion.peaks import over, peaks
from sequencer.motion.repair.earliest import earliest
from sequencer.motion.repair.outcome import Cancelled, Impossible, Repaired, Unrepaired
from sequencer.motion.repair.retimed import DEVIATION
from sequencer.motion.repair.stretch import stretch
from sequencer.motion.trajectory import Trajectory
from sequencer.rig.limits import SumLimit, WhileLimit
from sequencer.score.move import Cue, Marker, Move, Passing
from sequencer.timebase.rate import Rate
from tests.motion.machines import LAWS, SECONDS, rig, seeded_keys, track

Floats = NDArray[np.float64]


def beats(axes: int, seed: int = 0, keys: int = 10, kind: str = "beats") -> Move:
    at_s, values = seeded_keys(kind, seed, keys)
    tracks = [track(at_s.tolist(), values.tolist(), "through")]
    for number in range(1, axes):
        rng = np.random.default_rng(1000 * seed + number)
        own = np.append(0, np.cumsum(rng.normal(0, 20, keys - 1) * np.sqrt(np.diff(at_s))))
        tracks.append(track(at_s.tolist(), own.tolist(), "through", f"pan{number}"))
    return Move(tracks=tuple(tracks))


def repaired(move: Move, axes: int = 1, rate: Rate = SECONDS) -> tuple[Move, Trajectory]:
    found = earliest(rig(axes), move, rate, LAWS)
    assert isinstance(found, Repaired)
    return found.move, compile_move(rig(axes), found.move, rate, LAWS)


def worst(trajectory: Trajectory, axes: int = 1) -> float:
    """The largest exact peak over its limit."""
    found = peaks(trajectory, rig(axes))
    return max(max(each.speed.value / 60, each.acceleration.value / 120, each.jerk.value / 600) for each in found)


def off_path(before: Trajectory, after: Trajectory) -> float:
    """How far positions are from the drawn path, by brute force: the nearest of a dense polygon along it."""
    path = before.sample(np.linspace(before.start_s, before.end_s, 20001))
    begin, way = path[:-1], np.diff(path, axis=0)
    length = np.maximum((way**2).sum(axis=1), 1e-300)
    far = 0.0
    for point in after.sample(np.linspace(after.start_s, after.end_s, 700)):
        share = np.clip(((point - begin) * way).sum(axis=1) / length, 0, 1)
        far = max(far, float(((begin + share[:, None] * way - point) ** 2).sum(axis=1).min()))
    return float(np.sqrt(far))


@pytest.mark.parametrize("way", [5.0, 90.0, 300.0])
def test_a_straight_line_takes_at_most_a_two_hundredth_longer_than_ruckig(way: float) -> None:
    """Berscheid & Kroeger 2021: time-optimal from rest to rest with jerk."""
    _, after = repaired(Move(tracks=(track([0, 9], [0, way], "poly345"),)))
    wanted = InputParameter(1)
    wanted.target_position = [way]
    wanted.max_velocity, wanted.max_acceleration, wanted.max_jerk = [60.0], [120.0], [600.0]
    best = Profile(1)
    assert Ruckig(1).calculate(wanted, best) == Result.Working
    assert best.duration <= after.end_s - after.start_s <= 1.005 * best.duration
    assert worst(after) <= 1 + 1e-9


@pytest.mark.parametrize(
    ("kind", "axes", "seed"), [("beats", 1, 0), ("beats", 3, 1), ("uneven", 2, 2), ("one way", 1, 3), ("holds", 2, 4)]
)
def test_limits_path_and_keys_are_kept(kind: str, axes: int, seed: int) -> None:
    move = beats(axes, seed, 8, kind)
    found, after = repaired(move, axes)
    assert worst(after, axes) <= 1 + 1e-9
    t_s = np.arange(after.start_s, after.end_s, 1e-4)
    for order, limit in ((1, 60.0), (2, 120.0), (3, 600.0)):
        assert np.abs(after.sample(t_s, order)).max() <= limit * (1 + 1e-9)
    assert off_path(compile_move(rig(axes), move, SECONDS, LAWS), after) <= DEVIATION
    for number, (old, new) in enumerate(zip(move.tracks, found.tracks, strict=True)):
        assert [key.value for key in new.keys] == [key.value for key in old.keys]
        at_s = np.array([float(key.at) for key in new.keys])
        assert after.sample(at_s)[:, number] == pytest.approx([key.value for key in old.keys], abs=1e-9)
        assert all((key.at * 10**9).denominator == 1 for key in new.keys)


def test_axes_that_arrive_together_stay_together() -> None:
    found, _ = repaired(beats(3, 5), 3)
    first, *others = ([key.at for key in each.keys] for each in found.tracks)
    assert all(each == first for each in others)


def test_a_rest_keeps_its_length_cues_go_with_their_keys_and_markers_stay() -> None:
    written = track([2, 6, 9, 13], [0, 10, 10, -5], "poly345")
    move = Move(
        tracks=(written,), cues=(Cue("one", Fraction(1), Fraction(13)),), markers=(Marker("beat", Fraction(6)),)
    )
    found, after = repaired(move, rate=Rate(1))
    at = [key.at for key in found.tracks[0].keys]
    assert at[0] == 2
    assert at[2] - at[1] == 3
    assert at[1] - at[0] < 2
    assert at[3] - at[2] < 2
    assert found.cues == (Cue("one", Fraction(1), at[3]),)
    assert found.markers == move.markers
    assert worst(after) <= 1 + 1e-9


def test_a_move_that_is_too_fast_is_slowed_where_it_must_be() -> None:
    quick = Move(tracks=(track([0, 1, 2], [0, 90, 95], "poly345"),))
    found, after = repaired(quick)
    at = [float(key.at) for key in found.tracks[0].keys]
    assert at[1] > 2
    assert worst(after) <= 1 + 1e-9


def test_what_stands_before_a_pinned_key_stays() -> None:
    move = Move(tracks=(track([0, 4, 8, 12], [0, 10, 0, 10], "poly345"),))
    keys = list(move.tracks[0].keys)
    keys[1] = replace(keys[1], pin=True)
    pinned = replace(move, tracks=(replace(move.tracks[0], keys=tuple(keys)),))
    found = earliest(rig(), pinned, SECONDS, LAWS)
    assert isinstance(found, Repaired)
    at = [key.at for key in found.move.tracks[0].keys]
    assert at[:2] == [0, 4]
    assert at[3] < 8
    assert any("pan0 at @4 is pinned" in line for line in found.words)


def test_a_part_that_is_too_fast_before_a_pinned_key_is_named() -> None:
    written = track([0, 1, 2], [0, 90, 95], "poly345")
    keys = (*written.keys[:2], replace(written.keys[2], pin=True))
    found = earliest(rig(), Move(tracks=(replace(written, keys=keys),)), SECONDS, LAWS)
    assert isinstance(found, Impossible)
    assert not found.reasons[0].proven, "another curve through the same keys may keep the limits"
    assert "pan0 at @2 is pinned" in found.reasons[0].words


@pytest.mark.parametrize("law", ["linear", "harmonic", "trapezoid"])
def test_a_corner_is_refused_with_the_mend(law: str) -> None:
    found = earliest(rig(), Move(tracks=(track([0, 2, 4], [0, 10, 0], law),)), SECONDS, LAWS)
    assert isinstance(found, Impossible)
    assert "soften" in found.reasons[0].words


def test_a_path_beyond_the_travel_is_refused() -> None:
    found = earliest(rig(travel=(-5, 5)), Move(tracks=(track([0, 2], [0, 10], "poly345"),)), SECONDS, LAWS)
    assert isinstance(found, Impossible)
    assert "travel" in found.reasons[0].words


def test_a_key_at_the_end_of_travel_is_kept() -> None:
    found = earliest(rig(travel=(0, 10)), Move(tracks=(track([0, 3, 6], [0, 10, 0], "through"),)), SECONDS, LAWS)
    assert isinstance(found, Repaired)
    after = compile_move(rig(), found.move, SECONDS, LAWS)
    low, high = (getattr(peaks(after, rig())[0], end).value for end in ("low", "high"))
    assert low >= -1e-7
    assert high <= 10 + 1e-7


def test_what_is_as_early_as_it_can_be_stays() -> None:
    once, _ = repaired(beats(2, 1), 2)
    twice, _ = repaired(once, 2)
    for first, second in zip(once.tracks, twice.tracks, strict=True):
        assert float(second.keys[-1].at) == pytest.approx(float(first.keys[-1].at), rel=0.01)


def test_a_move_at_rest_stays() -> None:
    move = Move(tracks=(track([0, 2], [5, 5], "poly345"),))
    assert repaired(move)[0] == move


def test_frames_of_a_rate_are_kept_to_a_billionth() -> None:
    move = Move(tracks=(track([0, 100, 220], [0, 20, 5], "through"),))
    found, after = repaired(move, rate=Rate(24000, 1001))
    assert all((key.at * 10**9).denominator == 1 for key in found.tracks[0].keys)
    assert worst(after) <= 1 + 1e-9


def test_the_operator_can_cancel() -> None:
    heard: list[float] = []
    patience = 4

    def tell(done: float) -> bool:
        heard.append(done)
        return len(heard) < patience

    with pytest.raises(Cancelled):
        earliest(rig(2), beats(2), SECONDS, LAWS, tell=tell)
    assert len(heard) == 4
    heard.clear()
    patience = 1000
    earliest(rig(2), beats(2), SECONDS, LAWS, tell=tell)
    assert all(0 <= done <= 1 for done in heard)
    assert heard == sorted(heard)


def test_one_axis_needs_what_its_turns_need_however_its_keys_are_passed() -> None:
    """The same way without the keys in between, from stop to stop, by ruckig."""
    found, after = repaired(Move(tracks=(track([0, 2, 5, 6, 9], [0, 4, 30, 31, 90], "through"),)))
    wanted, best = InputParameter(1), Profile(1)
    wanted.target_position = [90.0]
    wanted.max_velocity, wanted.max_acceleration, wanted.max_jerk = [60.0], [120.0], [600.0]
    assert Ruckig(1).calculate(wanted, best) == Result.Working
    assert best.duration <= after.end_s <= 1.002 * best.duration
    assert worst(after) <= 1 + 1e-9
    assert [key.value for key in found.tracks[0].keys] == [0, 4, 30, 31, 90]


@pytest.mark.parametrize("passing", ["stop", "hold"])
def test_a_stop_that_the_operator_asked_for_stays_a_stop(passing: Passing) -> None:
    written = track([0, 3, 6], [0, 10, 30], "through")
    keys = (written.keys[0], replace(written.keys[1], passing=passing), written.keys[2])
    found, after = repaired(Move(tracks=(replace(written, keys=keys),)))
    at_s = float(found.tracks[0].keys[1].at)
    assert abs(after.sample(np.array([at_s]), 1)[0, 0]) <= 1e-6


@pytest.mark.parametrize("seed", range(3))
def test_keys_very_close_together_are_kept_within_limits(seed: int) -> None:
    rng = np.random.default_rng(seed)
    at_s = np.cumsum(np.append(0, np.where(rng.random(12) < 0.5, 0.04, 1.0)))
    values = np.cumsum(np.append(0, np.where(rng.random(12) < 0.5, 0.01, 8.0) * rng.choice([-1, 1, 1], 12)))
    move = Move(tracks=(track((at_s * 25).round().tolist(), values.tolist(), "through"),))
    _, after = repaired(move, rate=Rate(25))
    assert worst(after) <= 1 + 1e-9


def test_an_axis_that_rests_while_another_moves_rests_on() -> None:
    move = Move(
        tracks=(
            track([0, 3, 6, 9], [0, 10, 10, 30], "through"),
            track([0, 2, 9], [0, 5, 40], "through", "pan1"),
        )
    )
    found, after = repaired(move, 2)
    begin, end = (float(found.tracks[0].keys[key].at) for key in (1, 2))
    assert 0 < end - begin < 3
    assert np.abs(after.sample(np.linspace(begin, end, 50))[:, 0] - 10).max() <= 1e-9
    assert worst(after, 2) <= 1 + 1e-9
    assert off_path(compile_move(rig(2), move, SECONDS, LAWS), after) <= DEVIATION


def test_an_endless_axis_goes_the_way_its_keys_ask_for() -> None:
    written = track([0, 10, 20], [350, 20, 300], "through")
    keys = (replace(written.keys[0], turn="up"), replace(written.keys[1], turn="down"), written.keys[2])
    machine = rig()
    found = earliest(machine, Move(tracks=(replace(written, keys=keys),)), SECONDS, LAWS)
    assert isinstance(found, Repaired)
    after = compile_move(machine, found.move, SECONDS, LAWS)
    at_s = np.array([float(key.at) for key in found.move.tracks[0].keys])
    assert after.sample(at_s)[:, 0] == pytest.approx([350, 380, 300], abs=1e-6)
    assert at_s[-1] < 10
    assert worst(after) <= 1 + 1e-9


def test_a_sum_of_axes_keeps_its_limits() -> None:
    tied = SumLimit(name="both", sum=(("pan0", 1.0), ("pan1", 1.0)), speed=40.0, acceleration=100.0, jerk=500.0)
    machine = replace(rig(2), combined=(tied,))
    move = Move(
        tracks=(track([0, 4, 9], [0, 40, 10], "through"), track([0, 4, 9], [0, 30, 60], "through", "pan1")),
    )
    found = earliest(machine, move, SECONDS, LAWS)
    assert isinstance(found, Repaired)
    after = compile_move(machine, found.move, SECONDS, LAWS)
    t_s = np.arange(after.start_s, after.end_s, 1e-3)
    for order, limit in ((1, 40.0), (2, 100.0), (3, 500.0)):
        assert 0.8 * limit <= np.abs(after.sample(t_s, order).sum(axis=1)).max() <= limit * (1 + 1e-9)


def test_a_limit_while_another_axis_is_in_a_range_is_judged_and_said() -> None:
    slow = WhileLimit(name="low", axis="pan0", other="pan1", between=(-1.0, 1.0), speed=5.0)
    machine = replace(rig(2), combined=(slow,))
    with pytest.raises(Unrepaired, match="while another axis"):
        earliest(machine, Move(tracks=(track([0, 20], [0, 50], "through"),)), SECONDS, LAWS)


def test_a_leg_of_one_frame_that_is_drawn_a_hundred_thousand_times_too_fast_gets_its_time() -> None:
    """What rounding leaves of its end is more than a slow axis's limits let pass as rest."""
    move = Move(tracks=(track([0, 20, 20 + Fraction(1, 25)], [0, 1, -56], "modified-sine"),))
    found = earliest(rig(), move, SECONDS, LAWS)
    assert isinstance(found, Repaired)
    assert not over(compile_move(rig(), found.move, SECONDS, LAWS), rig())
    at = [key.at for key in found.move.tracks[0].keys]
    assert at[2] - at[1] > 1


@pytest.mark.parametrize(
    ("apart", "words"),
    [
        (1e-9, "from 0.000 s to 0.480 s no legal curve close to the path was found (no curve near the path keeps"),
        (1e-12, "keys 2 and 3 of pan0 would come to stand at one instant; delete one of them, or stretch the move"),
    ],
)
def test_keys_that_are_nearly_one_are_refused_with_what_works(apart: float, words: str) -> None:
    move = Move(tracks=(track([0, 4, 8, 12], [0, 10, 10 + apart, 20], "through"),))
    with pytest.raises(Unrepaired, match=re.escape(words)) as refused:
        earliest(rig(), move, Rate(25), LAWS)
    assert "stretch" in str(refused.value).split("; ")[-1]
    assert isinstance(stretch(rig(), move, Rate(25), LAWS), Repaired)
    first, _, *others = move.tracks[0].keys
    assert isinstance(
        earliest(rig(), Move(tracks=(replace(move.tracks[0], keys=(first, *others)),)), Rate(25), LAWS), Repaired
    )


def test_axes_whose_keys_all_but_meet_are_refused_with_what_works() -> None:
    """What the second axis does within a thousandth of a frame no curve of it can do along this path."""
    one, two = rig(2).axes
    machine = replace(rig(2), axes=(one, replace(two, acceleration=1.0)))
    first = track([32, 42, 48], [-27, -22, 5], "through")
    move = Move(tracks=(first, track([32, 42.001, 48.001], [0, -4e-4, 0], "through", "pan1")))
    words = (
        "from 1.280 s to 1.920 s no legal curve close to the path was found (no curve near the path keeps the limits"
    )
    with pytest.raises(Unrepaired, match=rf"{re.escape(words)} here\); stretch still works"):
        earliest(machine, move, Rate(25), LAWS)
    assert isinstance(stretch(machine, move, Rate(25), LAWS), Repaired)
    together = Move(tracks=(first, track([32, 42, 48], [0, -4e-4, 0], "through", "pan1")))
    assert isinstance(earliest(machine, together, Rate(25), LAWS), Repaired)
