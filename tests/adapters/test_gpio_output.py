"""A camera on pins, on a stand-in for the chip: no test here had a real pin. The package itself is asked besides."""

import errno
import inspect
import time
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from sequencer.adapters.contract import Output
from sequencer.adapters.outputs import gpio
from sequencer.adapters.outputs.gpio import KIND
from sequencer.errors import LinkError
from sequencer.rig.axis import Rig
from sequencer.rig.signals import Trigger
from sequencer.shell.kinds import NO_PROJECT
from tests.adapters import pins
from tests.adapters.pins import Board, Value
from tests.needs import needs_module
from tests.shell.test_outlets import RIG

MS = 1_000_000
ADDRESS = "gpio:/dev/gpiochip0?shutter=2&record=FLASH&cut=FLASH&pulse=0.05"


@pytest.fixture
def board(monkeypatch: pytest.MonkeyPatch) -> Board:
    there = Board(names=("ID_SD", "FLASH", "", "", "LED"))
    monkeypatch.setattr(gpio, "binding", lambda: pins.package(there))
    return there


@contextmanager
def opened(address: str = ADDRESS, rig: Rig = RIG) -> Iterator[Output]:
    with KIND.open(address, rig, NO_PROJECT) as output:
        yield output


def test_a_trigger_is_an_active_line_for_a_pulse(board: Board) -> None:
    assert KIND.carries(ADDRESS, RIG).triggers == ("shutter", "record", "cut")
    with opened() as output:
        assert board.history == [(2, Value.INACTIVE), (1, Value.INACTIVE)]
        assert board.taken == {2: "twintake", 1: "twintake"}
        assert {one.direction for one in board.settings.values()} == {pins.Direction.OUTPUT}
        assert output.fire(Trigger(0, "record"))
        assert board.history[2:] == [(1, Value.ACTIVE)]
        output.look(time.monotonic_ns() + 60 * MS)
        assert board.history[3:] == [(1, Value.INACTIVE)]
    assert board.taken == {}


def test_a_board_that_closes_when_the_pin_is_low_is_driven_by_the_kernel_so(board: Board) -> None:
    with opened("gpio:/dev/gpiochip0?shutter=2&active=low") as output:
        assert board.settings[2].active_low
        output.fire(Trigger(0, "shutter"))
    # values are logical ones: LineSettings.active_low, "Active-low switch."
    assert [value for _, value in board.history] == [Value.INACTIVE, Value.ACTIVE, Value.INACTIVE]


def test_a_line_is_inactive_and_given_back_whatever_happens(board: Board) -> None:
    def fails(output: Output) -> None:
        output.fire(Trigger(0, "shutter"))
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError), opened() as output:
        fails(output)
    assert board.history[-1] == (2, Value.INACTIVE)
    assert board.taken == {}


def test_a_chip_that_goes_is_said_and_its_lines_are_given_back(board: Board) -> None:
    with opened() as output:
        board.gone = True
        with pytest.raises(LinkError, match=r"line 2 of /dev/gpiochip0 cannot be set \(No such device\)"):
            output.fire(Trigger(0, "shutter"))
    assert board.taken == {}


@pytest.mark.parametrize(
    ("address", "words"),
    [
        ("gpio:?shutter=2", "names no GPIO chip"),
        ("gpio:/dev/gpiochip0", "says nothing of a camera: give shutter, record or cut a line of the chip"),
        ("gpio:/dev/gpiochip0?shutter=2&record=2", "has two triggers by one contact, 2; only record and cut may share"),
        ("gpio:/dev/gpiochip0?shutter=2&active=up", "says active=up; it must be one of high, low"),
        ("gpio:/dev/gpiochip0?shutter=2&pulse=3", "says pulse=3; it must be a number from 0.01 to 2"),
        ("gpio:/dev/gpiochip0?zoom=2&shutter=1", "has the option zoom"),
    ],
)
def test_an_address_that_cannot_be_read_is_refused_before_anything_is_opened(
    address: str, words: str, board: Board
) -> None:
    with pytest.raises(LinkError, match=words):
        KIND.carries(address, RIG)
    with pytest.raises(LinkError, match=words), opened(address):
        pass


