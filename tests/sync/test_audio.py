"""The follower of the program's own playback: records of what leaves when, against where playback truly was."""

from collections.abc import Iterable

import numpy as np
import pytest

from sequencer.sync.audio import audio_follower
from sequencer.sync.reading import Clock, Follow, Follower, Lock
from sequencer.wire.played import Playing, packed, unpacked
from tests.sync.master import COUNTINGS, Sent, chance, first, timebase

BASE = timebase(COUNTINGS["25"])
AHEAD_S = 0.03  # a card is told its samples this much before they leave
MS = 1e-3


def playback(
    seconds: float,
    dirt: np.random.Generator,
    *,
    at_s: float = 0.0,
    first: int = 0,
    rate_hz: int = 48_000,
    block: int = 512,
    sigma_s: float = 0.3 * MS,
    speed: float = 1.0,
) -> list[Sent]:
    """Return what playback says that lets sample `first` leave at `at_s`; `due_s` is when each sample leaves.

    What travels is handed over before that, with the instant as its stamp.
    """
    found = []
    for number in range(round(seconds * rate_hz / block)):
        due_s = at_s + number * block / rate_hz / speed
        stamp_s = due_s + sigma_s * float(dirt.standard_normal())
        record = packed(Playing(first + number * block, rate_hz, True))
        found.append(Sent(stamp_s, due_s, first + number * block, record))
    return found


def stop(at_s: float, sample: int, rate_hz: int = 48_000) -> Sent:
    return Sent(at_s, at_s, sample, packed(Playing(sample, rate_hz, False)))


def watch(follower: Follower, records: Iterable[Sent], until_s: float, tick_s: float = 0.005) -> list[Clock]:
    """Ask at each tick, having handed over what leaves within `AHEAD_S`."""
    waiting = sorted(records, key=lambda one: one.due_s)
    clocks = []
    for tick in range(int(until_s / tick_s)):
        now_s = tick * tick_s
        while waiting and waiting[0].due_s - AHEAD_S <= now_s:
            one = waiting.pop(0)
            follower.feed(one.at_ns, one.data)
        clocks.append(follower.at(round(now_s * 1e9)))
    return clocks


@pytest.mark.parametrize(("rate_hz", "block"), [(48_000, 512), (44_100, 256), (48_000, 64), (96_000, 1024)])
@pytest.mark.parametrize("ppm", [-100, 100])
def test_playback_is_followed_at_every_rate_and_block(rate_hz: int, block: int, ppm: int) -> None:
    speed = 1 + ppm * 1e-6
    follower = audio_follower(BASE, 5.0)
    records = playback(11.0, chance(1), at_s=1.0, first=rate_hz, rate_hz=rate_hz, block=block, speed=speed)
    clocks = watch(follower, records, 11.5)
    errors = []
    for clock in clocks:
        at_s = clock.at_ns * 1e-9
        if clock.steers:
            errors.append(clock.position_s - (6.0 + speed * (at_s - 1.0)))
    assert first(clocks, lambda clock: clock.steers) - 1.0 <= max(0.0, 4 * block / rate_hz - AHEAD_S) + 6 * MS
    assert np.max(np.abs(errors)) < 1 * MS
    assert np.sqrt(np.mean(np.square(errors[800:]))) < 0.06 * MS
    assert clocks[-1].speed == pytest.approx(speed, abs=1e-4)
    assert clocks[-1].jumps == 1
    assert follower.told == f"playback audio, {rate_hz} samples a second"
    assert follower.troubles() == ()
    assert len(follower.sightings()) > 1000 / (block / 256)


def test_it_does_not_run_before_the_first_sample_leaves() -> None:
    clocks = watch(audio_follower(BASE, 2.0), playback(2.0, chance(1), at_s=0.5, block=128), 1.0)
    before = [clock for clock in clocks if clock.at_ns < 0.499e9]
    assert not any(clock.steers for clock in before)
    assert {clock.lock for clock in before} == {Lock.WAITING, Lock.LOCKING}
    assert all(clock.position_s == 2.0 for clock in before if clock.lock is Lock.LOCKING)


