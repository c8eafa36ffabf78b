"""What a take says of itself: enough to use it without its project, and nothing in it that can do harm."""

import json
import zlib
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import msgspec
import pytest
from mcap.writer import Writer

from sequencer.errors import TakeError
from sequencer.project.document import Project
from sequencer.project.store import load
from sequencer.project.take_heading import explained
from sequencer.project.takefile import read
from sequencer.rig.axis import Rig
from sequencer.rig.outlet import Outlet
from sequencer.score.move import Cue, Marker, Pass, Scaled
from sequencer.shell.kinds import laws
from sequencer.takes.rows import Heading
from tests.project.test_takefile import HEADING, by_hand, record, rows

Tree = dict[str, Any]
PROJECTS = Path(__file__).parents[2] / "projects"
PASS = Pass("band", Fraction(1, 2), note="quay lights on", scale=Scaled(Fraction(1, 2), (("slide", 300.0),)))


@pytest.fixture(scope="module")
def boats() -> Project:
    """A project whose rig has seven axes."""
    return load(PROJECTS / "paper-boats", laws())


def of(project: Project, run: Pass = PASS) -> Heading:
    """Return the heading of a take of a project's first cue."""
    rig = project.rig
    bare = replace(
        HEADING,
        rate=str(project.timebase.rate),
        axes=rig.names,
        kinds=tuple(axis.kind for axis in rig.axes),
        units=tuple(axis.unit for axis in rig.axes),
    )
    return explained(bare, project, project.cue(None), run.speed, run)


def taken(path: Path, heading: Heading) -> Path:
    return record(path, [], heading)


def test_a_take_alone_has_the_rig_and_the_pass(boats: Project, tmp_path: Path) -> None:
    take = read(taken(tmp_path / "t.mcap", of(boats)))
    assert take.rig == boats.rig
    assert take.shot_as == PASS
    assert take.remarks == ()


def test_the_rig_is_written_as_project_files_write_it(boats: Project) -> None:
    there = json.loads((PROJECTS / "paper-boats" / "rig.json").read_text(encoding="utf-8"))
    assert json.loads(msgspec.json.encode(of(boats).rig)) == there


def test_what_is_kept_says_where_nothing_can_be_reached(boats: Project, tmp_path: Path) -> None:
    secret = Outlet(address="osc://10.20.30.40:9000?key=seagull", axes=("pan",), latency_s=0.02)
    project = replace(boats, rig=replace(boats.rig, outlets=(secret,)))
    path = taken(tmp_path / "t.mcap", of(project))
    rig = read(path).rig
    assert rig is not None
    assert rig.outlets == (replace(secret, address="osc:"),)
    assert b"10.20.30.40" not in path.read_bytes()
    assert b"seagull" not in path.read_bytes()


def test_markers_are_placed_as_the_pass_plays_them(boats: Project, tmp_path: Path) -> None:
    cue = Cue("dip", Fraction(48), Fraction(96))
    markers = tuple(Marker(str(at), Fraction(at)) for at in (47, 48, 72, 96, 97))
    project = replace(boats, move=replace(boats.move, cues=(cue,), markers=markers))
    take = read(taken(tmp_path / "t.mcap", of(project)))
    # 24000/1001 fps at half speed: 24 frames after the start are 24 * 1001 / 24000 * 2 s later
    frame_s = 1001 / 24000
    expected = [("48", 48 * frame_s), ("72", (48 + 48) * frame_s), ("96", (48 + 96) * frame_s)]
    assert [name for name, _ in take.markers] == [name for name, _ in expected]
    assert [at_s for _, at_s in take.markers] == pytest.approx([at_s for _, at_s in expected], abs=1e-12)


def test_a_rig_that_is_too_long_stays_out_and_is_said(boats: Project, tmp_path: Path) -> None:
    many = tuple(replace(boats.rig.axes[0], name=f"axis{number}") for number in range(1500))
    heading = of(replace(boats, rig=Rig(name="many", axes=many)))
    assert heading.rig is None
    told = replace(heading, axes=("pan",), kinds=("pan",), units=("deg",))
    take = read(taken(tmp_path / "t.mcap", told))
    assert take.rig is None
    assert take.remarks == (
        "the rig's description is longer than 256 KiB and is not in the take; keep rig.json with it",
    )


def test_more_than_a_take_keeps_is_said(boats: Project) -> None:
    cue = boats.cue(None)
    markers = tuple(Marker(f"marker {number}", cue.start) for number in range(5000))
    heading = of(replace(boats, move=replace(boats.move, markers=markers)), replace(PASS, note="x" * 100_000))
    # all that can be long, so that a message to the engine has room for it
    assert len(msgspec.json.encode(heading)) < 2**19
    assert 1000 < len(heading.markers) < 5000
    assert [name for name, _ in heading.markers[:2]] == ["marker 0", "marker 1"]
    assert heading.shot_as is None
    assert heading.remarks == (
        f"the cue has 5000 markers; the first {len(heading.markers)} are in the take",
        "the pass's offsets and note are too long, and are not in the take",
    )


