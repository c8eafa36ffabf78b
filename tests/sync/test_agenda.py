"""What is kept until it is due, and what a stop does to it, as the top of the agenda's file promises."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.sync.agenda import AHEAD_NS, BACK_NS, MOST, Agenda
from sequencer.sync.orders import Due, GoToMark, Locate, Order, StartClock, StopClock, StopRig, TakeCue

SECOND_NS = 1_000_000_000
NOW_NS = 5_000 * SECOND_NS


def due(at_s: float, order: Order, by: str = "OSC /here") -> Due:
    """Return an order that is due so many seconds from now."""
    return Due(NOW_NS + round(at_s * SECOND_NS), order, by)


def orders(agenda: Agenda, at_s: float) -> list[Order]:
    return [one.order for one in agenda.take(NOW_NS + round(at_s * SECOND_NS))]


def test_an_order_is_kept_until_it_is_due() -> None:
    agenda = Agenda()
    start = due(2.0, StartClock())
    agenda.add(start, NOW_NS)
    assert agenda.take(start.at_ns - 1) == ()
    assert agenda.take(start.at_ns) == (start,)
    assert agenda.take(start.at_ns + SECOND_NS) == ()


def test_what_has_passed_is_due_now_with_its_own_stamp() -> None:
    agenda = Agenda()
    start = due(-0.7, StartClock())
    agenda.add(start, NOW_NS)
    assert agenda.take(NOW_NS) == (start,)


def test_orders_come_in_order_of_time_and_of_one_instant_in_order_of_arrival() -> None:
    agenda = Agenda()
    sent: list[tuple[float, Order]] = [
        (3.0, StartClock()),
        (1.0, Locate(5.0)),
        (1.0, TakeCue("band")),
        (0.0, GoToMark("lit")),
        (1.0, Locate(6.0)),
    ]
    for at_s, order in sent:
        agenda.add(due(at_s, order), NOW_NS)
    assert orders(agenda, 0.5) == [GoToMark("lit")]
    assert orders(agenda, 9.0) == [Locate(5.0), TakeCue("band"), Locate(6.0), StartClock()]


@pytest.mark.parametrize("at_s", [-1e6, -2.0, 0.0, 2.0, 1e6])
def test_a_stop_of_the_rig_is_never_delayed_and_never_dropped(at_s: float) -> None:
    agenda = Agenda()
    for _ in range(2 * MOST):
        agenda.add(due(-0.1, StartClock()), NOW_NS)
    agenda.add(due(at_s, StopRig()), NOW_NS)
    agenda.add(due(-0.1, StartClock()), NOW_NS)
    first = agenda.take(NOW_NS)[0]
    assert first.order == StopRig()
    assert NOW_NS - BACK_NS <= first.at_ns <= NOW_NS


def test_a_flood_of_stops_takes_no_room() -> None:
    agenda = Agenda()
    for number in range(10_000):
        agenda.add(due(0.0, StopRig()), NOW_NS)
        agenda.add(due(number % 60, StopClock()), NOW_NS)
    assert len(agenda) <= MOST + 2
    took = orders(agenda, 0.0)
    assert took[0] == StopRig()
    assert set(took[1:]) == {StopClock()}


@pytest.mark.parametrize("at_s", [-0.5, 0.0, 3.0, 1e6])
def test_a_flood_of_stops_of_the_clock_takes_no_room(at_s: float) -> None:
    agenda = Agenda()
    for _ in range(2_000):
        agenda.add(due(at_s, StopClock()), NOW_NS)
    assert len(agenda) <= MOST + 1
    assert set(orders(agenda, 3.0)) == {StopClock()}


def test_of_a_flood_of_stops_of_the_clock_at_once_the_first_and_the_last_are_left() -> None:
    agenda = Agenda()
    agenda.add(due(-0.9, Locate(1.0), "first of all"), NOW_NS)
    for number in range(1_000):
        agenda.add(due(-0.8 + number / 10_000, StopClock(), f"number {number}"), NOW_NS)
    # what comes later with a stamp between them is still halted by the last
    agenda.add(due(-0.75, StartClock(), "between"), NOW_NS)
    assert [one.by for one in agenda.take(NOW_NS)] == ["first of all", "number 0", "between", "number 999"]


def test_of_several_stops_of_the_rig_the_first_counts() -> None:
    agenda = Agenda()
    agenda.add(due(0.0, StopRig(), "OSC /stop"), NOW_NS)
    agenda.add(due(-0.5, StopRig(), "note 0 on channel 16"), NOW_NS)
    assert [one.by for one in agenda.take(NOW_NS)] == ["OSC /stop"]
    assert agenda.take(NOW_NS) == ()


def test_a_plan_may_come_in_any_order() -> None:
    agenda = Agenda()
    for at_s, order in ((5.0, StopClock()), (8.0, StopClock()), (6.0, StartClock())):
        agenda.add(due(at_s, order), NOW_NS)
    assert orders(agenda, 9.0) == [StopClock(), StartClock(), StopClock()]
    for at_s, order in ((16.0, StartClock()), (15.0, StopClock())):
        agenda.add(due(at_s, order), NOW_NS)
    assert orders(agenda, 20.0) == [StopClock(), StartClock()]
    assert agenda.cleared == 0


@pytest.mark.parametrize("stop", [StopRig(), StopClock()])
def test_a_stop_that_comes_at_once_clears_what_was_to_come_later(stop: Order) -> None:
    agenda = Agenda()
    agenda.add(due(-0.001, Locate(5.0)), NOW_NS)
    agenda.add(due(4.0, StartClock(), "OSC /run/start"), NOW_NS)
    agenda.add(due(5.0, TakeCue("band")), NOW_NS)
    agenda.add(due(6.0, StopClock()), NOW_NS)
    agenda.add(due(0.0, stop, "MMC stop"), NOW_NS)
    # what was due before the stop is not touched by it
    assert set(orders(agenda, 0.0)) == {Locate(5.0), stop}
    assert agenda.cleared == 3
    assert agenda.take(NOW_NS + 9 * SECOND_NS) == ()
    (told,) = agenda.troubles()
    assert told == "OSC /run/start and 2 more was to come later and is forgotten, since MMC stop stopped"


def test_a_stop_at_its_time_is_part_of_a_plan_and_clears_nothing() -> None:
    agenda = Agenda()
    for at_s, order in ((1.0, StartClock()), (2.0, StopClock()), (3.0, StartClock())):
        agenda.add(due(at_s, order), NOW_NS)
    assert orders(agenda, 1.5) == [StartClock()]
    assert orders(agenda, 2.5) == [StopClock()]
    assert orders(agenda, 3.5) == [StartClock()]
    assert agenda.cleared == 0


def test_what_comes_after_a_stop_counts() -> None:
    agenda = Agenda()
    agenda.add(due(0.0, StopClock()), NOW_NS)
    agenda.add(due(0.0, Locate(7.0)), NOW_NS)
    agenda.add(due(0.0, StartClock()), NOW_NS)
    assert orders(agenda, 0.0) == [StopClock(), Locate(7.0), StartClock()]


@pytest.mark.parametrize(
    ("late_ns", "words"),
    [
        (-AHEAD_NS - 1, "3600 s ahead"),
        (-30_000_000 * SECOND_NS, "30000000 s ahead, which is further than an hour"),
        (BACK_NS + 1, "1.0 s ago"),
        (NOW_NS * 400, "s ago"),
    ],
)
def test_a_stamp_of_a_clock_that_is_set_wrong_moves_nothing(late_ns: int, words: str) -> None:
    for order in (StartClock(), Locate(1.0), TakeCue("band"), GoToMark("lit")):
        agenda = Agenda()
        agenda.add(Due(NOW_NS - late_ns, order, "OSC /run/start"), NOW_NS)
        assert agenda.take(NOW_NS + 2 * AHEAD_NS) == ()
        assert agenda.refused == 1
        (told,) = agenda.troubles()
        assert told.startswith("OSC /run/start is for a time ")
        assert words in told
        assert "same time server" in told
    for stop in (StopClock(), StopRig()):
        agenda = Agenda()
        agenda.add(Due(NOW_NS - late_ns, stop, "OSC /run/stop"), NOW_NS)
        (one,) = agenda.take(NOW_NS)
        assert one.order == stop
        assert NOW_NS - BACK_NS <= one.at_ns <= NOW_NS


@pytest.mark.parametrize("late_ns", [-AHEAD_NS, BACK_NS])
def test_the_bounds_themselves_are_still_believed(late_ns: int) -> None:
    agenda = Agenda()
    agenda.add(Due(NOW_NS - late_ns, StartClock(), "OSC /run/start"), NOW_NS)
    assert [one.at_ns for one in agenda.take(NOW_NS + AHEAD_NS)] == [NOW_NS - late_ns]


def test_too_many_are_refused_and_told_but_a_stop_has_room() -> None:
    agenda = Agenda()
    for number in range(MOST + 50):
        agenda.add(due(1.0 + number, Locate(float(number))), NOW_NS)
    assert (len(agenda), agenda.dropped) == (MOST, 50)
    (first, *more) = agenda.troubles()
    assert "more than 256 orders wait" in first
    assert len(more) <= 1
    # also one that was to come later, which then comes at once
    agenda.add(due(9.0, StopClock()), NOW_NS)
    assert orders(agenda, 0.0) == [StopClock()]


def test_an_operator_who_stops_forgets_all_that_was_to_come() -> None:
    agenda = Agenda()
    agenda.clear("the operator")
    assert agenda.troubles() == ()
    agenda.add(due(0.0, StartClock(), "MMC play"), NOW_NS)
    agenda.clear("the operator")
    assert agenda.take(NOW_NS + SECOND_NS) == ()
    assert agenda.troubles() == ("MMC play was to come later and is forgotten, since the operator stopped",)


SOME = st.sampled_from([StartClock(), StopClock(), StopRig(), Locate(1.0), TakeCue("a"), GoToMark("b")])


@given(
    events=st.lists(
        st.tuples(st.sampled_from([0.0, 0.0, -0.5, 0.3, 2.0, 1e7, -1e7]), SOME, st.floats(0, 0.5), st.booleans()),
        max_size=80,
    )
)
def test_nothing_comes_early_or_twice_and_every_stop_comes_in_the_next_tick(
    events: list[tuple[float, Order, float, bool]],
) -> None:
    agenda, now_s = Agenda(), 0.0
    given_orders: list[Due] = []
    taken: list[Due] = []
    stop_waits = False
    for at_s, order, pause_s, ticks in events:
        one = due(now_s + at_s, order, f"number {len(given_orders)}")
        given_orders.append(one)
        agenda.add(one, NOW_NS + round(now_s * SECOND_NS))
        stop_waits |= order == StopRig()
        if ticks:
            now_s += pause_s
            now_ns = NOW_NS + round(now_s * SECOND_NS)
            got = agenda.take(now_ns)
            assert (bool(got) and got[0].order == StopRig()) == stop_waits
            stop_waits = False
            assert all(one.at_ns <= now_ns for one in got)
            rest = [one for one in got if one.order != StopRig()]
            assert rest == sorted(rest, key=lambda one: one.at_ns)
            taken += got
    by = [one.by for one in taken]
    assert len(set(by)) == len(by)
    assert len(agenda) <= MOST + 1


def test_a_start_that_comes_next_is_handed_out_ahead_and_nothing_else_is() -> None:
    agenda = Agenda()
    agenda.add(Due(300, StartClock(), "OSC /run/start"), 0)
    agenda.add(Due(250, Locate(1.0), "OSC /run/locate"), 0)
    assert agenda.take(120, 200) == ()  # a place comes before it
    assert [due.at_ns for due in agenda.take(250, 200)] == [250, 300]
    agenda.add(Due(600, StopClock(), "OSC /run/stop"), 300)
    assert agenda.take(500, 200) == ()
