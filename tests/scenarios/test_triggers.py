"""Triggers from OSC and MIDI in simulated time, with the program's own clock: what they may move, and what not."""

from dataclasses import dataclass, field

import mido
import numpy as np
import pytest
from pythonosc.osc_message_builder import OscMessageBuilder

from sequencer.playback.cued import cue_up
from sequencer.playback.events import ClockHalted, Recue, Stop
from sequencer.playback.state import ON_THE_CLOCK, Phase
from sequencer.sync.agenda import Agenda
from sequencer.sync.internal import InternalFollower
from sequencer.sync.midi_orders import MidiOrders
from sequencer.sync.orders import Due, GoToMark, Locate, Mapped, StartClock, StopClock, StopRig, TakeCue
from sequencer.sync.osc_orders import OscOrders
from sequencer.wire import mmc
from tests.scenarios.stage import TICK_NS, Stage, stage
from tests.scenarios.test_takes import assert_stopped, assert_within_limits

SWEEP_S = (16.6, 25.4)  # the demo project's second cue, "crowd sweep"
MAPPED = (Mapped(message="note", number=60, order=StartClock()),)


@dataclass
class Desk:
    """Whoever joins triggers to the engine: each order at its tick, on the program's own clock."""

    stage: Stage
    clock: InternalFollower
    osc: OscOrders
    midi: MidiOrders
    agenda: Agenda = field(default_factory=Agenda)
    told: list[str] = field(default_factory=list)

    def hear_osc(self, stamp_ns: int, address: str, *arguments: str) -> None:
        builder = OscMessageBuilder(address)
        for one in arguments:
            builder.add_arg(one)
        for due in self.osc.feed(stamp_ns, bytes(builder.build().dgram)):
            self.agenda.add(due, self.stage.now_ns)

    def hear_midi(self, stamp_ns: int, data: bytes) -> None:
        for due in self.midi.feed(stamp_ns, data):
            self.agenda.add(due, self.stage.now_ns)

    def run(self, seconds: float, *ends: Phase) -> None:
        def look() -> bool:
            # what is due before the next tick is obeyed in it
            for due in self.agenda.take(self.stage.now_ns + TICK_NS):
                self._obey(due)
            self.told += [*self.osc.troubles(), *self.midi.troubles(), *self.agenda.troubles()]
            return self.stage.engine.state.phase in ends

        self.stage.run(seconds, look)

    def _obey(self, due: Due) -> None:
        at_ns, order, by = due
        engine = self.stage.engine
        match order:
            case StartClock():
                self.clock.start(at_ns)
            case StopClock():
                self.clock.halt(at_ns)
                engine.order(ClockHalted(f"stopped by {by}"))
            case Locate(position_s):
                self.clock.locate(position_s)
                engine.order(ClockHalted(f"set to another place by {by}"))
            case TakeCue() | GoToMark():
                engine.order(Recue(cue_up(self.stage.rig, self.stage.timeline, *SWEEP_S), by))
            case StopRig():
                engine.order(Stop(f"{by} asked for a stop; ask who sent it"))


def desk(*, joins: bool = False, remote: bool = False) -> Desk:
    """Return a desk whose rig stands at the start of the first cue, the clock a second before it."""
    one = stage(own_clock=True, joins=joins, remote=remote)
    one.get_ready()
    assert isinstance(one.follower, InternalFollower)
    made = Desk(one, one.follower, OscOrders(one.timebase), MidiOrders(MAPPED, 4, one.timebase))
    made.hear_osc(one.now_ns, "/run/locate", str(one.timebase.label_at(one.cue_s[0] - 1.0)))
    made.run(0.1)
    return made


def assert_in(one: Desk, phase: Phase) -> None:
    assert one.stage.engine.state.phase is phase


def assert_on_the_timeline(one: Stage, begun_ns: int, from_s: float) -> None:
    """The setpoints at every tick are the timeline at the time since the trigger's stamp, each axis ahead as it needs.

    Checked on those from half a second into the cue, where the guard has long taken up what the first tick lacked.
    """
    latencies_s = np.array([axis.latency_s for axis in one.rig.axes])
    fastest = np.array([axis.speed for axis in one.rig.axes])
    checked = 0
    for setpoint in one.output.sent:
        at_s = from_s + (setpoint.due_ns - begun_ns) * 1e-9
        if one.cue_s[0] + 0.5 <= at_s <= one.cue_s[1]:
            expected = np.diag(one.timeline.sample(np.minimum(at_s + latencies_s, one.cue_s[1])))
            assert np.all(np.abs(setpoint.position - expected) <= 1e-9 * fastest)
            checked += 1
    assert checked > 1000


@pytest.mark.parametrize("later_ns", [1_234_567_891, -1_700_000])
def test_a_start_counts_from_its_own_stamp_to_the_nanosecond(later_ns: int) -> None:
    one = desk()
    begun_ns = one.stage.now_ns + later_ns
    one.hear_osc(begun_ns, "/run/start")
    one.run(20.0, Phase.FINISHED)
    assert one.stage.phases[-2:] == [Phase.RUNNING, Phase.FINISHED]
    assert_on_the_timeline(one.stage, begun_ns, one.stage.cue_s[0] - 1.0)
    assert_within_limits(one.stage)


def test_machine_control_locates_and_plays() -> None:
    one = desk()
    label = one.stage.timebase.label_at(one.stage.cue_s[0] - 0.4)
    there = mmc.Locate(1, label.hours, label.minutes, label.seconds, label.frames)
    begun_ns = one.stage.now_ns + 3_333_333
    one.hear_midi(begun_ns, mmc.encode([mmc.Transport.STOP, there, mmc.Transport.DEFERRED_PLAY], 4))
    one.run(20.0, Phase.FINISHED)
    assert_in(one, Phase.FINISHED)
    assert_on_the_timeline(one.stage, begun_ns, one.stage.cue_s[0] - 0.4)


