"""The check for those who add an output: a sound one passes, and each fault is told in words."""

import socket
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from sequencer.adapters.asked import Asked
from sequencer.adapters.contract import Carries, LinkState, OutputKind
from sequencer.errors import LinkError
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.signals import Feedback, Setpoint, Trigger
from sequencer.testing import outputs
from sequencer.testing.outputs import check_output
from sequencer.timebase.timecode import Timebase

RIG = Rig(
    name="quay",
    axes=tuple(
        Axis(name=name, kind=name, unit="deg", travel=(-90, 90), speed=60, acceleration=120, jerk=600)
        for name in ("pan", "tilt")
    ),
)


class Sound:
    """An output that keeps the contract. Tests put one fault in, by replacing a method."""

    def __init__(self) -> None:
        self.open = True

    def fileno(self) -> int | None:
        return None

    def send(self, setpoint: Setpoint) -> None:
        if not self.open:
            raise LinkError("closed")

    def replace(self, from_ns: int) -> None:
        raise AssertionError("it schedules nothing")

    def fire(self, trigger: Trigger) -> bool:
        return trigger.name == "shutter"

    def read(self, heard_ns: int) -> tuple[Feedback, ...]:
        return (Feedback(heard_ns, np.zeros(2), heard_ns),)

    def ask(self) -> None:
        pass

    def look(self, now_ns: int) -> None:
        pass

    def link(self, now_ns: int) -> LinkState:
        return LinkState()

    def stop(self) -> None:
        pass

    def here(self, axis: str, value: float) -> None:
        pass

    def trouble(self) -> str:
        return ""


def carries(address: str, rig: Rig) -> Carries:
    asked = Asked(address, "sound:1")
    asked.done()
    return Carries(triggers=("shutter",))


def kind_of(kind: type[Sound]) -> OutputKind:
    @contextmanager
    def opened(address: str, rig: Rig, _: Timebase) -> Iterator[Sound]:
        carries(address, rig)
        output = kind()
        yield output
        output.open = False

    return OutputKind(schemes=("sound",), answers=True, stop_action="holds", carries=carries, open=opened)


SOUND = kind_of(Sound)


