"""The output over streaming ACN, to sockets of our own, read by the library `sacn`."""

import errno
import socket
from contextlib import suppress
from typing import cast

import numpy as np
import pytest
from sacn.messages.data_packet import DataPacket
from sacn.messages.sync_packet import SyncPacket
from sacn.messages.universe_discovery import UniverseDiscoveryPacket

from sequencer.adapters.contract import Output
from sequencer.adapters.datagrams import Datagrams
from sequencer.adapters.outputs.sacn import SacnOutput, parse_address
from sequencer.errors import LinkError
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.signals import Setpoint, Trigger
from sequencer.shell.kinds import open_output, output_kind
from sequencer.wire.sacn import REPEAT_NS, Place
from tests.adapters.hearing import LOOPBACK, hearing, hearing_group, waiting

MS_NS = 1_000_000
SECOND_NS = 1_000 * MS_NS
TICK_NS = 4 * MS_NS
RIG = Rig(
    name="quay",
    axes=(
        Axis(name="pan", kind="pan", unit="deg", travel=(-170, 170), speed=60, acceleration=120, jerk=600),
        Axis(name="wheel", kind="roll", unit="deg", travel=None, speed=60, acceleration=120, jerk=600),
    ),
)
AXES = "pan=1&wheel=3.24:-720..720"


def setpoint(pan: float, wheel: float = 0.0) -> Setpoint:
    return Setpoint(0, np.array([pan, wheel]), np.zeros(2))


def read(packet: bytes) -> DataPacket:
    """Read a packet with the library."""
    return DataPacket.make_data_packet(tuple(packet))


def address(port: socket.socket, options: str = AXES, universe: int = 7) -> str:
    return f"sacn://{LOOPBACK}:{port.getsockname()[1]}/{universe}?{options}"


def look(output: Output, begin_ns: int, end_ns: int) -> None:
    """Look at every tick, as the engine does."""
    for now_ns in range(begin_ns, end_ns, TICK_NS):
        output.look(now_ns)


@pytest.mark.parametrize(
    ("text", "host", "port", "universe"),
    [
        (f"sacn://192.0.2.10/1?{AXES}", "192.0.2.10", 5568, 1),
        (f"sacn://rig.local:5570/63999/?{AXES}", "rig.local", 5570, 63_999),
        (f"sacn://[::1]/2?{AXES}", "::1", 5568, 2),
        (f"sacn:300?{AXES}", "", 5568, 300),
    ],
)
def test_addresses(text: str, host: str, port: int, universe: int) -> None:
    where = parse_address(text, RIG)
    assert (where.host, where.port, where.universe) == (host, port, universe)
    assert where.places == (Place(1, 16, -170, 170), Place(3, 24, -720, 720))
    assert (where.priority, where.sync, where.release, where.name) == (100, 0, True, "twintake quay")


