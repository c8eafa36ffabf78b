"""Faults that an engine could come to have: each is planted, and simulated takes see it by the rule that it breaks."""

from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import replace
from math import pi, sin
from typing import Any
from unittest.mock import patch

import numpy as np
import pytest

from sequencer.motion import profile
from sequencer.playback import contact, pilot, watch
from sequencer.playback import step as step_file
from sequencer.playback.events import Recue, Reset, Stop, Tick
from sequencer.playback.guard import Limits, limits
from sequencer.playback.state import STOPS, Phase, State
from sequencer.rig.axis import Rig
from sequencer.rig.signals import Setpoint
from sequencer.shell import engine as engine_file
from sequencer.shell import loop, recorder
from tests.trust.trial import trial

_MOST_TAKES = 40  # in which a fault must be seen
_step, _limits, _stop, _want = step_file.step, limits, profile.stop, pilot.want


def _forgiving(self: loop.Engine, due_ns: int, look: Any = loop.Engine._look_after_link) -> None:
    """Where the rig is back, its stop is cleared."""
    look(self, due_ns)
    if self._touch.contact.withheld and not self._touch.contact.why:
        self.order(Reset())


def _mindful(state: State, event: Any) -> Any:
    """A reset that was refused is done once nothing speaks against it."""
    if isinstance(event, Reset) and state.barred:
        return replace(state, told="reset"), _step(state, event)[1]
    if isinstance(event, Tick) and state.phase is Phase.STOPPED and state.told == "reset" and not state.barred:
        return _step(replace(state, told=""), Reset())
    return _step(state, event)


def _unlatched(state: State, event: Any) -> Any:
    """What has braked is idle."""
    found, actions = _step(state, event)
    if state.phase is Phase.STOPPING and found.phase is Phase.STOPPED:
        found = replace(found, phase=Phase.IDLE, cause="")
    return found, actions


def _fickle(state: State, event: Any) -> Any:
    """The last cause of a stop is told, and not the first."""
    found, actions = _step(state, event)
    return (replace(found, cause=event.cause) if isinstance(event, Stop) and state.phase in STOPS else found), actions


def _unmoved(state: State, event: Any) -> Any:
    """A rig that drops while nothing moves is no reason to stop."""
    if isinstance(event, Tick) and state.phase in (Phase.IDLE, Phase.READY, Phase.FINISHED):
        event = replace(event, dropped="", silent_s=0.0)
    return _step(state, event)


def _restless(state: State, event: Any) -> Any:
    """Where triggers may choose, a cue that is done is shot again by itself."""
    if isinstance(event, Tick) and state.phase is Phase.FINISHED and state.armed is not None and state.armed.remote:
        return _step(state, Recue(state.armed.cued, "nobody"))
    return _step(state, event)


def _stubborn(duty: Any, due_ns: int, look: Any = engine_file._look_after) -> None:
    """Whoever pressed stop once is taken to press it again and again."""
    look(duty, due_ns)
    duty.stops = -1 if duty.stops else 0


def _generous(*columns: str) -> Callable[[Rig], Limits]:
    """The guard lets through one percent more than each axis can."""

    def more(rig: Rig) -> Limits:
        found = _limits(rig)
        return replace(found, **{name: tuple(1.01 * one for one in getattr(found, name)) for name in columns})

    return more


def _racing(flown: pilot.Pilot, due_ns: int, clock: Any) -> Setpoint:
    """A pilot who would have every axis in motion go to and fro, much too fast and much too far."""
    wanted = _want(flown, due_ns, clock)
    swing = 3 * sin(pi / 2 * due_ns * 1e-9) * np.array([axis.speed for axis in flown.rig.axes])
    return wanted if isinstance(flown.flight, pilot.Still) else replace(wanted, position=wanted.position + swing)


def _displaced(
    self: loop.Engine, rig: Any, wires: Any, position: Any, *given: Any, begin: Any = loop.Engine.__init__
) -> None:
    """The rig is taken to stand elsewhere than it says, by what it goes in a third of a second."""
    begin(self, rig, wires, position + 0.3 * np.array([axis.speed for axis in rig.axes]), *given)


def _uneven(rig: Any, *motion: Any) -> Any:
    """A stop that brakes the last axis with half of what it can do, and the others well."""
    last = rig.axes[-1]
    return _stop(replace(rig, axes=(*rig.axes[:-1], replace(last, acceleration=last.acceleration / 2))), *motion)


# what is wrong: the rule by which it is seen, what is put in place of what, and what befalls the takes
FAULTS: dict[str, tuple[str, tuple[tuple[Any, str, Any], ...], tuple[str, ...]]] = {
    "a rig that is back clears its stop": (
        "latch",
        ((loop.Engine, "_look_after_link", _forgiving),),
        ("rig mute", "link cut"),
    ),
    "a reset that was refused is done later": (
        "latch",
        ((loop, "step", _mindful),),
        ("rig mute", "link cut", "reset at any time"),
    ),
    "braking ends in idle": ("latch: a stop cleared itself: stopping", ((loop, "step", _unlatched),), ("stop",)),
    "the first cause is forgotten": ("latch: it stopped since", ((loop, "step", _fickle),), ("stop", "flood")),
    "a silent rig is said to stand where it stood": (
        "known: the link is down",
        ((watch, "forget", lambda seen: watch.leave(seen, ())), (contact, "faded", lambda seen, _: seen)),
        ("rig mute", "link cut"),
    ),
    "a rig that falls silent at rest stops nothing": (
        "silence",
        ((loop, "step", _unmoved),),
        ("rig mute", "link cut"),
    ),
    "what is done is shot again unasked": ("arming", ((loop, "step", _restless),), ("fire",)),
    "a stop is repeated that nobody presses any more": ("why", ((engine_file, "_look_after", _stubborn),), ("stop",)),
    "a setpoint is one percent too fast": (
        "speed",
        ((loop, "limits", _generous("speed", "ceiling")), (loop, "want", _racing)),
        (),
    ),
    "a setpoint is one percent too rough": (
        "acceleration",
        ((loop, "limits", _generous("acceleration")), (loop, "want", _racing)),
        (),
    ),
    "a setpoint is one percent outside the travel": (
        "travel",
        ((loop, "limits", _generous("low", "high")), (loop, "want", _racing)),
        (),
    ),
    "it begins elsewhere": ("begin", ((loop.Engine, "__init__", _displaced),), ()),
    "one axis brakes too slowly": ("standstill", ((profile, "stop", _uneven),), ("stop",)),
    "a take ends when a stop begins": (
        "disk: has nothing of",
        ((loop, "_ENDS", (Phase.FINISHED, *STOPS)), (loop, "TAIL_S", 0.0)),
        ("stop",),
    ),
    "two seconds of a take are kept in memory": (
        "disk: killed",
        ((recorder, "_CHUNK_NS", 2 * 10**9),),
        ("writer killed",),
    ),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_is_seen(fault: str) -> None:
    rule, planted, acts = FAULTS[fault]
    with ExitStack() as patches:
        for where, name, instead in planted:
            patches.enter_context(patch.object(where, name, instead))
        assert any(trial(seed, acts).broke(rule) for seed in range(_MOST_TAKES))
