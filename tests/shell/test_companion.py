"""A process beside a run: each line that it says is heard once."""

from pathlib import Path

import pytest

from sequencer.errors import LinkError
from sequencer.shell import companion as beside
from sequencer.shell.companion import companion
from tests.shell.acted import Clock

SAYS = """
import json, sys
for line in ({"first": 1}, {"second": 2}, {"third": 3}):
    print(json.dumps(line), flush=True)
sys.stdin.read()
"""


@pytest.fixture
def spoken(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    (tmp_path / "says_three_lines.py").write_text(SAYS)
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    return "says_three_lines"


def test_what_came_before_a_line_is_passed_over_and_what_comes_after_is_heard_once(spoken: str) -> None:
    with companion("one that speaks", spoken) as one:
        assert one.wait_for("second") == 2
        assert one.wait_for("third") == 3
        assert one.hear() == []


def test_one_that_ends_by_a_fault_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "falls_over.py").write_text("import sys; sys.exit(4)")
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    with companion("one that falls over", "falls_over") as one, pytest.raises(LinkError, match="status 4"):
        one.wait_for("anything")


def test_what_is_said_while_it_ends_is_heard_to_the_last_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    says = 'import sys\nsys.stdin.read()\nprint("\\n".join(f\'{{"line": {number}}}\' for number in range(20_000)))'
    (tmp_path / "says_much_at_the_end.py").write_text(says)
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    # the reader is still at work when the process has ended: nothing may close the pipe under it
    with companion("one that ends with many words", "says_much_at_the_end") as one:
        assert one.hear() == []
    assert [line["line"] for line in one.hear()] == list(range(20_000))


def test_one_that_hears_no_more_is_to_be_started_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    says = "import os\nos.close(0)\nprint('{\"closed\": 1}', flush=True)\nos._exit(0)"
    (tmp_path / "hears_no_more.py").write_text(says)
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    with companion("timecode sender", "hears_no_more") as one:
        one.wait_for("closed")
        with pytest.raises(LinkError, match=r"^the timecode sender has ended; start it again$"):
            one.say({"stop": True})


def test_one_that_says_nothing_of_what_is_waited_for_is_given_up(spoken: str, monkeypatch: pytest.MonkeyPatch) -> None:
    with companion("simulated rig", spoken) as one:
        one.wait_for("third")
        monkeypatch.setattr(beside, "time", Clock())
        with pytest.raises(LinkError, match=r"^the simulated rig said nothing for 15 s; is the machine very busy\?$"):
            one.wait_for("port")
