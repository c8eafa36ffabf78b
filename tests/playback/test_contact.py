"""Whether the rig is in touch, row by row of the table in the contact file, and from where it begins anew."""

from dataclasses import replace

import numpy as np
import pytest

from sequencer.playback import contact, watch
from sequencer.playback.contact import AGAIN_S, Contact
from sequencer.playback.guard import at_rest, limits
from sequencer.playback.state import SILENT_S
from sequencer.rig.signals import Feedback, Floats
from tests.playback.rules import RIG

LIMITS = limits(RIG)
SECOND_NS = 1_000_000_000
TOLD = np.array([0.0, -20.0, 100.0, 0.1])
SENT = at_rest(0, TOLD)
FAULT = "the network is gone; plug it in"


def heard(position: Floats, at_ns: int, seen: watch.Watch | None = None) -> watch.Watch:
    return watch.hear(seen or watch.begin(RIG, True, SENT), LIMITS, Feedback(at_ns, position, at_ns))


def at(seconds: float) -> int:
    return round(seconds * SECOND_NS)


def test_in_touch_until_silent_or_gone() -> None:
    seen, touch = heard(TOLD, SECOND_NS), Contact()
    assert contact.attend(touch, seen, "", at(1 + SILENT_S - 0.01)) is touch
    away = contact.attend(touch, seen, "", at(1 + SILENT_S + 0.01))
    assert away.withheld
    assert away.dropped_ns == SECOND_NS
    assert "has not answered for 0.5 s" in away.why
    assert contact.attend(touch, seen, FAULT, at(1.1)) == Contact(dropped_ns=SECOND_NS, why=FAULT)


def test_a_rig_that_never_answered_cannot_fall_silent_but_its_link_can_go() -> None:
    for answers in (True, False):
        seen, touch = watch.begin(RIG, answers, SENT), Contact()
        assert contact.attend(touch, seen, "", at(100)) is touch
        assert contact.attend(touch, seen, FAULT, at(100)) == Contact(dropped_ns=at(100), why=FAULT)
    deaf = watch.begin(RIG, False, SENT)
    assert contact.attend(Contact(dropped_ns=1, why=FAULT), deaf, "", at(101)) == Contact(dropped_ns=1)


def test_what_was_still_on_its_way_at_a_drop_is_not_known_for_long_either() -> None:
    """The last answer can come when the rig has been found gone."""
    gone = watch.forget(heard(TOLD, SECOND_NS))
    assert contact.faded(gone, at(100)) is gone
    late = heard(TOLD, at(1.1), gone)
    some = heard(np.array([1.0, np.nan, np.nan, np.nan]), at(2), late)
    for seen, now_s, there in (
        (late, 1.1 + AGAIN_S, (True, True, True, True)),
        (some, 1.2 + AGAIN_S, (True, False, False, False)),
    ):
        position = contact.faded(seen, at(now_s)).position
        assert position is not None
        assert tuple((~np.isnan(position)).tolist()) == there
    assert contact.faded(late, at(1.2 + AGAIN_S)).position is None


def test_back_is_every_axis_heard_since_the_drop() -> None:
    away = Contact(dropped_ns=SECOND_NS, why=FAULT)
    seen = watch.forget(heard(TOLD, SECOND_NS))
    # the link is open again, and the rig has not spoken yet
    assert "has not answered" in contact.attend(away, seen, "", at(3)).why
    some = heard(np.array([1.0, np.nan, 3.0, 0.4]), at(3), seen)
    assert contact.attend(away, some, "", at(3)).why
    rest = heard(np.array([np.nan, 2.0, np.nan, np.nan]), at(3.1), some)
    assert contact.attend(away, rest, FAULT, at(3.1)).why == FAULT
    assert contact.attend(away, rest, "", at(3.1)) == Contact(dropped_ns=SECOND_NS)


