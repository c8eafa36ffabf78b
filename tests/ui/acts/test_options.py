"""Faults of the command's functions in the words of the page: no option is named that nobody sees."""

import pytest

from sequencer.errors import ExportError, ProjectError
from ui.acts.options import fault_words, in_sight, labels


@pytest.mark.parametrize(
    ("words", "seen"),
    [
        ("name another file, or say --force to replace it", "name another file, or say “Replace” to replace it"),
        ("name its file (--take FILE)", "name its file (“What”)"),
        ("say it (--shutter 180)", "say it (“Shutter” 180)"),
        ("--from 1 --to 40, or --from 41 --to 80", "“From frame” 1 “To frame” 40, or “From frame” 41 “To frame” 80"),
        ("--convert time keeps its 4 s", "“keep its time” keeps its 4 s"),
        ("--convert takes it so", "“Other frame rate” takes it so"),
        ("--place start begins there", "“where the rig stands” begins there"),
        ("--place lets it begin", "“Start of playback” lets it begin"),
        ("allow it: --within-px 2.5", "allow it: “Within” 2.5"),
        ("--quay is none of ours - or -- so", "--quay is none of ours - or -- so"),
    ],
)
def test_options_become_the_labels_of_fields(words: str, seen: str) -> None:
    assert in_sight(words) == seen


def test_a_fault_of_the_command_line_says_no_place_that_is_not_there() -> None:
    fault = ProjectError("--replace", "there are keys already", "add --replace", file="command line")
    assert fault_words(fault) == "there are keys already; add “Replace keys”"
    assert fault_words(ProjectError("cues", "no such cue", "name one")) == "project.json: cues: no such cue; name one"
    assert fault_words(ExportError("say it (--first 1001)")) == "say it (“First frame” 1001)"


def test_every_label_is_of_an_option_and_says_something() -> None:
    assert all(option.startswith("--") and label for option, label in labels().items())
