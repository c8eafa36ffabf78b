"""Game controllers as SDL tells of them: by name where it knows them, by number else; plugged, pulled and back."""

import signal
import subprocess
import sys
from itertools import pairwise

import pytest

from sequencer.adapters.contract import Source
from sequencer.adapters.controllers.sdl import EVERY_NS, KIND, Pads, open_pads
from sequencer.adapters.pad_ports.seats import Seats
from sequencer.errors import LinkError
from sequencer.shell.inlets import pack_chunk
from sequencer.shell.kinds import open_controllers
from sequencer.wire.pad import AXES, BUTTONS, PadRow, unpacked
from tests.adapters.controllers.virtual import Virtual

MS = 1_000_000
HAT_UP, HAT_RIGHT = 1, 2  # Source: SDL 2.32, SDL_joystick.h


class Clock:
    """The instants at which the io process reads: each a row's time after the one before, unless a test says else."""

    def __init__(self) -> None:
        self.now_ns = 1_000 * MS

    def rows(self, pads: Pads, after_ns: int = EVERY_NS) -> list[PadRow]:
        self.now_ns += after_ns
        chunks = pads.read(self.now_ns)
        assert all(chunk.stamp_ns == self.now_ns for chunk in chunks)
        return [unpacked(chunk.data) for chunk in chunks]

    def row(self, pads: Pads) -> PadRow:
        (row,) = self.rows(pads)
        return row


@pytest.fixture
def clock() -> Clock:
    return Clock()


def plug(plugged: list[Virtual], name: str = "quay pad", **how: int) -> Virtual:
    pad = Virtual(name, **how)
    plugged.append(pad)
    return pad


def pull(plugged: list[Virtual], pad: Virtual) -> None:
    plugged.remove(pad)
    pad.pull()


def axes(row: PadRow) -> dict[str, float]:
    assert row.known
    return dict(zip(AXES, row.axes, strict=True))


def buttons(row: PadRow) -> set[str]:
    assert row.known
    return {BUTTONS[number] for number in row.buttons}


def test_a_machine_without_pads_says_nothing_and_waits(pads: Pads, clock: Clock) -> None:
    for _ in range(3):
        assert clock.rows(pads) == []
    assert pads.notices() == ()
    assert pads.fileno() is None
    assert KIND.names() == ()


def test_a_pad_is_there_at_the_start_or_comes_later(plugged: list[Virtual], clock: Clock) -> None:
    plug(plugged, "quay pad")
    with open_pads("pads:") as pads:
        assert clock.row(pads) == PadRow(0, "quay pad", (0.0,) * 6)
        assert pads.notices() == ("pad 1, quay pad, is here",)
        plug(plugged, "lantern pad")
        assert [(row.pad, row.name) for row in clock.rows(pads)] == [(0, "quay pad"), (1, "lantern pad")]
        assert pads.notices() == ("pad 2, lantern pad, is here",)
        assert pads.notices() == ()
        assert KIND.names() == ("quay pad", "lantern pad")
        # another look at who is here leaves the open ones open
        assert len(clock.rows(pads)) == 2


@pytest.mark.parametrize(("number", "name"), list(enumerate(AXES)))
def test_each_axis_has_its_name_and_no_other_moves(
    plugged: list[Virtual], pads: Pads, clock: Clock, number: int, name: str
) -> None:
    pad = plug(plugged)
    clock.rows(pads)
    pad.move(number, 0.5)
    told = {axis: part for axis, part in axes(clock.row(pads)).items() if part}
    sign = -1.0 if name.endswith(" y") else 1.0
    # the hardware's whole way, -1 to 1, is a trigger's 0 to 1
    assert told == {name: pytest.approx(0.75 if "trigger" in name else 0.5 * sign, abs=1e-3)}
    pad.move_to_end(number)
    assert axes(clock.row(pads))[name] == (0.0 if "trigger" in name else -sign)
    pad.move(number, 1.0)
    assert axes(clock.row(pads))[name] == sign


