"""The rig drops and comes back, in simulated time: nothing is sent meanwhile, and nothing moves before a reset."""

import itertools
from dataclasses import replace

import numpy as np
import pytest

from sequencer.playback.contact import AGAIN_S
from sequencer.playback.events import Drive, Go, Reset, Stop
from sequencer.playback.state import SILENT_S, Phase
from sequencer.rig.signals import Floats, Setpoint
from sequencer.score.marks import Mark
from sequencer.shell.records import CloseTake
from tests.scenarios.stage import BEGIN_NS, TICK_NS, Cable, Stage, stage
from tests.scenarios.test_takes import assert_within_limits, roll, take

SECOND_NS = 1_000_000_000
BACK_S = 2.0  # the bar: from the link's return to the word that the rig answers again


def driven(one: Stage, seconds: float, wanted: float = 0.5) -> None:
    """Hold the control for a while."""
    for _ in range(round(seconds / 0.1)):
        one.engine.order(Drive(tuple(wanted * axis.speed for axis in one.rig.axes), one.now_ns))
        one.run(0.1)


def to_phase(one: Stage, phase: Phase) -> None:
    """Bring a stage into a phase, and where the rig moves in it, into the midst of its way."""
    one.run(0.5)
    match phase:
        case Phase.IDLE:
            return
        case Phase.DRIVING:
            driven(one, 0.5)
        case Phase.GOING:
            far = tuple((axis.name, 0.75 * axis.travel[1]) for axis in one.rig.axes if axis.travel)
            one.engine.order(Go(Mark("far", far)))
            one.run(0.5)
        case Phase.STOPPED:
            one.engine.order(Stop("the operator pressed stop"))
            one.run(0.1)
        case Phase.STOPPING:
            driven(one, 0.5)
            one.engine.order(Stop("the operator pressed stop"))
            one.run(0.1)
        case Phase.LOCATING:
            driven(one, 1.0)
            one.run(5.0, one.in_phase(Phase.IDLE))
            one.arm()
            one.run(0.5)
        case _:
            one.arm()
            one.run(20.0, one.in_phase(Phase.READY))
            if phase is not Phase.READY:
                roll(one, 3.0 if phase is Phase.FREEWHEELING else 20.0)
                one.run(30.0, one.in_phase(Phase.RUNNING if phase is Phase.FREEWHEELING else phase))
                if phase is not Phase.FINISHED:
                    one.run(30.0, one.in_phase(phase))
                    one.run(0.3)
    assert one.engine.state.phase is phase


def cut(one: Stage, seconds: float) -> None:
    one.output.cable.away_ns = (one.now_ns, one.now_ns + round(seconds * SECOND_NS))


def since(one: Stage, at_ns: int) -> list[Setpoint]:
    return [setpoint for setpoint in one.output.sent if setpoint.due_ns > at_ns]


def links(one: Stage) -> list[str]:
    return [text for code, text in one.said if code == "link"]


def phase_of(one: Stage) -> Phase:
    """Return the phase, which the type checker else takes for the one of the last look."""
    return one.engine.state.phase


def link_of(one: Stage) -> str:
    return "" if one.status is None else one.status.link


def heard_ns(one: Stage) -> int:
    """Return when the rig was heard last."""
    assert one.status is not None
    return one.now_ns - round(one.status.silent_s * SECOND_NS)


def loads(one: Stage) -> Floats:
    return np.array([motor.position for motor in one.output.motors.motors])


def back_after_s(one: Stage, away_s: float) -> float:
    """Drop the rig for a while; return how long after its return it was told that it answers."""
    cut(one, away_s)
    back_ns = one.now_ns + round(away_s * SECOND_NS)
    one.run(away_s + 5.0, lambda: any("answers again" in text for text in links(one)))
    return (one.now_ns - back_ns) * 1e-9


PHASES = [
    Phase.IDLE,
    Phase.LOCATING,
    Phase.DRIVING,
    Phase.GOING,
    Phase.READY,
    Phase.RUNNING,
    Phase.FREEWHEELING,
    Phase.STOPPING,
    Phase.STOPPED,
    Phase.FINISHED,
]


