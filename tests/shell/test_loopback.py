"""Loops: which message that is heard is which that was sent; and real ones by the pipe, JACK and a sound server."""

from collections.abc import Iterator

import pytest

from sequencer.errors import LinkError
from sequencer.shell.loopback import Matched, check_rate, measure
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting
from tests.jack import jack_server
from tests.needs import needs
from tests.pulse import pulse_server

MS = 1_000_000
PAL = Counting(Rate(25))
PIPE = "pipe:47171"


def message(number: int) -> bytes:
    """One of eight, as the pieces of an address that stands still."""
    return bytes((0xF1, number % 8 << 4))


def sent(matched: Matched, number: int) -> None:
    for one in range(number):
        matched.send(one * 10 * MS, message(one))


def test_each_message_is_found_and_its_delay() -> None:
    matched = Matched(lead_in_ns=0)
    sent(matched, 100)
    for one in range(100):
        matched.hear(one * 10 * MS + 3 * MS + one % 2 * MS, message(one))
    loop = matched.result("mtc", PAL)
    assert (loop.sent, loop.lost, loop.strange) == (100, 0, 0)
    assert loop.mean_ms == pytest.approx(3.5)
    assert loop.sd_ms == pytest.approx(0.5)
    assert loop.p99_ms == loop.latest_ms == pytest.approx(4.0)
    assert loop.frame_ms == 40


def test_what_is_lost_is_counted_and_spoils_no_delay() -> None:
    matched = Matched(lead_in_ns=0)
    sent(matched, 300)
    lost = {50, *range(100, 105), *range(290, 300)}
    for one in range(300):
        if one not in lost:
            matched.hear(one * 10 * MS + 45 * MS, message(one))
    loop = matched.result("mtc", PAL)
    assert (loop.sent, loop.lost, loop.strange) == (300, len(lost), 0)
    assert loop.sd_ms == pytest.approx(0, abs=1e-9)


def test_after_a_long_gap_the_loop_goes_on() -> None:
    matched = Matched(lead_in_ns=0)
    sent(matched, 400)
    for one in (*range(100), *range(250, 400)):
        matched.hear(one * 10 * MS + 2 * MS, message(one))
    loop = matched.result("mtc", PAL)
    # the pieces repeat after eight, so the gap's end shows as strange ones until what was lost is old
    assert loop.lost + loop.strange >= 150
    assert loop.sent == 400


def test_what_was_never_sent_is_strange() -> None:
    matched = Matched(lead_in_ns=0)
    sent(matched, 20)
    for one in range(20):
        matched.hear(one * 10 * MS + 2 * MS, message(one))
        matched.hear(one * 10 * MS + 3 * MS, b"\xf1\x7f")
    assert matched.result("mtc", PAL).strange == 20


def test_what_goes_out_before_the_first_comes_back_does_not_count() -> None:
    matched = Matched(lead_in_ns=100 * MS)
    for one in range(100):
        matched.send(one * 10 * MS, bytes((one,)))
    for one in range(30, 100):
        matched.hear(one * 10 * MS + (50 if one < 40 else 2) * MS, bytes((one,)))
    loop = matched.result("ltc", PAL)
    assert (loop.sent, loop.lost) == (60, 0)
    assert loop.latest_ms == pytest.approx(2.0)


def test_what_was_sent_too_late_is_left_out() -> None:
    matched = Matched(lead_in_ns=0)
    for one in range(40):
        matched.send(one * 10 * MS, message(one), in_time=one % 10 != 9)
    for one in range(40):
        if one != 19:
            matched.hear(one * 10 * MS + (9 if one % 10 == 9 else 2) * MS, message(one))
    loop = matched.result("mtc", PAL)
    assert (loop.sent, loop.lost, loop.held_up) == (36, 0, 4)
    assert loop.latest_ms == pytest.approx(2.0)


@pytest.mark.parametrize(("strange", "words"), [(False, "join the output to the input"), (True, "nobody else send")])
def test_a_loop_that_is_open_is_named(strange: bool, words: str) -> None:
    matched = Matched(lead_in_ns=0)
    sent(matched, 20)
    if strange:
        matched.hear(100 * MS, b"\xf1\x7f")
    with pytest.raises(LinkError, match=words):
        matched.result("mtc", PAL)


@pytest.mark.parametrize(("out", "rate"), [("pipe:1", 50), ("ltc:quay", 60), ("midi:quay", 48)])
def test_a_rate_that_cannot_be_carried_is_refused(out: str, rate: int) -> None:
    with pytest.raises(ValueError, match="frames a second"):
        check_rate(out, Counting(Rate(rate)))


def test_an_output_that_is_none_is_refused() -> None:
    with pytest.raises(LinkError, match=r"must begin with pipe: or .* or ltc:"):
        measure("osc:9000", "pipe:0", PAL, 1.0)


@pytest.mark.real_time
def test_a_loop_through_the_pipe() -> None:
    loop = measure(PIPE, PIPE, PAL, 1.0)
    assert (loop.lost, loop.strange, loop.held_up) == (0, 0, 0)
    assert 95 <= loop.sent <= 102
    assert loop.mean_ms > 0


@pytest.fixture
def server() -> Iterator[dict[str, str]]:
    needs("jackd")
    pytest.importorskip("jack")
    with jack_server(frames=1024) as variables:
        yield variables


@pytest.mark.real_time
@pytest.mark.parametrize(("out", "into"), [("virtual:loop", "midi:loop"), ("midi:inlet", "virtual:inlet")])
def test_a_loop_inside_jack(server: dict[str, str], out: str, into: str) -> None:
    loop = measure(out, into, PAL, 1.0)
    assert loop.strange == 0
    assert loop.lost <= 0.1 * loop.sent
    assert loop.sent + loop.held_up >= 95
    # far from any second or clock taken for another
    assert -0.05 < loop.mean_ms / 1000 < 1


@pytest.mark.real_time
def test_a_loop_through_a_sound_server() -> None:
    needs("pulseaudio")
    with pulse_server():
        loop = measure("ltc:quay", "ltc:quay_heard", PAL, 1.5)
    assert loop.source == "ltc"
    assert loop.strange == 0
    assert loop.sent - loop.lost >= 30
    assert -0.1 < loop.mean_ms / 1000 < 0.5
