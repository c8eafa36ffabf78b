"""The device output against a scripted device: what goes out, when, and what becomes of what comes in."""

import math
import struct

import numpy as np
import pytest

from sequencer.adapters.contract import LinkState
from sequencer.rig.signals import Setpoint, Trigger
from sequencer.wire.device import NUMBERS, device_ns
from sequencer.wire.osc import Numbers, command
from tests.adapters.device_desk import AHEAD_NS, FIRST, TICK_NS, Desk
from tests.adapters.device_script import MS_NS, SECOND_NS


def test_it_asks_who_is_there_and_withholds_sets_until_the_clock_is_known() -> None:
    desk = Desk(answers_time=False)
    desk.sends = True
    desk.tick(1.0)
    assert desk.output.able is not None
    assert desk.output.able.axes == ("pan", "tilt")
    assert desk.device.sets == {}
    assert desk.output.withheld == 250
    assert "not known well enough" in desk.output.trouble()
    desk.device.answers_time = True
    desk.tick(0.5)
    assert desk.device.sets
    assert desk.output.trouble() == ""


def test_before_the_device_has_answered_that_is_said() -> None:
    desk = Desk()
    assert "no device has answered at the test" in desk.output.trouble()
    desk.output.look(desk.time.now_ns)
    assert desk.output.link(desk.time.now_ns) == LinkState(None, None)


def test_a_set_is_due_at_its_instant_on_the_devices_clock() -> None:
    desk = Desk().meet()
    desk.send()
    desk.tick()
    (messages,) = desk.device.sets.values()
    assert [one.address for one in messages] == [
        "/plan/number",
        "/rig/pan/position",
        "/rig/tilt/position",
        "/rig/pan/speed",
        "/rig/tilt/speed",
    ]
    assert [one.arguments for one in messages] == [(FIRST,), (1.5,), (-2.0,), (3.0,), (0.25,)]
    assert abs(desk.device.due_ns(FIRST) - (desk.time.now_ns - TICK_NS + AHEAD_NS)) < 20_000


def test_questions_about_the_time_come_fast_at_first_and_ten_a_second_once_it_is_known() -> None:
    desk = Desk()
    desk.tick(0.4)
    assert desk.device.count("/device/time") >= 25
    desk.tick(3.0)
    before = desk.device.count("/device/time")
    desk.tick(2.0)
    assert 18 <= desk.device.count("/device/time") - before <= 20
    assert desk.output.clock.error_s(desk.time.now_ns) <= 1e-4


def test_a_packet_that_comes_while_others_are_read_is_not_taken_to_be_faster_than_the_link() -> None:
    desk = Desk()
    begun_ns = desk.time.now_ns
    while desk.time.now_ns < begun_ns + SECOND_NS:
        desk.time.now_ns += MS_NS
        desk.link.carry()
        # the caller looked at its clock, and was held up before it read
        desk.output.read(desk.time.now_ns - 4 * MS_NS)
        desk.output.look(desk.time.now_ns)
    assert abs(desk.output.clock.device_ns(desk.time.now_ns) - desk.time.there_ns) <= MS_NS // 10
    assert desk.output.clock.round_trip_s == pytest.approx(0.002)
    assert desk.output.clock.nonsense == 0


def test_what_a_device_is_sent_before_it_listens_is_not_waited_for() -> None:
    desk = Desk()
    desk.sends = True
    desk.tick(2.0)
    assert desk.device.sets
    assert len(desk.output.unheard) == 0


def test_numbers_count_up_and_wrap() -> None:
    desk = Desk(number=NUMBERS - 1).meet()
    desk.sends = True
    desk.tick(3 * TICK_NS * 1e-9)
    desk.tick()
    assert list(desk.device.sets) == [NUMBERS - 1, 0, 1]


def test_a_changed_plan_is_said_once_with_the_next_set_and_old_sets_do_not_go_out_again() -> None:
    desk = Desk().meet()
    desk.device.lose = lambda number: number == FIRST + 40
    desk.sends = True
    desk.tick(0.2)
    from_ns = desk.time.now_ns + 150 * MS_NS  # the 40th set is due later
    desk.output.replace(from_ns)
    desk.output.replace(from_ns + 20 * MS_NS)
    desk.output.send(Setpoint(from_ns + TICK_NS, np.array([0.0, 0.0]), np.array([0.0, 0.0])))
    desk.output.send(Setpoint(from_ns + 2 * TICK_NS, np.array([0.0, 0.0]), np.array([0.0, 0.0])))
    desk.sends = False
    desk.tick()
    changed, following = sorted(desk.device.sets)[-2:]
    assert [one.address for one in desk.device.sets[changed][:2]] == ["/plan/number", "/plan/from"]
    (tag,) = decode_from(desk)
    assert abs(device_ns(tag) - desk.time.apart_ns - from_ns) < 20_000
    assert [one.address for one in desk.device.sets[following]][1] == "/rig/pan/position"
    desk.device.hold(FIRST)
    desk.tick(0.1)
    assert FIRST + 40 not in desk.device.sets
    assert desk.output.unheard.again == 0