# SDL's order of buttons, Source: SDL 2.32, SDL_gamecontroller.h: A B X Y, back, guide, start, and so on
@pytest.mark.parametrize("name", BUTTONS)
def test_each_button_has_its_name_and_no_other_is_held(
    plugged: list[Virtual], pads: Pads, clock: Clock, name: str
) -> None:
    order = [*BUTTONS[:5], "guide", *BUTTONS[5:]]
    pad = plug(plugged)
    pad.press(order.index(name))
    assert buttons(clock.row(pads)) == {name}
    pad.press(order.index(name), down=False)
    # once more, since it was down in the time of the last row; then no more
    assert buttons(clock.row(pads)) <= {name}
    assert buttons(clock.row(pads)) == set()


def test_a_button_that_nobody_needs_is_not_told(plugged: list[Virtual], pads: Pads, clock: Clock) -> None:
    pad = plug(plugged)
    clock.rows(pads)
    pad.press(5)  # the one in the middle
    assert clock.row(pads).buttons == frozenset()


def test_the_shortest_press_is_told(plugged: list[Virtual], pads: Pads, clock: Clock) -> None:
    named, numbered = plug(plugged), plug(plugged, "old stick", kind=0, axes=2, buttons=4)
    clock.rows(pads)
    named.tap(6)
    numbered.tap(3)
    # read, but not yet due
    assert clock.rows(pads, MS) == []
    first, second = clock.rows(pads)
    assert (buttons(first), set(second.buttons)) == ({"start"}, {3})
    first, second = clock.rows(pads)
    assert (first.buttons, second.buttons) == (frozenset(), frozenset())


def test_rows_come_on_a_beat_all_pads_at_once(plugged: list[Virtual], pads: Pads, clock: Clock) -> None:
    plug(plugged)
    plug(plugged, "lantern pad")
    stamps = []
    for _ in range(1000):
        rows = clock.rows(pads, MS + 77_000)  # the io process is a little late each time
        assert [row.pad for row in rows] in ([], [0, 1])
        if rows:
            stamps.append(clock.now_ns)
    assert len(stamps) == pytest.approx(1077 / 5, abs=1)
    assert all(one - before < EVERY_NS + 2 * MS for before, one in pairwise(stamps))


def test_after_a_wait_rows_are_not_made_up_for(plugged: list[Virtual], pads: Pads, clock: Clock) -> None:
    plug(plugged)
    clock.rows(pads)
    assert len(clock.rows(pads, 500 * MS)) == 1
    assert [len(clock.rows(pads, MS)) for _ in range(5)] == [0] * 4 + [1]


def test_a_pad_pulled_with_a_stick_held_over_says_that_it_is_gone(
    plugged: list[Virtual], pads: Pads, clock: Clock
) -> None:
    pad = plug(plugged)
    pad.move(0, 1.0)
    pad.press(0)
    assert axes(clock.row(pads))["left x"] == 1.0
    pads.notices()
    pull(plugged, pad)
    gone = clock.row(pads)
    assert gone == PadRow(0, "quay pad", here=False)
    assert not pad.is_open
    assert pads.notices() == ("pad 1, quay pad, is gone and counts as let go; plug it in or charge it",)
    assert clock.rows(pads) == []


def test_a_pad_that_comes_back_has_its_number_and_its_sticks_at_rest(
    plugged: list[Virtual], pads: Pads, clock: Clock
) -> None:
    first, second = plug(plugged, "quay pad"), plug(plugged, "lantern pad")
    assert [row.pad for row in clock.rows(pads)] == [0, 1]
    first.move(2, -1.0)
    pull(plugged, first)
    assert [(row.pad, row.here) for row in clock.rows(pads)] == [(0, False), (1, True)]
    pull(plugged, second)
    assert [(row.pad, row.here) for row in clock.rows(pads)] == [(1, False)]
    pads.notices()
    plug(plugged, "paper pad")
    plug(plugged, "lantern pad")
    plug(plugged, "quay pad")
    rows = {row.pad: row for row in clock.rows(pads)}
    assert {number: row.name for number, row in rows.items()} == {0: "quay pad", 1: "lantern pad", 2: "paper pad"}
    assert rows[0].axes == (0.0,) * 6
    assert "pad 2, lantern pad, is back" in pads.notices()