def test_a_halted_clock_in_mid_move_is_a_stop_that_says_who_did_it() -> None:
    one = desk()
    one.hear_midi(one.stage.now_ns, bytes(mido.Message("note_on", note=60).bytes()))
    one.run(4.0)
    assert_in(one, Phase.RUNNING)
    one.hear_osc(one.stage.now_ns, "/run/stop")
    one.run(0.1)
    assert_stopped(one.stage, "the clock was stopped by OSC /run/stop")
    assert_within_limits(one.stage)
    # nothing that is sent now moves anything
    rests = one.stage.output.sent[-1].position
    for address in ("/run/start", "/cue/take", "/run/locate"):
        one.hear_osc(one.stage.now_ns, address, *(["crowd sweep"] if address == "/cue/take" else []))
        one.run(0.5)
    assert_in(one, Phase.STOPPED)
    np.testing.assert_array_equal(one.stage.output.sent[-1].position, rests)


def test_where_it_may_join_a_halted_clock_is_waited_for() -> None:
    one = desk(joins=True)
    one.hear_osc(one.stage.now_ns, "/run/start")
    one.run(4.0)
    one.hear_osc(one.stage.now_ns, "/run/stop")
    one.run(2.0)
    assert_in(one, Phase.JOINING)
    assert any("the clock was stopped by OSC /run/stop; braking" in text for _, text in one.stage.said)
    rests = one.stage.output.sent[-1].position
    one.run(3.0)
    np.testing.assert_array_equal(one.stage.output.sent[-1].position, rests)
    one.hear_osc(one.stage.now_ns, "/run/start")
    one.run(20.0, Phase.FINISHED)
    assert_in(one, Phase.FINISHED)
    assert_within_limits(one.stage)


def test_a_cue_is_taken_by_name_when_one_is_done_where_triggers_may_choose() -> None:
    one = desk(remote=True)
    one.hear_osc(one.stage.now_ns, "/run/start")
    one.run(20.0, Phase.FINISHED)
    one.hear_osc(one.stage.now_ns, "/cue/take", "crowd sweep")
    one.hear_osc(one.stage.now_ns, "/run/locate", str(one.stage.timebase.label_at(SWEEP_S[0] - 1.0)))
    one.run(20.0, Phase.READY)
    assert_in(one, Phase.READY)
    start = one.stage.timeline.at(SWEEP_S[0])[0]
    np.testing.assert_allclose(one.stage.output.sent[-1].position, start, atol=1e-6)
    begun_ns = one.stage.now_ns
    one.hear_osc(begun_ns, "/run/start")
    one.run(20.0, Phase.FINISHED)
    assert_in(one, Phase.FINISHED)
    end = one.stage.timeline.at(SWEEP_S[1])[0]
    np.testing.assert_allclose(one.stage.output.sent[-1].position, end, atol=1e-6)
    assert_within_limits(one.stage)


def test_where_triggers_may_not_choose_they_do_not() -> None:
    one = desk()
    one.run(0.1)
    rests = one.stage.output.sent[-1].position
    for address in ("/cue/take", "/mark/go"):
        one.hear_osc(one.stage.now_ns, address, "crowd sweep")
        one.run(0.5)
    assert_in(one, Phase.READY)
    assert "OSC /cue/take is not obeyed: triggers were not let choose" in one.stage.words("refused")
    np.testing.assert_array_equal(one.stage.output.sent[-1].position, rests)


def test_a_stop_is_obeyed_in_the_next_tick_and_what_was_to_come_does_not_come() -> None:
    one = desk()
    one.hear_osc(one.stage.now_ns, "/run/start")
    one.hear_osc(one.stage.now_ns + 6_000_000_000, "/run/start")
    one.run(3.0)
    assert_in(one, Phase.RUNNING)
    for _ in range(300):
        one.hear_osc(one.stage.now_ns + 1_000_000, "/run/locate", "10:00:30:00")
    one.hear_osc(one.stage.now_ns + 3_000_000_000, "/stop")
    one.run(2 * TICK_NS * 1e-9)
    assert_in(one, Phase.STOPPING)
    assert_stopped(one.stage, "OSC /stop asked for a stop")
    assert (len(one.agenda), one.agenda.cleared) == (0, 256)
    assert any("is forgotten, since OSC /stop stopped" in words for words in one.told)


def test_what_is_wrong_is_told_and_the_move_goes_on() -> None:
    one = desk()
    begun_ns = one.stage.now_ns
    one.hear_osc(begun_ns, "/run/start")
    one.run(3.0)
    one.hear_osc(one.stage.now_ns, "/run/locate", "10:00:99:00")
    one.hear_osc(one.stage.now_ns, "/run/start", "please")
    one.hear_osc(one.stage.now_ns - 9_000_000_000, "/run/locate", "10:00:30:00")
    one.hear_midi(one.stage.now_ns, mmc.encode([mmc.Transport.STOP], 9))
    one.hear_midi(one.stage.now_ns, mmc.encode([mmc.Locate(3, 10, 0, 30, 0)]))
    one.run(20.0, Phase.FINISHED)
    assert_in(one, Phase.FINISHED)
    assert len(one.told) == 5
    assert_on_the_timeline(one.stage, begun_ns, one.stage.cue_s[0] - 1.0)
    assert set(one.stage.phases) & ON_THE_CLOCK == {Phase.RUNNING}
