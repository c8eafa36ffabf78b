"""`twintake takes`, `play` and `compare`: what they cannot do as it was written is told before any process starts."""

import subprocess
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from sequencer.cli.app import app
from tests.shell.small import small_project

pytestmark = pytest.mark.usefixtures("terminal")


@pytest.fixture(autouse=True)
def no_process(monkeypatch: pytest.MonkeyPatch) -> None:
    def start(*_: object, **__: object) -> None:
        raise AssertionError("a process was started")

    monkeypatch.setattr(subprocess, "Popen", start)


def run(*arguments: str) -> Result:
    return CliRunner().invoke(app, arguments)


def words_of(done: Result) -> str:
    return " ".join(done.stderr.replace("│", " ").split())


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["takes", "{}", "--cue", "nope"], "no cue 'nope' in Small; cues: turn"),
        (["takes", "{}", "--pass", "nope"], "no pass 'nope' in Small; passes: as written"),
        (["play", "{}", "--arm", "--pass", "nope"], "no pass 'nope'"),
        (["play", "{}", "--arm", "--record"], "name it with --cue"),
        (["play", "{}", "--arm", "--until", "10:99:00:00"], "--until: 10:99:00:00 has 99 minutes"),
        (["takes", "{}", "--within", "0"], "a number of pixels above zero"),
        (["play", "{}", "--arm", "--speed", "0"], "'0' is no part of the pass's own speed; write one above zero"),
        (["play", "{}", "--arm", "--speed", "1/0"], "'1/0' is no part of the pass's own speed; write one above zero"),
        (["play", "{}", "--arm", "--speed", "half"], "'half' is no part of the pass's own speed; write one above zero"),
        (["play", "{}", "--arm", "--speed", "1e99"], "'1e99' is no part of the pass's own speed; write one above zero"),
        (["play", "{}", "--arm", "--late", "later"], "'later' is not one of 'refuse', 'join'"),
        (["play", "{}", "--arm", "--midi-in", "virtual:quay"], "--midi-in: has no meaning with --sync internal"),
        (["play", "{}", "--arm", "--sync", "mtc", "--audio-in", "quay"], "add --sync ltc, or leave it out"),
        (["play", "{}", "--arm", "--audio-out", "quay"], "--audio-out: has no meaning with --sync internal"),
        (["play", "{}", "--arm", "--sync", "mtc", "--midi-in", "osc:9001"], "OSC comes in at osc:9001, and MIDI is"),
        (["play", "{}", "--arm", "--sync", "ltc", "--audio-in", "pipe:1"], "and linear timecode is wanted"),
        (["play", "{}", "--arm", "--trigger", "ltc:quay"], "linear timecode comes in at ltc:quay, and OSC or MIDI is"),
        (["play", "{}", "--arm", "--remote"], "--remote: nothing can choose"),
        (["compare", "one.mcap", "two.mcap", "--within", "nan"], "a number of pixels above zero"),
        (["compare", "one.mcap", "two.mcap", "--report", "match.txt"], "a document is written as .pdf or .html"),
    ],
)
def test_what_cannot_be_meant_is_told(tmp_path: Path, arguments: list[str], words: str) -> None:
    folder = small_project(tmp_path / "small")
    done = run(*(str(folder) if one == "{}" else one for one in arguments))
    assert done.exit_code == 2
    assert words in words_of(done)
    assert not (folder / "takes").exists()


@pytest.mark.parametrize("damaged", ["project.json", "rig.json"])
def test_a_damaged_project_is_a_usage_fault(tmp_path: Path, damaged: str) -> None:
    folder = small_project(tmp_path / "small")
    (folder / damaged).write_text((folder / damaged).read_text()[:-30])
    done = run("takes", str(folder))
    assert done.exit_code == 2
    assert damaged in words_of(done)
