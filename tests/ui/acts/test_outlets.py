"""Outputs judged without a window: each fault beside its own output, and examples that their kinds accept."""

from dataclasses import replace
from threading import Event

import pytest
from PyQt6.QtCore import QObject
from pytestqt.qtbot import QtBot

from sequencer.rig.axis import Rig
from sequencer.rig.outlet import Outlet
from sequencer.shell.kinds import output_kind, output_kinds
from ui.acts.judging import Judging
from ui.acts.outlets import example, fault_of, judged, offers, with_ways
from ui.desk import Desk

HEAD = Outlet(address="osc://192.0.2.20:9000", axes=("pan", "tilt", "roll"), at_end="drop power")
LENS = Outlet(address="osc://192.0.2.21:9000", axes=("focus",), on_loss="go on", rate_hz=50.0)
TRACK = Outlet(address="osc://192.0.2.22:9000")
WALL = Outlet(address="opentrackio:?source=1")


@pytest.fixture
def rig(desk: Desk) -> Rig:
    return desk.project.rig


def with_outlets(rig: Rig, *outlets: Outlet) -> Rig:
    return replace(rig, outlets=outlets)


def test_outputs_that_can_run_are_told_of_as_before_arming(rig: Rig) -> None:
    found = judged(with_outlets(rig, HEAD, LENS, TRACK, WALL), 250)
    assert found.faults == ("", "", "", "")
    assert found.whole == ""
    assert found.told[0][0].startswith("pan, tilt, roll by osc://192.0.2.20:9000. When setpoints end: it drops motor")
    assert "50 times a second" in found.told[1][0]
    assert found.told[1][1] == "when osc://192.0.2.21:9000 is lost, the others go on moving"
    # without axes of its own it has those that are left
    assert found.told[2][0].startswith("slide by osc://192.0.2.22:9000")
    assert found.told[3] == ("opentrackio:?source=1 is told of the move, and moves nothing",)
    assert judged(rig, 250).faults == ()


def test_each_fault_is_said_of_its_own_output(rig: Rig) -> None:
    claimed = replace(LENS, axes=("focus", "tilt"))
    wrong = replace(TRACK, address="smoke:signals", axes=("slide",))
    found = judged(with_outlets(rig, HEAD, claimed, TRACK), 250)
    assert found.faults == ("", "tilt is claimed by osc://192.0.2.20:9000 too; give each axis to one output.", "")
    found = judged(with_outlets(rig, HEAD, LENS, wrong), 250)
    assert found.faults[:2] == ("", "")
    assert "'smoke:signals' is no output" in found.faults[2]
    found = judged(with_outlets(rig, replace(HEAD, address="sacn:1?pan=1"), LENS, replace(TRACK, rate_hz=50)), 250)
    assert "tilt" in found.faults[0]
    assert found.faults[1:] == ("", "")


def test_a_rate_beyond_the_link_is_said_with_its_figure(rig: Rig) -> None:
    slow = Outlet(address="osc+serial:/dev/ttyUSB0?baud=9600", rate_hz=200.0)
    (fault,) = judged(with_outlets(rig, slow), 250).faults
    assert "setpoints a second" in fault
    assert "200 are asked for" in fault


def test_an_axis_that_nobody_drives_is_said_of_all_together(rig: Rig) -> None:
    found = judged(with_outlets(rig, HEAD, LENS), 250)
    assert found.faults == ("", "")
    assert "no output drives slide" in found.whole


def test_what_is_typed_for_a_run_is_refused_with_its_reason(rig: Rig) -> None:
    reached = with_outlets(rig, HEAD, LENS, TRACK)
    assert fault_of("", reached, 250) == ""
    assert fault_of("osc://192.0.2.20:9000", rig, 250) == ""
    assert fault_of("pan,tilt,roll=osc://192.0.2.20:9000; slide,focus=osc://192.0.2.21:9000", rig, 250) == ""
    assert "is no output" in fault_of("a wire", rig, 250)
    twice = fault_of("pan,tilt=osc://192.0.2.20:9000; tilt=osc://192.0.2.21:9000", rig, 250)
    assert twice.startswith("output osc://192.0.2.21:9000: tilt is claimed by osc://192.0.2.20:9000 too")


@pytest.mark.parametrize("scheme", [scheme for kind in output_kinds() for scheme in kind.schemes])
def test_the_example_of_each_kind_is_one_that_it_accepts(scheme: str, rig: Rig) -> None:
    turning = replace(rig, axes=rig.axes[:3], combined=())
    own = turning if scheme.startswith("mavlink") else rig
    address = example(scheme, own.axes)
    assert address.startswith(f"{scheme}:")
    assert address != f"{scheme}:", "each kind that comes with the program has one"
    output_kind(address).carries(address, own)


def test_a_found_address_gets_a_way_for_each_axis_where_its_kind_wants_one(rig: Rig) -> None:
    axes = rig.axes[:4]
    found = "gcode:/dev/ttyS0?baud=115200"
    assert with_ways(found, axes) == f"{found}&pan=A&tilt=B&roll=C&slide=X"
    assert with_ways("sacn:1?tilt=9", axes[:2]) == "sacn:1?tilt=9&pan=1"
    assert with_ways("midi:lens", axes[:1]) == "midi:lens?pan=cc16"
    assert with_ways("osc://192.0.2.20:9000", axes) == "osc://192.0.2.20:9000"


def test_every_kind_is_offered_with_what_is_found_or_why_nothing_is(rig: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    names: dict[str, tuple[str, ...] | str] = {", ".join(kind.schemes): () for kind in output_kinds()}
    names["gcode"] = ("gcode:/dev/ttyS9?baud=115200",)
    names["midi, virtual"] = "no MIDI here; start a sound server"
    monkeypatch.setattr("ui.acts.outlets.output_names", lambda: names)
    found = {offer.title: offer for offer in offers(rig.axes[:1])}
    assert found.keys() == names.keys()
    assert found["gcode"].found == ("gcode:/dev/ttyS9?baud=115200&pan=A",)
    assert found["midi, virtual"].missing == "no MIDI here; start a sound server"
    assert found["midi, virtual"].examples == ("midi:PORT NAME?pan=cc16", "virtual:NAME?pan=cc16")


def test_only_the_newest_question_is_answered(qtbot: QtBot) -> None:
    answers: list[int] = []
    faults: list[Exception] = []
    parent, gate = QObject(), Event()
    judging: Judging[int] = Judging(answers.append, faults.append, parent)
    judging.ask(lambda: (gate.wait(10), 1)[1])
    judging.ask(lambda: 2)
    judging.ask(lambda: 3)
    gate.set()
    qtbot.waitUntil(lambda: answers == [3])
    assert not judging.worker.at_work

    def broken() -> int:
        raise OSError("the port is gone")

    judging.ask(broken)
    qtbot.waitUntil(lambda: [str(fault) for fault in faults] == ["the port is gone"])
    assert answers == [3]
