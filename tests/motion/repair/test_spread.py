"""Time spread between pinned keys: every leg gets what it needs, by the least change, or the pins are named."""

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy.optimize import linprog

from sequencer.motion.compile import compile_move
from sequencer.motion.repair.outcome import Cancelled, Impossible, Repaired, Unrepaired
from sequencer.motion.repair.spread import Least, spread
from sequencer.motion.repair.stretch import stretch
from sequencer.motion.repair.written import drawn
from sequencer.rig.limits import SumLimit
from sequencer.score.move import Cue, Ease, Marker, Move
from tests.motion.machines import LAWS, rig, track
from tests.motion.repair.limits import RATE, hasty, instants, most, pinned


def changes(before: Move, after: Move) -> list[Fraction]:
    """Return by how much each instant of the move was shifted, keys at one instant together."""
    moved = dict(
        pair for old, new in zip(instants(before), instants(after), strict=True) for pair in zip(old, new, strict=True)
    )
    return [abs(new - old) for old, new in moved.items()]


@pytest.mark.parametrize("law", ["poly345", "through", "s-curve", "cycloidal"])
@pytest.mark.parametrize("least", ["total", "largest"])
@pytest.mark.parametrize("seed", range(1, 7))
def test_what_is_spread_keeps_limits_pins_and_values(law: str, least: Least, seed: int) -> None:
    tracks = (hasty("beats", seed, law, scale=0.6), hasty("beats", seed + 100, law, scale=0.6, axis="pan1"))
    for pins in ((), (0, 9), (0, 5)):
        move = Move(tracks=(pinned(tracks[0], *pins), tracks[1]))
        answer = spread(rig(2), move, RATE, LAWS, least=least)
        if isinstance(answer, Impossible):
            assert pins
            assert all("pinned" in reason.words for reason in answer.reasons)
            continue
        assert most(rig(2), answer.move) <= 1 + 1e-9
        for old, new in zip(move.tracks, answer.move.tracks, strict=True):
            assert [replace(key, at=Fraction(0)) for key in new.keys] == [
                replace(key, at=Fraction(0)) for key in old.keys
            ]
            assert all(key.at < following.at for key, following in pairwise(new.keys))
        assert instants(answer.move)[0][0] == 0
        for place in pins:
            assert instants(answer.move)[0][place] == instants(move)[0][place]
        assert all((10**9 * at).denominator == 1 for at in instants(answer.move)[1])


def test_keys_at_one_instant_stay_together() -> None:
    move = Move(tracks=(track([0, 25, 60], [0, 60, 0], "poly345"), track([0, 25, 60], [0, 1, 5], "poly345", "pan1")))
    answer = spread(rig(2), move, RATE, LAWS)
    assert isinstance(answer, Repaired)
    one, two = instants(answer.move)
    assert one == two
    assert one != instants(move)[0]


def need(way: float) -> float:
    """Return how many frames 3-4-5 takes for it at the limits 60, 120 and 600 (closed forms, from memory)."""
    least_s: float = max(15 / 8 * way / 60, (10 / 3**0.5 * way / 120) ** 0.5, (60 * way / 600) ** (1 / 3))
    return 25 * least_s


def test_the_change_is_the_least_in_total_or_the_least_largest() -> None:
    # 45 deg in 25 frames need 35.2; after it there is plenty of time, and some before it
    move = Move(tracks=(pinned(track([0, 40, 65, 200], [0, 5, 50, 55], "poly345"), 0, 3),))
    missing = need(45) - 25
    total = spread(rig(), move, RATE, LAWS)
    assert isinstance(total, Repaired)
    assert float(sum(changes(move, total.move))) == pytest.approx(missing, abs=1e-6)
    largest = spread(rig(), move, RATE, LAWS, least="largest")
    assert isinstance(largest, Repaired)
    assert float(max(changes(move, largest.move))) == pytest.approx(missing / 2, abs=1e-6)
    assert float(sum(changes(move, largest.move))) == pytest.approx(missing, abs=1e-6)


