"""What the engine, the io process and the crew say of themselves, in one process: nothing is started here."""

import ctypes
import gc
import os
from contextlib import ExitStack
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest

from sequencer.errors import LinkError
from sequencer.playback import events
from sequencer.playback.state import Phase
from sequencer.project.store import load_rig
from sequencer.shell import engine, io_process, realtime
from sequencer.shell.child import Child
from sequencer.shell.memory import Page, Ring
from sequencer.shell.messages import Report, Said, Setup
from tests.shell.small import small_project


class Told:
    """The command's end of a process's talk, as far as the process speaks."""

    def __init__(self, *, gone: bool = False) -> None:
        self.reports: list[Report] = []
        self.gone = gone

    def say(self, report: Report) -> None:
        self.reports.append(report)

    def push(self) -> None:
        """Send nothing: there is nobody."""

    @property
    def words(self) -> list[str]:
        return [one.text for one in self.reports if isinstance(one, Said)]


def child(told: Told, project: Path, **setup: object) -> Child:
    fields = {"project": str(project), "run": None, "output": "osc://127.0.0.1:9", "sync": "internal"} | setup
    return Child(Setup(**fields), load_rig(project), cast(Any, told))  # type: ignore[arg-type]  # the test's own fields


def look_after(told: Told, phase: Phase, *, stops: int = 0, silent_s: float = 0.0, deserted: bool = False) -> list[Any]:
    """Have the engine look after the other processes once; return what it ordered itself."""
    ordered: list[Any] = []
    words = {Page.STOP: stops, Page.OPERATOR_BEAT: 0}
    duty = SimpleNamespace(
        page=SimpleNamespace(word=words.__getitem__, set_word=lambda *_: None),
        engine=SimpleNamespace(order=ordered.append, state=SimpleNamespace(phase=phase)),
        child=SimpleNamespace(control=told),
        ears=SimpleNamespace(pads=None, agenda=SimpleNamespace(clear=lambda by: None)),
        stops=0,
        deserted=deserted,
        quitting=False,
    )
    engine._look_after(cast(Any, duty), round(silent_s * 1e9))
    return ordered


def test_the_stop_word_is_a_stop_of_the_operator() -> None:
    assert look_after(Told(), Phase.IDLE, stops=1) == [events.Stop("the operator pressed stop")]


def test_a_program_that_has_ended_stops_the_rig_in_words_with_the_mend() -> None:
    (stop,) = look_after(Told(gone=True), Phase.IDLE)
    assert stop.cause == "the operator's program has ended; nobody is watching. Start it again"
    assert look_after(Told(gone=True), Phase.IDLE, deserted=True) == [], "it is said once"


def test_a_program_that_hangs_stops_what_moves_and_nothing_else() -> None:
    late_s = engine.OPERATOR_SILENT_S + 0.01
    (stop,) = look_after(Told(), Phase.RUNNING, silent_s=late_s)
    assert stop.cause == "the operator's program has not answered for 1 s; see what holds it up"
    assert look_after(Told(), Phase.READY, silent_s=late_s) == []
    assert look_after(Told(), Phase.RUNNING, silent_s=engine.OPERATOR_SILENT_S - 0.01) == []


def opened_engine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, *, answers_needed: bool) -> Told:
    """Have the engine open a rig that nobody answers for; return what it said."""
    monkeypatch.setattr(engine, "FIRST_ANSWER_S", 0.0)
    monkeypatch.setattr(engine, "be_punctual", lambda wanted: "as it is")
    for ring in ("chunks", "wishes", "records"):
        Ring(tmp_path / ring, size=1000)
    told = Told()
    one = child(told, small_project(tmp_path / "small"), answers_needed=answers_needed)
    with ExitStack() as stack:
        engine._open(one, tmp_path, Page(tmp_path / "page", new=True), stack)
    return told


def test_a_rig_whose_answer_is_needed_is_refused_by_its_address(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    words = r"^the rig at osc://127\.0\.0\.1:9 does not answer; check its power, its cable and the address$"
    with pytest.raises(LinkError, match=words):
        opened_engine(tmp_path, monkeypatch, answers_needed=True)


def test_a_rig_that_never_answers_is_said_to_stand_at_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    told = opened_engine(tmp_path, monkeypatch, answers_needed=False)
    assert "the rig does not answer; it is taken to stand at home (pan 0, tilt 0)" in told.words


def test_pads_that_cannot_be_opened_are_told_and_the_run_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def closed(address: str) -> None:
        raise LinkError(f"{address} needs a library that is not here")

    monkeypatch.setattr(io_process, "open_controllers", closed)
    told = Told()
    with ExitStack() as stack:
        assert io_process._pads(child(told, small_project(tmp_path / "small"), controllers="pads:"), stack) == []
    assert told.words == ["pads: needs a library that is not here. Nothing is driven by game controllers"]


@pytest.mark.skipif(not hasattr(os, "sched_setscheduler"), reason="this system has no such scheduling")
def test_a_system_that_refuses_real_time_is_named_with_the_mend(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise PermissionError

    # this process is not to be changed by it
    monkeypatch.setattr(realtime, "gc", SimpleNamespace(collect=gc.collect, freeze=int, disable=int))
    monkeypatch.setattr(ctypes, "CDLL", lambda *_, **__: SimpleNamespace())
    monkeypatch.setattr(os, "sched_setscheduler", refuse)
    assert realtime.be_punctual().startswith(
        "normal scheduling; real-time scheduling was refused (give this user an rtprio"
    )
    assert realtime.be_punctual(wanted=False) == "normal scheduling, as asked"
