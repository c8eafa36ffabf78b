"""A minute of the long run: every part of it is there, and nothing is lost."""

from pathlib import Path

import pytest

from tests.soak.judge import Sample, Story, verdicts
from tests.soak.processes import KNOWN
from tests.soak.run import KEPT, soak

pytestmark = pytest.mark.real_time
SECONDS = 60.0
# how punctual this machine is belongs to a run that has it for itself
_OF_THE_MACHINE = ("stops since the whole machine stood still", "ticks left out")


def test_a_minute_shoots_takes_and_holds_no_more_at_its_end_than_at_its_begin(tmp_path: Path) -> None:
    told: list[Sample] = []

    def tell(sample: Sample, story: Story) -> None:
        told.append(sample)

    story = soak(tmp_path, SECONDS, tell)
    wrong = [one for one in verdicts(story) if one.held is False and one.what not in _OF_THE_MACHINE]
    assert wrong == []
    assert story.takes >= 3
    assert told == story.samples
    assert len(told) > 20
    whole = story.samples[-1]
    assert set(whole.packets) == {"osc", "sacn", "opentrackio"}
    assert len(list((tmp_path / "soak" / "takes").glob("*.mcap"))) == KEPT
    if KNOWN:
        assert set(whole.held) == {
            "engine", "io", "watchdog", "simulated rig", "timecode sender", "this command",
        }  # fmt: skip
        assert whole.shared_files
