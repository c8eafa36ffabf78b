"""The device output and a device that fails: resets, jumps, runs out, is another, or says what makes no sense."""

import math
from contextlib import nullcontext

import numpy as np
import pytest

from sequencer.adapters.device_host.host import DeviceOutput
from sequencer.adapters.device_host.manner import Manner
from sequencer.errors import LinkError
from sequencer.wire.device import NUMBERS
from sequencer.wire.osc import Numbers, command
from tests.adapters.device_desk import FIRST, RIG, TICK_NS, Desk
from tests.adapters.device_script import MS_NS, SECOND_NS, able, held, time_answer


def test_a_late_word_and_one_said_twice_take_nothing_back() -> None:
    desk = Desk().meet()
    desk.sends = True
    desk.tick(0.1)
    desk.device.hold(FIRST)
    desk.device.hold(FIRST)
    desk.tick()
    kept = len(desk.output.unheard)
    desk.link.say(held(1, FIRST + 1, 0))
    desk.link.say(held(1, FIRST - 500, 0))
    desk.tick()
    assert len(desk.output.unheard) == kept + 1
    # what a word that is late does not name may go out again, but not what was named already
    assert desk.output.unheard.again <= 2


def test_time_answered_twice_late_or_unasked_does_not_move_the_clock() -> None:
    desk = Desk().meet()
    before = desk.output.clock.device_ns(desk.time.now_ns) - desk.time.now_ns
    for number in (0, 5, 5, 70_000, NUMBERS - 1):
        desk.link.say(time_answer(number, 7, 8))
    desk.tick(0.1)
    assert desk.output.clock.steps == 0
    assert desk.output.clock.nonsense == 0
    assert abs(desk.output.clock.device_ns(desk.time.now_ns) - desk.time.now_ns - before) < 5_000


@pytest.mark.parametrize("jump_ns", [-1_040 * SECOND_NS, -100 * MS_NS, 100 * MS_NS, 3600 * SECOND_NS])
def test_a_device_whose_clock_jumps_is_stopped_and_its_link_gone_within_a_second(jump_ns: int) -> None:
    desk = Desk().meet()
    desk.sends = True
    desk.tick(1.0)
    desk.time.apart_ns += jump_ns
    jumped_ns = desk.time.now_ns
    with pytest.raises(LinkError, match=r"clock of the device at the test jumped by .*Nothing moves before Reset"):
        desk.tick(1.0)
    assert desk.time.now_ns - jumped_ns <= SECOND_NS
    assert [packet for _, packet in desk.link.put_at[-3:]] == [command("/stop")] * 3


def test_a_clock_without_a_crystal_is_told_and_not_trusted() -> None:
    """Half a percent fast, as ceramic resonators and RC oscillators are (common practice, no source)."""
    desk = Desk().meet()

    def run() -> None:
        for _ in range(5000):
            desk.time.apart_ns += TICK_NS // 200
            desk.tick()

    with pytest.raises(LinkError, match="clock without a crystal"):
        run()


def test_a_device_that_was_reset_in_mid_move_is_known_by_its_boot_number() -> None:
    desk = Desk().meet()
    desk.sends = True
    desk.tick(1.0)
    desk.device.boot += 1
    with pytest.raises(LinkError, match="'crane' at the test was reset"):
        desk.tick(1.1)
    assert desk.link.put_at[-1][1] == command("/stop")


@pytest.mark.parametrize("version", [0, 2, 7])
def test_another_version_is_refused_with_both_figures(version: int) -> None:
    desk = Desk(version=version)
    with pytest.raises(LinkError, match=rf"speaks version {version} .* here version 1 is"):
        desk.tick(0.1)


def test_a_device_without_an_axis_is_refused_with_what_it_has() -> None:
    desk = Desk(axes=("pan", "lift"))
    with pytest.raises(LinkError, match=r"has no axis tilt; it has pan, lift"):
        desk.tick(0.1)


@pytest.mark.parametrize(
    "packet",
    [
        b"",
        b"garbage",
        b"/device/dance\0\0\0,i\0\0\0\0\0\1",
        held(1, 2, 3)[:-4],
        able(1, "crane", 0, 250, 1, ("pan", "tilt")),
        time_answer(1, 2, 3)[:-8],
        command("/rig/pan/actual", math.nan),
        command("/rig/roll/position", 1.0),
        Numbers(("/rig/pan/actual", "/rig/tilt/actual")).pack(1, [math.nan, math.inf]),
    ],
)
def test_garbage_is_left_aside_counted_and_told_once_it_lasts(packet: bytes) -> None:
    desk = Desk().meet()
    for count in range(1, 6):
        desk.link.say(packet)
        assert "nothing that a device says" not in desk.output.trouble()
        heard = desk.output.read(desk.time.now_ns + desk.link.way_ns)
        desk.time.now_ns += 2 * desk.link.way_ns
        assert heard == ()
        assert desk.output.read(desk.time.now_ns) == ()
        assert desk.output.left_aside == count
    assert "nothing that a device says" in desk.output.trouble()
    desk.tick(0.3)
    assert desk.output.trouble() == ""
    assert desk.output.ready


