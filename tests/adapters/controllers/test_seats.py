"""Which number a pad has."""

import pytest

from sequencer.adapters.pad_ports.seats import MOST, Identity, Seats


def seated(*pads: Identity) -> Seats:
    seats = Seats()
    for number, pad in enumerate(pads):
        assert seats.take(pad) == (number, False)
    return seats


@pytest.mark.parametrize(
    ("back", "number"),
    [
        # by its serial, wherever it is plugged in
        (Identity("a", "S2", "front"), 1),
        # without serials, by its socket
        (Identity("b", "", "left"), 3),
        # a new socket: the first of its model that is away
        (Identity("b", "", "lid"), 2),
        # another serial is another pad
        (Identity("a", "S9", "front"), 4),
        # so is another model in the same socket
        (Identity("c", "", "left"), 4),
        # one that tells no serial is not one that did
        (Identity("a", "", "front"), 4),
    ],
)
def test_a_pad_that_comes_back_has_its_number(back: Identity, number: int) -> None:
    seats = seated(
        Identity("a", "S1", "front"), Identity("a", "S2", "back"), Identity("b", "", "right"), Identity("b", "", "left")
    )
    for one in range(4):
        seats.leave(one)
    assert seats.take(back) == (number, number < 4)


def test_a_number_that_is_here_is_never_given_twice() -> None:
    pad = Identity("a", "S1", "front")
    seats = seated(pad, pad)
    seats.leave(1)
    assert seats.take(pad) == (1, True)
    assert seats.take(pad) == (2, False)


def test_numbers_that_a_row_cannot_tell_are_not_given() -> None:
    seats = seated(*(Identity(str(number)) for number in range(MOST)))
    assert seats.take(Identity("one more")) is None
    seats.leave(7)
    assert seats.take(Identity("one more")) == (7, False)
    seats.leave(7)
    # who sits there now is who comes back
    assert seats.take(Identity("7")) == (7, False)
    seats.leave(7)
    assert seats.take(Identity("7")) == (7, True)
