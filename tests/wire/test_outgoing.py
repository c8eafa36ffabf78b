"""What waits to go out: messages are whole, nothing but orders waits, and orders keep their order."""

from hypothesis import given
from hypothesis import strategies as st

from sequencer.wire.outgoing import MOST_URGENT, Outgoing


def test_a_message_that_has_begun_keeps_others_from_beginning() -> None:
    out = Outgoing()
    assert out.begin(b"first")
    out.taken(2)
    assert not out.begin(b"second")
    assert (out.tail, out.waiting) == (b"rst", 3)
    out.taken(3)
    assert out.begin(b"third")


def test_what_is_urgent_comes_after_what_has_begun_and_before_all_else() -> None:
    out = Outgoing()
    out.begin(b"first")
    assert out.urgent(b"ask")
    assert not out.begin_urgent()
    out.taken(5)
    assert not out.begin(b"second")
    assert out.hurried
    assert out.begin_urgent()
    assert out.tail == b"ask"
    out.taken(3)
    assert out.waiting == 0
    assert not out.begin_urgent()


def test_a_stop_clears_the_orders_before_it_but_not_the_message_that_has_begun() -> None:
    out = Outgoing()
    out.begin(b"first")
    out.taken(1)
    out.urgent(b"ask")
    out.urgent(b"stop", clears=True)
    out.urgent(b"stop", clears=True)
    out.urgent(b"ask")
    out.urgent(b"ask")
    assert out.waiting == len(b"irst" + b"stop" + b"ask")


def test_a_stop_has_room_and_is_not_pushed_out() -> None:
    out = Outgoing()
    for number in range(MOST_URGENT):
        assert out.urgent(b"%d" % number)
    assert not out.urgent(b"one more")
    assert out.urgent(b"stop", clears=True)
    for number in range(2 * MOST_URGENT):
        out.urgent(b"%d" % number)
    assert out.begin_urgent()
    assert out.tail == b"stop"


STEPS = st.lists(
    st.tuples(st.sampled_from(["set", "order", "stop", "take"]), st.integers(1, 9)),
    max_size=80,
)


@given(STEPS)
def test_whatever_is_taken_when_what_goes_out_is_whole_messages_in_order(steps: list[tuple[str, int]]) -> None:
    out = Outgoing()
    went, begun, last = b"", 0, -1
    for number, (what, size) in enumerate(steps):
        message = b"%d%s;" % (number, what[:1].encode() * size)
        if what == "set":
            begun += out.begin(message)
        elif what == "take":
            out.begin_urgent()
            part = out.tail[:size]
            out.taken(len(part))
            went += part
        else:
            out.urgent(message, clears=what == "stop")
    went += out.tail
    out.taken(len(out.tail))
    while out.begin_urgent():
        went += out.tail
        out.taken(len(out.tail))
    sent = [one for one in went.split(b";") if one]
    for one in sent:
        number = int(one.rstrip(b"sot"))
        what, size = steps[number]
        assert one == b"%d%s" % (number, what[:1].encode() * size)
        assert number > last
        last = number
    assert sum(one.endswith(b"s") and steps[int(one.rstrip(b"s"))][0] == "set" for one in sent) == begun
