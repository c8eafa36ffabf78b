"""`twintake marks`: what an operator sees of marks, what is written, and how each wrong use is told."""

import json
from collections import Counter
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import typer
from typer.testing import CliRunner, Result

from sequencer.cli.app import app
from sequencer.cli.marks import marks
from sequencer.motion.compile import compile_move
from sequencer.score.marks import AtSpeed, Fastest, Lasting, Mark
from sequencer.shell.kinds import laws
from sequencer.shell.recorder import Recorder
from sequencer.takes.rows import ActualRow, Heading, Row, SetpointRow
from tests.cli.harbour import change, files, opened

pytestmark = pytest.mark.usefixtures("terminal")

# each operation that edits marks, with what it needs, and the first words of what it then says
OPERATIONS: dict[str, tuple[tuple[str, ...], str]] = {
    "store": (("pier", "pan=12", "tilt=-3.5"), "stored pier by numbers"),
    "rename": (("net shed", "shed"), "renamed net shed to shed"),
    "delete": (("net shed", "quay wide"), "deleted net shed, quay wide"),
    "clear": (("--yes", "--yes"), "deleted all 3 marks"),
    "move": (("net shed", "--before", "lamp close"), "put net shed before lamp close"),
    "leg": (("lamp close", "--lasts", "2.5"), "2.5 s to lamp close"),
}


def run(operation: str, folder: Path, *options: str, says: str | None = None) -> Result:
    return CliRunner().invoke(app, ["marks", operation, str(folder), *options], input=says)


def named(folder: Path) -> list[str]:
    return [mark.name for mark in opened(folder).marks]


def facts(folder: Path, *words: str) -> dict[str, Any]:
    done = CliRunner().invoke(app, ["marks", *words, str(folder), "--json"])
    assert done.exit_code == 0, done.output
    read = json.loads(done.stdout)
    assert isinstance(read, dict)
    return read


def test_every_operation_has_a_test_here() -> None:
    assert {one.name for one in marks.registered_commands} == OPERATIONS.keys() | {"list", "to-keys"}


@pytest.mark.parametrize("name", [*OPERATIONS, "list", "to-keys"])
def test_no_two_options_of_a_command_have_one_name(name: str) -> None:
    command = typer.main.get_group(marks).commands[name]
    names = Counter(name for parameter in command.params for name in (*parameter.opts, *parameter.secondary_opts))
    assert names.most_common(1)[0][1] == 1


def test_a_project_alone_lists_its_marks(harbour: Path) -> None:
    done = CliRunner().invoke(app, ["marks", str(harbour)])
    assert done.exit_code == 0, done.output
    lines = [line.split() for line in done.output.splitlines()]
    assert ["mark", "pan", "tilt", "roll", "slide", "focus", "leg", "takes"] in lines
    assert ["lamp", "close", "2", "-1.5", "5.1358", "134.321", "0.36716", "fastest"] in lines
    assert ["quay", "wide", "-14", "7.5", "0", "600", "0.45", "6", "s", "6.00", "s"] in lines
    assert all(len(line) <= 80 for line in done.output.splitlines())
    assert done.output == run("list", harbour).output


def test_the_list_as_a_document(harbour: Path) -> None:
    found = facts(harbour)
    assert found == facts(harbour, "list")
    assert found["marks"][2] == {
        "name": "net shed",
        "position": {"pan": -46.0, "tilt": 5.0, "focus": 0.4},
        "leg": {"speed": "1/2"},
        # by hand: 32 degrees at half of 90 a second, and its ramps: 32/45 + 45/160 + 160/700
        "takes_s": pytest.approx(32 / 45 + 45 / 160 + 160 / 700),
        "fault": None,
    }
    assert found["marks"][0]["takes_s"] is None
    assert (found["done"], found["written"]) == ("", False)


@pytest.mark.parametrize("name", OPERATIONS)
def test_without_write_it_is_shown_and_nothing_is_written(name: str, harbour: Path) -> None:
    before = files(harbour)
    options, words = OPERATIONS[name]
    done = run(name, harbour, *options)
    assert done.exit_code == 0, done.output
    assert done.output.startswith(words + "\n")
    assert done.output.endswith("nothing written; --write keeps it\n")
    assert files(harbour) == before


@pytest.mark.parametrize("name", OPERATIONS)
def test_with_write_the_project_holds_it_and_the_file_before_stays(name: str, harbour: Path) -> None:
    before, marks_before = files(harbour), opened(harbour).marks
    options, _ = OPERATIONS[name]
    done = run(name, harbour, *options, "--write")
    assert done.exit_code == 0, done.output
    assert done.output.endswith("written; the file before is project.json.bak\n")
    after = files(harbour)
    assert after.pop("project.json.bak") == before["project.json"]
    assert [name for name in after if after[name] != before[name]] == ["project.json"]
    assert opened(harbour).marks != marks_before


