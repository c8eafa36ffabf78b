"""How each game controller is set now, as the engine tells it in every status."""

from dataclasses import replace
from pathlib import Path

import msgspec
import pytest

from sequencer.live.handling import Deed, Handling, Stick, default_handlings
from sequencer.live.screen import Push
from sequencer.project.store import load_rig
from sequencer.rig.axis import Rig
from sequencer.shell.hands import HandsOn
from sequencer.shell.memory import Page
from sequencer.shell.messages import PadSet, Status
from sequencer.wire.pad import packed
from tests.live.pad import ROW_NS, held, row
from tests.shell.test_tour import status

RIG: Rig = load_rig(Path("projects/harbour-lanterns"))
PRESSED = {
    Deed.COARSE_FINE: "right shoulder",
    Deed.FASTER: "pad up",
    Deed.WIDER: "pad right",
    Deed.RATE_SPRING: "back",
}


class Pads:
    def __init__(self, *handlings: Handling) -> None:
        self.hands = HandsOn(RIG, handlings or default_handlings(RIG))
        self.hands.take(on=True)
        self.now_ns = 0
        self.say()

    def say(self, *buttons: str, pad: int = 0, name: str = "Pad", here: bool = True) -> None:
        self.now_ns += ROW_NS
        said = held(*buttons, name=name) if here else row(name=name, here=False)
        self.hands.feed(self.now_ns, packed(replace(said, pad=pad)))

    def press(self, deed: Deed) -> None:
        self.say(PRESSED[deed])
        self.say()

    @property
    def first(self) -> PadSet:
        return self.hands.settings()[0]


def test_what_buttons_change_is_told_at_once() -> None:
    pads = Pads()
    assert pads.first == PadSet(number=0, name="Pad", sticks=True, manner="rate", range_deg=90.0, top=0.5, fine=False)
    pads.press(Deed.COARSE_FINE)
    assert pads.first.fine
    assert pads.first.top == pytest.approx(0.1)
    pads.press(Deed.FASTER)
    assert pads.first.top == pytest.approx(0.15)
    pads.press(Deed.RATE_SPRING)
    pads.press(Deed.WIDER)
    assert (pads.first.manner, pads.first.range_deg) == ("spring", 180.0)


def test_only_pads_that_are_here_are_told_by_their_numbers() -> None:
    pads = Pads(Handling(sticks=(Stick(control="left x", axis="pan"),), manner="spring", range_deg=45.0))
    pads.say(pad=2, name="Other")
    assert [(one.number, one.name, one.sticks) for one in pads.hands.settings()] == [
        (0, "Pad", True),
        (2, "Other", False),
    ]
    pads.say(here=False)
    assert [one.number for one in pads.hands.settings()] == [2]


def test_a_status_finds_room_however_many_pads_are_here_and_whatever_they_are_called(tmp_path: Path) -> None:
    pads = Pads()
    for number in range(200):
        pads.say(pad=number, name="\U0001f3ae" * 24)
    full = msgspec.structs.replace(
        status(1, "going", "m" * 200),
        cause="c" * 500,
        asked=(1 / 3,) * 32,
        actual=(1 / 3,) * 32,
        switches=(True,) * 32,
        pads=pads.hands.settings(),
    )
    page = Page(tmp_path / "page", new=True)
    page.publish(msgspec.msgpack.encode(full))
    newest = page.newest()
    assert newest is not None
    assert msgspec.msgpack.decode(newest, type=Status) == full
    page.close()


def test_the_screen_is_no_game_controller_among_them() -> None:
    pads = Pads()
    pads.hands.press(Push(parts=(0.0,) * len(RIG.axes)), pads.now_ns)
    assert [one.name for one in pads.hands.settings()] == ["Pad"]
