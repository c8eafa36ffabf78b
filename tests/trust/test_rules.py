"""The simulated takes: some are played here, and each rule is shown to notice an engine that breaks it."""

import math
import os
import subprocess
import sys
from contextlib import ExitStack
from dataclasses import replace
from typing import Any
from unittest.mock import patch

import numpy as np
import pytest
from msgspec import structs

from sequencer.motion import profile as really
from sequencer.playback import ahead as ahead_file
from sequencer.playback import clocked, contact, pilot, watch
from sequencer.playback import step as step_file
from sequencer.playback.contact import Contact
from sequencer.playback.events import EngineLate, Reset, Stop
from sequencer.playback.guard import LONGEST_STEP_S, Guarded, Limits, Sent, at_rest, guard
from sequencer.playback.state import Phase, State
from sequencer.rig.signals import Setpoint
from sequencer.shell import duty, loop, recorder
from sequencer.shell import engine as engine_file
from sequencer.takes.rows import SetpointRow
from tests.trust.acts import ACTS
from tests.trust.trial import trial
from tests.trust.why import CAUSES, reason

_stop, _want = really.stop, pilot.want
SEEDS = range(24)
# in which a rule was broken once: rows of a take that waited too long, and rules that knew too little of a beginning
FAILED = (901, 2311, 364, 1738, 3050, 4701, 5509, 2292, 7178)
_MOST_TAKES = 40  # in which an engine that is broken must be seen to be


@pytest.mark.parametrize("seed", [*SEEDS, *FAILED])
def test_whatever_goes_wrong_no_rule_is_broken(seed: int) -> None:
    assert trial(seed).broken == []


def test_a_seed_plays_again_exactly_in_another_process_too() -> None:
    one, again = trial(7), trial(7)
    assert one == again
    command = [sys.executable, "-m", "tests.trust", "--seed", "7"]
    for order in ("1", "2"):
        environment = os.environ | {"PYTHONHASHSEED": order}
        said = subprocess.run(command, env=environment, capture_output=True, text=True, check=True).stdout
        assert f"digest {one.digest}" in said
    assert trial(8).digest != one.digest


def test_the_seeds_come_through_most_of_the_program() -> None:
    phases, happened, causes = set(), set(), set()
    for seed in SEEDS:
        one = trial(seed)
        phases |= set(one.phases)
        happened |= set(one.happened)
        causes |= set(one.causes)
    assert phases >= set(Phase) - {Phase.JOINING, Phase.FREEWHEELING}
    assert len(happened) > 0.6 * len(ACTS)
    assert len(causes) > 0.3 * len(CAUSES)


def test_a_cause_that_nothing_gave_is_no_reason() -> None:
    assert reason("the operator pressed stop", {"stop"}, 0)
    assert not reason("the operator pressed stop", {"hands", "flood"}, 0)
    assert not reason("something went wrong", set(ACTS), 10**12)


def _unguarded(limits: Limits, last: Sent, wanted: Setpoint) -> Guarded:
    """What goes out is twice as far from where it was as it may be."""
    done = guard(limits, last, wanted)
    return replace(done, setpoint=Setpoint(wanted.due_ns, 1.3 * done.setpoint.position, done.setpoint.velocity))


def _rough(limits: Limits, last: Sent, wanted: Setpoint) -> Guarded:
    """Where an axis uses nearly all of its acceleration, it gets 3 percent too much."""
    done = guard(limits, last, wanted)
    change = np.subtract(done.sent.speed, last.speed)
    most = np.array(limits.acceleration) * done.sent.apart_s
    if not (np.abs(change) > 0.9 * most).any() or not done.sent.span_s:
        return done
    speed = np.add(last.speed, 1.03 * np.sign(change) * most)
    position = np.add(last.position, speed * done.sent.span_s)
    sent = replace(done.sent, position=tuple(position.tolist()), speed=tuple(speed.tolist()))
    return replace(done, setpoint=Setpoint(wanted.due_ns, position, done.setpoint.velocity), sent=sent)


