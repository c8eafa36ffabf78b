"""A rig at another speed: a move that just keeps its limits there just keeps the rig's own when it is run so."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from sequencer.motion.compile import compile_move
from sequencer.motion.peaks import peaks
from sequencer.rig.axis import Rig
from sequencer.rig.limits import SumLimit
from sequencer.rig.speed import at_speed
from sequencer.score.move import Move
from tests.motion.machines import LAWS, SECONDS, rig, track


@pytest.mark.parametrize("speed", [Fraction(1, 2), Fraction(3), 0.37])
def test_reserve_against_the_changed_rig_is_that_of_the_move_at_speed(speed: Fraction | float) -> None:
    machine, move = rig(), Move(tracks=(track([0, 1, 3], [0, 20, -10], "poly345"),))
    written = compile_move(machine, move, SECONDS, LAWS)
    (run,) = peaks(written.stretched(speed, 0.0), machine)
    (asked,) = peaks(written, machine)
    (own,), (changed,) = machine.axes, at_speed(machine, speed).axes
    for name in ("speed", "acceleration", "jerk"):
        at_own = getattr(run, name).value / getattr(own, name)
        assert getattr(asked, name).value / getattr(changed, name) == pytest.approx(at_own, rel=1e-9), name


@pytest.mark.parametrize("speed", [Fraction(1, 10**6), Fraction(1, 7500), Fraction(10**6)])
def test_the_limits_for_a_timelapse_are_far_beyond_any_motor_and_still_limits(speed: Fraction) -> None:
    (own,), (changed,) = rig().axes, at_speed(replace(rig(), axes=(replace(rig().axes[0], jerk=3000.0),)), speed).axes
    assert changed.jerk == pytest.approx(3000.0 / float(speed) ** 3)
    assert changed.speed == pytest.approx(own.speed / float(speed))


def test_limits_that_tie_axes_together_change_likewise_and_travel_does_not() -> None:
    limit = SumLimit(name="both", sum=(("pan0", 1.0), ("pan1", -1.0)), travel=(-5, 5), speed=8.0, jerk=800.0)
    machine = Rig(name="two", axes=rig(2, travel=(-90, 90)).axes, combined=(limit,))
    slow = at_speed(machine, Fraction(2))
    assert slow.axes[0].travel == (-90, 90)
    (changed,) = slow.combined
    assert (changed.travel, changed.speed, changed.acceleration, changed.jerk) == ((-5, 5), 4.0, None, 100.0)


def test_a_rig_at_its_own_speed_is_itself_and_no_speed_is_refused() -> None:
    machine = rig()
    assert at_speed(machine, Fraction(1)) is machine
    for speed in (0, -1, np.nan):
        with pytest.raises(ValueError, match="above zero"):
            at_speed(machine, speed)
