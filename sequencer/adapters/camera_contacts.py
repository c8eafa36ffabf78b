"""A camera at the end of a cable, and no axis: contacts that close for a pulse, or words. It decides nothing.

The tick begins a pulse and a later one ends it, so that nobody waits. When the output is closed a pulse may still last;
it is waited for then, and every contact is open behind that, whatever fails.
"""

import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from typing import Generic, TypeVar

from sequencer.adapters.asked import Asked
from sequencer.adapters.contract import LinkState
from sequencer.errors import LinkError
from sequencer.rig.signals import TRIGGER_NAMES, Feedback, Setpoint, Trigger, TriggerName

REST_NS = 20_000_000  # that a contact is open between two pulses, so that a camera can tell them apart (our choice)

Deed = Callable[[], bool]  # whether it went out
T = TypeVar("T")
C = TypeVar("C", bound=str)  # a contact, by its name


def read_pulse(asked: Asked) -> int:
    """Return how long a contact is closed. Unit: ns. Error: LinkError."""
    return round(asked.number("pulse", 0.1, 0.01, 2.0) * 1e9)


def read_ways(asked: Asked, ways: str) -> dict[TriggerName, str]:
    """Return what the address says of each trigger; `ways` is what it may say, in words. Error: LinkError."""
    said = {name: text for name in TRIGGER_NAMES if (text := asked.option(name))}
    if not said:
        raise asked.fault(f"says nothing of a camera: give shutter, record or cut {ways}")
    return said


def demand_apart(asked: Asked, contacts: Mapping[TriggerName, str]) -> None:
    """Refuse two triggers by one contact; only record and cut may share one, as cameras have it. Error: LinkError."""
    if "shutter" in contacts and list(contacts.values()).count(contacts["shutter"]) > 1:
        raise asked.fault(f"has two triggers by one contact, {contacts['shutter']}; only record and cut may share one")


class Pulses(Generic[C]):
    """Contacts, of which each closes for `pulse_ns` at a time. `switch` closes or opens one, and does not wait.

    Error: LinkError from `switch`.
    """

    def __init__(
        self,
        switch: Callable[[C, bool], None],
        pulse_ns: int,
        now_ns: Callable[[], int] = time.monotonic_ns,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self._switch, self._pulse_ns, self._now_ns, self._sleep = switch, pulse_ns, now_ns, sleep
        self._until_ns: dict[C, int] = {}
        self._opened_ns: dict[C, int] = {}

    def begin(self, contact: C) -> bool:
        """Close a contact. False: it is closed still, or was a moment ago, so that nobody could tell the two apart."""
        now_ns = self._now_ns()
        if contact in self._until_ns or now_ns - self._opened_ns.get(contact, now_ns - REST_NS) < REST_NS:
            return False
        # before it is tried: one that failed half-way is opened again too
        self._until_ns[contact] = now_ns + self._pulse_ns
        self._switch(contact, True)
        return True

    def look(self, now_ns: int) -> None:
        """Open each contact whose pulse is over."""
        for contact in [one for one, until_ns in self._until_ns.items() if until_ns <= now_ns]:
            self._open(contact)

    def finish(self, *, wait: bool) -> None:
        """Open all of them, each at the end of its pulse, or at once where there is nothing to wait for."""
        for contact, until_ns in sorted(self._until_ns.items(), key=lambda one: one[1]):
            left_ns = until_ns - self._now_ns()
            if wait and left_ns > 0:
                self._sleep(left_ns * 1e-9)
            with suppress(LinkError):  # the others are opened all the same
                self._open(contact)

    def _open(self, contact: C) -> None:
        self._switch(contact, False)
        del self._until_ns[contact]
        self._opened_ns[contact] = self._now_ns()


class CameraOutput(Generic[C]):
    """An output behind which there is only a camera. `deeds` are its triggers; `where` is the cable in words.

    `tend` looks after the cable at each tick, and returns what is wrong with it, in words; `fileno` as in the contract.
    """

    def __init__(
        self,
        where: str,
        deeds: Mapping[TriggerName, Deed],
        pulses: Pulses[C],
        tend: Callable[[], str] = lambda: "",
        fileno: Callable[[], int | None] = lambda: None,
    ) -> None:
        self._where, self._deeds, self._pulses, self._tend, self._fileno = where, deeds, pulses, tend, fileno
        self._open, self._gone = True, False
        self._words = self._left_out = ""

    def fileno(self) -> int | None:
        return self._fileno() if self._open else None

    def send(self, setpoint: Setpoint) -> None:
        self._demand_open()

    def replace(self, from_ns: int) -> None:
        raise AssertionError("it schedules nothing, so there is nothing to replace")

    def fire(self, trigger: Trigger) -> bool:
        self._demand_open()
        deed = self._deeds.get(trigger.name)
        if deed is None:
            return False
        went = self._try(deed)
        self._left_out = "" if went else trigger.name
        return went

    def read(self, heard_ns: int) -> tuple[Feedback, ...]:
        self._demand_open()
        self._words = self._try(self._tend)
        return ()

    def ask(self) -> None:
        """Do nothing: there is no rig."""

    def look(self, now_ns: int) -> None:
        self._demand_open()
        self._try(lambda: self._pulses.look(now_ns))
        self._words = self._try(self._tend)

    def link(self, now_ns: int) -> LinkState:
        return LinkState()

    def stop(self) -> None:
        """Do nothing: nothing moves by it, and a pulse ends by itself."""

    def here(self, axis: str, value: float) -> None:
        """Do nothing: there is no axis."""

    def trouble(self) -> str:
        left_out = ""
        if self._left_out:
            left_out = (
                f"{self._left_out} was left out at {self._where}: what was ordered before it is not through; order it "
                f"later, or make pulse shorter"
            )
        return "; ".join(filter(None, (self._words, left_out)))

    def close(self) -> None:
        """Let pulses end, and open every contact. Where the cable is gone nothing is waited for."""
        self._pulses.finish(wait=not self._gone)
        self._open = False

    def _demand_open(self) -> None:
        if not self._open:
            raise LinkError(f"{self._where} was closed; open it again")

    def _try(self, work: Callable[[], T]) -> T:
        try:
            return work()
        except LinkError:
            self._gone = True
            raise
