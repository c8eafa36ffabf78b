"""`twintake play`: what it asks of the processes, from what the operator wrote. What they do with it: tests/shell."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from typer.testing import CliRunner

from sequencer.cli import play
from sequencer.cli.app import app
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