@pytest.mark.parametrize("phase", PHASES)
@pytest.mark.parametrize("echoes", [True, False])
def test_a_rig_that_drops_in_any_phase_moves_only_after_reset(phase: Phase, echoes: bool) -> None:
    one = stage(cable=Cable(echoes=echoes))
    to_phase(one, phase)
    dropped_ns = one.now_ns
    assert back_after_s(one, 3.0) <= BACK_S
    assert phase_of(one) is Phase.STOPPED
    # it was noticed after half a second, and the stop goes out at once, and again when the rig is back
    assert since(one, dropped_ns + round((SILENT_S + 0.02) * SECOND_NS)) == []
    assert one.output.stops >= 2
    assert "answers again after 3." in links(one)[-1]
    assert "Nothing moves before Reset" in links(one)[-1]
    assert one.status is not None
    assert (one.status.link, one.status.phase) == ("up", "stopped")
    stood = loads(one)
    one.run(3.0)
    np.testing.assert_array_equal(loads(one), stood)
    assert since(one, dropped_ns + round((SILENT_S + 0.02) * SECOND_NS)) == []

    reset_ns = one.now_ns
    one.engine.order(Reset())
    one.run(1.0)
    assert phase_of(one) is Phase.IDLE
    first = since(one, reset_ns)[0]
    assert first.due_ns == reset_ns + TICK_NS
    slack = np.array([axis.backlash + 2 * axis.resolution + 6 * axis.simulated.noise for axis in one.rig.axes])
    assert (np.abs(first.position - stood) <= slack).all()
    assert np.ptp([setpoint.position for setpoint in since(one, reset_ns)], axis=0).max() == 0
    assert (np.abs(loads(one) - stood) <= 2 * slack).all()
    # and it can be worked with as before
    driven(one, 1.0, wanted=-0.25)
    assert (np.abs(loads(one) - stood) > 2 * slack).any()
    assert not one.output.motors.stopped
    one.run(3.0)
    one.output.sent = since(one, reset_ns)
    assert_within_limits(one)


def test_where_the_rig_stands_against_where_it_was_sent_is_told_for_each_axis() -> None:
    one = stage(cable=Cable())
    to_phase(one, Phase.DRIVING)
    cut(one, 3.0)
    driven(one, 1.0)
    sent = one.output.sent[-1].position
    one.run(3.0, lambda: bool(links(one)))
    (words,) = links(one)
    for axis, told, there in zip(one.rig.axes, sent, loads(one), strict=True):
        far = abs(told - there) > 0.02 * axis.speed + axis.backlash + axis.resolution
        assert (f"{axis.name} stands at" in words) == far
    # pan: the rig braked by itself a quarter of a second after the drop, and was sent on for as long again
    pan = one.rig.axes[0]
    assert f"was sent to {sent[0]:.2f} deg" in words
    assert abs(sent[0] - loads(one)[0]) == pytest.approx(0.25 * 0.5 * pan.speed, rel=0.6)
    assert "with a round trip of 4 ms" in words


def test_a_rig_that_stands_where_it_was_sent_is_said_to() -> None:
    one = stage(cable=Cable())
    to_phase(one, Phase.IDLE)
    back_after_s(one, 2.0)
    assert "It stands where it was sent" in links(one)[-1]


def test_reset_is_refused_while_the_rig_is_away_and_does_nothing() -> None:
    one = stage(cable=Cable())
    to_phase(one, Phase.READY)
    cut(one, 5.0)
    one.run(2.0)
    assert link_of(one) == "down"
    assert one.status is not None
    assert one.status.silent_s == pytest.approx(2.0, abs=0.02)
    one.engine.order(Reset())
    one.run(0.1)
    assert phase_of(one) is Phase.STOPPED
    assert "not reset: the rig has not answered" in one.words("refused")


def test_an_axis_that_was_pushed_while_away_begins_where_it_is_left() -> None:
    """As by a person, or by a rig that was switched off and on and lost its place."""
    one = stage(cable=Cable())
    to_phase(one, Phase.IDLE)
    cut(one, 3.0)
    one.run(2.0)
    pan, *others = one.output.motors.motors
    pushed = replace(pan, position=pan.position + 30.0, load=pan.load + 30.0, order=None, pending=())
    one.output.motors = replace(one.output.motors, motors=(pushed, *others))
    one.run(3.0)
    assert "pan stands at" in links(one)[-1]
    reset_ns = one.now_ns
    one.engine.order(Reset())
    one.run(1.0)
    assert since(one, reset_ns)[0].position[0] == pytest.approx(pushed.load, abs=0.1)
    assert loads(one)[0] == pytest.approx(pushed.position, abs=0.1)
    assert "begins from where the rig stands: pan" in links(one)[-1]


def test_an_axis_that_is_back_outside_its_travel_is_not_reset() -> None:
    one = stage(cable=Cable())
    to_phase(one, Phase.IDLE)
    cut(one, 3.0)
    one.run(2.0)
    travel = one.rig.axes[0].travel
    assert travel is not None
    pan, *others = one.output.motors.motors
    pushed = replace(pan, position=travel[1] + 10.0, load=travel[1] + 10.0, order=None, pending=())
    one.output.motors = replace(one.output.motors, motors=(pushed, *others))
    one.run(3.0)
    one.engine.order(Reset())
    one.run(0.5)
    assert phase_of(one) is Phase.STOPPED
    assert "pan stands outside its travel (pan by" in one.words("refused")
    assert loads(one)[0] == travel[1] + 10.0


