"""What is said has a short code beside its words: the take's log, the reports and other programs go by it."""

from dataclasses import replace

import pytest

from sequencer.playback.events import Drive, Event, Go, Punch, Recue, Reset, Say, Stop
from sequencer.playback.state import Phase, State
from sequencer.playback.step import step
from sequencer.sync.reading import Lock
from tests.playback.test_state import ARM, CUED, DOORWAY, JOINS, ON_COURSE, QUIET, clock, silent, state

PAN = (True, False, False, False)
PERFORMS = replace(ARM, by_hand=PAN, punched=False)
REMOTE = replace(ARM, remote=True)
THERE = replace(QUIET, arrived=True, standing=True)
HAND = Drive((10.0, 0.0, 0.0, 0.0), 5_000_000_000)
FREEWHEEL = replace(ON_COURSE, clock=clock(lock=Lock.FREEWHEEL))


def hindered(phase: Phase) -> State:
    return step(state(phase), silent(QUIET))[0]


def dropped() -> State:
    return step(state(Phase.STOPPED), replace(QUIET, dropped="the network is gone"))[0]


SAID: list[tuple[State, Event, str, str]] = [
    # arming and going to places
    (state(Phase.IDLE), ARM, "locating", "armed; moving to the start of the cue at up to 50%"),
    (state(Phase.IDLE), JOINS, "locating", "full speed, then at once to wherever timecode runs in it. Keep clear"),
    (state(Phase.RUNNING), ARM, "refused", "not armed: it is running. Stop and reset first"),
    (state(Phase.FINISHED, armed=REMOTE), Recue(CUED, "OSC /cue/a"), "locating", "chosen by OSC /cue/a; moving"),
    (state(Phase.READY), Recue(CUED, "OSC /cue/a"), "refused", "OSC /cue/a is not obeyed: triggers were not let"),
    (state(Phase.LOCATING), THERE, "ready", "at the start of the cue, waiting for timecode"),
    (state(Phase.IDLE), Go(DOORWAY), "going", "going to doorway. Keep clear of the rig"),
    (state(Phase.READY, armed=REMOTE), Go(DOORWAY, "a pad"), "going", "chosen by a pad; going to doorway"),
    (state(Phase.GOING), THERE, "at mark", "at doorway"),
    (state(Phase.RUNNING), Go(DOORWAY), "refused", "not sent to doorway: it is running"),
    (state(Phase.IDLE), Go(DOORWAY, "a pad"), "trigger", "not sent to doorway: triggers were not let choose"),
    # hands
    (state(Phase.IDLE), HAND, "driving", "driven by hand. Keep clear of the rig"),
    (state(Phase.GOING), HAND, "driving", "taken over by hand. Keep clear of the rig"),
    (hindered(Phase.IDLE), HAND, "refused", "not driven: the rig has not answered"),
    (
        state(Phase.DRIVING),
        replace(QUIET, now_ns=5_200_000_000, standing=True),
        "driven",
        "let go of; the rig stands",
    ),
    (state(Phase.RUNNING), Punch(True), "refused", "no axis was armed to be performed by hand"),
    (state(Phase.FINISHED, armed=PERFORMS), Punch(True), "refused", "nothing is performed: it is finished"),
    (state(Phase.READY, armed=PERFORMS), Punch(True), "hands", "from the start on hands have their axes"),
    (
        state(Phase.READY, armed=PERFORMS, punched=True),
        Punch(False),
        "hands",
        "hands have their axes from the punch in on",
    ),
    (state(Phase.RUNNING, armed=PERFORMS), Punch(True), "punch", "in"),
    (state(Phase.RUNNING, armed=PERFORMS, punched=True), Punch(False), "punch", "out"),
    # timecode
    (state(Phase.READY), replace(QUIET, clock=clock(11.0)), "waiting", "timecode is already 1.00 s past the start"),
    (state(Phase.READY), replace(QUIET, clock=clock(10.0)), "running", "following timecode"),
    (state(Phase.READY, armed=JOINS), ON_COURSE, "joining", "timecode is 2.00 s past the start of the cue; joining"),
    (
        state(Phase.RUNNING, armed=JOINS),
        replace(ON_COURSE, clock=clock(lock=Lock.LOCATED, speed=0.0)),
        "joining",
        "timecode stands or was set anew; braking, and joining the move when it runs",
    ),
    (
        state(Phase.JOINING, armed=JOINS),
        replace(ON_COURSE, joined=True),
        "joined",
        "on the timeline after 1.00 s; following timecode",
    ),
    (state(Phase.RUNNING), FREEWHEEL, "freewheel", "going on at its last speed for at most 2 s"),
    (state(Phase.FREEWHEELING), ON_COURSE, "locked", "timecode is back after 1.00 s"),
    (state(Phase.RUNNING), replace(QUIET, standing=True, clock=clock(14.0)), "finished", "the cue is done"),
    # stops
    (state(Phase.RUNNING), Stop("a child ran in"), "stopping", "braking: a child ran in"),
    (state(Phase.READY), Stop("a child ran in"), "stopped", "stopped: a child ran in. Reset when it is safe"),
    (state(Phase.STOPPING), THERE, "stopped", "stopped: a cable was pulled. Reset when the rig stands still"),
    (state(Phase.STOPPED), Stop("a child ran in"), "stop", "a cable was pulled. Now also: a child ran in"),
    (dropped(), Reset(), "refused", "not reset: the network is gone"),
    (state(Phase.STOPPING), Reset(), "refused", "not reset: still braking"),
    (state(Phase.RUNNING), Reset(), "refused", "nothing to reset: it is running"),
    (state(Phase.STOPPED), Reset(), "reset", "reset; nothing moves before it is armed, driven or sent again"),
]


def test_nothing_is_said_of_what_was_not_asked_for() -> None:
    for event, text in (
        (ARM, "armed; moving to the start of the cue at up to 50% of full speed. Keep clear of the rig"),
        (Go(DOORWAY), "going to doorway. Keep clear of the rig"),
        (HAND, "driven by hand. Keep clear of the rig"),
    ):
        assert [one.text for one in step(State(), event)[1] if isinstance(one, Say)] == [text]


@pytest.mark.parametrize(("before", "event", "code", "text"), SAID, ids=[f"{row[2]} {row[3][:30]}" for row in SAID])
def test_what_happens_is_said_once_with_its_code(before: State, event: Event, code: str, text: str) -> None:
    _, actions = step(before, event)
    (said,) = (one for one in actions if isinstance(one, Say))
    assert said.code == code
    assert text in said.text