def test_a_take_of_an_earlier_program_is_read(tmp_path: Path) -> None:
    """Without the fields that explain it, as such takes are."""
    later = {"rig", "shot_as", "markers", "document", "made", "remarks"}
    tree = {name: value for name, value in json.loads(msgspec.json.encode(HEADING)).items() if name not in later}
    take = read(by_hand(tmp_path / "t.mcap", tree))
    assert take.complete
    assert (take.rig, take.shot_as, take.markers, take.document, take.made, take.remarks) == (
        None,
        None,
        (),
        "",
        "",
        (),
    )


def test_a_take_of_a_later_program_is_read_without_what_only_that_knows(boats: Project, tmp_path: Path) -> None:
    tree = json.loads(msgspec.json.encode(of(boats)))
    tree["rig"]["axes"][0]["colour"] = "grey"
    tree["weather"] = "fog"
    take = read(by_hand(tmp_path / "t.mcap", tree))
    assert take.rig is None
    assert take.remarks == ("the rig in its heading cannot be used: axes[0]: there is no field 'colour' here",)
    assert take.shot_as == PASS


def nested(depth: int) -> Tree:
    tree: Tree = {}
    for _ in range(depth):
        tree = {"axes": tree}
    return tree


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        (lambda tree: tree["rig"]["axes"][0].update(speed=-1.0), "axes[0]: speed is -1.0; it must be above zero"),
        (lambda tree: tree["rig"]["axes"][0].update(name="tilt"), "two axes are called 'tilt'"),
        (lambda tree: tree["rig"]["axes"].pop(), "its axes are not those of the take"),
        (lambda tree: tree["rig"]["axes"].reverse(), "its axes are not those of the take"),
        (lambda tree: tree["rig"].update(axes=tree["rig"]["axes"] * 100), "more than 256 axes"),
        (lambda tree: tree["rig"].update(axes=7), "'int'"),
        (lambda tree: tree["rig"].update(version=2), "version"),
        (lambda tree: tree["rig"].update(name="x" * 600_000), "longer than any that this program wrote"),
        (lambda tree: tree.update(rig={}), "format is missing"),
        (lambda tree: tree.update(rig=nested(100)), "axes"),
        (lambda tree: tree.update(rig="none"), "rig in its heading cannot be read"),
        (lambda tree: tree.update(shot_as={"name": "band", "speed": "0"}), "pass in its heading cannot be used"),
        (lambda tree: tree.update(shot_as=[]), "shot_as in its heading cannot be read"),
        (lambda tree: tree.update(markers=[["a"]]), "markers in its heading cannot be read"),
        (lambda tree: tree.update(document=1), "document in its heading cannot be read"),
        (lambda tree: tree.update(made=None), "made in its heading cannot be read"),
        (lambda tree: tree.update(remarks="x"), "remarks in its heading cannot be read"),
    ],
)
def test_what_explains_a_take_and_is_wrong_is_left_out_and_said(
    boats: Project, tmp_path: Path, spoil: Callable[[Tree], object], says: str
) -> None:
    tree = json.loads(msgspec.json.encode(of(boats)))
    spoil(tree)
    take = read(by_hand(tmp_path / "t.mcap", tree))
    assert take.complete
    (said,) = take.remarks
    assert says in said


def test_two_wrong_fields_are_both_said_and_the_others_stay(boats: Project, tmp_path: Path) -> None:
    tree = json.loads(msgspec.json.encode(of(boats)))
    take = read(by_hand(tmp_path / "t.mcap", tree | {"made": 1, "document": 2}))
    assert len(take.remarks) == 2
    assert take.rig == boats.rig


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"markers": [["far", 1e300]]}, "a marker is more than two days"),
        ({"made": "x" * 5_000_000}, "its heading is 500"),
    ],
)
def test_headings_that_no_take_has(tmp_path: Path, changes: Tree, says: str) -> None:
    tree = json.loads(msgspec.json.encode(HEADING)) | changes
    with pytest.raises(TakeError, match=says):
        read(by_hand(tmp_path / "t.mcap", tree))


def test_a_rig_that_is_nested_without_end_is_refused(tmp_path: Path) -> None:
    """Deeper than any reader follows, and than `json` writes."""
    deep = '{"axes":' * 200_000 + "{}" + "}" * 200_000
    text = msgspec.json.encode(HEADING).decode().replace('"rig":null', f'"rig":{deep}')
    path = tmp_path / "t.mcap"
    with path.open("wb") as stream:
        writer = Writer(stream)
        writer.start()
        writer.add_metadata("take", {"heading": text, "crc32": f"{zlib.crc32(text.encode()):08x}"})
        writer.finish()  # type: ignore[no-untyped-call]  # mcap has no types there
    with pytest.raises(TakeError, match="heading: "):
        read(path)


def test_a_control_character_in_a_remark_stays_off_the_terminal(tmp_path: Path) -> None:
    take = read(taken(tmp_path / "t.mcap", replace(HEADING, remarks=("\x1b[2J cleared",))))
    assert take.remarks == ("\\x1b[2J cleared",)


def test_rows_are_read_as_before(boats: Project, tmp_path: Path) -> None:
    heading = replace(HEADING, rig=of(boats).rig)  # seven axes, where the take has two
    take = read(record(tmp_path / "t.mcap", rows(), heading))
    assert take.complete
    assert len(take.due_ns) == 240
    assert take.remarks == ("the rig in its heading cannot be used: its axes are not those of the take",)