def _open(limits: Limits, last: Sent, wanted: Setpoint) -> Guarded:
    """No guard at all: whatever is wanted goes out."""
    span_s = min((wanted.due_ns - last.due_ns) * 1e-9, LONGEST_STEP_S)
    position, claims = tuple(wanted.position.tolist()), tuple(wanted.velocity.tolist())
    speed = tuple(((wanted.position - np.array(last.position)) / span_s).tolist())
    return Guarded(wanted, Sent(wanted.due_ns, position, speed, last.speed, claims, span_s, (last.span_s + span_s) / 2))


def _wild(flown: pilot.Pilot, due_ns: int, clock: Any) -> Setpoint:
    """A pilot who swings every axis about, five times a second, by what it goes in a fifth of one."""
    wanted = _want(flown, due_ns, clock)
    swing = 0.2 * math.sin(10 * math.pi * due_ns * 1e-9) * np.array([axis.speed for axis in flown.rig.axes])
    return wanted if isinstance(flown.flight, pilot.Still) else replace(wanted, position=wanted.position + swing)


def _deaf_to_stops(state: State, event: Any) -> Any:
    deaf = isinstance(event, Stop) and state.phase is Phase.LOCATING
    return (state, ()) if deaf else step_file.step(state, event)


def _forgetful(state: State, event: Any) -> Any:
    """A stop clears itself at the next tick."""
    if state.phase is Phase.STOPPED and not isinstance(event, Stop | Reset):
        return step_file.step(state, Reset())
    return step_file.step(state, event)


def _wordless(state: State, event: Any) -> Any:
    state, actions = step_file.step(state, event)
    return replace(state, cause="" if state.phase is Phase.STOPPED else state.cause), actions


def _quiet(state: State, event: Any) -> Any:
    state, actions = step_file.step(state, event)
    return state, tuple(one for one in actions if getattr(one, "code", "") not in ("stopping", "stopped"))


def _never_late(state: State, event: Any) -> Any:
    return (state, ()) if isinstance(event, EngineLate) else step_file.step(state, event)


def _mumbling(self: recorder.Recorder, row: Any, write: Any = recorder.Recorder.write) -> None:
    if isinstance(row, SetpointRow):
        row = SetpointRow(
            row.due_ns, row.timeline_s, row.phase, tuple(one + 1e-6 for one in row.position), row.velocity
        )
    write(self, row)


def _leaky(self: loop.Engine, passed: Any, due_ns: int, record: Any = loop.Engine._record) -> None:
    record(self, passed if self.ticks % 97 else (), due_ns)


def _wrong(self: loop.Engine, clock: Any, due_ns: int, show: Any = loop.Engine._show) -> None:
    seen = self._watch
    if seen.position is not None:
        self._watch = replace(seen, position=seen.position + 0.1)
    show(self, clock, due_ns)
    self._watch = seen


def _obliging(self: duty.Duty, order: Any, arm: Any = duty.Duty._arm) -> None:
    arm(self, structs.replace(order, remote=not order.by_hand))


_withdrawn, _begun, _attend = ahead_file.withdrawn, contact.begun, contact.attend


def _too_soon(*given: Any) -> Any:
    return _withdrawn(given[0], replace(given[1], committed_ns=0), given[2])


def _hopeful(self: loop.Engine, now_ns: int, hear: Any = loop.Engine.hear) -> None:
    """A rig counts as heard at any time."""
    hear(self, now_ns)
    if self._watch.longest_ns is not None:
        self._watch = replace(self._watch, longest_ns=now_ns, heard_ns=now_ns)


def _elsewhere(_contact: Any, _seen: Any, limits: Limits, sent: Sent) -> Sent:
    """Where playback begins anew a third of a second's way from where the rig was sent, and from where it stands."""
    return at_rest(
        sent.due_ns, np.clip(np.array(sent.position) + 0.3 * np.array(limits.speed), limits.low, limits.high)
    )


def _half(rig: Any, *motion: Any) -> Any:
    """A stop that brakes with half of what the axes can do."""
    axes = tuple(replace(axis, acceleration=axis.acceleration / 2) for axis in rig.axes)
    return _stop(replace(rig, axes=axes), *motion)


