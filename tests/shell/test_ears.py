"""Who hears what: time goes to the follower, orders to the agenda, and time at another port is told of once."""

from dataclasses import dataclass, field

from pythonosc.osc_message_builder import OscMessageBuilder

from sequencer.adapters.contract import Chunk
from sequencer.shell.ears import Ears
from sequencer.sync.mtc import mtc_follower
from sequencer.sync.orders import StartClock, StopClock, StopRig
from sequencer.sync.osc_orders import OscOrders
from sequencer.sync.pace import AT_ONCE
from sequencer.sync.reading import Lock
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timebase, Timecode
from sequencer.wire.osc import command
from tests.sync.master import chance, run

COUNTING = Counting(Rate(25))
TIMEBASE = Timebase(COUNTING, Timecode(10, 0, 0, 0))


@dataclass
class Line:
    """A source with what it has to say, and what it tells of itself."""

    chunks: list[Chunk] = field(default_factory=list)
    told: tuple[str, ...] = ()
    address: str = "midi:Line"

    def fileno(self) -> int | None:
        return None

    def notices(self) -> tuple[str, ...]:
        told, self.told = self.told, ()
        return told

    def read(self, heard_ns: int) -> tuple[Chunk, ...]:
        chunks, self.chunks = tuple(self.chunks), []
        return chunks


def ears(line: Line) -> Ears:
    return Ears(
        sources=(line,),
        follower=mtc_follower(TIMEBASE),
        time_port=0,
        readers={1: OscOrders(TIMEBASE)},
        addresses=("midi:Desk", "osc:9001", "midi:Other"),
    )


def timecode(port: int) -> list[Chunk]:
    return [Chunk(sent.at_ns, sent.data, port) for sent in run(COUNTING, 900_000, 2.0, chance(1))]


def test_timecode_at_the_first_port_is_followed() -> None:
    chunks = timecode(0)
    one = ears(Line(chunks))
    one.hear(0)
    assert one.follower.at(chunks[-1].stamp_ns).lock is Lock.LOCKED


def test_timecode_at_another_port_is_told_once_and_does_not_steer() -> None:
    line = Line(timecode(2))
    one = ears(line)
    told = one.hear(0)
    (words,) = told
    assert words.startswith("timecode also comes in at midi:Other; it is not followed. To follow it, name it first")
    line.chunks = timecode(2)
    assert one.hear(0) == []
    assert one.follower.at(10**12).lock is Lock.WAITING
    assert one.follower.counts.quarter_frames == 0


def test_orders_and_notes_are_not_taken_for_timecode() -> None:
    one = ears(Line([Chunk(1, b"\xf1 no OSC at all", 1), Chunk(2, b"", 2), Chunk(3, b"\x90\x24\x64", 2)]))
    assert one.hear(4) == []


def test_an_order_waits_for_its_stamp() -> None:
    one = ears(Line([Chunk(5_000_000_000, command("/run/start"), 1)]))
    one.hear(4_000_000_000)
    assert one.due(4_999_999_999) == ()
    (due,) = one.due(5_000_000_000)
    assert (due.at_ns, due.order) == (5_000_000_000, StartClock())
    assert "/run/start" in due.by


def test_what_a_reader_cannot_understand_is_told() -> None:
    locate = OscMessageBuilder("/run/locate")
    locate.add_arg(7)
    one = ears(Line([Chunk(1, locate.build().dgram, 1)]))
    one.hear(2)
    assert one.due(10**12) == ()
    assert any("/run/locate" in words for words in one.troubles())


def test_what_happens_to_a_link_is_told() -> None:
    assert ears(Line(told=("the sender has gone",))).hear(0) == ["the sender has gone"]


def test_what_was_heard_is_told_in_numbers() -> None:
    line = Line([*timecode(0), Chunk(1, command("/run/start"), 1), Chunk(2, b"nothing of ours", 1)])
    one = ears(line)
    assert one.heard() == ""
    one.hear(3)
    assert one.heard() == "MTC, 25 frames a second: 201 quarter frames; osc:9001: 1 orders, 1 not understood"


def test_a_flood_of_orders_is_bounded_told_once_and_counted_and_a_stop_is_not_in_it() -> None:
    line = Line([Chunk(number, command("/run/start"), 1) for number in range(1_000)])
    line.chunks.append(Chunk(2_000, command("/stop"), 1))
    line.chunks.append(Chunk(2_001, command("/run/stop"), 1))
    one = ears(line)
    one.hear(3_000)
    orders = [due.order for due in one.due(3_000)]
    assert orders == [StopRig(), *[StartClock()] * AT_ONCE, StopClock()]
    assert "osc:9001: 980 orders too fast to be obeyed" in one.heard()
    assert one.troubles()[0].startswith("more orders arrive at osc:9001 than a show sends")
