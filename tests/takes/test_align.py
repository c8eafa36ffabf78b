"""When the master stood at each frame: against masters whose truth is a formula."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from sequencer.takes.align import Alignment, Basis, align
from sequencer.takes.frames import cue_frames
from sequencer.takes.take import Take
from tests.takes.shot import Floats, Shot

Late = Callable[[int], Floats]


def found(take: Take) -> tuple[Alignment, Floats]:
    """The alignment, and the true instants in its own seconds for a master that is the machine's clock."""
    _, frame_s = cue_frames(take)
    alignment = align(take, frame_s)
    return alignment, frame_s + (Shot.origin_ns - alignment.origin_ns) / 1e9


def jitter(seed: int, sd_s: float) -> Late:
    return lambda number: np.random.default_rng(seed).normal(0, sd_s, number)


def keep(take: Take, which: NDArray[np.bool_]) -> Take:
    return replace(take, sighted_ns=take.sighted_ns[which], sighted_s=take.sighted_s[which])


def test_clean_timecode_gives_the_instants_to_a_microsecond_whatever_playback_thought() -> None:
    alignment, truth = found(Shot(clock_ahead_s=0.010).take())
    assert alignment.basis is Basis.LINE
    assert np.abs(alignment.at_s - truth).max() < 1e-6
    assert alignment.clock_error_s == pytest.approx(np.full(len(truth), 0.010), abs=1e-6)
    assert alignment.rate == pytest.approx(1.0, abs=1e-9)


def test_a_delay_of_the_transport_shifts_all_frames_alike() -> None:
    alignment, truth = found(Shot(heard_late_s=lambda number: np.full(number, 0.003)).take())
    assert alignment.at_s - truth == pytest.approx(np.full(len(truth), 0.003), abs=1e-6)


@pytest.mark.parametrize("seed", range(8))
def test_jitter_averages_out(seed: int) -> None:
    # 700 messages, 0.3 ms: the ends of a fitted line have sd 2 x 0.3 / sqrt(700) = 0.023 ms; five of them are never met
    alignment, truth = found(Shot(heard_late_s=jitter(seed, 0.0003)).take())
    assert alignment.basis is Basis.LINE
    assert np.abs(alignment.at_s - truth).max() < 0.000115
    assert alignment.spread_s == pytest.approx(0.0003, rel=0.2)


def test_strays_are_not_followed() -> None:
    def late(number: int) -> Floats:
        noise = np.random.default_rng(4)
        return noise.normal(0, 0.0002, number) + 0.040 * (noise.random(number) < 0.05)

    alignment, truth = found(Shot(heard_late_s=late).take())
    assert alignment.basis is Basis.LINE
    assert np.abs(alignment.at_s - truth).max() < 0.0001  # their average is 2 ms


def test_beating_of_a_transport_is_no_wander() -> None:
    def late(number: int) -> Floats:
        # messages each 10 ms are handed on at the next multiple of 1.3333 ms, as a port that works in blocks does
        block = 64 / 48000
        sent = np.arange(number) * 0.01000003
        late: Floats = np.ceil(sent / block) * block - sent
        return late

    alignment, truth = found(Shot(heard_late_s=late).take())
    assert alignment.basis is Basis.LINE
    assert np.ptp(alignment.at_s - truth) < 0.0002


def test_a_master_whose_speed_wanders_is_followed_by_a_curve() -> None:
    def wandering(at_s: Floats) -> Floats:
        return at_s + 0.008 * np.sin(2 * np.pi * at_s / 3)

    shot = Shot(master=wandering, heard_late_s=jitter(1, 0.0003))
    alignment, _ = found(shot.take())
    assert alignment.basis is Basis.CURVE
    at_s = alignment.at_s + (alignment.origin_ns - Shot.origin_ns) / 1e9
    _, frame_s = cue_frames(shot.take())
    # a straight line would be 8 ms off; the curve has about 60 messages of weight at a place: 0.3 x 1.5 / 8 = 0.06 ms
    assert np.abs(wandering(at_s) - frame_s).max() < 0.0004


def test_a_master_at_another_speed_keeps_it() -> None:
    alignment, _ = found(Shot(master=lambda at_s: 1.0005 * at_s).take())
    assert alignment.basis is Basis.LINE
    assert alignment.rate == pytest.approx(1.0005, abs=1e-9)