def test_what_each_operation_makes_of_the_marks(harbour: Path) -> None:
    def write(name: str, *options: str) -> list[str]:
        done = run(name, harbour, *options, "--write")
        assert done.exit_code == 0, done.output
        return named(harbour)

    assert write("store", "pier", "pan=12", "tilt=-3.5", "--after", "lamp close")[1] == "pier"
    assert opened(harbour).marks[1] == Mark("pier", (("pan", 12.0), ("tilt", -3.5)))
    assert write("move", "pier", "--last") == ["lamp close", "quay wide", "net shed", "pier"]
    assert write("rename", "pier", "slipway")[-1] == "slipway"
    write("leg", "slipway", "lamp close", "--speed", "50%")
    assert [mark.leg for mark in opened(harbour).marks][::3] == [AtSpeed(Fraction(1, 2))] * 2
    write("leg", "slipway", "--lasts", "7/2")
    # what overwrites a mark leaves its leg and its place
    assert write("store", "slipway", "focus=0.9", "--over")[-1] == "slipway"
    assert opened(harbour).marks[-1] == Mark("slipway", (("focus", 0.9),), Lasting(Fraction(7, 2)))
    write("leg", "slipway", "--fastest")
    assert opened(harbour).marks[-1].leg == Fastest()
    assert write("delete", "slipway", "lamp close") == ["quay wide", "net shed"]
    assert write("clear", "--yes", "--yes") == []
    assert run("list", harbour).output == "no marks\n"


def test_a_mark_is_where_the_move_has_the_rig_but_for_given_numbers(harbour: Path) -> None:
    done = run("store", harbour, "mid", "--at", "10:00:09:12.5", "roll=3", "--write")
    assert done.output.startswith("stored mid where the move has the rig at 10:00:09:12.5\n")
    project = opened(harbour)
    at_s = np.array([float(project.timebase.rate.seconds(project.timebase.frames("10:00:09:12.5")))])
    where = compile_move(project.rig, project.move, project.timebase.rate, laws()).sample(at_s)[0]
    found = dict(project.marks[-1].position)
    assert found.pop("roll") == 3.0
    assert found == {
        axis: pytest.approx(value, abs=1e-6)
        for axis, value in zip(project.rig.names, where.tolist(), strict=True)
        if axis != "roll"
    }


def recorded(path: Path, *rows: Row) -> Path:
    heading = Heading(
        name="one",
        project="harbour",
        cue="one",
        run="band",
        cue_s=(0.0, 1.0),
        rate="25",
        drop=False,
        start="10:00:00:00",
        axes=("pan", "lift"),
        kinds=("pan", "lift"),
        units=("deg", "mm"),
        sensor_mm=None,
        pixels=None,
        focal_mm=None,
        subject_m=None,
        started="2031-05-04T18:30:00+00:00",
    )
    with Recorder.open(path, heading) as recorder:
        for row in rows:
            recorder.write(row)
    return path


@pytest.fixture
def take(tmp_path: Path) -> Path:
    """Record a take of a second, from the start of the project on, in which a lift moves that the rig does not have."""
    rows = (
        SetpointRow(10_000_000 * number, number / 100, "running", (number / 3, 5.0), (0.0, 0.0))
        for number in range(101)
    )
    return recorded(tmp_path / "one.mcap", *rows)


def test_a_mark_is_where_a_take_had_the_rig(harbour: Path, take: Path) -> None:
    done = run("store", harbour, "end", "--from-take", str(take), "--write")
    assert done.output.startswith("stored end where one.mcap ended, without lift, which the rig does not have\n")
    assert opened(harbour).marks[-1].position == (("pan", 33.333333),)
    done = run("store", harbour, "mid", "--from-take", str(take), "--at", "10:00:00:12.5", "--write")
    assert "where one.mcap had the rig at 10:00:00:12.5" in done.output
    assert opened(harbour).marks[-1].position == (("pan", 16.666667),)
    done = run("store", harbour, "late", "--from-take", str(take), "--at", "10:00:02:00")
    assert done.exit_code == 2
    assert "command line: --at: one.mcap goes from 10:00:00:00 to 10:00:01:00; choose an instant inside" in done.output
    done = run("store", harbour, "none", "--from-take", str(harbour / "rig.json"))
    assert done.exit_code == 2
    assert "rig.json: not a take file" in done.output


def test_a_take_in_which_nothing_was_sent_gives_no_mark(harbour: Path, tmp_path: Path) -> None:
    before = files(harbour)
    none = recorded(tmp_path / "none.mcap", ActualRow(10_000_000, 10_000_000, (1.0, 5.0)))
    done = run("store", harbour, "end", "--from-take", str(none), "--write")
    assert done.exit_code == 2
    assert "none.mcap: the rig was sent nowhere in it; name another take\n" in done.output
    assert files(harbour) == before