def test_back_lasts_while_the_rig_speaks_now_and_then() -> None:
    back, seen = Contact(dropped_ns=SECOND_NS), heard(TOLD, at(5))
    assert contact.attend(back, seen, "", at(5 + AGAIN_S - 0.01)) is back
    assert contact.attend(back, seen, "", at(5 + AGAIN_S + 0.01)).why
    assert contact.attend(back, seen, FAULT, at(5.1)).why == FAULT


def test_one_that_is_stopped_and_not_where_it_was_sent_is_sent_nothing_until_reset() -> None:
    seen = heard(TOLD + np.array([12.0, 0.0, 0.0, 0.0]), SECOND_NS)
    held = contact.attend(Contact(), seen, "", at(1.1), True)
    assert held == Contact(dropped_ns=at(1.1))
    assert held.withheld
    assert contact.attend(held, seen, "", at(1.2), True) is held
    assert contact.attend(held, seen, "", at(1.2), False) is held
    assert contact.attend(Contact(), seen, FAULT, at(1.1), True).why == FAULT
    assert contact.stranded(seen, LIMITS, SENT).startswith("pan stands at 12.00 deg and was sent to 0.00 deg, so ")


def test_after_a_drop_all_axes_begin_where_they_say_they_stand() -> None:
    there = TOLD + np.array([12.0, 0.001, -0.5, 0.2])
    first = contact.begun(Contact(dropped_ns=1), heard(there, 5), LIMITS, SENT)
    assert first.position == tuple(there)
    assert first.stands
    assert first.due_ns == SENT.due_ns


def test_after_another_stop_only_axes_that_are_not_where_they_were_sent_do() -> None:
    there = TOLD + np.array([12.0, 0.001, -0.5, 0.2])
    first = contact.begun(Contact(), heard(there, 5), LIMITS, SENT)
    assert list(first.position) == pytest.approx([12.0, -20.0, 100.0, 0.3])
    assert contact.begun(Contact(), watch.begin(RIG, False, SENT), LIMITS, SENT).position == SENT.position


def test_what_reads_a_hair_outside_its_travel_begins_at_its_end_and_what_stands_far_outside_is_named() -> None:
    dropped = Contact(dropped_ns=1)
    seen = heard(np.array([0.0, -20.0, -0.001, 0.1]), 5)
    assert contact.begun(dropped, seen, LIMITS, SENT).position[2] == 0
    assert contact.outside(dropped, seen, LIMITS) is None
    seen = heard(np.array([0.0, 72.0, -0.001, 0.1]), 5)
    stray = contact.outside(dropped, seen, LIMITS)
    assert str(stray) == "tilt by 12 deg"
    assert contact.outside(Contact(), seen, LIMITS) is None


def test_the_words_name_the_axes_beyond_their_tolerance_with_both_places() -> None:
    tilt = LIMITS.tolerance[1]
    seen = heard(TOLD + np.array([12.0, 0.9 * tilt, 0.0, 0.25]), 5)
    words = contact.back(Contact(dropped_ns=at(1)), seen, LIMITS, SENT, 0.0123, at(4.21))
    assert words == (
        "the rig answers again after 3.2 s, with a round trip of 12 ms. pan stands at 12.00 deg and was sent to "
        "0.00 deg, focus stands at 0.350 and was sent to 0.100. Nothing moves before Reset"
    )
    near = replace(seen, position=TOLD)
    assert "again after 3.2 s. It stands where" in contact.back(
        Contact(dropped_ns=at(1)), near, LIMITS, SENT, None, at(4.21)
    )


def test_a_watch_begun_anew_knows_the_rig_it_heard() -> None:
    there = TOLD + np.array([12.0, 0.0, 0.0, 0.0])
    seen = heard(there, at(5))
    first = contact.begun(Contact(dropped_ns=1), seen, LIMITS, SENT)
    anew = watch.anew(seen, RIG, first)
    assert watch.silent_s(anew, at(5.1)) == pytest.approx(0.1)
    assert watch.near(anew, LIMITS, first)
    for tick in range(1, 100):
        anew = heard(there, at(5) + tick * 4_000_000, anew)
    assert watch.astray(anew, LIMITS) is None