def test_options_of_an_address() -> None:
    where = parse_address(
        "sacn:1?bits=8&pan=512&wheel=5:90..-.5&priority=0&sync=9&release=no&name=the%20quay&by=192.0.2.1", RIG
    )
    assert where.places == (Place(512, 8, -170, 170), Place(5, 8, 90, -0.5))
    assert (where.priority, where.sync, where.release) == (0, 9, False)
    assert (where.name, where.by) == ("the quay", "192.0.2.1")


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("sacn:", "has the universe none"),
        ("sacn:0", "from 1 to 63999"),
        ("sacn:64000", "from 1 to 63999"),
        ("sacn:64214", "from 1 to 63999"),
        ("sacn:one", "from 1 to 63999"),
        ("sacn://192.0.2.10", "no host and universe"),
        ("sacn:///1", "no host and universe"),
        ("sacn://192.0.2.10:99999/1", "port 99999"),
        ("sacn:1?pan=1", "no slot to the axis wheel; add wheel=SLOT"),
        ("sacn:1?wheel=3:0..1", "no slot to the axis pan"),
        ("sacn:1?pan=1&wheel=3", "wheel span, which has no travel"),
        ("sacn:1?pan=0&wheel=3:0..1", "slots are 1 to 512"),
        ("sacn:1?pan=512&wheel=3:0..1", "pan in slot 512 over 16 bits"),
        ("sacn:1?pan=511.24&wheel=3:0..1", "pan in slot 511 over 24 bits"),
        ("sacn:1?pan=1.12&wheel=3:0..1", "must be a slot"),
        ("sacn:1?pan=left&wheel=3:0..1", "must be a slot"),
        ("sacn:1?pan=1:5&wheel=3:0..1", "must be a slot"),
        ("sacn:1?pan=1:5..nan&wheel=3:0..1", "must be a slot"),
        ("sacn:1?pan=1:..5&wheel=3:0..1", "must be a slot"),
        ("sacn:1?pan=1:5..5&wheel=3:0..1", "span nothing"),
        ("sacn:1?pan=1&wheel=2:0..1", "pan and wheel both in slot 2"),
        ("sacn:1?pan=5&wheel=4.24:0..1", "pan and wheel both in slot 5"),
        (f"sacn:1?{AXES}&priority=201", "priority=201"),
        (f"sacn:1?{AXES}&bits=12", "bits=12"),
        (f"sacn:1?{AXES}&sync=64000", "sync=64000"),
        (f"sacn:1?{AXES}&release=perhaps", "release=perhaps"),
        (f"sacn:1?{AXES}&tilt=9", "has the option tilt"),
        (f"sacn://192.0.2.10/1?{AXES}&by=192.0.2.1", "for a universe's group only"),
    ],
)
def test_an_address_that_is_none_says_what_is_wrong_and_how_to_write_it(text: str, what: str) -> None:
    with pytest.raises(LinkError, match=what) as fault:
        output_kind("sacn:").carries(text, RIG)
    assert "write it as sacn://192.0.2.10/1?pan=1&tilt=3" in str(fault.value)


def test_an_axis_called_like_an_option_must_be_called_otherwise() -> None:
    rig = Rig(
        name="quay",
        axes=(Axis(name="sync", kind="pan", unit="deg", travel=(0, 1), speed=1, acceleration=1, jerk=1),),
    )
    with pytest.raises(LinkError, match="axis called sync"):
        parse_address("sacn:1?sync=1", rig)


def test_what_it_carries_is_known_before_it_is_opened() -> None:
    carries = output_kind("sacn:").carries(f"sacn:1?{AXES}", RIG)
    assert carries.most_hz == 44
    assert carries.span == ((-170, 170), (-720, 720))
    assert carries.resolution == pytest.approx((340 / 65_535, 1440 / 16_777_215))
    assert carries.ahead_s == 0
    assert carries.triggers == ()


def test_a_setpoint_is_one_packet_with_axes_in_their_slots() -> None:
    """Source: E1.31, section 6.2; the library reads it."""
    with hearing() as port, open_output(address(port, AXES + "&priority=150&name=quay"), RIG) as output:
        output.send(setpoint(170.0, -720.0))
        output.send(setpoint(-170.0, 720.0))
        first, second = map(read, waiting(port))
    assert (first.universe, first.priority, first.sourceName, first.syncAddr) == (7, 150, "quay", 0)
    assert first.dmxData[:6] == (255, 255, 0, 0, 0, 0)
    assert second.dmxData[:6] == (0, 0, 255, 255, 255, 0)
    assert (first.sequence, second.sequence) == (0, 1)
    assert not first.option_PreviewData
    assert not first.option_StreamTerminated