def test_pulled_and_back_between_two_rows_is_told_as_both(plugged: list[Virtual], pads: Pads, clock: Clock) -> None:
    pad = plug(plugged)
    clock.rows(pads)
    pad.press(0)
    pull(plugged, pad)
    plug(plugged)
    assert [(row.pad, row.here, len(row.buttons)) for row in clock.rows(pads)] == [(0, False, 0), (0, True, 0)]


def test_two_pads_of_one_model_are_two(plugged: list[Virtual], pads: Pads, clock: Clock) -> None:
    one, other = plug(plugged), plug(plugged)
    one.move(0, 1.0)
    other.move(3, 1.0)
    first, second = clock.rows(pads)
    assert (first.pad, axes(first)["left x"], axes(first)["right y"]) == (0, 1.0, 0.0)
    assert (second.pad, axes(second)["left x"], axes(second)["right y"]) == (1, 0.0, -1.0)


def test_a_pad_that_sdl_does_not_know_has_numbers_and_says_so(plugged: list[Virtual], pads: Pads, clock: Clock) -> None:
    pad = plug(plugged, "old stick", kind=0, axes=3, buttons=4, hats=1)
    pad.move(1, 1.0)
    pad.press(2)
    pad.push_hat(0, HAT_UP | HAT_RIGHT)
    # up, down, left and right of the hat are the buttons 4 to 7; nothing is turned round
    assert clock.row(pads) == PadRow(0, "old stick", (0.0, 1.0, 0.0), frozenset({2, 4, 7}), known=False)
    (notice,) = pads.notices()
    assert notice.startswith("pad 1, old stick, is here; its axes and buttons have only numbers")
    assert "twintake ports --watch" in notice


@pytest.mark.parametrize(
    ("how", "axis_count"),
    [
        ({"kind": 0, "axes": 0, "buttons": 0}, 0),
        ({"kind": 2, "axes": 7, "buttons": 30, "hats": 2}, 7),
        ({"kind": 0, "axes": 1, "buttons": 100, "hats": 3}, 1),
        ({"kind": 0, "axes": 40, "buttons": 2}, 32),
        # a game controller with one stick has no second one to lie about
        ({"kind": 1, "axes": 2, "buttons": 12}, 2),
    ],
)
def test_a_pad_with_odd_axes_is_read_by_number(
    plugged: list[Virtual], pads: Pads, clock: Clock, how: dict[str, int], axis_count: int
) -> None:
    pad = plug(plugged, "odd one", **how)
    row = clock.row(pads)
    assert (len(row.axes), row.known, row.here) == (axis_count, False, True)
    for hat in range(how.get("hats", 0)):
        pad.push_hat(hat, HAT_UP)
    for button in range(how["buttons"]):
        pad.press(button)
    row = clock.row(pads)
    assert row.buttons >= set(range(min(how["buttons"], 32)))
    assert max(row.buttons, default=0) < 32


