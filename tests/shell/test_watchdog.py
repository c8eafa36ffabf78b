"""The watchdog's judgement: a heart that stands still, seen by wakes that were on time."""

from sequencer.shell.watchdog import LIMIT_S, PERIOD_S, RESTING, Pulse


def wakes(pulse: Pulse, beats: list[int]) -> list[bool]:
    return [pulse.still_s(beat) >= LIMIT_S for beat in beats]


def test_a_beating_heart_is_well() -> None:
    assert not any(wakes(Pulse(), list(range(1, 100))))


def test_a_heart_that_stands_still_is_found_after_the_limit() -> None:
    alarms = wakes(Pulse(), [5] * 30)
    assert alarms.index(True) == round(LIMIT_S / PERIOD_S)


def test_an_engine_that_has_not_begun_or_rests_is_no_alarm() -> None:
    assert not any(wakes(Pulse(), [0] * 50 + [RESTING] * 50))


def test_one_long_sleep_of_the_machine_is_no_alarm() -> None:
    # the watchdog slept as long as the engine did: it sees one unchanged beat, then a new one
    assert not any(wakes(Pulse(), [1, 2, 3, 3, 4, 5]))
