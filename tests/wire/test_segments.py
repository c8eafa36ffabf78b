"""The pieces of a way, cut from setpoints in simulated time."""

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.wire.segments import Code, Piece, Segments, Steering

MS = 1_000_000
TICK = 4 * MS
LEAD = 120 * MS
WIRE = 3 * MS
PERIOD = 20 * MS
SPEED = 600_000.0  # steps a second


def segments() -> Segments:
    return Segments(PERIOD, (SPEED,))


def fill(of: Segments, places: list[int], from_ns: int = 1_000 * MS) -> None:
    for number, place in enumerate(places):
        of.add(from_ns + number * TICK, (place,))


def run(of: Segments, from_ns: int, to_ns: int, step_ns: int = TICK) -> list[tuple[int, Piece | Code]]:
    """Return what was handed over, each with when."""
    handed = []
    for now_ns in range(from_ns, to_ns, step_ns):
        while (due := of.due(now_ns, LEAD, WIRE)) is not None:
            of.take(due)
            handed.append((now_ns, due))
    return handed


def pieces(of: list[tuple[int, Piece | Code]]) -> list[Piece]:
    return [one for _, one in of if isinstance(one, Piece)]


def test_what_stands_still_needs_no_piece() -> None:
    still = segments()
    fill(still, [7] * 200)
    assert run(still, 900 * MS, 2_000 * MS) == []


def test_pieces_end_at_setpoints_at_their_instants_and_join() -> None:
    way = segments()
    fill(way, [100 * number for number in range(101)])
    handed = pieces(run(way, 900 * MS, 1_600 * MS))
    assert [piece.ends_ns for piece in handed] == [1_000 * MS + PERIOD * number for number in range(1, 21)]
    assert [piece.to for piece in handed] == [(500 * number,) for number in range(1, 21)]
    for before, after in pairwise(handed):
        assert (after.begins_ns, after.at) == (before.ends_ns, before.to)


def test_the_first_piece_goes_when_it_shall_begin_and_the_others_no_earlier_than_the_lead() -> None:
    way = segments()
    fill(way, [0] * 26 + [100 * number for number in range(1, 60)])  # moves from 1.1 s on
    handed = run(way, 900 * MS, 1_600 * MS, MS)
    (first_ns, first), *others = handed
    assert isinstance(first, Piece)
    assert first_ns + WIRE == first.begins_ns == 1_100 * MS
    for now_ns, piece in others:
        assert isinstance(piece, Piece)
        assert piece.ends_ns - LEAD <= now_ns < piece.ends_ns


def test_a_first_piece_that_goes_late_still_ends_in_time() -> None:
    way = segments()
    fill(way, [100 * number for number in range(60)])
    due = way.due(1_008 * MS, LEAD, WIRE)
    assert isinstance(due, Piece)
    assert (due.begins_ns, due.ends_ns, due.to) == (1_011 * MS, 1_020 * MS, (500,))


def test_after_a_pause_of_ours_it_goes_on_no_faster_than_the_axis_and_makes_up_what_is_missing() -> None:
    way = segments()
    fill(way, [1_000 * min(number, 400) for number in range(1_000)])  # 250 000 a second
    before = pieces(run(way, 900 * MS, 1_200 * MS))
    after = pieces(run(way, 1_900 * MS, 5_000 * MS))
    assert after[0].begins_ns == 1_900 * MS + WIRE
    assert after[0].late_ns == 1_900 * MS + WIRE - before[-1].ends_ns
    for piece in after:
        assert piece.to[0] - piece.at[0] <= SPEED * (piece.ends_ns - piece.begins_ns) * 1e-9 + 1
    assert after[-1].to == (400_000,)


def test_a_changed_plan_withdraws_what_was_not_handed_over() -> None:
    way = segments()
    fill(way, [100 * number for number in range(101)])
    run(way, 900 * MS, 1_101 * MS)
    from_ns = 1_120 * MS + LEAD
    way.replace(from_ns)
    place = (from_ns - 1_000 * MS) // TICK * 100
    fill(way, [place] * 100, from_ns)  # it stops there
    handed = pieces(run(way, 1_104 * MS, 1_700 * MS))
    assert handed[-1].to == (place,)
    assert max(piece.ends_ns for piece in handed) <= from_ns + PERIOD


def test_a_changed_plan_begins_at_its_very_instant() -> None:
    way = segments()
    fill(way, [0] * 26)
    way.replace(1_060 * MS)
    fill(way, [100] * 50, 1_060 * MS)
    (piece,) = pieces(run(way, 900 * MS, 1_600 * MS, MS))
    assert (piece.begins_ns, piece.ends_ns, piece.to) == (1_056 * MS, 1_076 * MS, (100,))


def test_a_changed_plan_at_rest_takes_effect_at_its_instant() -> None:
    way = segments()
    fill(way, [5] * 100)
    run(way, 900 * MS, 1_004 * MS)  # looks ahead over the rest that is to come
    way.replace(1_124 * MS)
    fill(way, [5 + 100 * number for number in range(50)], 1_124 * MS)
    handed = run(way, 1_004 * MS, 1_400 * MS, MS)
    assert abs(handed[0][0] + WIRE - 1_124 * MS) <= MS


def test_a_code_goes_between_the_pieces_at_its_instant() -> None:
    way = segments()
    fill(way, [100 * number for number in range(101)])
    way.fire(Code(1_132 * MS, b"M7\n"))
    handed = [one for _, one in run(way, 900 * MS, 1_600 * MS)]
    at = next(number for number, one in enumerate(handed) if isinstance(one, Code))
    before, after = handed[at - 1], handed[at + 1]
    assert isinstance(before, Piece)
    assert isinstance(after, Piece)
    assert before.ends_ns == after.begins_ns == 1_132 * MS  # a piece is cut there


