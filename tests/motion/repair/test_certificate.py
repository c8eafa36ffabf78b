"""Why a run cannot be kept, said and proven; and offers that can really be done."""

from dataclasses import replace
from fractions import Fraction
from functools import partial
from itertools import pairwise

import numpy as np
import pytest

from sequencer.motion.compile import compile_move
from sequencer.motion.repair.certificate import explain, windows
from sequencer.motion.repair.least_values import least_values
from sequencer.motion.repair.outcome import Cancelled, Impossible, Repaired
from sequencer.motion.repair.proof import Wanted
from sequencer.motion.repair.smooth import smooth
from sequencer.rig.axis import Rig
from sequencer.score.move import Cue, Key, Move
from sequencer.timebase.rate import Rate
from tests.motion.machines import LAWS, SECONDS, track
from tests.motion.repair.tight import machine, scaled, tight, written

FRAMES = Rate(25)


def explained(rig: Rig, move: Move, rate: Rate = SECONDS) -> Impossible:
    answer = smooth(rig, move, rate, LAWS, explain=explain)
    assert isinstance(answer, Impossible)
    return answer


def peaks_over(rig: Rig, move: Move, rate: Rate) -> float:
    """Return the largest sample at 10 kHz of speed, acceleration and jerk, in parts of the limits."""
    compiled = compile_move(rig, move, rate, LAWS)
    last_s = max(float(rate.seconds(key.at)) for each in move.tracks for key in each.keys)
    t_s = np.arange(-0.5, last_s + 0.5, 1e-4)
    worst = 0.0
    for order, name in ((1, "speed"), (2, "acceleration"), (3, "jerk")):
        limit = np.array([getattr(axis, name) for axis in rig.axes])
        worst = max(worst, float((np.abs(compiled.sample(t_s, order)) / limit).max()))
    return worst


def changed(before: Move, after: Move) -> tuple[list[tuple[str, int, Key]], list[tuple[str, int, Key]]]:
    """Return which keys have another value, and which another time: the axis, the place, the key as it was."""
    pairs = [
        (old_track.axis, number, old, new)
        for old_track, new_track in zip(before.tracks, after.tracks, strict=True)
        for number, (old, new) in enumerate(zip(old_track.keys, new_track.keys, strict=True))
    ]
    values = [(axis, number, old) for axis, number, old, new in pairs if old.value != new.value]
    return values, [(axis, number, old) for axis, number, old, new in pairs if old.at != new.at]


@pytest.fixture(scope="module")
def hard() -> Wanted:
    return tight(1)


@pytest.fixture(scope="module")
def why(hard: Wanted) -> Impossible:
    return explained(machine(hard), written(hard))


def test_reasons_are_proven_and_each_offer_keeps_every_limit(hard: Wanted, why: Impossible) -> None:
    rig, move = machine(hard), written(hard)
    (reason,) = why.reasons
    assert reason.proven
    assert "no motion within its limits keeps keys" in reason.words
    assert reason.at == tuple(move.tracks[0].keys[key].at for key in reason.keys)
    total, largest, times = why.offers
    for offer in why.offers:
        assert peaks_over(rig, offer.move, SECONDS) <= 1 + 1e-9
    assert changed(move, total.move)[1] == changed(move, largest.move)[1] == changed(move, times.move)[0] == []
    assert len(changed(move, total.move)[0]) < len(changed(move, largest.move)[0])
    for axis, number, key in changed(move, total.move)[0]:
        assert f"{axis} key {number + 1} at @{float(key.at):g} by" in total.words
    ((axis, number, key),) = changed(move, times.move)[1]
    after = times.move.tracks[0].keys[number].at
    assert f"{axis} key {number + 1} at @{float(key.at):g} {'later' if after > key.at else 'earlier'}" in times.words
    assert (after * 10**9).denominator == 1  # as fine as a file keeps it


def test_pinned_keys_stay_in_every_offer(hard: Wanted) -> None:
    pinned = (1, 3)
    assert (least_values(hard, (), "total") != hard.values)[list(pinned)].any()  # they would move if they might
    move = written(hard, pinned)
    offers = explained(machine(hard), move).offers
    assert offers
    for offer in offers:
        assert not {number for each in changed(move, offer.move) for _, number, _ in each} & set(pinned)


def test_pinned_keys_that_contradict_each_other_are_named_with_the_mend(hard: Wanted) -> None:
    move = written(hard, tuple(range(10)))
    why = explained(machine(hard), move)
    (reason,) = why.reasons
    assert reason.proven
    assert "unpin key 1 or key 2 or key 3 or key 4 of pan0" in reason.words
    assert why.offers == ()


def test_a_gross_fault_is_seen_at_a_glance_and_named_in_the_axiss_unit() -> None:
    wanted = replace(tight(3), speed=60.0, acceleration=120.0, jerk=600.0)
    plain = track([0, 25, 30, 75, 100], [0, 2, 32, 30, 0], "through")
    why = explained(machine(wanted), Move(tracks=(plain,)), FRAMES)
    glance = next(reason for reason in why.reasons if reason.keys == (1, 2))
    assert glance.proven
    assert "from key 2 to key 3 (@25 to @30) any motion comes to speed 150 deg/s somewhere, limit 60" in glance.words


