"""Quarter frames name places: any eight in a row, in both directions, at every rate and over every rollover."""

from itertools import islice

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.sync.address import Addresses, carried, mtc_rate, running, standing
from sequencer.timebase.rate import RATES, Rate
from sequencer.timebase.timecode import Counting, Timebase, Timecode, count, label, parse
from sequencer.wire.mtc import FullFrame, QuarterFrame, Reader
from tests.sync.master import COUNTINGS

names = st.sampled_from(sorted(COUNTINGS))


def solved(addresses: Addresses, newest: int, base: int, *, forward: bool) -> int | None:
    """Solve the eight pieces that end with the one that marks quarter `newest`."""
    values = [0] * 8
    for back in range(8):
        piece, value = addresses.at(newest - back if forward else newest + back, base)
        values[piece] = value
    return addresses.solve(tuple(values), (newest - base) % 8, forward=forward)


@given(names, st.integers(0, 4 * 24 * 3600 * 30), st.booleans(), st.sampled_from([0, 4]))
def test_any_eight_in_a_row_give_the_place(name: str, quarter: int, forward: bool, base: int) -> None:
    addresses = Addresses(COUNTINGS[name])
    quarter %= addresses.day
    found = solved(addresses, quarter, base, forward=forward)
    if found is None:
        assert name == "30 drop"
    else:
        assert found % addresses.day == quarter


def rollovers(counting: Counting) -> list[int]:
    """Return frames round each frame-nibble, second, minute, ten-minute and hour rollover, and midnight."""
    nominal, day = counting.rate.nominal, counting.day
    minute = nominal * 60 - counting.dropped
    edges = [nominal * second for second in range(1, 62)] + [16, 16 + nominal]
    edges += [int(counting.day * hour / 24) for hour in range(25)]
    edges += [day // 24 * 10 + minute * number + counting.dropped for number in range(1, 12)]
    return sorted({(edge + near) % day for edge in edges for near in range(-2, 4)})


@pytest.mark.parametrize("name", COUNTINGS)
def test_the_whole_day_by_strides_and_each_rollover(name: str) -> None:
    counting = COUNTINGS[name]
    addresses = Addresses(counting)
    strides = range(0, counting.day, 20_011)
    unclear = 0  # of the strided ones, which do not seek the edges
    for frame in [*strides, *rollovers(counting)]:
        for forward in (True, False):
            for piece in range(8):
                quarter = 4 * frame + piece
                found = solved(addresses, quarter, 4 * frame, forward=forward)
                if found is None:
                    assert name == "30 drop"
                    unclear += frame in strides
                    # at the edge of a minute with dropped labels two places may look alike, for four pieces at most
                    later = [quarter + (ahead if forward else -ahead) for ahead in range(1, 5)]
                    answers = [solved(addresses, after, 4 * frame, forward=forward) for after in later]
                    assert any(answer is not None for answer in answers)
                else:
                    assert (found - quarter) % addresses.day == 0
    assert unclear <= 0.003 * 16 * len(strides)


@given(names, st.integers(-200_000, 3_000_000), st.booleans())
def test_a_running_master_marks_every_quarter_with_latched_pieces(name: str, frame: int, backward: bool) -> None:
    counting = COUNTINGS[name]
    addresses = Addresses(counting)
    sent = list(islice(running(counting, frame, backward=backward), 16))
    step = -1 if backward else 1
    assert [quarter - sent[0][0] for quarter, _ in sent] == [step * index for index in range(16)]
    assert sent[0][0] == (4 * frame - 1 if backward else 4 * frame)
    for quarter, data in sent:
        (message,) = Reader().feed(data)
        assert isinstance(message, QuarterFrame)
        coded = (quarter - message.piece) // 4
        # pieces 0 and 4 fall on frame starts, and all eight tell the moment of piece 0
        assert (quarter - message.piece) % 4 == 0
        assert addresses.pieces(coded)[message.piece] == message.value


def test_backward_pieces_come_last_first() -> None:
    # Source: MIDI Time Code specification: in reverse the pieces are sent 7 to 0, piece 0 still at the coded moment
    counting = COUNTINGS["30"]
    frame = int(count(parse("01:37:52:18", counting), counting))
    sent = list(islice(running(counting, frame, backward=True), 8))
    assert b"".join(data for _, data in sent) == bytes.fromhex("F176 F161 F152 F145 F133 F124 F111 F100")
    assert sent[-1][0] == 4 * (frame - 2)


def test_a_stream_begun_on_an_even_frame_stays_on_even_labels_over_dropped_ones() -> None:
    counting = COUNTINGS["30 drop"]
    addresses = Addresses(counting)
    frame = int(count(parse("10:00:59;28", counting), counting))
    assert addresses.address(frame + 2)[1:] == (10, 1, 0, 2)


@pytest.mark.parametrize("name", COUNTINGS)
def test_a_full_frame_names_its_frame(name: str) -> None:
    counting = COUNTINGS[name]
    addresses = Addresses(counting)
    for frame in (0, 1, counting.day - 1, counting.day // 3):
        (message,) = Reader().feed(standing(counting, frame))
        assert isinstance(message, FullFrame)
        assert addresses.frame(message.address) == frame


def test_labels_that_do_not_exist_are_no_address() -> None:
    addresses = Addresses(COUNTINGS["30 drop"])
    there = addresses.address(4321)
    assert addresses.frame(there._replace(rate=3)) is None
    assert addresses.frame(there._replace(minutes=1, seconds=0, frames=1)) is None
    assert addresses.frame(there._replace(seconds=61)) is None
    assert addresses.frame(there._replace(frames=30)) is None


def test_rates_travel_under_their_codes() -> None:
    codes = {Counting(Rate(24000, 1001)): 0, Counting(Rate(24)): 0, Counting(Rate(25)): 1, Counting(Rate(30)): 3}
    codes |= {Counting(Rate(30000, 1001), drop=True): 2, Counting(Rate(30000, 1001)): 3}
    for counting, code in codes.items():
        assert mtc_rate(counting) == code


@given(st.sampled_from(["48", "50", "60", "60000/1001", "60000/1001 drop"]), st.integers(0, 5_183_999))
def test_pairs_of_frames_carry_the_same_instants_and_labels(name: str, frame: int) -> None:
    ours = Counting(RATES[name.removesuffix(" drop")], drop="drop" in name)
    frame %= ours.day
    theirs = carried(Timebase(ours, label(frame, ours)))
    assert theirs.rate.seconds(theirs.counting.day) == ours.rate.seconds(ours.day)
    assert theirs.rate.seconds(count(theirs.start, theirs.counting)) == ours.rate.seconds(frame)
    said, meant = theirs.start, label(frame, ours)
    assert (said.hours, said.minutes, said.seconds) == (meant.hours, meant.minutes, meant.seconds)
    assert 2 * (said.frames + said.part) == meant.frames


def test_rates_that_midi_timecode_knows_are_carried_as_they_are() -> None:
    base = Timebase(Counting(Rate(25)), Timecode(10, 0, 0, 0))
    assert carried(base) is base


@pytest.mark.parametrize(("rate", "mend"), [("48", "24"), ("50", "25"), ("60000/1001", "30"), ("60", "30")])
def test_rates_that_cannot_be_carried_say_so(rate: str, mend: str) -> None:
    numbers = [int(part) for part in rate.split("/")]
    with pytest.raises(ValueError, match=rf"^{rate} frames a second cannot be carried.*to {mend} or sync by another"):
        mtc_rate(Counting(Rate(*numbers)))
