"""A run by the outputs of the rig's own description: chosen, told of, left when they become others."""

from dataclasses import replace

import pytest

from sequencer.project.amend_outlets import with_outlet
from sequencer.rig.outlet import Outlet
from sequencer.shell.messages import Said
from tests.ui.link.fakes import Bench
from ui.desk import Desk
from ui.link.choice import SIMULATED, Choice, first, mended, rig_words

HEAD = Outlet(address="osc://192.0.2.20:9000", axes=("pan", "tilt", "roll"), at_end="drop power")
LENS = Outlet(address="osc://192.0.2.21:9000", axes=("slide", "focus"), on_loss="go on", at_end="hold")
LOST = "osc://192.0.2.21:9000 is lost, and the others go on: the port is gone"


def describe(desk: Desk, *outlets: Outlet) -> None:
    for outlet in outlets:
        desk.edit("add an output", with_outlet(desk.history.now, None, outlet))


def say(bench: Bench, code: str, text: str) -> None:
    bench.crew.says.append(Said(bench.clock.ns, code, text))
    bench.go()


def known(bench: Bench) -> tuple[tuple[str, ...], str, str | None]:
    outputs = bench.link.outputs
    return outputs.whole, outputs.brief, outputs.worst


@pytest.fixture
def reached(bench: Bench) -> Bench:
    """A bench whose rig has two outputs, and a choice of them."""
    describe(bench.desk, HEAD, LENS)
    bench.link.choose(replace(bench.link.choice, rig=""))
    return bench


def test_the_rigs_own_outputs_are_real_and_the_engine_reads_them_itself(reached: Bench) -> None:
    assert reached.link.choice.real
    reached.connect()
    assert reached.choices[-1].rig == ""
    assert reached.link.now.real
    assert "connected to 2 outputs" in reached.words()
    assert "people are clear" in reached.link.why_not()


def test_a_rig_that_names_no_outputs_is_simulated_instead(desk: Desk) -> None:
    bare, choice = desk.project, Choice(rig="")
    assert mended(choice, bare).rig == SIMULATED
    assert first(choice, bare).rig == SIMULATED
    named = with_outlet(bare, None, HEAD)
    assert mended(choice, named).rig == first(choice, named).rig == ""
    assert mended(Choice(rig="osc://192.0.2.20:9000"), bare).rig == "osc://192.0.2.20:9000"


def test_where_the_rig_is_is_said_in_a_few_words(desk: Desk) -> None:
    rig = desk.project.rig
    assert rig_words("osc://192.0.2.20:9000", rig) == "osc://192.0.2.20:9000"
    assert rig_words("pan=osc://192.0.2.20:9000; tilt=osc://192.0.2.21:9000;", rig) == "2 outputs"
    assert rig_words("", with_outlet(desk.project, None, HEAD).rig) == "osc://192.0.2.20:9000"


def test_what_the_engine_tells_of_outputs_is_kept_until_the_next_one(reached: Bench) -> None:
    outputs = reached.link.outputs
    reached.connect()
    assert known(reached) == ((), "", None)
    say(reached, "output", "pan, tilt, roll by osc://192.0.2.20:9000")
    say(reached, "output", "slide, focus by osc://192.0.2.21:9000")
    assert len(outputs.whole) == 2
    assert outputs.number == "2 outputs"
    assert known(reached)[2] == "drop power"
    assert outputs.brief == "When setpoints end: POWER OFF, holds. Lost without a stop: 1."
    reached.link.leave()
    assert known(reached) == ((), "", None)


def test_what_a_device_does_by_its_kind_counts_where_nobody_found_it_out(bench: Bench) -> None:
    bench.connect()
    say(bench, "output", "pan, tilt, roll, slide, focus by osc://127.0.0.1:1")
    assert known(bench)[2] == "unknown", "the kind says nothing of it either"
    describe(bench.desk, Outlet(address="device://192.0.2.20:9100"))
    bench.link.choose(replace(bench.link.choice, rig=""))
    bench.connect()
    say(bench, "output", "pan, tilt, roll, slide, focus by device://192.0.2.20:9100")
    assert known(bench)[2] == "decelerate"
    assert bench.link.outputs.number == "1 output"


def test_a_lost_output_is_a_trouble_until_the_reset_or_the_end_of_the_run(reached: Bench) -> None:
    outputs = reached.link.outputs
    reached.connect()
    say(reached, "link", "the rig does not echo, so the round trip and the loss of its link are not known")
    say(reached, "link", "osc://192.0.2.20:9000 does not answer")
    assert outputs.trouble == "", "of the whole rig, which its own state tells"
    say(reached, "link", LOST)
    assert outputs.trouble.endswith(LOST)
    assert outputs.trouble[2] == ":", "since when is said"
    reached.phase("stopped", cause="the link to focus was lost")
    say(reached, "link", "osc://192.0.2.21:9000 is there again, and is sent nothing before Reset")
    assert outputs.trouble.endswith("before Reset")
    reached.phase("idle")
    assert outputs.trouble == ""
    say(reached, "link", LOST)
    reached.link.leave()
    assert outputs.trouble == ""


def test_other_outputs_are_another_rig_that_people_are_not_clear_of(reached: Bench) -> None:
    reached.connect()
    reached.link.clear(True)
    describe(reached.desk, Outlet(address="opentrackio:?source=1"))
    assert not reached.link.connected
    assert not reached.link.cleared
    reached.link.clear(True)
    reached.desk.undo()
    assert not reached.link.cleared, "without a connection too"


def test_other_outputs_are_nothing_to_a_rig_that_is_reached_by_an_address(bench: Bench) -> None:
    bench.link.choose(replace(bench.link.choice, rig="osc://192.0.2.20:9000"))
    bench.connect()
    bench.link.clear(True)
    describe(bench.desk, HEAD)
    assert bench.link.connected
    assert bench.link.cleared


def test_another_project_is_another_rig_too(reached: Bench) -> None:
    reached.link.clear(True)
    reached.desk.open(with_outlet(reached.desk.project, 0, None), reached.desk.folder)
    assert not reached.link.cleared
    assert reached.link.choice.rig == ""


def test_the_simulated_rig_stays_where_it_stands_when_outputs_are_described(bench: Bench) -> None:
    bench.connect()
    describe(bench.desk, HEAD, LENS)
    bench.link.arm()
    bench.go()
    assert len(bench.crews) == 2
    assert bench.rigs_ended == 0