def _tardy(self: loop.Engine, *given: Any, follow: Any = loop.Engine._follow_orders) -> None:
    """A stop is obeyed two ticks late."""
    late = vars(self).setdefault("late", [[], []])
    late.append([one for one in self._inbox if isinstance(one[0], Stop)])
    self._inbox = [one for one in self._inbox if not isinstance(one[0], Stop)] + late.pop(0)
    follow(self, *given)


def _somewhat_off(*given: Any) -> Sent:
    """Playback begins anew by what an axis goes in two ticks from where the rig says that it stands."""
    sent, limits = _begun(*given), given[2]
    place = np.clip(np.array(sent.position) + 0.03 * np.array(limits.speed), limits.low, limits.high)
    return at_rest(sent.due_ns, place)


def _pardoning(state: State, event: Any) -> Any:
    """Whatever speaks against a reset is forgotten."""
    return step_file.step(replace(state, barred="") if isinstance(event, Reset) else state, event)


def _hasty(self: loop.Engine, *given: Any, begin: Any = loop.Engine.__init__) -> None:
    begin(self, *given)
    self._released = True


def _placid(now: Contact, seen: Any, fault: str, now_ns: int, _stranded: bool) -> Contact:
    return _attend(now, seen, fault, now_ns)


def _leaping(state: State, tick: Any) -> Any:
    return clocked.run(replace(state, jumps=tick.clock.jumps), tick)


# the rule that notices: what is broken, by what, and what befalls the takes
BROKEN: dict[str, tuple[Any, str, Any, tuple[str, ...]]] = {
    "acceleration": (loop, "guard", _unguarded, ()),
    "acceleration: two setpoints ask for 1.03": (loop, "guard", _rough, ()),
    "obeyed": (loop, "step", _deaf_to_stops, ("stop",)),
    "obeyed: a stop": (loop.Engine, "_follow_orders", _tardy, ("stop",)),
    "latch": (loop, "step", _forgetful, ()),
    "cause": (loop, "step", _wordless, ()),
    "log": (loop, "step", _quiet, ()),
    "standstill": (really, "stop", _half, ("stop",)),
    "asleep": (loop, "step", _never_late, ("engine late",)),
    "silence": (loop.Engine, "hear", _hopeful, ("rig mute",)),
    "astray": (watch, "astray", lambda *_: None, ("axis stalled", "rig deaf")),
    "pulled along": (Contact, "withheld", property(lambda _: False), ("rig mute", "link cut")),
    "pulled along: it is sent": (contact, "attend", lambda now, *_: now, ("rig mute", "link cut")),
    "known": (loop.Engine, "_show", _wrong, ()),
    "alone": (engine_file, "OPERATOR_SILENT_S", 1e9, ("program hangs",)),
    "freewheel": (clocked, "_clock_fault", lambda *_: "", ("timecode ends", "music stops")),
    "arming": (duty.Duty, "_arm", _obliging, ("trigger chooses",)),
    "disk: went out": (recorder.Recorder, "write", _mumbling, ()),
    "disk: has nothing of": (loop.Engine, "_record", _leaky, ()),
    "disk: killed": (recorder, "_CHUNK_NS", 10**13, ("writer killed",)),
    "begin": (contact, "begun", _elsewhere, ("rig mute", "rig pushed")),
    "begin: it begins": (contact, "begun", _somewhat_off, ("rig mute", "rig pushed")),
    "let go": (step_file, "driven", lambda state, _: (state, ()), ("drive",)),
    "arming: ready became joining": (clocked, "_joins", lambda *_: True, ("timecode jumps",)),
    "unasked": (loop.Engine, "__init__", _hasty, ()),
    "stranded": (contact, "attend", _placid, ("rig deaf", "axis stalled")),
    "away": (loop, "step", _pardoning, ("rig mute", "link cut", "reset at any time")),
    "outside": (contact, "outside", lambda *_: None, ("rig pushed",)),
    "jump": (step_file, "run", _leaping, ("timecode jumps",)),
    "speed of time": (clocked, "FASTEST", 9.0, ("timecode of another speed",)),
    "order": (ahead_file, "withdrawn", _too_soon, ("stop", "timecode jumps", "engine late")),
}


