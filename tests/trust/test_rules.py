"""The simulated takes: some are played here, and each rule is shown to notice an engine that breaks it."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from sequencer.playback import step as step_file
from sequencer.playback.events import Reset, Stop
from sequencer.playback.guard import Guarded, Limits, Sent, guard
from sequencer.playback.state import Phase, State
from sequencer.rig.signals import Setpoint
from sequencer.shell import loop, recorder
from tests.trust.trial import ACTS, trial

SEEDS = range(24)
# what these once showed: a hand that was pushed while it was stopped drove away at the reset; a rig that said it stood
# at 1e30 was believed
SHOWN = (1, 113, 191)


@pytest.mark.parametrize("seed", [*SEEDS, *SHOWN])
def test_whatever_goes_wrong_no_rule_is_broken(seed: int) -> None:
    assert trial(seed).broken == []


def test_a_seed_plays_again_exactly() -> None:
    one, again = trial(7), trial(7)
    assert (one.phases, one.happened, one.simulated_s) == (again.phases, again.happened, again.simulated_s)


def test_the_seeds_come_through_most_of_the_program() -> None:
    phases, happened = set(), set()
    for seed in SEEDS:
        one = trial(seed)
        phases |= set(one.phases)
        happened |= set(one.happened)
    assert phases >= set(Phase) - {Phase.JOINING, Phase.FREEWHEELING}
    assert len(happened) > 0.8 * len(ACTS)


def _unguarded(limits: Limits, last: Sent, wanted: Setpoint) -> Guarded:
    """What goes out is twice as far from where it was as it may be."""
    done = guard(limits, last, wanted)
    return replace(done, setpoint=Setpoint(wanted.due_ns, 1.3 * done.setpoint.position, done.setpoint.velocity))


def _deaf_to_stops(state: State, event: Any) -> Any:
    return (state, ()) if isinstance(event, Stop) else step_file.step(state, event)


def _forgetful(state: State, event: Any) -> Any:
    """A stop clears itself at the next tick."""
    if state.phase is Phase.STOPPED and not isinstance(event, Stop | Reset):
        return step_file.step(state, Reset())
    return step_file.step(state, event)


def _wordless(state: State, event: Any) -> Any:
    state, actions = step_file.step(state, event)
    return replace(state, cause="" if state.phase is Phase.STOPPED else state.cause), actions


@pytest.mark.parametrize(
    ("name", "broken", "rule"),
    [
        ("guard", _unguarded, "acceleration"),
        ("step", _deaf_to_stops, "last stop"),
        ("step", _forgetful, "latch"),
        ("step", _wordless, "cause"),
    ],
)
def test_an_engine_that_breaks_a_rule_is_noticed(
    monkeypatch: pytest.MonkeyPatch, name: str, broken: Callable[..., Any], rule: str
) -> None:
    monkeypatch.setattr(loop, name, broken)
    found = " ".join(words for seed in SEEDS[:8] for words in trial(seed).broken)
    assert rule in found


def test_rows_that_are_lost_on_the_way_to_the_disk_are_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    write = recorder.Recorder.write
    count = [0]

    def forgets(self: recorder.Recorder, row: Any) -> None:
        count[0] += 1
        if count[0] % 50:
            write(self, row)

    monkeypatch.setattr(recorder.Recorder, "write", forgets)
    found = " ".join(words for seed in SEEDS[:8] for words in trial(seed).broken)
    assert "called whole" in found
