"""How each wrong use of `twintake keys` is told: with its place and what there is, and nothing is written."""

from pathlib import Path

import pytest

from tests.cli.harbour import change, files, run

pytestmark = pytest.mark.usefixtures("terminal")

WRONG: dict[str, tuple[str, tuple[str, ...], str]] = {
    "an axis that is not there": (
        "mirror",
        ("--axis", "pann"),
        "command line: --axis: no track moves 'pann'; there are tracks for pan, tilt, roll, slide, focus",
    ),
    "no key from there on": (
        "mirror",
        ("--axis", "pan", "--from", "10:00:50:00"),
        "command line: --from: no key stands from 10:00:50:00 on; the keys of pan stand from 10:00:07:12.5 to "
        "10:00:38:03.125",
    ),
    "no key up to there": (
        "reverse",
        ("--to", "10:00:01:00"),
        "command line: --to: no key stands up to 10:00:01:00; the keys of pan, tilt, roll, slide, focus stand from ",
    ),
    "no key between": (
        "snap",
        ("--onto", "frames", "--axis", "pan", "--from", "10:00:08:00", "--to", "10:00:09:00"),
        "command line: --from, --to: no key stands from 10:00:08:00 up to 10:00:09:00; the keys of pan stand from ",
    ),
    "a frame that does not exist": (
        "mirror",
        ("--from", "10:00:08:25"),
        "command line: --from: 10:00:08:25 has frame 25; at 25 frames run from 0 to 24",
    ),
    "no timecode": (
        "split",
        ("--at", "soon"),
        "command line: --at: 'soon' is not a timecode; write one like 10:00:05:12",
    ),
    "no timecode about which": (
        "stretch",
        ("--by", "2", "--about", "soon"),
        "command line: --about: 'soon' is not a timecode; write one like 10:00:05:12",
    ),
    "time turned round": ("stretch", ("--by", "-1"), "command line: keys are stretched by a factor above zero, not by"),
    "keys out of order": (
        "offset",
        ("--axis", "pan", "--to", "10:00:08:00", "--frames", "100"),
        "project.json: tracks[0].keys[1].at (pan at 10:00:10:00): the key of pan at 10:00:10:00 would come before "
        "the one at 10:00:07:12.5; choose both keys",
    ),
    "nothing to shift by": ("offset", (), "command line: --frames, --value: nothing to shift by; give one or both"),
    "one number for two units": (
        "offset",
        ("--value", "1"),
        "command line: --value: one number cannot be for pan in deg, slide in mm; choose axes of one unit with --axis",
    ),
    "a mirror for two units": ("mirror", ("--about", "1"), "command line: --about: one number cannot be for pan in"),
    "a centre for two units": ("scale", ("--by", "2", "--about", "1"), "command line: --about: one number cannot be"),
    "a tolerance for two units": ("thin", ("--within", "1"), "command line: --within: one number cannot be for pan"),
    "beyond the travel": (
        "offset",
        ("--axis", "pan", "--value", "200"),
        "project.json: tracks[0].keys[1].value (pan at 10:00:10:00): 202 deg is outside pan's travel [-170, 170]; move",
    ),
    "scaled to nothing": ("scale", ("--by", "0"), "command line: a movement cannot be scaled by 0"),
    "time in which a key stands": (
        "ripple",
        ("--at", "10:00:16:00", "--frames", "-60"),
        "project.json: tracks[0].keys[3].at (pan at 10:00:15:00): a key of pan stands at 10:00:15:00, in the time that",
    ),
    "nothing that follows": (
        "ripple",
        ("--at", "10:00:50:00", "--frames", "5"),
        "command line: --at: nothing that would follow stands from 10:00:50:00 on; the last key stands at 10:00:38:03",
    ),
    "no leg": ("split", ("--at", "10:00:50:00"), "command line: --at: no axis is between two keys at 10:00:50:00"),
    "no leg of that axis": (
        "split",
        ("--at", "10:00:08:00", "--axis", "roll"),
        "command line: --axis roll: roll has no leg at 10:00:08:00; a key there would be a new end of its track",
    ),
    "a key there": (
        "split",
        ("--at", "10:00:10:00", "--axis", "pan"),
        "project.json: tracks[0].keys[1] (pan at 10:00:10:00): a key of pan stands at 10:00:10:00 already; choose",
    ),
    "keys at the ends": (
        "join",
        ("--axis", "pan", "--to", "10:00:09:00"),
        "command line: --from, --to: only first and last keys are chosen, where no two legs meet; choose keys between",
    ),
    "a law that is not there": (
        "join",
        ("--axis", "pan", "--from", "10:00:09:00", "--to", "10:00:11:00", "--ease", "wobble"),
        "command line: there is no motion law 'wobble'; there are bezier, ",
    ),
    "no tolerance": ("thin", ("--axis", "pan", "--within", "0"), "command line: keys cannot be thinned to within "),
    "no grid": (
        "snap",
        ("--onto", "beats", "--part", "0"),
        "command line: the lines of a grid cannot be",
    ),
    "two keys on one line": (
        "snap",
        ("--onto", "beats", "--part", "8", "--axis", "pan"),
        "project.json: tracks[0].keys[1].at (pan at 10:00:10:00): the key of pan at 10:00:10:00 would come at "
        "the same instant as the one at 10:00:07:12.5",
    ),
}