@pytest.mark.parametrize("due_ms", [1_050, 900])
def test_a_code_at_rest_goes_at_its_instant_and_a_late_one_at_once(due_ms: int) -> None:
    still = segments()
    fill(still, [7] * 200)
    still.fire(Code(due_ms * MS, b"M7\n"))
    ((now_ns, code),) = run(still, 950 * MS, 1_500 * MS, MS)
    assert isinstance(code, Code)
    assert now_ns == max(950 * MS, due_ms * MS - WIRE)


def test_codes_without_setpoints_go_in_the_order_of_their_instants() -> None:
    none = segments()
    none.fire(Code(20 * MS, b"M9\n"))
    none.fire(Code(10 * MS, b"M8\n"))
    assert [one.text for _, one in run(none, 0, 30 * MS, MS) if isinstance(one, Code)] == [b"M8\n", b"M9\n"]


def test_what_a_stop_left_undone_is_made_up_slowly_and_not_before_the_setpoints_move() -> None:
    way = segments()
    fill(way, [1_000 * number for number in range(101)])
    run(way, 900 * MS, 1_100 * MS)
    way.clear()
    assert way.at is not None
    left = 100_000 - way.at[0]
    assert left > 10_000
    fill(way, [100_000] * 250, 3_000 * MS)
    assert run(way, 2_900 * MS, 3_800 * MS) == []
    fill(way, [100_000 - 10 * number for number in range(1, 250)], 4_000 * MS)
    fill(way, [100_000 - 2_490] * 500, 5_000 * MS)
    handed = pieces(run(way, 3_800 * MS, 6_500 * MS))
    for piece in handed:
        lasts_s = (piece.ends_ns - piece.begins_ns) * 1e-9
        assert abs(piece.to[0] - piece.at[0]) <= SPEED * lasts_s / 10 + 51
    assert handed[-1].to == (100_000 - 2_490,)  # also where the setpoints have come to rest meanwhile


def test_setpoints_after_a_break_are_another_stream() -> None:
    way = segments()
    fill(way, [0] * 5)
    run(way, 900 * MS, 1_100 * MS)
    fill(way, [50_000] * 100, 5_000 * MS)
    assert run(way, 4_900 * MS, 5_500 * MS) == []  # it does not leap there


def test_setpoints_that_are_not_newer_say_nothing() -> None:
    way = segments()
    fill(way, [100 * number for number in range(60)])
    fill(way, [9_999_999] * 30)
    assert max(piece.to[0] for piece in pieces(run(way, 900 * MS, 1_600 * MS))) <= 5_900


def test_an_axis_that_counts_anew_goes_on_from_there() -> None:
    way = segments()
    fill(way, [0] * 5)
    run(way, 900 * MS, 1_100 * MS)
    way.stands(0, 777)
    fill(way, [777 + 10 * number for number in range(60)], 2_000 * MS)
    handed = pieces(run(way, 1_900 * MS, 2_500 * MS))
    assert handed[0].at == (777,)


@given(
    st.floats(0.2, 3),
    st.floats(1_000, 80_000),
    st.sampled_from([2, 4, 5, 10]),
    st.sampled_from([10, 20, 33, 50]),
    st.lists(st.integers(0, 9), min_size=40, max_size=40),
)
def test_whatever_the_pace_no_piece_leaps_and_the_end_is_exact(
    hz: float, far: float, tick_ms: int, period_ms: int, waits: list[int]
) -> None:
    way = Segments(period_ms * MS, (far * hz * 7,))
    count = 2_000 // tick_ms
    places = [round(far * (1 - math.cos(math.tau * hz * n * tick_ms / 1000))) for n in range(count)]
    now_ns, handed = 600 * MS, []
    for number in range(count + 400):
        due_ns = (1_000 + number * tick_ms) * MS
        way.add(due_ns, (places[min(number, count - 1)],))
        now_ns = due_ns - 400 * MS
        if waits[number % 40] < 5:  # a host that does not look at every tick
            while isinstance(due := way.due(now_ns, LEAD, WIRE), Piece):
                way.take(due)
                handed.append(due)
    place = places[0]
    for piece in handed:
        assert piece.at == (place,)
        lasts_s = (piece.ends_ns - piece.begins_ns) * 1e-9
        assert lasts_s > 0.4 * period_ms / 1000
        assert abs(piece.to[0] - piece.at[0]) <= far * hz * 7 * lasts_s + 1
        (place,) = piece.to
    assert place == places[-1]


@pytest.mark.parametrize("off", [0.005, -0.005, 0.0])
def test_steering_brings_a_clock_that_is_off_back_in_time(off: float) -> None:
    steering, late_s, worst_s = Steering(), 0.0, 0.0
    for piece in range(3_000):
        late_s += 0.02 * ((1 + off) * steering.factor - 1)
        worst_s = max(worst_s, abs(late_s))
        steering.hear(late_s, piece * 20 * MS)
    assert abs(late_s) < 0.0005
    assert worst_s < 0.012
    assert steering.factor == pytest.approx(1 / (1 + off), abs=1e-4)


def test_steering_never_asks_for_more_than_a_hundredth() -> None:
    steering = Steering()
    for piece in range(1_000):
        steering.hear(1.0, piece * 20 * MS)
    assert steering.factor == 0.99
    steering.rest()
    assert steering.factor == 0.99  # what the clock does is kept over a rest


def test_after_a_rest_what_was_late_before_does_not_count() -> None:
    steering = Steering()
    steering.hear(0.01, 0)
    assert steering.factor == 0.995
    steering.rest()
    assert steering.factor == 1
