"""Checks an output for those who add one: in plain words what it does not keep of the contract, or nothing.

A package that brings an output calls `check_output(KIND, address, rig)` in its own tests.
"""

import math
import re
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from typing import Any

import numpy as np

from sequencer.adapters.contract import Carries, LinkState, Output, OutputKind
from sequencer.errors import LinkError
from sequencer.rig.axis import Rig
from sequencer.rig.outlet import AT_END
from sequencer.rig.signals import TRIGGER_NAMES, Feedback, Setpoint, Trigger
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timebase, parse

# how long the third longest call of a method may wait, and the whole check take
_WAITS_S = 0.02
_PATIENCE_S = 60.0
_TICKS = 250
_TICK_S = 0.004
_COUNTING = Counting(Rate(25))
_TIMEBASE = Timebase(_COUNTING, parse("10:00:00:00", _COUNTING))


def check_output(kind: OutputKind, address: str, rig: Rig) -> None:
    """Check an output at an address whose other end is there: a program that listens, or a board without motor power.

    Setpoints around each axis's `home`, stops and every trigger go out. No method waits; what it carries is in order,
    and the same each time; options that it has not are refused; a timeline that no clock places is no trouble; stopping
    is possible at any time; after closing nothing goes out, and that is said.
    Error: AssertionError that names the output and what it does not keep of `adapters.contract`.
    """
    where = address
    _check_record(where, kind)
    carries = kind.carries(address, rig)
    _check_carries(where, carries, len(rig.axes))
    assert kind.carries(address, rig) == carries, f"{where}: asked twice, it carries something else"
    strange = f"{address}{'&' if '?' in address else '?'}no_such_option=1"
    _refuses(f"{where}: carries", strange, lambda: kind.carries(strange, rig))
    _refuses(f"{where}: open", strange, lambda: kind.open(strange, rig, _TIMEBASE).__enter__())
    session = _Session(where, kind, address, rig, carries)
    thread = threading.Thread(target=session.run, name="check_output", daemon=True)
    thread.start()
    thread.join(_PATIENCE_S)
    assert not thread.is_alive(), f"{where}: {session.doing} did not come back within {_PATIENCE_S:.0f} s; it blocks"
    if session.fault is not None:
        raise session.fault


def _check_record(where: str, kind: OutputKind) -> None:
    assert kind.schemes, f"{where}: the kind has no schemes"
    assert where.partition(":")[0] in kind.schemes, f"{where}: the address begins with none of {kind.schemes}"
    for scheme in kind.schemes:
        assert re.fullmatch("[a-z][a-z0-9+.-]*", scheme), f"{scheme!r} is no scheme (RFC 3986, 3.1), in lower case"
    assert kind.stop_action.strip(), f"{where}: nobody is told what a stop is to it; fill in stop_action"
    assert kind.at_end in AT_END, f"{where}: at_end is {kind.at_end!r}, none of {', '.join(AT_END)}"
    try:
        found = kind.names()
    except LinkError:
        return
    assert isinstance(found, tuple), f"{where}: names gave {found!r}, not a tuple"
    for name in found:
        assert name.partition(":")[0] in kind.schemes, f"{where}: names gave {name!r}, which it does not open"


def _check_carries(where: str, carries: Carries, axes: int) -> None:
    assert carries.most_axes is None or carries.most_axes >= axes, f"{where}: fewer axes than it was given here"
    if carries.most_hz is not None:
        assert 0 < carries.most_hz < math.inf, f"{where}: most_hz is {carries.most_hz}"
        assert carries.why.strip(), f"{where}: most_hz needs its reason in `why`, with the figure"
    for name, values in (("resolution", carries.resolution), ("span", carries.span)):
        assert len(values) in (0, axes), f"{where}: {name} has {len(values)} values for {axes} axes"
    assert all(0 <= step < math.inf for step in carries.resolution), f"{where}: resolution is {carries.resolution}"
    assert all(one is None or one[0] < one[1] for one in carries.span), f"{where}: a span of {carries.span} is empty"
    assert 0 <= carries.committed_s <= carries.ahead_s < math.inf, (
        f"{where}: committed_s {carries.committed_s} must be from 0 to ahead_s {carries.ahead_s}"
    )
    assert len(set(carries.triggers)) == len(carries.triggers), f"{where}: triggers has one twice"
    assert set(carries.triggers) <= set(TRIGGER_NAMES), f"{where}: triggers {carries.triggers} are not all known"


def _refuses(where: str, address: str, call: Callable[[], object]) -> None:
    said = ""
    try:
        call()
    except LinkError as fault:
        said = str(fault)
    except Exception as fault:
        raise AssertionError(f"{where}: {address} must raise a LinkError, not {fault!r}") from fault
    assert said, f"{where}: {address} has an option that nobody knows, and is not refused"
    assert "no_such_option" in said, f"{where}: the refusal of {address} does not name the option: {said}"