def test_a_dropout_is_bridged() -> None:
    take = Shot(heard_late_s=jitter(3, 0.0002)).take()
    alignment, truth = found(keep(take, (take.sighted_s < 2.5) | (take.sighted_s > 4.5)))
    assert alignment.basis is Basis.LINE
    assert np.abs(alignment.at_s - truth).max() < 0.0001


def test_frames_past_the_last_timecode_are_not_guessed() -> None:
    take = Shot().take()
    _, frame_s = cue_frames(take)
    alignment, _ = found(keep(take, take.sighted_s < 4.0))
    assert np.isfinite(alignment.at_s).tolist() == (frame_s <= 3.99 + 0.5).tolist()


def test_garbled_addresses_are_left_out() -> None:
    take = Shot(heard_late_s=jitter(3, 0.0002)).take()
    position = take.sighted_s.copy()
    position[100:108] += 3600
    position[300] -= 12.4
    alignment, truth = found(replace(take, sighted_s=position))
    assert np.abs(alignment.at_s - truth).max() < 0.0001
    assert len(alignment.heard_s) == len(position) - 9


def test_the_last_of_several_runs_counts() -> None:
    early, late = Shot(origin_ns=Shot.origin_ns - 20_000_000_000).take(), Shot().take()
    backward = late.sighted_ns[0] - np.arange(1, 300)[::-1] * 10_000_000
    rewound = replace(
        late,
        sighted_ns=np.concatenate((early.sighted_ns, backward, late.sighted_ns)),
        sighted_s=np.concatenate((early.sighted_s, 7.0 - np.arange(1, 300) * 0.01, late.sighted_s)),
        due_ns=np.concatenate((early.due_ns, late.due_ns)),
        timeline_s=np.concatenate((early.timeline_s, late.timeline_s)),
        asked=np.concatenate((early.asked, late.asked)),
    )
    alignment, truth = found(rewound)
    assert np.abs(alignment.at_s - truth).max() < 1e-6
    assert np.abs(alignment.clock_error_s).max() < 1e-6


@pytest.mark.parametrize("sights", [True, False])
def test_a_master_that_waits_at_the_first_frame_has_not_begun(sights: bool) -> None:
    take = Shot(cue_s=(2.0, 6.0), preroll_s=0.0, sights=sights).take()
    waiting = Shot.origin_ns + 2_000_000_000 - np.arange(1, 400)[::-1] * 10_000_000
    at = np.searchsorted(take.timeline_s, 2.0)
    held = replace(
        take,
        due_ns=np.concatenate((waiting, take.due_ns[at:])),
        timeline_s=np.concatenate((np.full(399, 2.0), take.timeline_s[at:])),
        asked=np.concatenate((np.zeros((399, 2)), take.asked[at:])),
        sighted_ns=np.concatenate((waiting, take.sighted_ns)) if sights else take.sighted_ns,
        sighted_s=np.concatenate((np.full(399, 2.0), take.sighted_s)) if sights else take.sighted_s,
    )
    alignment, truth = found(held)
    assert alignment.basis is (Basis.LINE if sights else Basis.PLAYBACK)
    assert np.abs(alignment.at_s - truth).max() < 1e-5


def test_without_timecode_the_playback_clock_serves_and_is_named() -> None:
    alignment, truth = found(Shot(sights=False).take())
    assert alignment.basis is Basis.PLAYBACK
    assert np.abs(alignment.at_s - truth).max() < 1e-6
    assert np.isnan(alignment.spread_s)


def test_nothing_heard_at_all_gives_nothing() -> None:
    take = Shot(sights=False).take()
    alignment, _ = found(replace(take, due_ns=take.due_ns[:0], timeline_s=take.timeline_s[:0], asked=take.asked[:0]))
    assert np.isnan(alignment.at_s).all()


@settings(deadline=None, max_examples=60)
@given(st.lists(st.tuples(st.integers(-(2**60), 2**60), st.floats(-1e6, 1e6)), max_size=60))
def test_any_sightings_give_instants_or_nan_and_no_exception(rows: list[tuple[int, float]]) -> None:
    take = Shot().take()
    sightings = np.array([stamp for stamp, _ in rows], dtype=np.int64), np.array([place for _, place in rows])
    _, frame_s = cue_frames(take)
    alignment = align(replace(take, sighted_ns=sightings[0], sighted_s=sightings[1].astype(np.float64)), frame_s)
    assert alignment.at_s.shape == frame_s.shape
    assert not np.isinf(alignment.at_s).any()
