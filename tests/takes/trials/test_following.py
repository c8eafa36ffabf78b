"""Delay and lag of a rig, from rows that were made with known ones."""

import numpy as np
import pytest
from scipy import signal

from sequencer.takes.trials.following import following, lagged
from sequencer.takes.trials.seen import Floats
from sequencer.takes.trials.step import Step
from sequencer.takes.trials.steps import Most, follow
from tests.takes.trials.rows import asked, behind_play, seen_of

STEP: Step = follow(0.0, 100.0, Most(speed=90.0, acceleration=200.0))


@pytest.mark.parametrize("lag_s", [0.003, 0.02, 0.15])
def test_a_lag_answers_as_scipys_simulation_does(lag_s: float) -> None:
    """Source: scipy.signal.lsim, with straight pieces between samples, of the transfer function 1 / (T s + 1)."""
    at_s, position = asked(STEP)
    _, expected, _ = signal.lsim(([1.0], [lag_s, 1.0]), position, at_s - at_s[0])
    np.testing.assert_allclose(lagged(at_s, position, lag_s), expected, atol=1e-9)


def test_without_lag_the_answer_is_what_was_asked() -> None:
    at_s, position = asked(STEP)
    assert np.array_equal(lagged(at_s, position, 0.0), position)


def played(position: Floats, play: float) -> Floats:
    """Return the load behind a gear's play."""
    load = np.empty_like(position)
    load[0] = position[0]
    for i in range(1, len(position)):
        load[i] = min(max(load[i - 1], position[i] - play / 2), position[i] + play / 2)
    return load


@pytest.mark.parametrize("transport_s", [0.002, 0.012, 0.05])
@pytest.mark.parametrize("lag_s", [0.0, 0.01, 0.06])
@pytest.mark.parametrize("play", [0.0, 0.04])
def test_delay_lag_and_play_are_told_apart(transport_s: float, lag_s: float, play: float) -> None:
    def answer(at_s: Floats, position: Floats) -> Floats:
        return played(np.interp(at_s - transport_s, at_s, lagged(at_s, position, lag_s)), play)

    found = following(seen_of(STEP, answer, noise=0.002), STEP.legs[:4])
    assert found is not None
    assert found.delay_s == pytest.approx(transport_s + lag_s, rel=0.02, abs=2e-4)
    assert found.lag_s == pytest.approx(lag_s, rel=0.15, abs=0.006)
    assert 2 * found.offset == pytest.approx(play, abs=0.002)
    assert found.peak < 0.012


def test_answers_that_are_too_few_say_nothing() -> None:
    seen = seen_of(STEP, lambda at_s, position: position)
    few = type(seen)(
        asked_s=seen.asked_s, asked=seen.asked, actual_s=seen.actual_s[::40], actual=seen.actual[::40], begun=True
    )
    assert following(few, STEP.legs[:4]) is None


def test_play_that_is_taken_up_late_is_no_delay() -> None:
    """Half of the slow way is play: it is taken up long after the leg began."""
    play = 0.5 * min(abs(leg.end - leg.start) for leg in STEP.legs)
    seen = seen_of(STEP, lambda at_s, position: behind_play(np.interp(at_s - 0.02, at_s, position), play), noise=0.002)
    found = following(seen, STEP.legs[:4])
    assert found is not None
    assert found.delay_s == pytest.approx(0.02, rel=0.05)
    assert found.offset == pytest.approx(play / 2, rel=0.05)
