"""Orders that are sent again. MAVLink command protocol: resent with `confirmation` counted up, ended by an answer."""

import pytest

from sequencer.wire.commands import ACCEPTED, AGAIN_NS, IN_PROGRESS, REJECTED_FOR_NOW, TIMES, Order, Orders

SHUTTER = Order(2000, 100, (0.0, 0.0, 1.0, 1.0, 0.0, 0.0, 0.0), "the shutter")
DENIED = 2  # MAV_RESULT_DENIED


@pytest.fixture
def orders() -> Orders:
    orders = Orders()
    orders.begin(SHUTTER, 0)
    return orders


def test_an_unanswered_order_is_sent_again_with_its_count_and_given_up_in_words(orders: Orders) -> None:
    assert orders.due(AGAIN_NS - 1) == []
    sent = [orders.due(times * AGAIN_NS) for times in range(1, TIMES)]
    assert sent == [[(SHUTTER, times)] for times in range(1, TIMES)]
    assert orders.due(TIMES * AGAIN_NS) == []
    assert orders.refused == "the shutter was not answered, although it was sent 4 times"
    assert orders.due(100 * AGAIN_NS) == []


def test_an_answer_ends_it_and_a_second_one_says_nothing(orders: Orders) -> None:
    orders.hear(2000, 100, ACCEPTED, 1)
    orders.hear(2000, 100, DENIED, 2)
    assert (2000, 100) in orders.accepted
    assert orders.refused == ""
    assert orders.due(10 * AGAIN_NS) == []


def test_another_components_answer_is_not_ours(orders: Orders) -> None:
    orders.hear(2000, 101, ACCEPTED, 1)
    assert orders.due(AGAIN_NS) == [(SHUTTER, 1)]


def test_a_refusal_is_told_until_the_order_is_accepted(orders: Orders) -> None:
    orders.hear(2000, 100, DENIED, 1)
    assert orders.refused == "the shutter was refused (result 2)"
    assert orders.due(AGAIN_NS) == []
    orders.begin(SHUTTER, 2)
    orders.hear(2000, 100, ACCEPTED, 3)
    assert orders.refused == ""


def test_what_is_being_done_is_not_hurried_and_what_is_rejected_for_now_is_tried_again(orders: Orders) -> None:
    orders.hear(2000, 100, IN_PROGRESS, AGAIN_NS - 1)
    assert orders.due(AGAIN_NS) == []
    orders.hear(2000, 100, REJECTED_FOR_NOW, AGAIN_NS)
    assert orders.due(2 * AGAIN_NS) == [(SHUTTER, 1)]
