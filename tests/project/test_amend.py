"""Edits of a project's time and rig: what keeps its timecode, what its seconds, and what is refused."""

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.errors import ProjectError
from sequencer.project import amend, files
from sequencer.project.begin import guess
from sequencer.project.build_sync import plain_triggers
from sequencer.project.document import Project
from sequencer.project.store import load
from sequencer.rig.geometry import Geometry
from sequencer.rig.limits import SumLimit
from sequencer.shell.kinds import laws
from sequencer.timebase.rate import RATES

LANTERNS = load(Path("projects/harbour-lanterns"), laws())


def labels(project: Project) -> list[str]:
    """Return the timecode of everything that has an instant."""
    move = project.move
    instants = [key.at for track in move.tracks for key in track.keys] + [marker.at for marker in move.markers]
    instants += [at for cue in move.cues for at in (cue.start, cue.end)]
    instants += [] if project.playback is None else [project.playback.at]
    return [str(project.timebase.label(at)) for at in instants]


def seconds(project: Project) -> list[Fraction]:
    rate = project.timebase.rate
    return [rate.seconds(key.at) for track in project.move.tracks for key in track.keys]


def test_another_start_leaves_everything_at_its_timecode() -> None:
    located = amend.with_mapped(LANTERNS, None, files.MidiTriggerFile(note=60, do="locate", at="10:00:20:00"))
    moved = amend.started(located, "09:59:50:00")
    assert labels(moved) == labels(located)
    assert seconds(moved) == [at + 10 for at in seconds(located)]
    assert moved.tempo is not None
    assert located.tempo is not None
    assert moved.tempo.at_s == located.tempo.at_s + 10
    # the file says the same instants; only its start is another
    assert files.MidiTriggerFile(note=60, do="locate", at="10:00:20:00") in _midi(moved)


def _midi(project: Project) -> list[files.MidiTriggerFile]:
    midi = plain_triggers(project.triggers, project.timebase).midi
    assert isinstance(midi, list)
    return midi


def test_a_start_across_midnight_goes_the_short_way() -> None:
    late = amend.started(LANTERNS, "23:59:50:00", "distance")
    moved = amend.started(late, "00:00:00:00")
    assert labels(moved) == labels(late)
    assert max(map(abs, seconds(moved))) < 60


def test_another_start_may_take_everything_along() -> None:
    moved = amend.started(LANTERNS, "01:00:00:00", "distance")
    assert moved.move is LANTERNS.move
    assert labels(moved)[0] == labels(LANTERNS)[0].replace("10:", "01:", 1)


@pytest.mark.parametrize("label", ["ten", "10:00:00:25", "10:00:00:12.5", ""])
def test_a_start_that_is_no_label_is_refused(label: str) -> None:
    with pytest.raises(ProjectError) as told:
        amend.started(LANTERNS, label)
    assert told.value.mend


@settings(max_examples=30, deadline=None)
@given(names=st.lists(st.sampled_from(list(RATES)), min_size=1, max_size=4))
def test_another_rate_keeps_seconds_exactly_there_and_back(names: list[str]) -> None:
    project = LANTERNS
    for name in names:
        project = amend.at_rate(project, RATES[name], False)
        assert seconds(project) == seconds(LANTERNS)
        assert str(project.timebase.start) == "10:00:00:00"
    assert amend.at_rate(project, RATES["25"], False) == LANTERNS


def test_another_rate_may_keep_frame_numbers() -> None:
    faster = amend.at_rate(LANTERNS, RATES["50"], False, "frames")
    assert faster.move == LANTERNS.move
    assert seconds(faster) == [at / 2 for at in seconds(LANTERNS)]


def test_a_start_that_the_rate_does_not_have_is_refused_with_a_mend() -> None:
    at_24 = amend.started(LANTERNS, "10:00:00:24")
    with pytest.raises(ProjectError, match="full second"):
        amend.at_rate(at_24, RATES["24"], False)
    with pytest.raises(ProjectError, match="drop"):
        amend.at_rate(LANTERNS, RATES["25"], True)
    assert str(amend.at_rate(LANTERNS, RATES["30000/1001"], True).timebase.start) == "10:00:00;00"


def test_travel_that_keys_would_leave_is_refused_with_the_furthest() -> None:
    pan = LANTERNS.rig.axes[0]
    with pytest.raises(ProjectError, match=r"furthest at 52 \(10:00:15:00\)"):
        amend.with_axis(LANTERNS, 0, replace(pan, travel=(-60.0, 40.0), home=0.0))
    assert amend.with_axis(LANTERNS, 0, replace(pan, travel=(-60.0, 60.0))).rig.axes[0].travel == (-60.0, 60.0)