def test_a_pad_that_cannot_be_opened_is_told_once_and_the_others_work(
    plugged: list[Virtual], pads: Pads, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    plug(plugged, "held pad")
    held = plugged[0].id
    opened = pads._sdl.SDL_JoystickOpen
    ids = pads._sdl.SDL_JoystickGetDeviceInstanceID
    monkeypatch.setattr(pads._sdl, "SDL_JoystickOpen", lambda index: None if ids(index) == held else opened(index))
    pads._sdl.SDL_SetError(b"Unable to open device")
    assert clock.rows(pads) == []
    (notice,) = pads.notices()
    assert notice.startswith("the game controller held pad cannot be opened (Unable to open device); end the program")
    assert "`input`" in notice
    plug(plugged, "quay pad")
    assert clock.row(pads).name == "quay pad"
    assert pads.notices() == ("pad 1, quay pad, is here",)
    # pulled and plugged in again, it is tried again
    pull(plugged, plugged[0])
    clock.rows(pads)
    plug(plugged, "held pad")
    assert [row.name for row in clock.rows(pads)] == ["quay pad", "held pad"]


def test_a_name_is_what_a_terminal_can_show(plugged: list[Virtual], pads: Pads, clock: Clock) -> None:
    plug(plugged, "quay\x1b[31m\npad" + "!" * 200)
    name = clock.row(pads).name
    assert name.startswith("quay[31mpad!")
    assert len(name) == 80


def test_the_first_row_says_how_the_sticks_stand(plugged: list[Virtual], pads: Pads, clock: Clock) -> None:
    pad = plug(plugged)
    pad.move(0, 1.0)
    pad.let_be()
    assert axes(clock.row(pads))["left x"] == 1.0


def test_one_too_many_is_told_and_left_alone(
    plugged: list[Virtual], pads: Pads, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    pad = plug(plugged)
    pad.let_be()
    monkeypatch.setattr(Seats, "take", lambda seats, pad: None)
    assert clock.rows(pads) == []
    assert clock.rows(pads) == []
    assert pads.notices() == ("the game controller quay pad is one too many; 256 can be here",)
    assert not pad.is_open


def test_buttons_go_by_where_they_sit_and_not_by_what_is_printed_on_them(
    plugged: list[Virtual], pads: Pads, clock: Clock
) -> None:
    """SDL keeps two mappings of pads whose letters sit elsewhere, and takes the one that its setting asks for."""
    pad = plug(plugged, "lettered pad", kind=0, axes=4, buttons=2)
    sticks = "leftx:a0,lefty:a1,rightx:a2,righty:a3"
    by_letter = f"{pad.guid},lettered pad,a:b1,b:b0,{sticks},hint:SDL_GAMECONTROLLER_USE_BUTTON_LABELS:=1,"
    by_place = f"{pad.guid},lettered pad,a:b0,b:b1,{sticks},hint:!SDL_GAMECONTROLLER_USE_BUTTON_LABELS:=1,"
    for mapping in (by_place, by_letter):
        pads._sdl.SDL_GameControllerAddMapping(mapping.encode())
    pad.press(0)
    assert buttons(clock.row(pads)) == {"lower"}


ENDED = """
import os, signal
from sequencer.adapters.controllers.sdl import open_pads
with open_pads("pads:") as pads:
    pads.read(0)
    os.kill(os.getpid(), signal.SIG{name})
    pads.read(1)
    print("still here")
"""


@pytest.mark.parametrize("name", ["TERM", "INT"])
def test_signals_end_the_program_as_before(name: str) -> None:
    ended = subprocess.run(
        [sys.executable, "-c", ENDED.format(name=name)], capture_output=True, text=True, check=False, timeout=60
    )
    assert ended.returncode == -getattr(signal, f"SIG{name}")
    assert ended.stdout == ""


def test_at_the_end_nothing_of_sdl_runs() -> None:
    with open_pads("pads:") as pads:
        sdl = pads._sdl
        assert sdl.SDL_WasInit(sdl.SDL_INIT_JOYSTICK)
    assert KIND.names() == ()
    assert not sdl.SDL_WasInit(sdl.SDL_INIT_JOYSTICK)


@pytest.mark.parametrize("address", ["pad", "pads:quay", "pads:0", "pads::"])
def test_there_is_one_address_for_all(address: str) -> None:
    with pytest.raises(LinkError, match="write pads: for all that are here"), open_pads(address):
        pass


def test_it_keeps_to_what_a_source_is(plugged: list[Virtual], clock: Clock) -> None:
    """The contract: chunks that travel, in order, stamped with the instant; after the end nothing is held."""
    with open_controllers("pads:") as source:
        opened: Source = source
        assert opened.address == "pads:"
        pad = plug(plugged)
        pad.let_be()
        stamps = []
        for step in range(50):
            for chunk in opened.read(step * EVERY_NS):
                assert len(pack_chunk(chunk)) < 256
                assert unpacked(chunk.data).pad == 0
                stamps.append(chunk.stamp_ns)
        assert stamps == sorted(stamps)
        assert len(stamps) == 50
        assert all(isinstance(notice, str) for notice in opened.notices())
    assert not pad.is_open
    # opened again, numbers begin anew
    with open_controllers("pads:") as again:
        assert unpacked(again.read(0)[0].data).pad == 0