def test_a_stop_is_where_it_stands_once_its_instant_has_come_and_it_starts_again_elsewhere() -> None:
    follower = audio_follower(BASE, 1.0)
    records = [one for one in playback(3.0, chance(1)) if one.due_s < 1.99]
    records.append(stop(2.0, 96_000))
    records += playback(2.0, chance(2), at_s=3.0, first=480_000)
    clocks = watch(follower, records, 4.5)
    for clock in clocks:
        at_s = clock.at_ns * 1e-9
        if 0.5 < at_s < 1.999:
            assert clock.lock is Lock.LOCKED
            assert clock.position_s == pytest.approx(1 + at_s, abs=0.5 * MS)
        elif 2.0 < at_s < 3.0 - AHEAD_S - 0.001:
            assert (clock.lock, clock.position_s, clock.speed, clock.steers) == (Lock.LOCATED, 3.0, 0.0, False)
            assert clock.uncertainty_s == 0
        elif at_s > 3.06:
            assert clock.lock is Lock.LOCKED
            assert clock.position_s == pytest.approx(11 + at_s - 3, abs=0.6 * MS)
    assert clocks[-1].jumps == 3
    assert follower.troubles() == ()


def test_a_card_that_says_with_each_block_that_playback_stands_is_believed() -> None:
    # what stands is told ahead as well, so that there is always a record still to come
    stands = [stop(number * 0.01, 48_000) for number in range(100)]
    runs = [one for one in playback(1.5, chance(1), at_s=1.0, first=48_000) if one.due_s < 1.99]
    again = [stop(2.0 + number * 0.01, 96_000) for number in range(100)]
    clocks = watch(audio_follower(BASE, 0.0), [*stands, *runs, *again], 2.9)
    for clock in clocks:
        at_s = clock.at_ns * 1e-9
        if 0.01 < at_s < 1.0 - AHEAD_S - 0.001:
            assert (clock.lock, clock.position_s, clock.jumps) == (Lock.LOCATED, 1.0, 1)
        elif 1.06 < at_s < 1.999:
            assert clock.lock is Lock.LOCKED
        elif at_s > 2.0:
            assert (clock.lock, clock.position_s, clock.jumps) == (Lock.LOCATED, 2.0, 3)


def test_playback_that_stands_is_located_before_it_ever_ran() -> None:
    follower = audio_follower(BASE, 1.0)
    assert (follower.at(0).lock, follower.told) == (Lock.WAITING, "playback audio")
    follower.feed(10_000_000, packed(Playing(48_000, 48_000, False)))
    clock = follower.at(20_000_000)
    assert (clock.lock, clock.position_s, clock.jumps) == (Lock.LOCATED, 2.0, 1)
    follower.feed(30_000_000, packed(Playing(96_000, 48_000, False)))
    clock = follower.at(40_000_000)
    assert (clock.position_s, clock.jumps) == (3.0, 2)
    follower.feed(50_000_000, packed(Playing(96_000, 48_000, False)))
    assert follower.at(60_000_000).jumps == 2


def test_a_leap_while_it_plays_is_followed_at_once_and_told() -> None:
    follower = audio_follower(BASE, 0.0)
    records = [one for one in playback(3.0, chance(1)) if one.due_s < 1.995]
    records += playback(2.0, chance(2), at_s=2.0, first=10 * 48_000)
    clocks = watch(follower, records, 3.5)
    for clock in clocks:
        at_s = clock.at_ns * 1e-9
        if at_s > 0.2:
            assert clock.lock is Lock.LOCKED
        if at_s > 2.0:
            assert clock.position_s == pytest.approx(10 + at_s - 2, abs=1.5 * MS)
    assert (clocks[-1].jumps, follower.counts.jumps) == (2, 1)
    (told,) = follower.troubles()
    assert told.startswith("playback jumped from 10:00:02:0")
    assert told.endswith(" to 10:00:10:00")


def test_a_card_that_runs_dry_is_caught_up_with_and_told() -> None:
    # the card puts 30 ms of silence between two blocks: the samples go on, and time has jumped
    follower = audio_follower(BASE, 0.0)
    records = [one for one in playback(8.0, chance(1)) if one.due_s < 4.0]
    records += playback(4.0, chance(2), at_s=records[-1].due_s + 512 / 48_000 + 0.03, first=records[-1].quarter + 512)
    clocks = watch(follower, records, 7.5)
    assert all(clock.lock is Lock.LOCKED for clock in clocks if clock.at_ns > 0.5e9)
    assert clocks[-1].jumps == 1
    assert clocks[-1].position_s == pytest.approx(clocks[-1].at_ns * 1e-9 - 0.03, abs=0.3 * MS)
    assert "the sound card ran out of audio; give it longer blocks, or the machine less to do" in follower.troubles()


