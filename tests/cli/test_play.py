"""`twintake play`: what it asks of the processes, from what the operator wrote. What they do with it: tests/shell."""

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from typer.testing import CliRunner

from sequencer.cli import play
from sequencer.cli.app import app
from sequencer.project.store import load
from sequencer.shell.kinds import laws
from sequencer.shell.messages import Arm, Setup


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[tuple[Setup, Arm]]:
    """Return what is asked for, in place of starting processes."""
    found: list[tuple[Setup, Arm]] = []

    @contextmanager
    def crew(setup: Setup) -> Iterator[None]:
        yield None

    def begin(running: None, setup: Setup, order: Arm, at_once: bool) -> None:
        found.append((setup, order))

    monkeypatch.setattr(play, "crew", crew)
    monkeypatch.setattr(play, "_play", begin)
    return found


@pytest.mark.parametrize(
    ("options", "preroll_s"),
    [
        ("--sync internal", 3.0),
        # whoever triggers means now
        ("--sync internal --trigger osc:9001", 0.0),
        ("--sync osc", 0.0),
        # what music is clocked by is known a moment after it began, which is too late for a move that begins with it
        ("--sync audio", 3.0),
        ("--sync audio --trigger osc:9001", 3.0),
        ("--sync audio --trigger osc:9001 --preroll 1.5", 1.5),
    ],
)
def test_the_own_clock_is_set_before_the_start(
    asked: list[tuple[Setup, Arm]], harbour: Path, options: str, preroll_s: float
) -> None:
    done = CliRunner().invoke(app, ["play", str(harbour), *options.split()])
    assert done.exit_code == 0, done.output
    ((_, order),) = asked
    assert order.preroll_s == preroll_s


def test_each_option_names_its_inlets(asked: list[tuple[Setup, Arm]], harbour: Path) -> None:
    options = "--sync ltc --audio-in quay --audio-in file:a.wav --trigger osc:0 --trigger Deck --delay-ms 1.5"
    done = CliRunner().invoke(app, ["play", str(harbour), *options.split(), "--offset-frames", "-1/2"])
    assert done.exit_code == 0, done.output
    ((setup, _),) = asked
    assert setup.sources == ("ltc:quay", "file:a.wav")
    assert setup.triggers == ("osc:0", "midi:Deck")
    assert (setup.offset_frames, setup.delay_ms) == ("-1/2", 1.5)


@pytest.mark.parametrize(
    ("trigger", "words"),
    [
        ("osc:0.0.0.0:9001", "would listen to every network"),
        ("osc:9001?from=192.0.2.20", "listens to this machine only"),
        ("osc:quay0:9001", "no network interface of this machine"),
    ],
)
def test_who_may_speak_is_judged_before_anything_starts(
    asked: list[tuple[Setup, Arm]], harbour: Path, trigger: str, words: str
) -> None:
    done = CliRunner().invoke(app, ["play", str(harbour), "--trigger", trigger])
    assert done.exit_code == 3
    assert words in " ".join(done.output.split())
    assert asked == []


def test_a_take_is_not_recorded_where_triggers_choose_the_cue(asked: list[tuple[Setup, Arm]], harbour: Path) -> None:
    options = ["--trigger", "osc:9001", "--remote", "--record", "--cue", load(harbour, laws()).move.cues[0].name]
    done = CliRunner().invoke(app, ["play", str(harbour), *options])
    assert done.exit_code == 2
    words = "command line: --remote: a take is of one cue, and triggers choose others; leave one of them out"
    assert words in " ".join(done.output.split())
    assert asked == []


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ("--punch-in", "--punch-in: nothing is performed"),
        ("--by-hand pan --late join", "cannot be joined"),
        ("--by-hand pan --trigger osc:9001 --remote", "--remote: what triggers choose cannot be performed by hand"),
        ("--by-hand crane", "the rig has no axis 'crane'; it has pan"),
    ],
)
def test_what_cannot_be_performed_by_hand_is_refused_with_its_option(
    asked: list[tuple[Setup, Arm]], harbour: Path, options: str, words: str
) -> None:
    done = CliRunner().invoke(app, ["play", str(harbour), *options.split()])
    assert done.exit_code == 2
    assert words in " ".join(done.output.split())
    assert asked == []


def test_axes_by_hand_are_armed_so_and_the_take_says_it(
    asked: list[tuple[Setup, Arm]], harbour: Path, tmp_path: Path
) -> None:
    options = "--by-hand pan --by-hand pan --by-hand tilt --punch-in --cue"
    cue = load(harbour, laws()).move.cues[0].name
    folder = tmp_path / "copy"
    shutil.copytree(harbour, folder)
    done = CliRunner().invoke(app, ["play", str(folder), "--record", *options.split(), cue])
    assert done.exit_code == 0, done.output
    ((setup, order),) = asked
    assert setup.controllers == "pads:"
    assert (order.by_hand, order.punched) == (("pan", "tilt"), False)
    assert order.heading is not None
    assert order.heading.by_hand == ("pan", "tilt")


def test_without_axes_by_hand_no_controllers_are_opened(asked: list[tuple[Setup, Arm]], harbour: Path) -> None:
    done = CliRunner().invoke(app, ["play", str(harbour)])
    assert done.exit_code == 0, done.output
    ((setup, order),) = asked
    assert (setup.controllers, order.by_hand) == ("", ())
