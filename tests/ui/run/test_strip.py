"""The strip says what the engine said, how old it is, and keeps stop where it is."""

import pytest
from PyQt6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from sequencer.shell.crew import CrewFailed
from tests.ui.link.fakes import Bench
from ui.desk import Face
from ui.run.plate import bold
from ui.run.strip import Strip
from ui.theme import STATE_PX, STOP_PX, font_px


@pytest.fixture
def strip(bench: Bench, qtbot: QtBot) -> Strip:
    one = Strip(bench.desk, bench.link)
    qtbot.addWidget(one)
    one.resize(1280, one.sizeHint().height())
    one.show()
    return one


def test_it_follows_a_run(strip: Strip, bench: Bench) -> None:
    assert strip.plate.accessibleName().startswith("OFFLINE")
    assert strip.rig.value == "SIMULATED"
    assert strip.timecode.value == "--:--:--:--"
    bench.ready()
    assert strip.plate.accessibleName().startswith("ARMED")
    start = bench.desk.project.move.cues[0].start
    start_s = float(bench.desk.project.timebase.rate.seconds(start))
    bench.phase("ready", lock="locked", timeline_s=start_s - 2.5)
    assert float(strip.countdown.value) == pytest.approx(2.5, abs=0.2)
    bench.phase("running", lock="locked", timeline_s=5.21)
    assert strip.plate.accessibleName().startswith("MOVING")
    assert strip.timecode.value == "10:00:05:05"
    assert "locked" in strip.timecode.accessibleName()


def test_silence_is_stale_and_fresh_reports_are_fresh(strip: Strip, bench: Bench) -> None:
    bench.connect()
    assert strip.reports.value == "fresh"
    bench.crew.silent = True
    bench.go(0.4)
    assert strip.reports.value == "STALE 0.4 s"
    bench.crew.silent = False
    bench.go()
    assert strip.reports.value == "fresh"


def test_the_axis_that_is_furthest_behind_is_named(strip: Strip, bench: Bench) -> None:
    bench.connect()
    assert strip.behind.value == "-"
    number = len(bench.desk.project.rig.axes)
    asked = (0.0,) * number
    bench.phase("idle", asked=asked, actual=(0.0, 1.5, *(0.0,) * (number - 2)))
    name = bench.desk.project.rig.axes[1].name
    assert strip.behind.value.startswith(f"{name} 1.50")


def test_the_cause_of_the_last_stop_stays_after_reset(strip: Strip, bench: Bench) -> None:
    bench.ready()
    bench.phase("stopped", cause="the rig has not answered for 0.5 s")
    assert strip.last_stop.value == "the rig has not answered for 0.5 s"
    bench.phase("idle")
    assert strip.last_stop.value == "the rig has not answered for 0.5 s"
    assert strip.cause.value == strip.last_stop.value


@pytest.mark.parametrize("width", [1024, 1280, 1920])
def test_stop_stays_where_it_is_in_both_faces(strip: Strip, bench: Bench, width: int) -> None:
    strip.resize(width, strip.sizeHint().height())
    places = []
    faces: tuple[Face, ...] = ("prepare", "run", "prepare")
    for face in faces:
        bench.desk.turn_to(face)
        QApplication.processEvents()
        strip.resize(width, strip.sizeHint().height())
        places.append(strip.stop.geometry())
        assert strip.width() == width, "it fits"
        # nothing of the strip lies under it
        assert not any(
            one.isVisible() and one.geometry().intersects(strip.stop.geometry())
            for one in strip.findChildren(type(strip.timecode))
        )
        assert (strip.stop.width(), strip.stop.height()) == STOP_PX
    assert places[0] == places[1] == places[2]
    assert places[0].right() <= width


def test_what_is_read_from_afar_is_as_large_as_the_distance_asks(strip: Strip, bench: Bench) -> None:
    assert strip.reports._size_px >= STATE_PX
    bench.desk.turn_to("run")
    assert strip.plate._size_px == strip.countdown._size_px == font_px(22.0, 1.5)
    strip.stand_at(2.0)
    strip.resize(1920, 200)
    assert strip.plate._size_px == font_px(22.0, 2.0)
    assert bold(strip.plate, strip.plate._size_px).pixelSize() == font_px(22.0, 2.0)


def test_a_fault_blinks_and_nothing_else_does(strip: Strip, bench: Bench) -> None:
    bench.connect()
    assert not strip._blink.isActive()
    bench.crew.fault = CrewFailed("the io process ended by itself (status 1)")
    bench.go()
    assert strip._blink.isActive()
    # at most 3 flashes a second: WCAG 2.2, 2.3.1 (from memory)
    assert 2 * strip._blink.interval() >= 1000 / 3
    bench.link.reset()
    assert not strip._blink.isActive()


def test_timecode_that_is_missing_is_said_while_the_rig_goes_on(strip: Strip, bench: Bench) -> None:
    bench.ready()
    bench.phase("freewheeling", lock="freewheel", timeline_s=5.21)
    assert strip.plate.accessibleName().startswith("MOVING, timecode missing, going on")
    assert "missing, going on" in strip.timecode.accessibleName()


def test_a_state_that_this_program_does_not_know_is_a_fault(strip: Strip, bench: Bench) -> None:
    """An engine of another version may have one."""
    bench.connect()
    bench.phase("dancing")
    assert strip.plate.accessibleName().startswith("FAULT, a state unknown here")