def test_all_are_deleted_only_when_that_is_said_twice(harbour: Path) -> None:
    before = files(harbour)
    for says in ("n\n", "y\nn\n"):
        done = run("clear", harbour, "--write", says=says)
        assert done.exit_code == 0
        assert "kept all marks\n" in done.stdout
        assert files(harbour) == before
    for options in ((), ("--yes",)):
        done = run("clear", harbour, "--write", *options, says="")
        assert done.exit_code == 2
        assert "all marks are deleted only where that is said twice; answer, or say --yes --yes" in done.output
        assert files(harbour) == before
    done = run("clear", harbour, "--write", says="y\ny\n")
    assert done.exit_code == 0
    assert named(harbour) == []


def test_marks_that_the_rig_cannot_go_to_are_listed_with_the_reason(harbour: Path) -> None:
    def spoil(tree: dict[str, Any]) -> None:
        tree["marks"][0]["position"] |= {"lift": 3.0}
        tree["marks"][1]["position"]["pan"] = 999
        tree["marks"].append({"name": "pier", "position": {"pan": 100}, "leg": {"lasts_s": "0.1"}})

    change(harbour, "project.json", spoil)
    done = run("list", harbour)
    assert done.exit_code == 0
    assert "lamp close: the rig cannot go to lamp close: the rig has no axis 'lift' (it has pan, " in done.output
    assert (
        "quay wide: the rig cannot go to quay wide: 999 deg is outside pan's travel [-170, 170]; store" in done.output
    )
    assert "pier: the leg to pier cannot last 0.1 s; from here it takes " in done.output
    found = facts(harbour)["marks"]
    assert [one["fault"] is None for one in found] == [False, False, True, False]
    # an edit of another mark loses none of it
    assert run("rename", harbour, "net shed", "shed", "--write").exit_code == 0
    assert dict(opened(harbour).marks[0].position)["lift"] == 3.0


KEYED = ("to-keys", "--at", "10:00:01:00")


def test_marks_become_keys(harbour: Path) -> None:
    before = files(harbour)
    done = run("to-keys", harbour, "lamp close", "net shed", "--at", "10:00:01:00", "--to", "10:00:05:00")
    assert done.exit_code == 0, done.output
    assert done.output.startswith("made keys of lamp close, net shed: 10 keys of all axes new\n")
    assert done.output.endswith("nothing written; --write keeps it\n")
    assert files(harbour) == before
    done = run("to-keys", harbour, "--at", "10:00:01:00", "--beats", "4", "--ease", "cycloidal", "--write")
    assert done.exit_code == 1  # from the last mark to the keys that were there, the slide is too fast
    assert "after:  1 leg is over\nworst:  jerk of slide" in done.output
    pan = [key for key in opened(harbour).move.tracks[0].keys if key.at < 7 * 25]
    # by hand: 96 BPM at 25 frames a second, 15.625 frames a beat; the beat nearest to frame 25 is at 31.25
    assert [(float(key.at), key.value, key.ease.law) for key in pan] == [
        (31.25, 2.0, "cycloidal"),
        (93.75, -14.0, "cycloidal"),
        (156.25, -46.0, "cycloidal"),
    ]


def test_keys_in_between_stay_or_go(harbour: Path) -> None:
    for options, count in (((), 14), (("--clear",), 3)):
        stretch = ("quay wide", "net shed", "--at", "10:00:07:12.5", "--to", "10:00:38:04")
        done = run("to-keys", harbour, *stretch, *options, "--json")
        assert done.exit_code in (0, 1), done.output
        found = [one for one in json.loads(done.stdout)["keys"] if one["axis"] == "pan"]
        gone = sum(one["now"] is None for one in found)
        new = sum(one["was"] is None for one in found)
        assert 12 + new - gone == count - 1


def test_a_move_without_any_key_gets_its_first_ones_from_marks(harbour: Path) -> None:
    change(harbour, "project.json", lambda tree: tree.update(tracks=[]))
    done = run("to-keys", harbour, "net shed", "--at", "10:00:01:00", "--write")
    assert done.exit_code == 0, done.output
    assert done.output.startswith("made keys of net shed: 3 keys of all axes new\n")
    assert [(track.axis, len(track.keys)) for track in opened(harbour).move.tracks] == [
        ("pan", 1),
        ("tilt", 1),
        ("focus", 1),
    ]