class _Session:
    """Opens the output, and calls it as the engine does; `fault` is what came of it."""

    def __init__(self, where: str, kind: OutputKind, address: str, rig: Rig, carries: Carries) -> None:
        self._where, self._kind, self._address, self._rig, self._carries = where, kind, address, rig, carries
        self._waits: dict[str, list[float]] = {}
        self.doing = "open"
        self.fault: BaseException | None = None

    def run(self) -> None:
        try:
            self._run()
        except AssertionError as fault:
            self.fault = fault
        except LinkError as fault:
            self.fault = AssertionError(f"{self._where}: {self.doing}: {fault} (is the other end there?)")
        except Exception as fault:
            self.fault = AssertionError(f"{self._where}: {self.doing} raised {fault!r}")
            self.fault.__cause__ = fault

    def _run(self) -> None:
        with self._kind.open(self._address, self._rig, _TIMEBASE) as output:
            descriptor = self._call(output, "fileno")
            assert descriptor is None or descriptor >= 0, f"{self._where}: fileno is {descriptor}"
            self._call(output, "stop")
            for axis in self._rig.axes:
                self._call(output, "here", axis.name, axis.home)
            self._ticks(output)
            if self._kind.shared:
                self.doing = "a second open, while the first is open,"
                with self._kind.open(self._address, self._rig, _TIMEBASE) as second:
                    self._call(second, "stop")
            for what in TRIGGER_NAMES:
                fired = self._call(output, "fire", Trigger(time.monotonic_ns(), what))
                carried = what in self._carries.triggers
                assert fired is carried, f"{self._where}: fire said {fired} of {what}, and it carries it: {carried}"
            for name in ("stop", "stop", "ask", "stop"):
                self._call(output, name)
            self.doing = "closing"
        self._closed(output)
        for name, waits in self._waits.items():
            waited_s = sorted(waits)[-min(3, len(waits))]
            assert waited_s < _WAITS_S, f"{self._where}: {name} waited {waited_s * 1e3:.0f} ms; no method may block"

    def _call(self, output: Output, name: str, *given: object) -> Any:
        self.doing = name
        begun_s, used_s = time.monotonic(), time.thread_time()
        try:
            return getattr(output, name)(*given)
        finally:
            # what the call worked, or lost to other programs while it worked, is no waiting for long
            self._waits.setdefault(name, []).append(time.monotonic() - begun_s - (time.thread_time() - used_s))

    def _ticks(self, output: Output) -> None:
        """Go on for a second at 250 ticks, with as many sets as the link holds."""
        apart_ns = round(1e9 / self._carries.most_hz) if self._carries.most_hz else 0
        free_ns = 0
        for tick in range(_TICKS):
            time.sleep(_TICK_S)
            now_ns = time.monotonic_ns()
            self._call(output, "look", now_ns)
            if tick % 125 == 0:
                self._call(output, "ask")
                self._says(output, now_ns)
            if now_ns >= free_ns:
                free_ns = now_ns + apart_ns
                setpoint = self._setpoint(now_ns + round(self._carries.ahead_s * 1e9), tick)
                kept = setpoint.position.tolist()
                self._call(output, "send", setpoint)
                assert setpoint.position.tolist() == kept, f"{self._where}: send changed the setpoint"
            if self._carries.ahead_s and tick % 125 == 124:
                self._call(output, "replace", now_ns + round(self._carries.committed_s * 1e9) + 1)
            self._heard(self._call(output, "read", now_ns), now_ns)

    def _setpoint(self, due_ns: int, tick: int) -> Setpoint:
        """Return a set near home, within the travel; every other one is on no timeline."""
        position = np.array([axis.home for axis in self._rig.axes])
        for place, axis in enumerate(self._rig.axes):
            low, high = axis.travel or (-180.0, 180.0)
            towards = high if high - axis.home > axis.home - low else low
            position[place] += (towards - axis.home) * 1e-3 * math.sin(tick / 50) ** 2
        return Setpoint(due_ns, position, np.zeros(len(position)), math.nan if tick % 2 else tick / 250)

    def _heard(self, heard: tuple[Feedback, ...], now_ns: int) -> None:
        assert isinstance(heard, tuple), f"{self._where}: read gave {type(heard).__name__}, not a tuple"
        assert self._kind.answers or not heard, f"{self._where}: it answers, and its KIND says that it cannot"
        for one in heard:
            assert one.position.shape == (len(self._rig.axes),), f"{self._where}: an answer has {one.position.shape}"
            assert one.heard_ns == now_ns, f"{self._where}: an answer is stamped {one.heard_ns}, not {now_ns}"

    def _says(self, output: Output, now_ns: int) -> None:
        state, words = self._call(output, "link", now_ns), self._call(output, "trouble")
        assert isinstance(state, LinkState), f"{self._where}: link gave {state!r}"
        for value in (state.round_trip_s, state.lost):
            assert value is None or 0 <= value < math.inf, f"{self._where}: link gave {state}"
        assert isinstance(words, str), f"{self._where}: trouble gave {words!r}"

    def _closed(self, output: Output) -> None:
        """Make one more tick; whatever else a closed output does, that must raise a LinkError."""
        now_ns = time.monotonic_ns()
        for name in ("stop", "ask"):
            with suppress(LinkError):
                self._call(output, name)
        try:
            self._call(output, "send", self._setpoint(now_ns, 0))
            self._call(output, "look", now_ns)
            self._call(output, "read", now_ns)
        except LinkError:
            return
        raise AssertionError(f"{self._where}: after closing, none of send, look and read raises a LinkError")
