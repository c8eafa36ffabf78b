"""Pulses of a camera's contacts on a clock of the test's own: how long, how far apart, and open in the end."""

import pytest

from sequencer.adapters.camera_contacts import REST_NS, CameraOutput, Pulses
from sequencer.errors import LinkError
from sequencer.rig.signals import Trigger

MS = 1_000_000
PULSE_NS = 100 * MS


class Cable:
    """Contacts that remember when they were switched; `broken`: switching one fails."""

    def __init__(self) -> None:
        self.now_ns = 5_000 * MS
        self.switched: list[tuple[int, str, bool]] = []
        self.broken: set[str] = set()
        self.pulses: Pulses[str] = Pulses(self.switch, PULSE_NS, lambda: self.now_ns, self.sleep)
        deeds = {"shutter": lambda: self.pulses.begin("a"), "record": lambda: self.pulses.begin("b")}
        self.output = CameraOutput("the cable", deeds, self.pulses)  # type: ignore[arg-type]  # names as written

    def switch(self, contact: str, on: bool) -> None:
        if contact in self.broken:
            raise LinkError(f"{contact} is gone")
        self.switched.append((self.now_ns // MS - 5_000, contact, on))

    def sleep(self, for_s: float) -> None:
        self.now_ns += round(for_s * 1e9)

    def tick(self, to_ms: int) -> None:
        """Have ticks pass, 4 ms each."""
        while self.now_ns < (5_000 + to_ms) * MS:
            self.now_ns += 4 * MS
            self.output.look(self.now_ns)

    def fire(self, name: str) -> bool:
        return self.output.fire(Trigger(self.now_ns, name))  # type: ignore[arg-type]  # names as written


def test_a_pulse_lasts_as_long_as_it_shall_and_nobody_waits_for_it() -> None:
    cable = Cable()
    assert cable.fire("shutter")
    assert cable.now_ns == 5_000 * MS
    cable.tick(200)
    assert cable.switched == [(0, "a", True), (100, "a", False)]


def test_a_tick_that_comes_late_makes_a_pulse_longer_and_never_shorter() -> None:
    cable = Cable()
    cable.now_ns += 300 * MS  # the engine stood still; the order was due before
    cable.output.fire(Trigger(5_000 * MS, "shutter"))
    cable.output.look(5_304 * MS)
    assert cable.switched == [(300, "a", True)]
    cable.tick(420)
    assert cable.switched[1:] == [(400, "a", False)]


def test_two_orders_that_nobody_could_tell_apart_are_not_taken_for_two() -> None:
    cable = Cable()
    assert cable.fire("shutter")
    assert cable.fire("record"), "another contact is another order"
    cable.tick(96)
    assert not cable.fire("shutter")
    assert cable.output.trouble().startswith("shutter was left out at the cable")
    cable.tick(100 + REST_NS // MS - 4)
    assert not cable.fire("shutter")
    cable.tick(100 + REST_NS // MS)
    assert cable.fire("shutter")
    assert cable.output.trouble() == ""
    assert [at for at, contact, on in cable.switched if contact == "a" and on] == [0, 120]


def test_what_it_has_no_way_for_does_not_go_out() -> None:
    cable = Cable()
    assert not cable.fire("cut")
    assert cable.switched == []
    assert cable.output.trouble() == ""


def test_closing_lets_a_pulse_end_and_leaves_every_contact_open() -> None:
    cable = Cable()
    cable.fire("shutter")
    cable.tick(40)
    cable.fire("record")
    cable.output.close()
    assert cable.switched == [(0, "a", True), (40, "b", True), (100, "a", False), (140, "b", False)]
    with pytest.raises(LinkError, match="the cable was closed; open it again"):
        cable.output.look(cable.now_ns)


def test_a_contact_that_fails_keeps_no_other_from_being_opened_and_nobody_waits_then() -> None:
    cable = Cable()
    cable.fire("shutter")
    cable.fire("record")
    cable.broken = {"a"}
    with pytest.raises(LinkError, match="a is gone"):
        cable.tick(120)
    before_ns = cable.now_ns
    cable.output.close()
    assert cable.switched[-1][1:] == ("b", False)
    assert cable.now_ns == before_ns


def test_a_contact_that_failed_while_it_closed_is_opened_too() -> None:
    cable = Cable()
    cable.broken = {"a"}
    with pytest.raises(LinkError, match="a is gone"):
        cable.fire("shutter")
    cable.broken = set()
    cable.output.close()
    assert cable.switched == [(0, "a", False)]