def test_a_device_that_stops_calling_is_coasted_and_lost_with_words() -> None:
    follower = audio_follower(BASE, 0.0, Follow(freewheel_s=1.0))
    records = [one for one in playback(8.0, chance(1)) if one.due_s < 5.999]
    clocks = watch(follower, records, 8.0)
    assert first(clocks, lambda clock: clock.lock is Lock.FREEWHEEL) == pytest.approx(6.1, abs=0.02)
    assert first(clocks, lambda clock: clock.lock is Lock.LOST) == pytest.approx(7.0, abs=0.02)
    for clock in clocks:
        if clock.lock is Lock.FREEWHEEL:
            assert clock.position_s == pytest.approx(clock.at_ns * 1e-9, abs=0.5 * MS)
    assert clocks[-1].position_s == pytest.approx(7.0, abs=0.02)
    (told,) = follower.troubles()
    assert told.startswith("the sound card took no more audio at 10:00:05:")
    assert told.endswith("; check that it is still there")


def test_a_device_that_calls_again_is_followed_again() -> None:
    follower = audio_follower(BASE, 0.0, Follow(freewheel_s=0.5))
    records = playback(1.0, chance(1))
    records += playback(1.0, chance(2), at_s=3.0, first=48_128)
    clocks = watch(follower, records, 3.9)
    assert any(clock.lock is Lock.LOST for clock in clocks)
    assert clocks[-1].lock is Lock.LOCKED
    assert clocks[-1].position_s == pytest.approx(48_128 / 48_000 + clocks[-1].at_ns * 1e-9 - 3, abs=1 * MS)


def test_a_stop_during_the_coast_is_obeyed() -> None:
    records = [one for one in playback(2.0, chance(1)) if one.due_s < 1.0]
    clocks = watch(audio_follower(BASE, 0.0), [*records, stop(1.5, 72_000)], 2.0)
    assert any(clock.lock is Lock.FREEWHEEL for clock in clocks)
    assert (clocks[-1].lock, clocks[-1].position_s) == (Lock.LOCATED, 1.5)


def test_another_recording_at_another_rate_begins_anew() -> None:
    follower = audio_follower(BASE, 0.0)
    records = [one for one in playback(1.5, chance(1)) if one.due_s < 0.99]
    records += playback(1.5, chance(2), at_s=1.0, first=44_100, rate_hz=44_100, block=441)
    clocks = watch(follower, records, 2.0)
    assert clocks[-1].lock is Lock.LOCKED
    assert clocks[-1].position_s == pytest.approx(clocks[-1].at_ns * 1e-9, abs=1 * MS)
    assert follower.told == "playback audio, 44100 samples a second"


def test_error_over_uncertainty_is_near_one() -> None:
    ratios = []
    for seed in range(8):
        for clock in watch(audio_follower(BASE, 0.0), playback(9.0, chance(seed)), 8.9, tick_s=0.1):
            if clock.at_ns > 6e9:
                ratios.append((clock.position_s - clock.at_ns * 1e-9) / clock.uncertainty_s)
    # errors of one run hang together, so that 8 runs know this to some 30 %
    assert np.sqrt(np.mean(np.square(ratios))) == pytest.approx(1, abs=0.5)


@pytest.mark.parametrize("data", [b"", b"abc", packed(Playing(0, 48_000, True)) + b"\0", packed(Playing(0, 0, True))])
def test_bytes_that_are_no_record_are_counted_and_told(data: bytes) -> None:
    follower = audio_follower(BASE, 0.0)
    follower.feed(0, data)
    assert follower.counts.garbage_bytes == len(data)
    assert follower.troubles() == ("what arrives from the playback is no position; nothing else may send",)
    assert follower.at(0).lock is Lock.WAITING
    with pytest.raises(ValueError, match="playback"):
        unpacked(data)
