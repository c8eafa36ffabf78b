"""The serial line on a clock and a port of the test's own, then on a terminal of the system."""

import errno
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.adapters.serial_ports.line import AHEAD_NS, SerialLine, open_line
from sequencer.adapters.serial_ports.ports import Control
from sequencer.errors import LinkError
from tests.adapters.terminal import arrived, terminal

MS_NS = 1_000_000
SECOND_NS = 1_000 * MS_NS
BAUD = 115_200


class Scripted:
    """A port that takes `room` bytes, and says that it holds `held`."""

    def __init__(self) -> None:
        self.room, self.held = 1_000_000, 0
        self.went = b""
        self.up: list[tuple[str, bool]] = []
        self.fault: OSError | None = None
        self.now_ns = 7 * SECOND_NS

    def fileno(self) -> int | None:
        return None

    def write(self, data: bytes) -> int:
        self._fail()
        taken = data[: self.room]
        self.went += taken
        self.room -= len(taken)
        return len(taken)

    def read(self) -> bytes:
        self._fail()
        return b"heard"

    def pending(self) -> int:
        return self.held

    def control(self, line: Control, up: bool) -> None:
        self._fail()
        self.up.append((line, up))

    def close(self) -> None:
        pass

    def _fail(self) -> None:
        if self.fault is not None:
            raise self.fault


def lined(baud: int = BAUD) -> tuple[Scripted, SerialLine]:
    port = Scripted()
    return port, SerialLine(port, "/dev/quay", baud, lambda: port.now_ns)


def test_no_more_is_written_than_ten_bits_a_byte_allow() -> None:
    # a start bit, eight bits of data, one stop bit: common practice of asynchronous lines, no source
    port, line = lined()
    message = b"x" * 149
    for _ in range(5 * 250):
        line.write(message)
        port.now_ns += 4 * MS_NS
    carried = 5 * BAUD / 10
    assert carried - len(message) < len(port.went) <= carried + len(message)
    assert line.dropped == 5 * 250 - len(port.went) // len(message)


def test_the_next_begins_so_early_that_the_wire_does_not_rest_and_no_earlier() -> None:
    port, line = lined()
    assert line.write(b"x" * 144)  # 12.5 ms
    port.now_ns += 12_500_000 - AHEAD_NS - 1
    assert not line.write(b"y")
    port.now_ns += 1
    assert line.write(b"y")


def test_a_rest_is_no_credit() -> None:
    port, line = lined()
    port.now_ns += 60 * SECOND_NS
    assert line.write(b"x" * 144)
    assert not line.write(b"y" * 144)


def test_a_driver_that_still_holds_bytes_is_written_nothing_new() -> None:
    port, line = lined()
    assert line.write(b"first")
    port.now_ns += SECOND_NS
    port.held = 400
    assert not line.write(b"second")
    line.urgent(b"stop")
    assert port.went == b"first"
    port.held = 0
    line.go_on()
    assert port.went == b"firststop"


def test_the_rest_of_a_message_goes_out_before_the_next() -> None:
    port, line = lined()
    port.room = 3
    assert line.write(b"first")
    assert line.waiting == 2
    port.now_ns += SECOND_NS
    assert not line.write(b"second")
    assert port.went == b"fir"
    port.room = 100
    assert line.read() == b"heard"
    assert port.went == b"first"
    port.now_ns += SECOND_NS
    assert line.write(b"third")
    assert port.went == b"firstthird"


def test_of_a_message_that_found_no_room_at_all_nothing_is_kept() -> None:
    port, line = lined()
    port.room = 0
    assert not line.write(b"old")
    assert line.waiting == 0
    port.room = 100
    assert line.write(b"new")
    assert port.went == b"new"


def test_a_stop_goes_out_next_after_what_has_begun() -> None:
    port, line = lined()
    port.room = 3
    line.write(b"first")
    assert line.urgent(b"ask")
    assert line.urgent(b"stop", clears=True)
    port.room = 100
    port.now_ns += SECOND_NS
    line.go_on()
    assert port.went == b"firststop"


def test_a_stop_waits_for_what_has_begun_on_the_wire_and_no_longer() -> None:
    port, line = lined()
    line.write(b"x" * 1152)  # 100 ms
    line.urgent(b"stop")
    begun_ns = port.now_ns
    while b"stop" not in port.went:
        port.now_ns += MS_NS
        assert not line.write(b"newer")
    assert port.now_ns - begun_ns == 100 * MS_NS - AHEAD_NS


