"""What is armed does not stay so where nobody starts it, nobody watches it, or nobody knows how it stands."""

from dataclasses import replace

from PyQt6.QtCore import Qt
from PyQt6.QtGui import QGuiApplication

from tests.ui.link.fakes import Bench


def test_what_is_armed_and_not_started_is_dropped_after_half_a_minute(bench: Bench) -> None:
    bench.ready()
    bench.go(29.9)
    assert bench.crew.stops == 0
    bench.go(0.2)
    assert bench.crew.stops == 1
    bench.go(1.0)
    assert bench.crew.stops == 1
    bench.phase("stopped", cause="the operator pressed stop")
    assert "not started within 30 seconds" in bench.link.last_stop


def test_a_countdown_that_goes_on_is_a_start(bench: Bench) -> None:
    bench.ready()
    bench.go(29.9)
    bench.link.countdown.begin()
    bench.go(1.0)
    assert bench.crew.stops == 0
    bench.link.countdown.call_off()
    bench.go()
    assert bench.crew.stops == 1


def test_a_master_elsewhere_may_take_its_time(bench: Bench) -> None:
    bench.link.choose(replace(bench.link.choice, clock="mtc"))
    bench.ready()
    assert bench.link.now.how == "hold or count down to start" or not bench.link.now.can_start
    for _ in range(100):
        bench.go(1.0)
    assert bench.crew.stops == 0


def test_leaving_the_window_drops_what_does_not_move_yet(bench: Bench) -> None:
    app = QGuiApplication.instance()
    assert isinstance(app, QGuiApplication)
    bench.connect()
    bench.link.arm()
    bench.phase("locating")
    app.applicationStateChanged.emit(Qt.ApplicationState.ApplicationInactive)
    bench.go()
    assert bench.crew.stops == 0  # it moves; the keys for stop work again as soon as the window has the keyboard
    bench.phase("ready")
    assert bench.crew.stops == 1
    assert "the window was left" in bench.words()


def test_leaving_the_window_while_it_moves_stops_nothing(bench: Bench) -> None:
    app = QGuiApplication.instance()
    assert isinstance(app, QGuiApplication)
    bench.ready()
    bench.phase("running", lock="locked")
    app.applicationStateChanged.emit(Qt.ApplicationState.ApplicationInactive)
    bench.go()
    assert bench.crew.stops == 0


def test_an_engine_that_reports_nothing_is_stale_and_drops_what_is_armed(bench: Bench) -> None:
    bench.ready()
    bench.crew.silent = True
    bench.go(0.2)
    assert not bench.link.now.stale
    bench.go(0.06)
    assert bench.link.now.stale
    bench.go()
    assert bench.crew.stops == 1
