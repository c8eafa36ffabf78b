"""What a take is headed with when it is shot: the pass as it was written, and the project as it was."""

import hashlib
import shutil
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import msgspec
import pytest

from sequencer.project.checksum import checksum
from sequencer.project.store import load
from sequencer.project.takefile import read
from sequencer.score.move import Marker, Pass
from sequencer.shell.kinds import laws
from sequencer.shell.messages import COMMANDS, Arm, frame
from sequencer.shell.records import OpenTake, pack, unpack
from sequencer.shell.shoot import Plan, plan
from tests.project.test_takefile import record

PROJECT = Path(__file__).parents[2] / "projects" / "harbour-lanterns"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return Path(shutil.copytree(PROJECT, tmp_path / "harbour"))


def test_a_pass_is_kept_as_it_was_written_at_whatever_speed_it_is_rehearsed(folder: Path) -> None:
    project = load(folder, laws())
    written = Pass("other side", Fraction(1, 2), offset=(("pan", 5.0),), reversed=True, note="mirror in")
    project = replace(project, move=replace(project.move, passes=(*project.move.passes, written)))
    shooting = plan(project, "lantern turn", "other side", folder / "takes", Fraction(1, 2), folder)
    path = shooting.next_path()
    take = read(record(path, [], shooting.heading(path.stem)))
    assert take.shot_as == written
    assert take.speed == Fraction(1, 4)
    assert take.rig == project.rig


def test_a_checksum_is_what_anybody_gets(folder: Path) -> None:
    both = (folder / "project.json").read_bytes() + (folder / "rig.json").read_bytes()
    wanted = hashlib.sha256(both).hexdigest()
    assert checksum(folder) == wanted
    project = load(folder, laws())
    heading = plan(project, None, None, folder / "takes", of=folder).heading("one")
    assert heading.document == wanted
    assert heading.made.startswith("twintake ")
    (folder / "rig.json").unlink()
    assert checksum(folder) == ""


def test_what_has_no_folder_has_no_checksum(folder: Path) -> None:
    """As the takes by which a rig is measured."""
    project = load(folder, laws())
    bare = Plan(project=project, cue=project.cue(None), run=project.run(None), folder=folder / "trials")
    heading = bare.heading("one")
    assert heading.document == ""
    assert heading.rig is not None
    assert heading.shot_as == {"name": "band", "speed": "1", "note": "all players, quay lights on"}


def test_a_heading_comes_whole_through_the_engine(folder: Path) -> None:
    """From the operator's program by message to the engine, and by the ring to the process that writes."""
    heading = plan(load(folder, laws()), None, None, folder / "takes", of=folder).heading("one")
    arm = COMMANDS.decode(frame(Arm(cue="lantern turn", take="one.mcap", heading=heading))[4:])
    assert isinstance(arm, Arm)
    assert msgspec.json.encode(arm.heading) == msgspec.json.encode(heading)
    opened = unpack(pack(OpenTake("one.mcap", heading, 500.0, 60.0)))
    assert isinstance(opened, OpenTake)
    assert msgspec.json.encode(opened.heading) == msgspec.json.encode(heading)


def test_the_largest_heading_fits_a_message() -> None:
    """A rig nearly as long as a heading takes, as many markers, and a long note."""
    project = load(PROJECT, laws())
    axes = tuple(replace(project.rig.axes[0], name=f"axis{number}") for number in range(800))
    cue = project.cue(None)
    markers = tuple(Marker(f"{number:0100}", cue.start) for number in range(600))
    big = replace(project, rig=replace(project.rig, axes=axes), move=replace(project.move, markers=markers))
    run = Pass("band", note="x" * 60_000)
    heading = Plan(project=big, cue=cue, run=run, folder=Path("takes")).heading("one")
    assert heading.rig is not None
    assert heading.remarks == ()
    assert 300_000 < len(frame(Arm(cue="lantern turn", take="one.mcap", heading=heading))) < 2**20
