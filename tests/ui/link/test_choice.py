"""What was chosen becomes the orders that the engine takes."""

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from sequencer.errors import LinkError, ProjectError
from sequencer.score.move import Pass
from tests.ui.conftest import LANTERNS
from ui.desk import Desk
from ui.link.choice import CLOCKS, Choice, foreseen, inlet_fault, order_of, setup_of


def test_every_clock_becomes_a_setup() -> None:
    sync = {clock: setup_of(Choice(clock=clock), LANTERNS, "osc://127.0.0.1:9") for clock in CLOCKS}
    assert {clock: one.sync for clock, one in sync.items()} == {
        "own": "internal",
        "music": "audio",
        "mtc": "mtc",
        "ltc": "ltc",
        "clock": "clock",
        "osc": "internal",
    }
    assert sync["mtc"].sources == ("virtual:twintake",)
    assert sync["osc"].triggers == ("osc:9001",)
    assert sync["osc"].sources == ()
    assert sync["own"].inlets == ()


def test_a_port_that_brings_another_kind_of_time_is_refused() -> None:
    with pytest.raises(LinkError, match="osc:9001 does not bring what this clock needs"):
        setup_of(Choice(clock="mtc", inlet="osc:9001"), LANTERNS, "osc://127.0.0.1:9")
    assert setup_of(Choice(clock="mtc", inlet="quay"), LANTERNS, "osc://127.0.0.1:9").sources == ("midi:quay",)


def test_who_may_speak_to_the_triggers_is_judged_before_anything_starts() -> None:
    assert inlet_fault(Choice(clock="osc")) == inlet_fault(Choice(clock="osc", inlet="osc:9002")) == ""
    assert inlet_fault(Choice(clock="own", inlet="osc:0.0.0.0:9001")) == "", "nothing comes in"
    assert "would listen to every network" in inlet_fault(Choice(clock="osc", inlet="osc:0.0.0.0:9001"))
    assert "is no IP address" in inlet_fault(Choice(clock="osc", inlet="osc:quay0:9001?from=lamp"))
    with pytest.raises(LinkError, match="no network interface of this machine"):
        setup_of(Choice(clock="osc", inlet="osc:quay0:9001?from=192.0.2.20"), LANTERNS, "osc://127.0.0.1:9")


def test_an_order_has_the_take_only_where_one_is_recorded(desk: Desk, tmp_path: Path) -> None:
    cue = desk.project.move.cues[0].name
    order = order_of(Choice(cue=cue, speed=Fraction(1, 4)), desk.project, tmp_path)
    assert (order.cue, order.speed, order.take) == (cue, "1/4", None)
    assert not (tmp_path / "takes").exists()
    order = order_of(Choice(cue=cue, record=True), desk.project, tmp_path)
    assert order.take is not None
    assert order.heading is not None
    assert Path(order.take).parent == tmp_path / "takes"
    assert order.heading.cue == cue


def test_what_cannot_be_meant_is_refused(desk: Desk, tmp_path: Path) -> None:
    with pytest.raises(LinkError, match="choose a cue"):
        order_of(Choice(record=True), desk.project, tmp_path)
    with pytest.raises(ProjectError, match="no cue 'nope'"):
        order_of(Choice(cue="nope"), desk.project, tmp_path)
    cue = desk.project.move.cues[0].name
    with pytest.raises(LinkError, match="leave one of the two out"):
        order_of(Choice(cue=cue, record=True, remote=True), desk.project, tmp_path)


def test_what_one_arming_is_like_needs_no_other_engine() -> None:
    one = Choice(cue="a")
    assert one.same_setup(replace(one, cue="b", speed=Fraction(1, 2), record=True, late="join", preroll_s=3.0))
    assert not one.same_setup(replace(one, run="clean plate"))
    assert not one.same_setup(replace(one, rig="osc://127.0.0.1:9"))
    assert not one.same_setup(replace(one, tick_hz=100))


def test_music_has_the_preroll_that_it_needs(desk: Desk) -> None:
    cue = desk.project.move.cues[0].name
    assert order_of(Choice(cue=cue, clock="music", preroll_s=0.0), desk.project, LANTERNS).preroll_s == 3.0
    assert order_of(Choice(cue=cue, preroll_s=0.0), desk.project, LANTERNS).preroll_s == 0.0


def test_motion_is_foreseen_from_the_start_of_the_cue(desk: Desk) -> None:
    cue = desk.project.move.cues[0]
    start_s, ahead = foreseen(Choice(cue=cue.name), desk.project)
    assert start_s == float(desk.project.timebase.rate.seconds(cue.start))
    assert ahead
    assert all(one[1] < other[0] for one, other in pairwise(ahead))
    half_s, slow = foreseen(Choice(cue=cue.name, speed=Fraction(1, 2)), desk.project)
    assert half_s == start_s
    assert slow[-1][1] - start_s == pytest.approx(2 * (ahead[-1][1] - start_s))


def test_what_is_foreseen_is_the_motion_of_the_chosen_pass(desk: Desk) -> None:
    cue, rate = desk.project.move.cues[0], desk.project.timebase.rate
    ends_s = float(rate.seconds(cue.start)) + float(rate.seconds(cue.end))
    written = foreseen(Choice(cue=cue.name), desk.project)[1]
    inside = [one for one in written if one[1] <= float(rate.seconds(cue.end))]
    passes = (Pass("plain"), Pass("back", of=cue.name, reversed=True), Pass("far", offset=(("slide", 1e6),)))
    project = replace(desk.project, move=replace(desk.project.move, passes=passes))
    back = foreseen(Choice(cue=cue.name, run="back"), project)[1]
    mirrored = [(ends_s - end_s, ends_s - start_s) for start_s, end_s in reversed(inside)]
    assert np.array(back) == pytest.approx(np.array(mirrored))
    # the engine refuses that one in words; here nothing is foreseen of it
    assert foreseen(Choice(cue=cue.name, run="far"), project)[1] == ()
    with pytest.raises(ProjectError, match=r"passes\[2\]\.offset\.slide"):
        order_of(Choice(cue=cue.name, run="far"), project, LANTERNS)