def test_a_new_name_of_an_axis_goes_everywhere() -> None:
    limit = SumLimit(name="swing", sum=(("pan", 1.0), ("slide", 0.05)), speed=100.0)
    with_limit = amend.with_limit(LANTERNS, None, limit)
    renamed = amend.with_axis(with_limit, 0, replace(LANTERNS.rig.axes[0], name="head"))
    assert renamed.move.tracks[0].axis == "head"
    assert renamed.rig.combined[0].axes == ("head", "slide")
    with pytest.raises(ValueError, match="two axes"):
        amend.with_axis(with_limit, 0, replace(LANTERNS.rig.axes[0], name="tilt"))


def test_an_axis_that_is_needed_goes_only_with_what_needs_it() -> None:
    with pytest.raises(ProjectError, match="its track with 10 keys"):
        amend.without_axis(LANTERNS, 1)
    without = amend.without_axis(LANTERNS, 1, with_track=True)
    assert "tilt" not in without.rig.names
    assert "tilt" not in [track.axis for track in without.move.tracks]
    alone = replace(LANTERNS, move=replace(LANTERNS.move, tracks=()))
    for _ in range(4):
        alone = amend.without_axis(alone, 0)
    with pytest.raises(ValueError, match="at least one axis"):
        amend.without_axis(alone, 0)


def test_what_the_axes_do_to_the_camera_follows_names_and_kinds() -> None:
    geometry = Geometry(positive=(("pan", "right"),), heading_deg=(("slide", -90.0),))
    turned = replace(LANTERNS, rig=replace(LANTERNS.rig, geometry=geometry))
    renamed = amend.with_axis(turned, 0, replace(turned.rig.axes[0], name="head"))
    assert renamed.rig.geometry.positive == (("head", "right"),)
    as_lift = amend.with_axis(turned, 3, replace(turned.rig.axes[3], kind="lift"))
    assert as_lift.rig.geometry.heading_deg == ()
    assert as_lift.rig.geometry.positive == geometry.positive
    assert amend.without_axis(turned, 0, with_track=True).rig.geometry.positive == ()


def test_axes_are_added_and_ordered() -> None:
    more = amend.with_new_axis(LANTERNS, guess("lift"))
    first = amend.axis_at(more, 5, 0)
    assert first.rig.names == ("lift", "pan", "tilt", "roll", "slide", "focus")
    with pytest.raises(ValueError, match="two axes"):
        amend.with_new_axis(LANTERNS, guess("pan"))


def test_offsets_and_triggers_are_checked_as_the_file_is() -> None:
    changed = amend.with_offset(LANTERNS, "mtc", Fraction(-3, 2), 12.5)
    assert changed.sync[0].frames == Fraction(-3, 2)
    assert amend.with_offset(changed, "mtc", Fraction(0), 0.0).sync == ()
    with pytest.raises(ProjectError, match="more than a second"):
        amend.with_offset(LANTERNS, "mtc", Fraction(0), 2000.0)
    one = amend.with_mapped(LANTERNS, None, files.MidiTriggerFile(note=60, do="cue", name="last light"))
    with pytest.raises(ProjectError, match="an order already"):
        amend.with_mapped(one, None, files.MidiTriggerFile(note=60, channel=2, do="start"))
    with pytest.raises(ProjectError, match="no cue"):
        amend.with_mapped(LANTERNS, None, files.MidiTriggerFile(note=60, do="cue", name="nothing"))
    again = amend.with_mapped(one, 0, files.MidiTriggerFile(program=3, channel=2, do="stop rig"))
    assert len(again.triggers.mapped) == 1
    assert amend.with_mapped(again, 0, None).triggers.mapped == ()
    with pytest.raises(ProjectError, match="device number"):
        amend.with_device(LANTERNS, 127)
    assert amend.with_device(LANTERNS, None).triggers.mmc_device is None


def test_what_an_axis_does_to_the_camera_is_kept_only_where_it_is_not_the_usual() -> None:
    plain = replace(LANTERNS, rig=replace(LANTERNS.rig, geometry=Geometry()))
    slide = plain.rig.index("slide")
    turned = amend.with_way(amend.with_heading(plain, slide, 90.0), 0, "right")
    assert turned.rig.geometry == Geometry(positive=(("pan", "right"),), heading_deg=(("slide", 90.0),))
    assert amend.with_way(amend.with_heading(turned, slide, -90.0), 0, "left") == plain
    assert amend.with_height(plain, 0.4).rig.geometry.height_m == 0.4
    refused: tuple[tuple[Callable[[], Project], str], ...] = (
        (lambda: amend.with_way(plain, 0, "up"), "must be left or right"),
        (lambda: amend.with_way(plain, slide, "left"), "has none"),
        (lambda: amend.with_heading(plain, 0, 10.0), "only a slide"),
        (lambda: amend.with_height(plain, float("nan")), "height_m"),
    )
    for edit, words in refused:
        with pytest.raises(ValueError, match=words):
            edit()
