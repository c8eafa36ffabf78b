"""`twintake rig`: the travel of an axis, taken where it stands, or driven to. The rig itself: tests/shell."""

from collections.abc import Callable
from pathlib import Path

import pytest

from sequencer.shell import travel, trials
from sequencer.shell.crew import CrewFailed
from tests.cli.harbour import change
from tests.cli.test_rig import STANDS, Bench, axis_of, bench, rig

__all__ = ["bench"]


def test_an_end_of_the_travel_is_taken_where_the_axis_stands_by_then(
    bench: Bench, harbour: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    looks: list[float] = []

    def moved_by_hand(ground: trials.Ground) -> dict[str, float]:
        looks.append(-48.0 - 10.0 * len(looks))
        return STANDS | {"pan": looks[-1]}

    monkeypatch.setattr(trials, "stands", moved_by_hand)
    done = rig(harbour, "--axis", "pan", "--no-measure", typed="y\nhere..120\nhere\n\nn\n")
    assert done.exit_code == 0, done.output
    pan = axis_of(harbour, "pan")
    assert pan.travel == (-58.0, 120.0), "not where it stood as the walk began"
    assert pan.home == -58.0
    again = rig(harbour, "--axis", "pan", "--no-measure", "--travel", "pan=here..here", "--arm", "--yes")
    assert again.exit_code == 2
    assert "is no travel" in again.output


def test_the_travel_is_driven_to_once_it_is_armed_and_the_walk_goes_on_from_there(
    bench: Bench, harbour: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    driven: list[tuple[str, float]] = []

    def drive(
        ground: trials.Ground, axis: str, places: dict[str, float], speed: float, tell: Callable[[str], None]
    ) -> tuple[tuple[float, float], float]:
        driven.append((axis, speed))
        if len(driven) == 1:
            raise CrewFailed("stopped: stop was pressed on a game controller")
        tell("one end at -60")
        return (-60.0, 150.0), 12.5

    monkeypatch.setattr(travel, "driven", drive)
    # not armed; armed and stopped; armed; an origin outside it, so both are asked again; then as found, and here
    answers = ["y", "drive", "n", "drive", "y", "drive", "y", "170", "", "here", "", "n"]
    done = rig(harbour, "--axis", "pan", "--no-measure", typed="\n".join(answers) + "\n")
    assert done.exit_code == 0, done.output
    words = " ".join(done.output.split())
    assert "pan moves while its stick is pushed and what enables it is held, at 9 deg a second at most" in words
    assert "Its soft limits do not count: watch it" in words
    assert "Press lower at one end, then at the other" in words
    assert "not armed; nothing moved" in words
    assert "stopped: stop was pressed on a game controller" in words
    assert driven == [("pan", 9.0)] * 2
    pan = axis_of(harbour, "pan")
    assert pan.travel == (-60.0, 150.0)
    assert pan.home == 12.5


def test_an_axis_without_a_stick_is_not_driven_to_its_ends(bench: Bench, harbour: Path) -> None:
    change(
        harbour, "project.json", lambda tree: tree.update(hands=[{"sticks": [{"control": "left x", "axis": "tilt"}]}])
    )
    done = rig(harbour, "--axis", "pan", "--no-measure", typed="y\ndrive\n\n\n\nn\n")
    assert "no stick is assigned to pan" in " ".join(done.output.split())
    assert bench.moved == []


def test_nobody_drives_where_nobody_is_asked(bench: Bench, harbour: Path) -> None:
    done = rig(harbour, "--axis", "pan", "--no-measure", "--travel", "pan=drive", "--arm", "--yes")
    assert done.exit_code == 2
    assert "'drive' is no travel" in " ".join(done.output.split())
