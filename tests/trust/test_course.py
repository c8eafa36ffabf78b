"""What the setpoints of one rig may do after a reset: begin once from where it says it stands, and nothing else."""

import numpy as np
import pytest

from sequencer.rig.axis import Axis, Rig
from sequencer.rig.signals import Setpoint
from tests.trust.course import Course

_PERIOD_NS = 20_000_000
# 0.1 mm in 20 ms is far below all that this axis can do
_SLIDE = Axis(name="slide", kind="slide", unit="mm", travel=(-400.0, 400.0), speed=400.0, acceleration=800.0, jerk=8e3)


def _broken(says: float, sent_after: list[float], *, outside: bool = False) -> list[str]:
    """Return what is found where a rig stood at 399.8, was reset, said that it stands at `says`, and got the rest."""
    found: list[str] = []
    course = Course(Rig(name="one", axes=(_SLIDE,)), lambda rule, _: found.append(rule), 2 * _PERIOD_NS)
    went = [Setpoint(number * _PERIOD_NS, np.array([399.8]), np.zeros(1)) for number in range(1, 4)]
    course.look(went, went, np.array([399.8]), 0)
    course.begin_anew(outside=outside)
    for place in sent_after:
        went.append(Setpoint(went[-1].due_ns + _PERIOD_NS, np.array([place]), np.zeros(1)))
        course.look(went, went, np.array([says]), 0)
    return found


@pytest.mark.parametrize(
    ("says", "sent_after"),
    [(399.9, [399.9, 399.9]), (420.0, [400.0, 400.0]), (399.8, [399.8, 399.8]), (390.0, [390.0, 390.0])],
)
def test_after_a_reset_it_begins_from_where_the_rig_says_it_stands(says: float, sent_after: list[float]) -> None:
    assert _broken(says, sent_after) == []


@pytest.mark.parametrize(
    ("says", "sent_after"),
    [
        (420.0, [399.9, 399.9]),  # elsewhere
        (399.9, [399.85, 399.9]),  # on the way there
        (399.9, [399.9, 399.85]),  # further on
        (399.9, [399.9, 399.8, 399.9]),  # and there again
        (399.9, [399.8, 399.8, 399.8, 399.8, 399.9]),  # long after
    ],
)
def test_and_a_step_that_is_no_beginning_is_motion(says: float, sent_after: list[float]) -> None:
    assert "motion at rest" in _broken(says, sent_after)


@pytest.mark.parametrize(("begins", "is_found"), [(399.8, False), (420.0, False), (400.0, False), (405.0, True)])
def test_the_first_of_all_is_where_the_rig_says_it_stands(begins: float, is_found: bool) -> None:
    found: list[str] = []
    course = Course(Rig(name="one", axes=(_SLIDE,)), lambda rule, _: found.append(rule), 2 * _PERIOD_NS)
    went = [Setpoint(_PERIOD_NS, np.array([begins]), np.zeros(1))]
    course.look(went, went, np.array([420.0 if begins >= 400 else 399.8]), 0)
    assert found == (["begin"] if is_found else [])


@pytest.mark.parametrize(("begins", "is_found"), [(300.0, False), (310.0, False), (320.0, False), (330.0, True)])
def test_a_rig_that_moves_meanwhile_may_be_taken_for_where_it_was_at_any_of_its_words(
    begins: float, is_found: bool
) -> None:
    found: list[str] = []
    course = Course(Rig(name="one", axes=(_SLIDE,)), lambda rule, _: found.append(rule), 2 * _PERIOD_NS)
    went = [Setpoint(number * _PERIOD_NS, np.array([399.8]), np.zeros(1)) for number in range(1, 4)]
    course.look(went, went, np.array([399.8]), 0)
    course.begin_anew()
    for said in (300.0, 310.0):
        course.look(went, went, np.array([said]), 0)
    sent = [*went, Setpoint(went[-1].due_ns + _PERIOD_NS, np.array([begins]), np.zeros(1))]
    course.look(sent, went, np.array([320.0]), 0)
    course.look(sent, sent, np.array([320.0]), 0)
    assert ("begin" in found) == is_found


@pytest.mark.parametrize(
    ("begins", "outside", "is_found"),
    [
        *((420.0, True, False), (400.0, True, False), (421.0, True, True), (410.0, True, True)),
        *((420.0, False, True), (400.0, False, False)),
    ],
)
def test_where_an_engine_begins_a_rig_outside_its_travel_may_stand_there_and_after_a_reset_at_the_end(
    begins: float, outside: bool, is_found: bool
) -> None:
    found = _broken(420.0, [begins, begins], outside=outside)
    assert bool({"begin", "travel"} & set(found)) == is_found