@pytest.mark.parametrize(
    ("address", "words"),
    [
        ("gpio:/dev/gpiochip7?shutter=2", "there is no /dev/gpiochip7; this machine's GPIO chips: "),
        ("gpio:/dev/null?shutter=2", "/dev/null is no GPIO chip"),
        ("gpio:/dev/root?shutter=2", "this user may not use /dev/root; add the user to the group that owns it"),
        ("gpio:/dev/gpiochip0?shutter=40", "/dev/gpiochip0 has no line 40; it has 0 to 4"),
        ("gpio:/dev/gpiochip0?shutter=HORN", "/dev/gpiochip0 has no line HORN; it has 0 to 4, and gpioinfo lists"),
        ("gpio:/dev/gpiochip0?shutter=FLASH&cut=1", "FLASH, 1 are not all different lines"),
        ("gpio:/dev/gpiochip0?shutter=4", "a line of 4 is in use: another program or a driver has it"),
    ],
)
def test_a_line_that_cannot_be_had_is_said_with_the_mend(address: str, words: str, board: Board) -> None:
    board.taken[4] = "led0"
    with pytest.raises(LinkError, match=words), opened(address):
        pass
    assert board.taken == {4: "led0"}


def test_lines_that_their_driver_refuses_are_named_and_none_is_kept(board: Board) -> None:
    board.refuses = errno.EINVAL
    words = "/dev/gpiochip0: the lines 2, FLASH cannot be had: Invalid argument; name others"
    with pytest.raises(LinkError, match=f"^{words}$"), opened():
        pass
    assert (board.taken, board.history) == ({}, [])
    board.refuses = 0
    with opened():
        assert board.taken == {2: "twintake", 1: "twintake"}


def test_without_the_package_the_mend_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    import sys
    import types

    monkeypatch.setitem(sys.modules, "gpiod", None)
    with pytest.raises(LinkError, match=r"pip install 'twintake\[gpio\]'"):
        KIND.carries(ADDRESS, RIG)
    with pytest.raises(LinkError, match=r"pip install 'twintake\[gpio\]'"):
        KIND.names()
    monkeypatch.setitem(sys.modules, "gpiod", types.ModuleType("gpiod"))
    with pytest.raises(LinkError, match="older than 2"):
        KIND.carries(ADDRESS, RIG)


def test_the_stand_in_has_the_packages_own_signatures() -> None:
    """Source: the package gpiod 2 as it is installed."""
    needs_module("gpiod")
    import gpiod

    for own, real in (
        (pins.Chip.__init__, gpiod.Chip.__init__),
        (pins.Chip.request_lines, gpiod.Chip.request_lines),
        (pins.Chip.line_offset_from_id, gpiod.Chip.line_offset_from_id),
        (pins.Chip.get_info, gpiod.Chip.get_info),
        (pins.LineRequest.set_value, gpiod.LineRequest.set_value),
        (pins.LineRequest.release, gpiod.LineRequest.release),
    ):
        assert list(inspect.signature(own).parameters) == list(inspect.signature(real).parameters), real
    ours, theirs = (inspect.signature(one).parameters for one in (pins.LineSettings, gpiod.LineSettings))
    assert ours.keys() <= theirs.keys()
    assert theirs["output_value"].default == gpiod.line.Value.INACTIVE
    assert {one.name for one in pins.Value} == {one.name for one in gpiod.line.Value}
    assert {one.name for one in pins.Direction} == {one.name for one in gpiod.line.Direction}
    assert "num_lines" in gpiod.ChipInfo.__annotations__


@pytest.mark.parametrize(
    ("path", "words"), [("/dev/nowhere", "there is no /dev/nowhere"), ("/dev/null", "/dev/null is no GPIO chip")]
)
def test_the_package_itself_says_what_is_no_chip(path: str, words: str) -> None:
    needs_module("gpiod")
    with pytest.raises(LinkError, match=words), opened(f"gpio:{path}?shutter=2"):
        pass