WRONG: dict[str, tuple[tuple[str, ...], str]] = {
    "no folder": (("list",), ""),
    "a name that is taken": (("store", "net shed", "pan=1"), "command line: there is a mark 'net shed' already"),
    "a name that is none": (("store", " ", "pan=1"), "command line: that is no name of a mark; write one"),
    "no such mark": (("rename", "pier", "quay"), "command line: there is no mark 'pier'; there are lamp close, quay"),
    "nothing to stand at": (("store", "pier"), "command line: nothing says where the rig is to stand; give AXIS=VALUE"),
    "no value": (("store", "pier", "pan"), "AXIS=VALUE: 'pan' does not say where an axis stands; write pan=-20"),
    "no number": (("store", "pier", "pan=left"), "AXIS=VALUE: 'pan=left' does not say where an axis stands"),
    "not finite": (("store", "pier", "pan=nan"), "AXIS=VALUE: 'pan=nan' does not say where an axis stands"),
    "twice": (("store", "pier", "pan=1", "pan=2"), "AXIS=VALUE: pan is given twice; keep one of them"),
    "no such axis": (("store", "pier", "lift=1"), "command line: the rig has no axis 'lift' (it has pan, tilt, roll"),
    "outside": (("store", "pier", "pan=171"), "command line: 171 deg is outside pan's travel [-170, 170]"),
    "no timecode": (("store", "pier", "--at", "soon"), "command line: --at: 'soon' is not a timecode"),
    "no take": (("store", "pier", "--from-take", "none.mcap"), "none.mcap: cannot be read"),
    "after and over": (
        ("store", "net shed", "pan=1", "--over", "--after", "quay wide"),
        "command line: --after: a mark that is overwritten keeps its place",
    ),
    "overwrite nothing": (("store", "pier", "pan=1", "--over"), "command line: there is no mark 'pier'"),
    "moved nowhere": (("move", "net shed"), "command line: --before, --last: where to?; give one of them"),
    "moved twice": (("move", "net shed", "--last", "--before", "quay wide"), "--before, --last: where to?"),
    "no pace": (("leg", "net shed"), "command line: --lasts, --speed, --fastest: a leg has one pace"),
    "two paces": (("leg", "net shed", "--lasts", "2", "--fastest"), "a leg has one pace; give one of them"),
    "no time": (("leg", "net shed", "--lasts", "0"), "command line: lasts_s is 0; a leg takes more than no time"),
    "too fast": (("leg", "net shed", "--speed", "2"), "command line: speed is 2; it is a part of each axis's limit"),
    "many at one instant": ((*KEYED,), "--to, --beats: 3 marks cannot all be at one instant; give one of them, or"),
    "both": ((*KEYED, "--to", "10:00:09:00", "--beats", "2"), "--to, --beats: they say two things"),
    "one between two": ((*KEYED, "net shed", "--to", "10:00:09:00"), "choose two marks or more to lay them"),
    "backward": ((*KEYED, "--to", "10:00:00:00"), "the last mark comes after the first one; choose a later end"),
    "no beat": ((*KEYED, "--beats", "0"), "marks cannot come every 0 beats; give a number above zero"),
    "no law": ((*KEYED, "net shed", "--ease", "wobble"), "wobble"),
    "a jump": (
        (*KEYED, "lamp close", "net shed", "--to", "10:00:09:00", "--ease", "hold"),
        "no motor can jump: give both keys one value, or the leg a law that moves",
    ),
}


@pytest.mark.parametrize("name", WRONG)
def test_a_wrong_use_ends_with_words_and_nothing_is_written(name: str, harbour: Path) -> None:
    before = files(harbour)
    (operation, *options), words = WRONG[name]
    folder = harbour / "none" if name == "no folder" else harbour
    done = run(operation, folder, *options, *(("--write",) if operation != "list" else ()))
    assert done.exit_code == 2, done.output
    assert (words or "there is no folder") in done.output
    assert "Traceback" not in done.output
    assert files(harbour) == before


def test_keys_of_a_mark_that_the_rig_cannot_go_to_are_refused(harbour: Path) -> None:
    change(harbour, "project.json", lambda tree: tree["marks"][2]["position"].update(pan=999))
    done = run("to-keys", harbour, "net shed", "--at", "10:00:01:00")
    assert done.exit_code == 2
    assert "command line: the rig cannot go to net shed: 999 deg is outside pan's travel [-170, 170]" in done.output


def test_beats_need_a_tempo(harbour: Path) -> None:
    change(harbour, "project.json", lambda tree: tree.pop("tempo"))
    done = run("to-keys", harbour, "--at", "10:00:01:00", "--beats", "2")
    assert done.exit_code == 2
    assert "project.json: tempo: there is none, so there are no beats; write one, or use --to" in done.output


def test_no_marks_are_cleared_only_once(harbour: Path) -> None:
    change(harbour, "project.json", lambda tree: tree.pop("marks"))
    done = run("clear", harbour)
    assert done.exit_code == 2
    assert "command line: there are no marks to clear" in done.output