def test_keys_of_several_axes_at_one_instant_stay_together(hard: Wanted, why: Impossible) -> None:
    """The other axis has a key at the instant that would move alone, and is easily fast enough."""
    rig = machine(hard, axes=2)
    ((_, number, key),) = changed(written(hard), why.offers[-1].move)[1]
    second = track([key.at - 9, key.at, key.at + 9], [0, 5, 7], "through", "pan1")
    move = Move(tracks=(written(hard).tracks[0], second))
    offer = explained(rig, move).offers[-1]
    moved = changed(move, offer.move)[1]
    assert ("pan0", number, move.tracks[0].keys[number]) in moved
    assert ("pan1", 1, second.keys[1]) in moved
    assert offer.move.tracks[1].keys[1].at == offer.move.tracks[0].keys[number].at
    assert f"pan0 key {number + 1} with pan1 key 2" in offer.words
    assert peaks_over(rig, offer.move, SECONDS) <= 1 + 1e-9


def test_a_pin_on_another_axis_holds_the_instant(hard: Wanted, why: Impossible) -> None:
    ((_, number, key),) = changed(written(hard), why.offers[-1].move)[1]
    held = track([key.at, key.at + 40], [0, 1], "poly345", "pan1")
    held = replace(held, keys=(replace(held.keys[0], pin=True), held.keys[1]))
    move = Move(tracks=(written(hard).tracks[0], held))
    for offer in explained(machine(hard, axes=2), move).offers:
        assert number not in {place for _, place, _ in changed(move, offer.move)[1]}
        assert offer.move.tracks[1].keys[0].at == key.at


def test_the_keys_of_a_rest_beside_the_run_keep_their_values(hard: Wanted) -> None:
    """A flat leg before the run: its keys' values stay equal, and its times stay in order."""
    shifted = [at + 3 for at in hard.at]
    plain = track([Fraction(0), *shifted], [hard.values[0], *hard.values], "through")
    move = Move(tracks=(plain,))
    why = explained(machine(hard), move)
    assert why.offers
    for offer in why.offers:
        keys = offer.move.tracks[0].keys
        assert keys[0].value == keys[1].value
        assert keys[0].at < keys[1].at


def test_in_a_long_run_the_reason_names_the_keys_where_they_stand() -> None:
    """The hard keys, after thirty that are easily kept."""
    hard = tight(3)
    easy = [Fraction(number) for number in range(30)]
    at = [*easy, *(easy[-1] + each for each in hard.at[1:])]
    values = [hard.values[0] + 0.1 * (number - 29) for number in range(30)]
    move = Move(tracks=(track(at, [*values, *hard.values[1:]], "through"),))
    reasons = explained(machine(hard), move).reasons
    assert reasons
    for reason in reasons:
        assert reason.proven
        assert min(reason.keys) >= 29
        assert reason.at == tuple(at[key] for key in reason.keys)
        assert f"keys {reason.keys[0] + 1} to {reason.keys[-1] + 1}" in reason.words


@pytest.mark.parametrize("seed", [1, 3])
def test_without_overshoot_offers_keep_every_leg_between_its_keys(seed: int) -> None:
    """Limits that only a curve that overshoots keeps: nothing is proven, and there are three offers all the same."""
    wanted = scaled(tight(seed), 1.15)
    move, machines = written(wanted), machine(wanted)
    assert isinstance(smooth(machines, move, SECONDS, LAWS), Repaired)
    answer = smooth(machines, move, SECONDS, LAWS, overshoot=False, explain=partial(explain, overshoot=False))
    assert isinstance(answer, Impossible)
    assert [reason.proven for reason in answer.reasons] == [False]
    assert "no curve that stays between the values of its keys" in answer.reasons[0].words
    assert len(answer.offers) == 3
    for offer in answer.offers:
        assert peaks_over(machines, offer.move, SECONDS) <= 1 + 1e-9
        keys, path = offer.move.tracks[0].keys, compile_move(machines, offer.move, SECONDS, LAWS)
        for key, following in pairwise(keys):
            found = path.sample(np.linspace(float(key.at), float(following.at), 400))[:, 0]
            slack = 1e-9 * np.ptp(wanted.values)
            assert min(key.value, following.value) - slack <= found.min()
            assert found.max() <= max(key.value, following.value) + slack


def test_cues_go_with_keys_that_move_in_time(hard: Wanted, why: Impossible) -> None:
    ((_, number, key),) = changed(written(hard), why.offers[-1].move)[1]
    move = replace(written(hard), cues=(Cue("all", Fraction(-1), Fraction(100)), Cue("part", key.at, Fraction(100))))
    offer = explained(machine(hard), move).offers[-1]
    assert [cue.start for cue in offer.move.cues] == [
        offer.move.tracks[0].keys[0].at - 1,
        offer.move.tracks[0].keys[number].at,
    ]


def test_the_operator_can_stop_it_and_hears_how_far_it_is(hard: Wanted) -> None:
    told: list[float] = []

    def tell(done: float) -> bool:
        told.append(done)
        return len(told) < 6

    with pytest.raises(Cancelled):
        explain(machine(hard), written(hard), SECONDS, LAWS, 0, 0, 9, range(9), tell=tell)
    assert len(told) == 6
    assert told == sorted(told)
    assert 0 < told[0] < told[-1] < 1


def test_windows_are_cut_where_legs_are_far_apart() -> None:
    assert windows(0, 200, [50, 51, 60]) == [(38, 73)]
    assert windows(0, 200, [5, 150]) == [(0, 18), (138, 163)]
    assert windows(10, 20, []) == [(10, 20)]