def test_a_brute_force_search_finds_no_smaller_change() -> None:
    move = Move(tracks=(pinned(track([0, 30, 55, 80, 150], [0, 20, 60, 90, 70], "poly345"), 0, 4),))
    answer = spread(rig(), move, RATE, LAWS)
    assert isinstance(answer, Repaired)
    legs = np.array([need(20), need(40), need(30), need(20)])
    steps = np.arange(-30, 31, 1.0)
    grid = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1).reshape(-1, 3)
    times = np.concatenate(
        (np.zeros((len(grid), 1)), grid + np.array([30, 55, 80]), np.full((len(grid), 1), 150)), axis=1
    )
    allowed = (np.diff(times, axis=1) >= legs).all(axis=1)
    best = np.abs(grid[allowed]).sum(axis=1).min()
    found = float(sum(changes(move, answer.move)))
    assert best - 4 <= found <= best


def test_pins_between_which_there_is_no_time_are_named() -> None:
    move = Move(tracks=(pinned(track([0, 10, 20, 300], [0, 20, 45, 50], "poly345"), 0, 2),))
    answer = spread(rig(), move, RATE, LAWS)
    assert isinstance(answer, Impossible)
    (reason,) = answer.reasons
    assert (reason.axis, reason.keys, reason.at) == ("pan0", (0, 1, 2), tuple(map(Fraction, (0, 10, 20))))
    assert not reason.proven
    assert f"there are 20 frames, and the legs of pan0 need {need(20) + need(25):.3f}" in reason.words


def test_pins_of_another_axis_are_found_through_the_keys_that_stand_together() -> None:
    one = pinned(track([0, 10, 300], [0, 20, 20], "poly345"), 0)
    two = pinned(track([0, 10, 20], [0, 0, 25], "poly345", "pan1"), 2)
    answer = spread(rig(2), Move(tracks=(one, two)), RATE, LAWS)
    assert isinstance(answer, Impossible)
    (reason,) = answer.reasons
    assert (reason.axis, reason.keys) == ("pan1", (1, 2))
    assert "@0 and @20" in reason.words
    assert "legs of pan0 and pan1" in reason.words


def test_a_drawn_run_keeps_one_factor_and_its_curve() -> None:
    nodes_s = np.array([0.0, 1.0, 2.0, 3.0])
    state = 2 * np.array([[0.0, 0, 0], [20.0, 30, 0], [60.0, 30, 0], [80.0, 0, 0]])
    one = drawn(track([0, 25, 50, 75, 300], [0, 40, 120, 160, 160], "poly345"), 0, 3, nodes_s, nodes_s, state)
    move = Move(tracks=(one,), cues=(Cue("all", Fraction(0), Fraction(200)),), markers=(Marker("drop", Fraction(50)),))
    answer = spread(rig(), move, RATE, LAWS)
    assert isinstance(answer, Repaired)
    assert most(rig(), answer.move) <= 1 + 1e-9
    at = instants(answer.move)[0]
    assert np.diff([float(when) for when in at[:4]]) == pytest.approx([float(at[1])] * 3, abs=1e-8)
    assert at[1] > 25
    assert answer.move.markers == move.markers
    part = np.linspace(0, 1, 101)
    before, after = (compile_move(rig(), each, RATE, LAWS) for each in (move, answer.move))
    assert after.sample(part * float(at[3]) / 25) == pytest.approx(before.sample(part * 3.0), abs=1e-6)


def test_a_pin_inside_a_drawn_run_leaves_it_no_factor() -> None:
    nodes_s = np.array([0.0, 1.0, 2.0])
    state = np.array([[0.0, 0, 0], [40.0, 50, 0], [80.0, 0, 0]])
    one = drawn(track([0, 25, 50, 200], [0, 40, 80, 80], "poly345"), 0, 2, nodes_s, nodes_s, state)
    answer = spread(rig(), Move(tracks=(pinned(one, 0, 1),)), RATE, LAWS)
    assert isinstance(answer, Impossible)
    assert answer.reasons[0].keys[:2] == (0, 1)


def test_a_stay_may_become_short_but_not_vanish() -> None:
    move = Move(tracks=(pinned(track([0, 10, 60, 70], [0, 20, 20, 0], "poly345"), 0, 3),))
    answer = spread(rig(), move, RATE, LAWS)
    assert isinstance(answer, Repaired)
    first, second, third, last = instants(answer.move)[0]
    assert float(second - first) == pytest.approx(need(20), abs=1e-6)
    assert float(last - third) == pytest.approx(need(20), abs=1e-6)
    tight = Move(tracks=(pinned(track([0, 10, 60, 70], [0, 50, 50, 0], "poly345"), 0, 3),))
    assert isinstance(spread(rig(), tight, RATE, LAWS), Impossible)