def test_a_stream_is_the_same_source_when_it_is_opened_anew_and_another_universe_is_not() -> None:
    """Source: E1.31, section 5.6: a component keeps its CID."""
    heard = []
    with hearing() as port:
        for universe, options in ((7, AXES), (7, AXES + "&priority=9"), (8, AXES)):
            with open_output(address(port, options, universe), RIG) as output:
                output.send(setpoint(1.0))
                heard.append(read(waiting(port)[-1]).cid)
    assert heard[0] == heard[1] != heard[2]


def test_sequence_numbers_count_every_packet_and_wrap() -> None:
    """Source: E1.31, section 6.2.5."""
    with hearing() as port, open_output(address(port), RIG) as output:
        numbers = []
        for n in range(300):
            output.send(setpoint(n / 2))
            numbers += [read(packet).sequence for packet in waiting(port)]
    assert numbers == [n % 256 for n in range(300)]


def test_what_does_not_change_is_said_three_times_more_and_then_kept_alive() -> None:
    """Source: E1.31, section 6.6.2: three packets more, then one in 800 to 1000 ms, each with its own number."""
    with hearing() as port, open_output(address(port), RIG) as output:
        heard: list[tuple[int, DataPacket]] = []
        for now_ns in range(0, 5 * SECOND_NS, TICK_NS):
            output.send(setpoint(12.0))
            output.look(now_ns)
            heard += [(now_ns, read(packet)) for packet in waiting(port)]
    at = [now_ns for now_ns, _ in heard]
    apart = np.diff(at)
    assert (apart[:3] >= SECOND_NS / 44).all()  # section 6.6.1
    assert (apart[:3] <= 40 * MS_NS).all()
    assert len(apart) >= 7
    assert ((apart[3:] >= 800 * MS_NS) & (apart[3:] <= 1000 * MS_NS)).all()
    assert [packet.sequence for _, packet in heard] == list(range(len(heard)))
    assert len({packet.dmxData for _, packet in heard}) == 1


def test_a_change_goes_out_at_once_and_is_repeated_anew() -> None:
    with hearing() as port, open_output(address(port), RIG) as output:
        output.send(setpoint(12.0))
        look(output, 0, 2 * SECOND_NS)
        waiting(port)
        output.send(setpoint(13.0))
        assert len(waiting(port)) == 1
        look(output, 2 * SECOND_NS, 2 * SECOND_NS + 5 * REPEAT_NS)
        assert len(waiting(port)) == 3


def test_nothing_goes_out_before_the_first_setpoint() -> None:
    """All slots would say 0, and a rig would go there."""
    with hearing() as port:
        with open_output(address(port), RIG) as output:
            look(output, 0, 20 * SECOND_NS)
            output.ask()
            output.stop()
            output.here("pan", 3.0)
        assert waiting(port) == []


def test_a_stop_holds_the_last_look_and_goes_on_saying_it() -> None:
    with hearing() as port, open_output(address(port), RIG) as output:
        output.send(setpoint(12.0, 30.0))
        (before,) = map(read, waiting(port))
        output.stop()
        look(output, 0, 3 * SECOND_NS)
        after = list(map(read, waiting(port)))
    assert len(after) >= 6
    assert {packet.dmxData for packet in after} == {before.dmxData}
    assert not any(packet.option_StreamTerminated for packet in after)


def test_closing_says_three_times_that_the_stream_has_ended() -> None:
    """Source: E1.31, section 6.2.6."""
    with hearing() as port:
        with open_output(address(port), RIG) as output:
            output.send(setpoint(12.0))
        heard = list(map(read, waiting(port)))
    assert [packet.option_StreamTerminated for packet in heard] == [False, True, True, True]
    assert [packet.sequence for packet in heard] == [0, 1, 2, 3]


def test_a_stream_that_breaks_off_does_not_say_that_it_has_ended() -> None:
    with hearing() as port:
        with suppress(RuntimeError), open_output(address(port), RIG) as output:
            output.send(setpoint(12.0))
            raise RuntimeError("a bug in the tick")
        assert [read(packet).option_StreamTerminated for packet in waiting(port)] == [False]


