"""The command starts with no more than it needs."""

import subprocess
import sys


def modules(*arguments: str) -> set[str]:
    """All that is imported until the command has ended."""
    command = [sys.executable, "-X", "importtime", "-m", "sequencer", *arguments]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=True)
    lines = [line for line in done.stderr.splitlines() if line.startswith("import time:")]
    return {line.rpartition("|")[2].strip() for line in lines}


def test_the_editor_does_not_wait_for_the_other_commands() -> None:
    read = modules("edit", "--help")
    assert "sequencer.cli.edit" in read
    assert not any(one.startswith("scipy") for one in read)
    assert read.isdisjoint({"sequencer.cli.app", "sequencer.cli.fit", "sequencer.motion.repair.choices"})


def test_all_commands_are_there_where_one_is_named() -> None:
    assert {"sequencer.cli.edit", "sequencer.cli.check", "sequencer.cli.play"} <= modules("check", "--help")


def test_what_draws_the_editor_does_without_scipy() -> None:
    program = "import sys, ui.app; print(sorted(one for one in sys.modules if one.startswith('scipy')))"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, timeout=60, check=True)
    assert done.stdout.strip() == "[]"