def test_noise_on_the_line_never_raises_and_never_moves_the_clock() -> None:
    desk = Desk().meet()
    chance = np.random.default_rng(8)
    whole = [held(5, FIRST, 7), time_answer(3, 10**9, 10**9), able(1, "crane", 9, 250, 11, ("pan", "tilt"))]
    for _ in range(2000):
        spoilt = bytearray(whole[chance.integers(3)])
        spoilt[chance.integers(len(spoilt))] = chance.integers(256)
        desk.link.say(bytes(spoilt[: chance.integers(1, len(spoilt))]))
        desk.tick()
    assert desk.output.clock.steps == 0
    assert desk.output.ready


def test_a_device_that_ran_out_ends_the_run_and_waits_for_the_operator() -> None:
    desk = Desk().meet()
    desk.sends = True
    desk.tick(0.2)
    desk.output.ask()  # said more than once, for a link may lose it
    desk.device.run_out(FIRST + 40)
    with pytest.raises(LinkError, match="ran out of setpoints in mid-move"):
        desk.tick(0.1)
    # the same said again, as five times a second, is no new fault; nor on a link that is opened anew
    desk.sends = False
    anew = Desk(number=FIRST + 5_000)
    for one in (desk, anew):
        one.device.run_out(FIRST + 40)
        one.tick(1.2)
        assert "listens again after Reset" in one.output.trouble()
        one.output.ask()
        one.device.run_out(FIRST + 40)
        one.tick(0.2)
        assert one.output.trouble() == ""


def test_an_old_word_of_running_out_does_not_end_the_next_run() -> None:
    desk = Desk().meet()
    desk.sends = True
    desk.tick(0.2)
    desk.output.stop()
    desk.output.ask()
    desk.device.run_out(FIRST + 10)
    desk.tick(0.2)
    desk.device.run_out(max(desk.device.sets))
    with pytest.raises(LinkError, match="ran out"):
        desk.tick()


def test_a_buffer_that_runs_low_is_told_with_the_mend_and_not_for_a_moment() -> None:
    desk = Desk().meet()
    desk.sends = True
    desk.tick(1.0)
    for level, low in ((10, False), (70, False), *((10, False),) * 5, *((10, True),) * 2, (70, False)):
        desk.device.hold(FIRST, level)
        desk.tick(0.1 if level == 70 else 0.12)
        assert ("holds fewer than 19 setpoint sets, where 75 are sent ahead" in desk.output.trouble()) == low


def test_more_sets_than_the_device_takes_are_found_at_rest_with_both_figures() -> None:
    desk = Desk(most_hz=100).meet()
    desk.sends = True
    with pytest.raises(LinkError, match=r"250 setpoint sets a second .* takes 100 at most; set rate_hz"):
        desk.tick(1.0)


def test_more_sets_than_the_device_holds_are_found_at_rest_with_both_figures() -> None:
    desk = Desk(room=50).meet()
    desk.sends = True
    with pytest.raises(LinkError, match=r"75 setpoint sets .* which holds 50; take ahead=0\.18"):
        desk.tick(1.0)


def test_sets_that_find_no_room_go_out_when_there_is_some() -> None:
    desk = Desk().meet()
    desk.sends = True
    desk.tick(0.05)
    desk.link.full = True
    desk.send()
    desk.link.full = False
    missing = max(desk.device.sets) + 1
    desk.tick(0.05)
    assert desk.link.dropped == 1
    desk.device.hold(FIRST)
    desk.tick(0.05)
    assert sorted(desk.device.sets) == list(range(FIRST, max(desk.device.sets) + 1))
    assert missing in desk.device.sets


def test_after_a_stop_nothing_goes_out_again() -> None:
    desk = Desk().meet()
    desk.device.lose = lambda number: True
    desk.sends = True
    desk.tick(0.1)
    desk.output.stop()
    desk.sends = False
    desk.device.hold(FIRST)
    desk.tick(0.3)
    assert desk.output.unheard.again == 0


def test_a_link_that_is_gone_is_gone_from_every_side() -> None:
    desk = Desk().meet()
    desk.link.gone = "the port was unplugged"
    for act in (desk.send, desk.output.ask, desk.output.stop, lambda: desk.output.look(desk.time.now_ns)):
        with pytest.raises(LinkError, match="unplugged"):
            act()
    with pytest.raises(LinkError, match="unplugged"):
        desk.output.read(desk.time.now_ns)


def test_a_link_that_stalls_is_asked_nothing() -> None:
    desk = Desk().meet()
    desk.link.waiting = 40
    before = len(desk.link.put_at)
    desk.tick(1.0)
    assert len(desk.link.put_at) == before


def test_a_device_that_was_reset_while_its_link_was_gone_is_told_once_before_anything_goes_out() -> None:
    """A cable that is pulled takes a board's power with it: its axes count from elsewhere when it is back."""
    boots: dict[str, int] = {}
    for boot, told in ((11, False), (11, False), (12, True), (12, False)):
        desk = Desk(boot=boot)
        desk.output = DeviceOutput(desk.link, RIG, Manner(), FIRST, lambda desk=desk: desk.time.now_ns, boots)  # type: ignore[misc]  # bound in the loop on purpose
        with pytest.raises(LinkError, match="was reset and has forgotten") if told else nullcontext():
            desk.tick(1.5)
        assert desk.output.ready is not told
        assert desk.device.sets == {}