@pytest.mark.parametrize("method", ["send", "read", "look"])
def test_a_network_that_is_gone_stops_the_rig_and_is_opened_anew(method: str) -> None:
    one = stage(cable=Cable(gone_in=method))
    one.run(0.5)
    one.arm(take())
    one.run(20.0, one.in_phase(Phase.READY))
    roll(one)
    one.run(20.0, one.in_phase(Phase.RUNNING))
    one.run(1.0)
    gone_ns = one.now_ns
    assert back_after_s(one, 3.0) <= BACK_S
    assert phase_of(one) is Phase.STOPPED
    assert "the network is gone; plug it in again" in one.engine.state.cause
    assert one.output.opened == 2
    # told at the next tick, and not only after a silence, but where only a call found out
    assert since(one, gone_ns + round(0.25 * SECOND_NS)) == []
    assert one.kept[-1] == CloseTake(missing=0)
    one.engine.order(Reset())
    one.run(1.0)
    assert phase_of(one) is Phase.IDLE
    assert not one.output.motors.stopped


def test_a_network_that_is_gone_where_the_rig_never_answers_stops_too_and_says_to_look() -> None:
    one = stage(answers=False, mute_from_s=0.0, cable=Cable(gone_in="send"))
    driven(one, 1.0)
    assert phase_of(one) is Phase.DRIVING
    cut(one, 3.0)
    one.run(1.0)
    assert "the network is gone" in one.engine.state.cause
    assert link_of(one) == "down"
    one.run(4.0)
    assert "does not say where it stands: look" in links(one)[-1]
    reset_ns = one.now_ns
    one.engine.order(Reset())
    one.run(1.0)
    assert phase_of(one) is Phase.IDLE
    assert since(one, reset_ns) == []
    assert link_of(one) == "unknown"


def test_a_rig_that_drops_again_before_the_reset_is_told_again_and_comes_back_again() -> None:
    one = stage(cable=Cable())
    to_phase(one, Phase.READY)
    back_after_s(one, 2.0)
    one.run(1.0)
    cut(one, 3.0)
    one.run(2.0)
    assert "Now also: the rig has not answered" in [text for code, text in one.said if code == "stop"][-1]
    one.run(2.0)
    assert sum("answers again" in text for text in links(one)) == 2


def test_a_short_hole_in_the_answers_stops_nothing() -> None:
    one = stage(cable=Cable())
    to_phase(one, Phase.RUNNING)
    cut(one, 0.2)
    one.run(1.0)
    assert one.engine.state.phase is Phase.RUNNING
    assert one.output.stops == 0


def test_a_reset_in_the_tick_of_a_drop_sends_nothing() -> None:
    one = stage(cable=Cable())
    to_phase(one, Phase.DRIVING)
    back_after_s(one, 3.0)
    one.run(1.0)
    sent = len(one.output.sent)
    cut(one, 5.0)
    one.run(AGAIN_S + 0.5, lambda: (one.now_ns + TICK_NS - heard_ns(one)) * 1e-9 > AGAIN_S)
    assert link_of(one) == "up"
    one.engine.order(Reset())
    one.run(0.5)
    assert link_of(one) == "down"
    assert (phase_of(one), one.output.asks) == (Phase.STOPPED, 0)
    assert len(one.output.sent) == sent


def test_a_stop_that_was_not_a_drop_goes_on_from_the_last_setpoint() -> None:
    one = stage(cable=Cable())
    to_phase(one, Phase.RUNNING)
    one.engine.order(Stop("the operator pressed stop"))
    one.run(2.0, one.in_phase(Phase.STOPPED))
    one.run(1.0)
    one.engine.order(Reset())
    one.run(1.0)
    assert phase_of(one) is Phase.IDLE
    assert np.ptp([setpoint.position for setpoint in one.output.sent[-250:]], axis=0).max() == 0
    due = [setpoint.due_ns for setpoint in one.output.sent]
    assert {later - earlier for earlier, later in itertools.pairwise(due)} == {TICK_NS}


def test_the_link_is_measured_while_nothing_moves_and_a_rig_that_does_not_echo_is_told_once() -> None:
    one = stage(delay_s=0.02, cable=Cable())
    one.run(8.0)
    assert one.status is not None
    assert one.status.round_trip_s == pytest.approx(0.02, abs=TICK_NS * 1e-9)
    assert (one.status.lost_part, one.status.link) == (0.0, "up")
    assert one.output.calls == pytest.approx(5 * 8, abs=1)
    assert links(one) == []

    deaf = stage(cable=Cable(echoes=False))
    deaf.run(20.0)
    assert deaf.status is not None
    assert (deaf.status.round_trip_s, deaf.status.lost_part, deaf.status.link) == (None, None, "up")
    (words,) = links(deaf)
    assert "does not echo" in words
    assert deaf.now_ns > BEGIN_NS