@pytest.mark.parametrize(
    "method",
    [
        lambda line: line.write(b"x"),
        lambda line: line.urgent(b"x"),
        lambda line: line.read(),
    ],
)
@pytest.mark.parametrize("number", [errno.EIO, errno.ENXIO, errno.ENODEV, errno.EBADF])
def test_a_port_that_went_away_is_named_with_the_mend(method: Callable[[SerialLine], object], number: int) -> None:
    port, line = lined()
    port.fault = OSError(number, "as the test wants it")
    with pytest.raises(LinkError, match=r"serial port /dev/quay is gone .*plug it in again"):
        method(line)
    assert line.gone


@given(
    st.lists(
        st.tuples(
            st.sampled_from(["set", "order", "stop", "tick"]), st.integers(0, 40), st.integers(0, 60), st.booleans()
        ),
        max_size=60,
    )
)
def test_whatever_the_port_takes_only_whole_messages_go_out(steps: list[tuple[str, int, int, bool]]) -> None:
    port, line = lined(9600)
    for number, (what, room, later_ms, holds) in enumerate(steps):
        port.room, port.held = room, 100 * holds
        message = b"<%d %s>" % (number, b"s" * (number % 9))
        if what == "set":
            line.write(message)
        elif what == "tick":
            line.go_on()
        else:
            line.urgent(message, clears=what == "stop")
        port.now_ns += later_ms * MS_NS
    port.room, port.held = 1_000_000, 0
    for _ in range(100):
        port.now_ns += SECOND_NS
        line.go_on()
    assert line.waiting == 0
    went = port.went.replace(b">", b">\n").splitlines()
    assert went == sorted(went, key=lambda one: int(one[1:].split()[0]))
    for one in went:
        number = int(one[1:].split()[0])
        assert one == b"<%d %s>" % (number, b"s" * (number % 9))


def test_leaving_finishes_what_has_begun_and_what_is_urgent() -> None:
    with terminal() as board, open_line(board.path, BAUD) as line:
        line.write(b"x" * 200)
        line.urgent(b"stop")
        assert line.waiting
        line.finish()
        assert board.hear(204) == b"x" * 200 + b"stop"


def test_leaving_a_line_that_has_stalled_for_long_waits_for_nothing() -> None:
    port, line = lined()
    line.write(b"x" * 100)
    port.room, port.held = 0, 100
    for _ in range(50):
        port.now_ns += 4 * MS_NS
        line.urgent(b"stop")
    assert line.waiting
    line.finish()  # on this clock waiting would have no end


def test_a_line_carries_every_byte_both_ways_unchanged() -> None:
    every = bytes(range(256))
    with terminal() as board, open_line(board.path, 1_000_000) as line:
        assert line.write(every)
        assert board.hear(256) == every
        assert line.read() == b""
        board.say(every)
        heard = b""
        while len(heard) < len(every):
            arrived(line.fileno())
            heard += line.read()
        assert heard == every


def test_a_board_that_does_not_read_never_makes_the_line_wait() -> None:
    # 40 MBaud, so that the pace stays out of the way and the system's buffer fills
    with terminal() as board, open_line(board.path, 40_000_000) as line:
        messages = [b"<%06d>" % number * 20 for number in range(3000)]
        sent = [message for message in messages if line.write(message)]
        assert line.dropped > 1000
        heard = b""
        while more := board.hear(1, 0.05):
            heard += more
            line.go_on()
        assert heard == b"".join(sent)


def test_a_cable_that_is_pulled_in_mid_run() -> None:
    with terminal() as board, open_line(board.path, BAUD) as line:
        assert line.write(b"x")
        board.unplug()
        with pytest.raises(LinkError, match=r"is gone .*plug it in again"):
            line.read()
        with pytest.raises(LinkError, match=board.path):
            line.urgent(b"stop")


def test_a_closed_line_writes_nowhere() -> None:
    with terminal() as board:
        with open_line(board.path, BAUD) as line:
            pass
        with pytest.raises(LinkError, match="is gone"):
            line.write(b"x")
        # the next may have it
        with open_line(board.path, BAUD) as line:
            assert line.write(b"y")