@pytest.mark.parametrize("case", WRONG)
def test_wrong_use_is_told_with_its_place_and_changes_nothing(case: str, harbour: Path) -> None:
    operation, options, words = WRONG[case]
    before = files(harbour)
    done = run(operation, harbour, *options, "--write")
    assert done.exit_code == 2
    assert done.stderr.startswith(f"twintake: {words}")
    assert done.stdout == ""
    assert files(harbour) == before


@pytest.mark.parametrize(
    ("operation", "options", "words"),
    [
        ("stretch", ("--by", "much"), "'much' is not a number; write one like 12, 12.5 or 11/10"),
        ("stretch", ("--by", "1/0"), "'1/0' is not a number; write one like 12, 12.5 or 11/10"),
        ("scale", ("--by", "inf"), "'inf' is not a number; write one like 12 or 12.5"),
        ("thin", ("--within", "nan"), "'nan' is not a number; write one like 12 or 12.5"),
        ("stretch", (), "Missing option '--by'"),
        ("snap", ("--onto", "bars"), "'bars' is not one of 'frames', 'beats'"),
        ("ripple", ("--at", "10:00:16:00", "--frames", "5", "--from", "10:00:16:00"), "No such option: --from"),
    ],
)
def test_usage_is_told(operation: str, options: tuple[str, ...], words: str, harbour: Path) -> None:
    done = run(operation, harbour, *options)
    assert done.exit_code == 2
    assert words in " ".join(done.stderr.replace("│", " ").split())


def test_beats_need_a_tempo(harbour: Path) -> None:
    change(harbour, "project.json", lambda tree: tree.pop("tempo"))
    done = run("snap", harbour, "--onto", "beats")
    assert done.exit_code == 2
    assert (
        done.stderr == "twintake: project.json: tempo: there is none, so there are no beats; write one, or snap to "
        "frames\n"
    )


def test_a_move_without_tracks_has_no_keys(harbour: Path) -> None:
    change(harbour, "project.json", lambda tree: tree.update(tracks=[]))
    done = run("mirror", harbour)
    assert done.exit_code == 2
    assert done.stderr == "twintake: project.json: tracks: the move has no keys; write some first\n"


def test_a_folder_that_is_not_there(tmp_path: Path) -> None:
    done = run("mirror", tmp_path / "nowhere")
    assert done.exit_code == 2
    assert "there is no folder" in done.stderr