def decode_from(desk: Desk) -> list[int]:
    """Return the timetags of all `/plan/from` that went out. Source: OSC 1.0, the type `t`, 64 bits."""
    head = b"/plan/from\0\0,t\0\0"
    packets = [packet for _, packet in desk.link.put_at if head in packet]
    return [struct.unpack_from(">Q", packet, packet.index(head) + len(head))[0] for packet in packets]


def test_what_the_device_does_not_name_goes_out_again_once_a_round_trip() -> None:
    desk = Desk().meet()
    lost = {FIRST + 5, FIRST + 20}
    desk.device.lose = lambda number: number in lost
    desk.sends = True
    desk.tick(0.1)
    desk.device.hold(FIRST)
    desk.tick()
    assert desk.output.unheard.again == 2
    desk.device.hold(FIRST)
    desk.tick()
    # a second word within the round trip of 2 ms and a quarter finds them sent 4 ms ago
    assert desk.output.unheard.again == 4
    lost.clear()
    desk.device.hold(FIRST)
    desk.tick()
    desk.tick()
    assert sorted(desk.device.sets) == list(range(FIRST, FIRST + len(desk.device.sets)))
    desk.device.hold(FIRST)
    desk.device.hold(FIRST)
    desk.tick()
    again = desk.output.unheard.again
    desk.device.hold(FIRST)
    desk.tick(0.1)
    assert desk.output.unheard.again == again


def test_axes_that_the_device_has_beside_ours_are_passed_over() -> None:
    desk = Desk(axes=("lift", "tilt", "pan")).meet()
    desk.heard.clear()
    desk.device.stand([7.0, -2.0, 1.5], desk.time.there_ns)
    desk.link.say(command("/rig/lift/switch", 1))
    desk.tick()
    (feedback,) = desk.heard
    assert feedback.position.tolist() == [1.5, -2.0]
    assert feedback.switches == ()
    assert desk.output.left_aside == 0


def test_where_axes_stood_is_placed_in_this_machines_time() -> None:
    desk = Desk().meet()
    stood_ns = desk.time.now_ns - 30 * MS_NS
    desk.device.stand([4.0, 5.0], stood_ns + desk.time.apart_ns)
    desk.tick()
    feedback = desk.heard[-1]
    assert feedback.position.tolist() == [4.0, 5.0]
    assert abs(feedback.at_ns - stood_ns) < 20_000
    assert feedback.heard_ns > stood_ns


def test_before_the_clock_is_known_and_where_an_instant_is_strange_the_receipt_counts() -> None:
    desk = Desk(answers_time=False)
    desk.tick(0.1)
    desk.device.stand([4.0, 5.0], desk.time.there_ns)
    desk.tick()
    assert desk.heard[-1].at_ns == desk.heard[-1].heard_ns
    desk.device.answers_time = True
    desk.tick(1.5)
    for at_ns in (None, 5, desk.time.there_ns + 3 * SECOND_NS):
        desk.device.stand([4.0, 5.0], at_ns)
        desk.tick()
        assert desk.heard[-1].at_ns == desk.heard[-1].heard_ns


def test_switches_and_single_actuals_are_heard() -> None:
    desk = Desk().meet()
    both = Numbers(("/rig/pan/actual", "/battery"))
    desk.link.say(both.pack(1, [3.0, 9.0]))
    desk.link.say(command("/rig/tilt/switch", 1))
    desk.tick()
    assert np.array_equal(desk.heard[-1].position, [3.0, math.nan], equal_nan=True)
    desk.device.stand([1.0, 2.0])
    desk.tick()
    assert desk.heard[-1].switches == (None, True)


def test_a_trigger_goes_out_three_times_with_one_instant() -> None:
    desk = Desk()
    assert not desk.output.fire(Trigger(desk.time.now_ns, "shutter"))
    desk.meet()
    due_ns = desk.time.now_ns + 500 * MS_NS
    assert desk.output.fire(Trigger(due_ns, "shutter"))
    desk.tick()
    fired = [message for message in desk.device.heard if message.address == "/camera/shutter"]
    assert len(fired) == 3
    assert len({message.tag for message in fired}) == 1
    assert abs(device_ns(fired[0].tag) - desk.time.apart_ns - due_ns) < 20_000
    desk.link.full = True
    assert not desk.output.fire(Trigger(due_ns, "cut"))


def test_stop_ask_and_here_go_out_as_they_do_to_any_rig() -> None:
    desk = Desk().meet()
    desk.tick()
    desk.device.heard.clear()
    desk.output.stop()
    desk.output.here("tilt", 2.5)
    desk.tick()
    told = [message for message in desk.device.heard if not message.address.startswith("/device/")]
    assert [one.address for one in told] == ["/stop"] * 3 + ["/rig/tilt/here"]
    assert told[-1].arguments == (2.5,)


def test_round_trip_and_loss_are_measured_by_the_questions() -> None:
    desk = Desk()
    desk.link.way_ns = 6 * MS_NS
    desk.tick(5.0)
    state = desk.output.link(desk.time.now_ns)
    assert state.round_trip_s == pytest.approx(0.012)
    assert state.lost == 0
    desk.device.answers_time = False
    desk.tick(0.4)
    # what may still be on its way is not lost yet
    assert desk.output.link(desk.time.now_ns).lost == 0
    desk.tick(5.0)
    assert desk.output.link(desk.time.now_ns) == LinkState(None, 1.0)
