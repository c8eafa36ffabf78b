"""One true word for the rig: for every phase of the engine, for silence, for faults; and never idle by mistake."""

import msgspec
import pytest

from sequencer.playback.state import MOVING, Phase
from tests.ui.link.fakes import STATUS
from ui.link.standing import PHASES, QUIET, STATES, Seen, Stage, Standing, stand

NOW_NS = 5_000_000_000


def seen(phase: str | None, stage: Stage = "open", age_s: float = 0.01, **more: object) -> Standing:
    fields = {name: more.pop(name) for name in list(more) if name in Seen.__dataclass_fields__}
    status = None
    if phase is not None:
        status = msgspec.structs.replace(STATUS, phase=phase, at_ns=NOW_NS - round(age_s * 1e9), **more)
    return stand(Seen(stage=stage, status=status, now_ns=NOW_NS, **fields))  # type: ignore[arg-type]  # the test's own


def test_every_phase_has_a_word_and_no_other_has() -> None:
    assert set(PHASES) == {phase.value for phase in Phase}
    assert PHASES.keys() >= QUIET


@pytest.mark.parametrize("phase", list(Phase))
def test_what_moves_is_said_to_move_and_is_dangerous(phase: Phase) -> None:
    now = seen(phase.value, lock="locked")
    assert now.state in STATES
    moves = phase in MOVING or phase is Phase.STOPPING
    assert (now.state == "moving") == moves
    assert now.dangerous == (moves or phase is Phase.READY)
    assert now.can_arm == (phase in (Phase.IDLE, Phase.FINISHED))
    assert now.can_reset == (phase is Phase.STOPPED)
    assert not (now.can_start and phase is not Phase.READY)


@pytest.mark.parametrize("phase", list(Phase))
def test_silence_is_stale_and_dangerous_whatever_the_phase_was(phase: Phase) -> None:
    assert not seen(phase.value, age_s=0.25).stale
    now = seen(phase.value, age_s=0.251)
    assert now.stale
    assert now.dangerous
    assert not now.can_arm
    assert not now.can_start
    assert now.age_s == pytest.approx(0.3, abs=0.051)


def test_a_phase_that_is_not_known_is_a_fault() -> None:
    now = seen("dancing")
    assert now.state == "fault"
    assert now.dangerous


def test_nothing_heard_yet_is_not_idle() -> None:
    assert seen(None, "off").state == "offline"
    assert seen(None, "opening").state == "opening"
    assert seen(None, "open").dangerous
    assert seen(None, "failed", trouble="the engine process ended").cause == "the engine process ended"
    assert seen(None, "failed").state == "fault"
    assert seen("idle", "failed").state == "fault"


def test_an_order_that_is_on_its_way_is_armed_already() -> None:
    for stage, phase in (("open", "idle"), ("open", "finished"), ("opening", None)):
        now = seen(phase, stage, asked_to_arm=True)  # type: ignore[arg-type]  # both are stages
        assert now.state == "armed"
        assert now.dangerous
        assert not now.can_arm


def test_a_move_that_waits_for_a_master_that_stands_is_holding_and_still_dangerous() -> None:
    now = seen("joining", lock="located", still=True)
    assert now.state == "holding"
    assert now.dangerous
    assert seen("joining", lock="located", still=False).state == "moving"
    assert seen("joining", lock="locked", still=True).state == "moving"


def test_a_master_elsewhere_is_waited_for_and_ours_is_started_by_hand() -> None:
    assert seen("ready", lock="waiting", ours=False).how == "waiting for timecode"
    assert not seen("ready", lock="waiting", ours=False).can_start
    assert seen("ready", lock="located", ours=True).can_start
    runs = seen("ready", lock="locked", ours=True, timeline_s=1.0, start_s=3.0, ahead=((4.0, 5.0),))
    assert not runs.can_start
    assert runs.how == "starts by itself"
    assert runs.to_motion_s == 3.0
    assert seen("ready", lock="locked", timeline_s=3.5, start_s=3.0).how == "the start is missed"


def test_the_time_to_motion_is_of_the_clock_as_it_runs() -> None:
    assert seen("running", lock="locked", timeline_s=4.5, ahead=((4.0, 5.0),)).to_motion_s == 0.0
    assert seen("running", lock="locked", timeline_s=2.0, speed=0.5, ahead=((4.0, 5.0),)).to_motion_s == 4.0
    assert seen("running", lock="locked", timeline_s=6.0, ahead=((4.0, 5.0),)).to_motion_s is None
    assert seen("ready", lock="locked", timeline_s=1.0, speed=-1.0, start_s=3.0).to_motion_s is None
    assert seen("idle", lock="locked", timeline_s=1.0, ahead=((4.0, 5.0),)).to_motion_s is None


def test_a_broken_run_is_dangerous_until_its_engine_has_ended() -> None:
    assert seen(None, "failed", ending=True).dangerous
    assert not seen(None, "failed", ending=False).dangerous
    assert seen("running", "closing").dangerous
    assert not seen("idle", "closing").dangerous