def test_data_waits_for_a_synchronisation_packet_that_follows_it() -> None:
    """Source: E1.31, sections 6.2.4.1, 6.3 and 11.1; sequence numbers of both kinds have nothing in common (6.2.5)."""
    with hearing() as port:
        with open_output(address(port, AXES + "&sync=99"), RIG) as output:
            output.send(setpoint(12.0))
            output.send(setpoint(13.0))
            data, let_go, more, again = waiting(port)
        ended = list(map(read, waiting(port)))
    assert read(data).syncAddr == 99
    assert not read(data).option_ForceSync
    assert [read(data).sequence, read(more).sequence] == [0, 1]
    assert [(sync.syncAddr, sync.sequence) for sync in map(SyncPacket.make_sync_packet, (let_go, again))] == [
        (99, 0),
        (99, 1),
    ]
    assert [packet.option_StreamTerminated for packet in ended] == [True] * 3


def test_one_of_several_universes_lets_go_of_them_all() -> None:
    with hearing() as port, open_output(address(port, AXES + "&sync=99&release=no"), RIG) as output:
        output.send(setpoint(12.0))
        (data,) = waiting(port)
    assert read(data).syncAddr == 99


def test_a_universe_goes_to_its_group_with_its_synchronisation_and_is_listed() -> None:
    """Source: E1.31, sections 9.1.1 and 9.3.1 (group and port), 6.3.3.1 (synchronisation to its own group), 8.5, 12."""
    with (
        hearing_group("239.255.1.44", 5568) as data,
        hearing_group("239.255.1.45", 5568) as sync,
        hearing_group("239.255.250.214", 5568) as listed,  # E131_DISCOVERY_UNIVERSE, 64214
    ):
        with open_output(f"sacn:300?{AXES}&sync=301&by={LOOPBACK}", RIG) as output:
            look(output, 0, 20 * SECOND_NS)
            assert waiting(listed) == []  # it sends on none yet
            output.send(setpoint(12.0))
            assert read(waiting(data)[0]).universe == 300
            assert SyncPacket.make_sync_packet(waiting(sync)[0]).syncAddr == 301
            look(output, 0, 21 * SECOND_NS)
            lists = [UniverseDiscoveryPacket.make_universe_discovery_packet(packet) for packet in waiting(listed)]
        assert [one.universes for one in lists] == [(300, 301)] * 3
        assert [read(packet).option_StreamTerminated for packet in waiting(data)[-3:]] == [True] * 3


def test_it_has_no_triggers_no_answers_and_schedules_nothing() -> None:
    kind = output_kind("sacn:")
    assert (kind.answers, kind.drives, kind.at_end) == (False, True, "unknown")
    with hearing() as port, open_output(address(port), RIG) as output:
        assert output.fileno() is None
        assert output.read(0) == ()
        assert not output.fire(Trigger(0, "shutter"))
        with pytest.raises(AssertionError):
            output.replace(0)
        assert waiting(port) == []


def test_where_nobody_listens_it_says_so_and_goes_on() -> None:
    with hearing() as port:
        text = address(port)
    with open_output(text, RIG) as output:
        for n in range(5):
            output.send(setpoint(float(n)))
        assert "nothing listens at 127.0.0.1" in output.trouble()


def test_a_link_that_is_gone_is_a_fault_and_is_closed_in_silence() -> None:
    class Unplugged:
        def send(self, packet: bytes) -> int:
            raise OSError(errno.ENETDOWN, "Network is down")

    port = Datagrams(cast(socket.socket, Unplugged()), "192.0.2.10:5568")
    output = SacnOutput(port, parse_address(f"sacn://192.0.2.10/1?{AXES}", RIG), RIG)
    with pytest.raises(LinkError, match=r"192\.0\.2\.10:5568 any more: Network is down; check cable"):
        output.send(setpoint(1.0))
    output.terminate()
