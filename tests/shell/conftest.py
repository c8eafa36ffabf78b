"""The real processes on the small project, for tests that see what the operator sees."""

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

from sequencer.project.store import load
from sequencer.shell import shoot
from sequencer.shell.crew import Crew, crew
from sequencer.shell.kinds import laws
from sequencer.shell.messages import Said, Setup, Status
from tests.shell.small import small_project

Starter = Callable[..., tuple[Crew, shoot.Watch, shoot.Plan]]


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Starter]:
    """Start a crew on the small project with a simulated rig; what it says is in the watch's `said`."""
    with ExitStack() as stack:

        def begin(
            *faults: str, legs: int = 1, ease: str = "poly345", **setup: object
        ) -> tuple[Crew, shoot.Watch, shoot.Plan]:
            folder = small_project(tmp_path / "small", legs=legs, ease=ease)
            project = load(folder, laws())
            _, output = stack.enter_context(shoot.simulated_rig(folder / "rig.json", 1, 0, *faults))
            fields = {"project": str(folder), "run": None, "output": output, "sync": "internal"} | setup
            running = stack.enter_context(crew(Setup(**fields)))  # type: ignore[arg-type]  # the test's own fields
            plan = shoot.Plan(project=project, cue=project.cue(None), run=project.run(None), folder=tmp_path / "takes")
            return running, shoot.Watch(running, quiet), plan

        yield begin


def quiet(status: Status | None, said: list[Said]) -> None:
    """Show nothing."""