@pytest.fixture(autouse=True)
def short(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let a check take no time: nothing here has a pace of its own."""
    monkeypatch.setattr(outputs, "_TICKS", 10)
    monkeypatch.setattr(outputs, "_TICK_S", 0.0)


def with_fault(name: str, method: Callable[..., object]) -> OutputKind:
    return kind_of(type("Faulty", (Sound,), {name: method}))


def test_an_output_that_keeps_the_contract_passes() -> None:
    check_output(SOUND, "sound:1", RIG)


def stalls(self: Sound, setpoint: Setpoint) -> None:
    Sound.send(self, setpoint)
    time.sleep(0.03)


def writes(self: Sound, setpoint: Setpoint) -> None:
    Sound.send(self, setpoint)
    setpoint.position[:] = np.clip(setpoint.position, 5, 6)


def counts(self: Sound, setpoint: Setpoint) -> None:
    Sound.send(self, setpoint)
    int(setpoint.timeline_s * 25)


@pytest.mark.parametrize(
    ("name", "method", "words"),
    [
        ("send", writes, "send changed the setpoint"),
        ("send", counts, "send raised ValueError.*NaN"),
        ("send", lambda self, setpoint: None, "after closing, none of send, look and read raises"),
        ("stop", lambda self: 1 / 0, "stop raised ZeroDivisionError"),
        ("fire", lambda self, trigger: True, "fire said True of record, and it carries it: False"),
        ("fire", lambda self, trigger: None, "fire said None of shutter"),
        ("read", lambda self, heard_ns: None, "read gave NoneType, not a tuple"),
        ("read", lambda self, heard_ns: (Feedback(0, np.zeros(3), heard_ns),), r"an answer has \(3,\)"),
        ("read", lambda self, heard_ns: (Feedback(0, np.zeros(2), 0),), "an answer is stamped 0"),
        ("link", lambda self, now_ns: None, "link gave None"),
        ("link", lambda self, now_ns: LinkState(lost=-1.0), "lost=-1.0"),
        ("trouble", lambda self: None, "trouble gave None"),
        ("fileno", lambda self: -1, "fileno is -1"),
        ("ask", lambda self: (_ for _ in ()).throw(LinkError("nobody there")), r"ask: nobody there \(is the other end"),
        ("here", lambda self: None, "here raised TypeError"),
    ],
)
def test_a_method_that_breaks_the_contract_is_named(name: str, method: Callable[..., object], words: str) -> None:
    with pytest.raises(AssertionError, match=f"sound:1: .*{words}|sound:1: {words}"):
        check_output(with_fault(name, method), "sound:1", RIG)


@pytest.mark.real_time
def test_a_method_that_waits_is_named() -> None:
    with pytest.raises(AssertionError, match=r"send waited \d+ ms; no method may block"):
        check_output(with_fault("send", stalls), "sound:1", RIG)


@pytest.mark.real_time
def test_a_method_that_never_comes_back_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(outputs, "_PATIENCE_S", 0.5)
    one, other = socket.socketpair()
    with one, other:
        hangs = with_fault("read", lambda self, heard_ns: one.recv(1))
        with pytest.raises(AssertionError, match="read did not come back within 0 s; it blocks"):
            check_output(hangs, "sound:1", RIG)
        other.send(b"1")


def saying(**said: Any) -> OutputKind:
    return replace(SOUND, **said)


def answering(**said: Any) -> OutputKind:
    return replace(SOUND, carries=lambda address, rig: replace(carries(address, rig), **said))


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        (replace(SOUND, schemes=("other",)), "begins with none of"),
        (replace(SOUND, schemes=("sound", "A b")), "is no scheme"),
        (replace(SOUND, stop_action=" "), "fill in stop_action"),
        (saying(at_end="falls"), "at_end is 'falls'"),
        (saying(names=lambda: ["sound:1"]), "not a tuple"),
        (replace(SOUND, names=lambda: ("osc:1",)), "which it does not open"),
        (replace(SOUND, answers=False), "it answers, and its KIND says that it cannot"),
        (replace(SOUND, carries=lambda address, rig: Carries()), "an option that nobody knows, and is not refused"),
        (replace(SOUND, carries=lambda address, rig: Carries(most_hz=time.monotonic(), why="1")), "something else"),
        (answering(most_hz=50.0), "needs its reason"),
        (answering(most_hz=0.0, why="none"), "most_hz is 0"),
        (answering(most_axes=1), "fewer axes"),
        (answering(resolution=(0.1,)), "resolution has 1 values for 2 axes"),
        (answering(resolution=(0.1, -1.0)), "resolution is"),
        (answering(span=((0.0, 0.0), None)), "is empty"),
        (answering(ahead_s=0.1, committed_s=0.2), "committed_s 0.2 must be from 0 to ahead_s 0.1"),
        (answering(triggers=("shutter", "shutter")), "one twice"),
        (answering(triggers=("flash",)), "not all known"),
    ],
)
def test_a_kind_that_says_what_cannot_be_is_told(kind: OutputKind, words: str) -> None:
    with pytest.raises(AssertionError, match=words):
        check_output(kind, "sound:1", RIG)


def test_options_that_raise_something_else_or_do_not_name_the_option_are_told() -> None:
    def raising(fault: Exception) -> OutputKind:
        def read(address: str, rig: Rig) -> Carries:
            if "?" in address:
                raise fault
            return Carries(triggers=("shutter",))

        return replace(SOUND, carries=read)

    with pytest.raises(AssertionError, match="must raise a LinkError, not KeyError"):
        check_output(raising(KeyError("x")), "sound:1", RIG)
    with pytest.raises(AssertionError, match="does not name the option: bad"):
        check_output(raising(LinkError("bad")), "sound:1", RIG)