@pytest.mark.parametrize("rule", BROKEN)
def test_an_engine_that_breaks_a_rule_is_noticed(rule: str) -> None:
    where, name, instead, acts = BROKEN[rule]
    with patch.object(where, name, instead):
        assert any(trial(seed, acts).broke(rule) for seed in range(_MOST_TAKES))


def _gone_back(self: loop.Engine, due_ns: int) -> None:
    """What a rig played while the tick was late is withdrawn too."""
    self._ahead, last = _withdrawn(self._ahead, self._timing, due_ns)
    if last is not None:
        self._sent, self.held = last.sent, last.gap
        self._touch.withdraw(last.sent.due_ns + 1)


def _behind(self: loop.Engine, until_ns: int, due: Any = loop.Engine._due) -> Any:
    return due(self, until_ns - max(0, self.late_ns))


def _empty(self: loop.Engine, due_ns: int, begin: Any = loop.Engine._begin) -> None:
    """What a rig still has in its buffer is forgotten when playback begins from where it stands."""
    begin(self, due_ns)
    self._ahead = ahead_file.Ahead()


def _all_or_nothing(ahead: ahead_file.Ahead, timing: ahead_file.Timing, now_ns: int) -> Any:
    """Where all that was made could be withdrawn, nothing is."""
    if not any(one.sent.due_ns <= now_ns + timing.committed_ns for one in ahead.made):
        return ahead, None
    return _withdrawn(ahead, timing, now_ns)


# faults that simulated takes found, put back: the rule that notices, what is broken by what, and what befalls the takes
MENDED: dict[str, tuple[str, tuple[tuple[Any, str, Any], ...], tuple[str, ...]]] = {
    "a late tick goes too far back": (
        "acceleration",
        ((loop.Engine, "_withdraw", _gone_back), (loop.Engine, "_due", _behind)),
        ("engine late",),
    ),
    "a rig is believed to stand at 1e30": ("known", ((watch, "FARTHEST", math.inf),), ("rig mad",)),
    "a stop waits for a buffer": ("standstill", ((ahead_file, "withdrawn", _all_or_nothing),), ("stop",)),
    "a buffer is forgotten": ("disk: has nothing of", ((loop.Engine, "_begin", _empty),), ("rig pushed", "stop")),
}


@pytest.mark.parametrize("fault", MENDED)
def test_a_fault_that_was_mended_is_noticed_where_it_comes_back(fault: str) -> None:
    rule, broken, acts = MENDED[fault]
    with ExitStack() as patches:
        for where, name, instead in broken:
            patches.enter_context(patch.object(where, name, instead))
        assert any(trial(seed, acts).broke(rule) for seed in range(_MOST_TAKES))


_LIMITS = ("finite", "order", "travel", "speed", "acceleration")


def test_a_pilot_who_is_out_of_his_mind_is_held_by_the_guard_and_without_it_is_noticed() -> None:
    def broken(seed: int) -> list[str]:
        return [words for words in trial(seed).broken if words.startswith(_LIMITS)]

    with patch.object(loop, "want", _wild):
        assert [words for seed in range(6) for words in broken(seed)] == []
        with patch.object(loop, "guard", _open):
            assert {words.split(":")[0] for seed in range(6) for words in broken(seed)} >= {"speed", "acceleration"}


def test_rows_that_are_lost_on_the_way_to_the_disk_are_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    write = recorder.Recorder.write
    count = [0]

    def forgets(self: recorder.Recorder, row: Any) -> None:
        count[0] += 1
        if count[0] % 1000:
            write(self, row)

    monkeypatch.setattr(recorder.Recorder, "write", forgets)
    assert any(trial(seed).broke("disk: called whole") for seed in range(_MOST_TAKES))
