"""Aims that last for hours, as in a timelapse: few keys, near the point all the while, at the motors' own instants."""

import re
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from sequencer.live.aiming import Aim
from sequencer.live.performed import Path
from sequencer.live.slow import SHORT_S, captured, times
from sequencer.motion.check import check
from sequencer.score.move import Move
from tests.live.test_aiming import LAWS, PAN, POINT, RATE, RIG, SLIDE, off, run, track

HOURS = 4
LAST = HOURS * 3600 * 25
TIDE = Move(tracks=(track("slide", (1000, 100), (LAST // 2, 500), (LAST - 1000, 1300)),))
AIM = Aim(at=POINT, start=Fraction(501), end=Fraction(LAST))


def test_for_hours_the_lens_stays_on_the_point_with_few_keys() -> None:
    done = run(AIM, TIDE, replace(RIG, axes=RIG.axes[:5]))
    assert off(done, AIM, POINT, step=1250.3).max() <= 0.01
    assert done.furthest_deg <= 0.01
    # as many as the same way takes in half a minute, or hardly more
    assert all(one.keys < 40 for one in done.captured)
    assert all((one.start, one.end) == (AIM.start, AIM.end) for one in done.captured)
    keys = [key.at for each in done.move.tracks if each.axis != "slide" for key in each.keys]
    assert (min(keys), max(keys)) == (AIM.start, AIM.end)
    judged = check(RIG, done.move, RATE, LAWS)
    assert judged.ok
    assert judged.reserve > 0.9


def test_what_cannot_be_kept_is_said_at_its_own_instant() -> None:
    """A jump in the path, half an hour from the start."""
    t_s = np.linspace(0, 3600, 601)
    path = Path(t_s, np.where(t_s > 1800, 20.0, 0.0))
    with pytest.raises(ValueError, match=r"pan can be brought to within .* at @") as caught:
        captured(PAN, RATE, LAWS, path, (Fraction(0), Fraction(3600 * 25)), 0.01, 60)
    said = float(re.findall(r"at @([0-9.]+)", str(caught.value))[0])
    assert said == pytest.approx(1800 * 25, abs=60 * 25)


def test_a_long_way_goes_no_faster_than_its_axes_are_at_ease() -> None:
    t_s = np.linspace(0, 20 * SHORT_S, 1001)
    slow, fast = np.sin(t_s / 400), np.sin(t_s / 2)
    assert times([(PAN, slow), (SLIDE, slow)], t_s) == 20
    assert times([(PAN, 0 * slow)], t_s) == 20
    assert times([(PAN, 16 * fast)], t_s) == 2  # up to 8 of 40 degrees a second
    assert times([(PAN, 80 * fast)], t_s) == 1
    assert times([(PAN, slow[:2])], t_s[:2]) == 1