def test_jolts_and_combined_limits_are_seen() -> None:
    jolt = Move(tracks=(track([0, 25], [0, 90], "linear"),))
    answer = spread(rig(), jolt, RATE, LAWS)
    assert isinstance(answer, Impossible)
    assert "soften" in answer.reasons[0].words
    machine = replace(rig(2), combined=(SumLimit(name="wall", sum=(("pan0", 1.0), ("pan1", 1.0)), speed=30.0),))
    move = Move(tracks=tuple(track([0, 50], [0, 20], "poly345", axis) for axis in ("pan0", "pan1")))
    answer = spread(machine, move, RATE, LAWS)
    assert isinstance(answer, Repaired)
    assert float(instants(answer.move)[0][1]) == pytest.approx(50 * 15 / 8 * 40 / 2 / 30, rel=4e-3)


def test_nothing_to_do_changes_nothing() -> None:
    move = Move(tracks=(track([0, 250], [0, 10], Ease("poly345")),))
    answer = spread(rig(), move, RATE, LAWS)
    assert isinstance(answer, Repaired)
    assert answer.move == move


def test_the_operator_can_stop_it() -> None:
    move = Move(tracks=(track([0, 25], [0, 90], "poly345"),))
    with pytest.raises(Cancelled):
        spread(rig(), move, RATE, LAWS, tell=lambda done: done <= 0)


def test_runs_that_do_not_settle_are_refused_with_what_works() -> None:
    """What a run does between two pins asks ever more time of its legs before them."""
    one = track([0, 63, 67, 109, 156, 268], [0, 117, 138, 194, 211, 347], "through")
    words = (
        "the smooth runs of pan0 do not settle between these pins; unpin all but one key, and stretch the whole move"
    )
    with pytest.raises(Unrepaired, match=words):
        spread(rig(), Move(tracks=(pinned(one, 3, 4),)), RATE, LAWS)
    assert isinstance(stretch(rig(), Move(tracks=(pinned(one, 3),)), RATE, LAWS), Repaired)


FAR = Move(tracks=(track([14, 166, 191, 240], [0, 9e6, 9e6 + 2.5, 9e6 + 6], "poly345"),))


@pytest.mark.parametrize("least", ["total", "largest"])
def test_a_program_that_is_not_solved_well_is_no_answer(least: Least, monkeypatch: pytest.MonkeyPatch) -> None:
    """As where ways are so long that instants lose their digits: HiGHS keeps 1e-7 of a row, not of each instant."""

    def roughly(*given: Any, **asked: Any) -> SimpleNamespace:
        found = linprog(*given, **asked)
        found.x[1] += 1e-7  # the second instant is later, and the leg behind it shorter than it was
        return SimpleNamespace(status=found.status, x=found.x)

    assert isinstance(spread(rig(), FAR, RATE, LAWS, least=least), Repaired)
    monkeypatch.setattr("sequencer.motion.repair.spread.linprog", roughly)
    mend = "mend values that are far off, or unpin all but one key, and stretch the whole move"
    with pytest.raises(Unrepaired, match=rf"where a leg lacks 7\.03\d*e\+06 frames, was not solved well; {mend}"):
        spread(rig(), FAR, RATE, LAWS, least=least)
    assert isinstance(stretch(rig(), FAR, RATE, LAWS), Repaired)


@pytest.mark.parametrize("least", ["total", "largest"])
@pytest.mark.parametrize("status", [2, 4])
def test_a_program_that_the_solver_gives_up_is_no_answer(
    least: Least, status: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It calls a program infeasible, or its numbers too hard, where there is a solution; scipy's own numbers."""

    def gives_up(*_: Any, **__: Any) -> SimpleNamespace:
        return SimpleNamespace(status=status, message="numerical difficulties", x=None)

    monkeypatch.setattr("sequencer.motion.repair.spread.linprog", gives_up)
    with pytest.raises(
        Unrepaired, match=r"where a leg lacks .* frames, ended with: numerical .*; mend values that are"
    ):
        spread(rig(), FAR, RATE, LAWS, least=least)
