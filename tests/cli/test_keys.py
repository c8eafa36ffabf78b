"""`twintake keys`: what an operator sees of an edit, what is written, and how it ends."""

import json
import shutil
from collections import Counter
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import typer

from sequencer.cli.keys import keys
from sequencer.motion.compile import compile_move
from sequencer.project.store import load
from sequencer.score.move import Key
from sequencer.shell.kinds import laws
from tests.cli.harbour import HARBOUR, Tree, change, files, opened, run

pytestmark = pytest.mark.usefixtures("terminal")

# each operation with what it needs; and the first words of what it then says
OPERATIONS: dict[str, tuple[tuple[str, ...], str]] = {
    "put": (
        ("--axis", "focus", "--at", "10:00:05:00", "--value", "0.4"),
        "focus to 0.4 at 10:00:05:00: 1 key of focus new",
    ),
    "stretch": (("--by", "11/10", "--axis", "tilt"), "stretched by 11/10 about 10:00:07:12.5: 9 keys of tilt changed"),
    "mirror": (("--axis", "pan"), "mirrored about 0: 12 keys of pan changed"),
    "reverse": (("--axis", "pan", "--axis", "tilt"), "run backward: 22 keys of pan and tilt changed"),
    "offset": (("--frames", "-12.5"), "shifted by -12.5 frames: 47 keys of all axes changed"),
    "scale": (("--by", "0.5", "--axis", "slide"), "scaled by 0.5 about 0: 7 keys of slide changed"),
    "ripple": (
        ("--at", "10:00:16:00", "--frames", "25", "--markers"),
        "later by 25 frames from 10:00:16:00 on: 30 keys of all axes changed; 2 cues moved; 3 markers moved",
    ),
    "split": (("--at", "10:00:18:00", "--axis", "pan"), "split at 10:00:18:00: 1 key of pan new; 1 leg of pan reshape"),
    "join": (("--axis", "pan", "--from", "10:00:09:00", "--to", "10:00:11:00"), "joined: 1 key of pan taken out"),
    "thin": (("--within", "0.5", "--axis", "focus"), "thinned to within 0.5: "),
    "snap": (("--onto", "frames", "--to", "10:00:08:00"), "snapped to frames: 4 keys of pan, tilt, slide and focus c"),
}


def keys_of(folder: Path, axis: str) -> tuple[Key, ...]:
    return next(track.keys for track in opened(folder).move.tracks if track.axis == axis)


def test_every_operation_has_a_test_here() -> None:
    assert {one.name for one in keys.registered_commands} == OPERATIONS.keys()


@pytest.mark.parametrize("name", OPERATIONS)
def test_no_two_options_of_a_command_have_one_name(name: str) -> None:
    command = typer.main.get_group(keys).commands[name]
    names = Counter(name for parameter in command.params for name in (*parameter.opts, *parameter.secondary_opts))
    assert names.most_common(1)[0][1] == 1


@pytest.mark.parametrize("name", OPERATIONS)
def test_without_write_it_is_shown_and_nothing_is_written(name: str, harbour: Path) -> None:
    before = files(harbour)
    options, words = OPERATIONS[name]
    done = run(name, harbour, *options)
    assert done.exit_code == 0, done.output
    assert done.output.startswith(words)
    assert "before: fits, reserve 25 %\nafter:  fits, reserve " in done.output
    assert done.output.endswith("nothing written; --write keeps it\n")
    # a first line is one line, and the terminal wraps it; what is a table is not wider than the terminal
    assert all(len(line) <= 80 for line in done.output.splitlines()[1:])
    assert files(harbour) == before


@pytest.mark.parametrize("name", OPERATIONS)
def test_with_write_the_project_holds_it_and_the_file_before_stays(name: str, harbour: Path) -> None:
    before, move = files(harbour), opened(harbour).move
    options, words = OPERATIONS[name]
    done = run(name, harbour, *options, "--write")
    assert done.exit_code == 0, done.output
    assert done.output.startswith(words)
    assert done.output.endswith("written; the file before is project.json.bak\n")
    after = files(harbour)
    assert after.pop("project.json.bak") == before["project.json"]
    assert after.keys() == before.keys()
    assert [name for name in after if after[name] != before[name]] == ["project.json"]
    assert opened(harbour).move != move


@pytest.mark.parametrize("name", OPERATIONS)
def test_json_says_the_same_and_nothing_else(name: str, harbour: Path) -> None:
    before = {(track.axis, key.at, key.value) for track in opened(harbour).move.tracks for key in track.keys}
    timebase = opened(harbour).timebase
    done = run(name, harbour, *OPERATIONS[name][0], "--write", "--json")
    found = json.loads(done.output)
    assert found["written"] is True
    assert found["before"] == {"ok": True, "reserve_percent": pytest.approx(25), "legs_over": 0, "combined_over": 0}
    assert found["after"]["ok"] is True
    after = {(track.axis, key.at, key.value) for track in opened(harbour).move.tracks for key in track.keys}

    def listed(when: str) -> set[tuple[str, Fraction, float]]:
        there = [(one["axis"], one[when]) for one in found["keys"] if one[when] is not None]
        return {(axis, timebase.frames(key["at"]), key["value"]) for axis, key in there}

    # whatever is in one of the two moves only is listed as what was, or as what is now
    assert before - after <= listed("was") <= before
    assert after - before <= listed("now") <= after


def test_stretch_is_exact_and_about_the_first_chosen_key(harbour: Path) -> None:
    before, cues = keys_of(harbour, "pan"), opened(harbour).move.cues
    assert run("stretch", harbour, "--by", "110%", "--axis", "pan", "--from", "10:00:25:00", "--write").exit_code == 0
    after = keys_of(harbour, "pan")
    assert after[:8] == before[:8]
    assert [key.at for key in after[8:]] == [625 + (key.at - 625) * Fraction(11, 10) for key in before[8:]]
    assert opened(harbour).move.cues == cues


def test_stretch_about_another_instant_takes_cues_along(harbour: Path) -> None:
    before, cues = keys_of(harbour, "pan"), opened(harbour).move.cues
    done = run("stretch", harbour, "--by", "2", "--about", "10:00:00:00", "--cues", "--write")
    assert "; 3 cues moved\n" in done.output
    assert [key.at for key in keys_of(harbour, "pan")] == [2 * key.at for key in before]
    assert [cue.start for cue in opened(harbour).move.cues] == [2 * cue.start for cue in cues]


def test_mirror_and_scale_about_a_value(harbour: Path) -> None:
    before = keys_of(harbour, "slide")
    assert run("mirror", harbour, "--about", "600", "--axis", "slide", "--write").exit_code == 0
    assert [key.value for key in keys_of(harbour, "slide")] == [1200 - key.value for key in before]
    assert run("scale", harbour, "--by", "0.25", "--about", "600", "--axis", "slide", "--write").exit_code == 0
    assert [key.value for key in keys_of(harbour, "slide")] == [600 + (600 - key.value) / 4 for key in before]


def test_reverse_twice_is_as_before(harbour: Path) -> None:
    before = opened(harbour).move
    for _ in range(2):
        assert run("reverse", harbour, "--write").exit_code == 0
    assert opened(harbour).move == before


def test_offset_in_time_and_value_of_a_stretch_of_one_axis(harbour: Path) -> None:
    before = keys_of(harbour, "tilt")
    options = ("--axis", "tilt", "--from", "10:00:25:00", "--to", "10:00:27:12.5", "--frames", "5/2", "--value", "-1.5")
    assert run("offset", harbour, *options, "--write").exit_code == 0
    after = keys_of(harbour, "tilt")
    changed = [place for place, key in enumerate(before) if key != after[place]]
    # both ends of the stretch are included
    assert [before[place].at for place in changed] == [625, Fraction(1375, 2)]
    assert all(
        (after[place].at, after[place].value) == (before[place].at + Fraction(5, 2), before[place].value - 1.5)
        for place in changed
    )


def test_ripple_moves_what_it_is_asked_to(harbour: Path) -> None:
    before = opened(harbour).move
    options = ("--at", "10:00:16:00", "--frames", "-20", "--axis", "pan", "--no-cues", "--write")
    assert run("ripple", harbour, *options).exit_code == 0
    after = opened(harbour).move
    assert (after.cues, after.markers, after.tracks[1:]) == (before.cues, before.markers, before.tracks[1:])
    pairs = zip(before.tracks[0].keys, after.tracks[0].keys, strict=True)
    assert [new.at - old.at for old, new in pairs] == [0] * 4 + [-20] * 8


def test_a_cue_that_now_starts_in_mid_move_is_told(harbour: Path) -> None:
    options = ("--at", "10:00:16:00", "--frames", "25", "--axis", "pan")
    lines = run("ripple", harbour, *options).output.splitlines()
    assert [line for line in lines if line.startswith("cue:")] == [
        "cue:    crowd sweep now starts in mid-move (tilt, roll, slide, focus)",
        "cue:    last light now starts in mid-move (tilt, slide, focus)",
    ]
    found = json.loads(run("ripple", harbour, *options, "--json").output)
    assert found["cut"][1] == {"name": "last light", "axes": ["tilt", "slide", "focus"]}
    # where everything follows, every cue still starts at rest
    assert "cue:" not in run("ripple", harbour, *options[:4], "--write").output
    # and what an edit found cut already is not told again
    run("ripple", harbour, *options, "--write")
    assert "cue:" not in run("mirror", harbour, "--axis", "roll").output


def test_pinned_keys_that_an_edit_moves_are_counted(harbour: Path) -> None:
    change(harbour, "project.json", lambda tree: tree["tracks"][0]["keys"][2].update(pin=True))
    assert run("offset", harbour, "--axis", "pan", "--frames", "1").output.startswith(
        "shifted by +1 frames: 12 keys of pan changed (1 pinned)\n"
    )
    found = json.loads(run("offset", harbour, "--axis", "pan", "--frames", "1", "--json").output)
    assert [one["now"]["pin"] for one in found["keys"]] == [place == 2 for place in range(12)]


def test_split_keeps_the_curve_of_every_axis_that_has_a_leg_there(harbour: Path) -> None:
    before = opened(harbour)
    done = run("split", harbour, "--at", "10:00:10:00", "--write")
    # the pan has a key there already
    assert done.output.startswith("split at 10:00:10:00: 4 keys of tilt, roll, slide and focus new; ")
    after = opened(harbour)
    at_s = np.linspace(7, 39, 3201)
    old, new = (compile_move(one.rig, one.move, one.timebase.rate, laws()).sample(at_s) for one in (before, after))
    assert np.abs(old - new).max() < 1e-6
    assert [len(track.keys) for track in after.move.tracks] == [len(track.keys) for track in before.move.tracks[:1]] + [
        len(track.keys) + 1 for track in before.move.tracks[1:]
    ]


def test_join_takes_the_law_of_the_first_leg_or_the_one_that_is_said(harbour: Path) -> None:
    options = ("--axis", "slide", "--from", "10:00:15:00", "--to", "10:00:17:00")
    for said, law in ((), "poly345"), (("--ease", "cycloidal"), "cycloidal"):
        found = json.loads(run("join", harbour, *options, *said, "--json").output)
        assert [(one["was"]["value"], one["now"]) for one in found["keys"] if one["now"] is None] == [(640, None)] * 2
        assert run("join", harbour, *options, *said, "--write").exit_code == 0
        kept = [(key.value, key.ease.law) for key in keys_of(harbour, "slide")]
        assert kept[:2] == [(0, law), (1080, "hold")]
        shutil.copy(HARBOUR / "project.json", harbour)


def test_join_of_a_whole_track_leaves_its_ends(harbour: Path) -> None:
    first, *inside, last = keys_of(harbour, "tilt")
    done = run("join", harbour, "--axis", "tilt", "--ease", "poly345", "--write")
    assert done.output.startswith(f"joined: {len(inside)} keys of tilt taken out")
    assert [(key.at, key.value) for key in keys_of(harbour, "tilt")] == [(key.at, key.value) for key in (first, last)]


def test_thin_leaves_few_keys_of_a_dense_track(harbour: Path) -> None:
    def dense(tree: Tree) -> None:
        rows = [(at, round(30 * np.sin(at / 40), 4)) for at in range(0, 200, 5)]
        labels = [f"10:00:{10 + at // 25:02}:{at % 25:02}" for at, _ in rows]
        keys = [{"at": at, "value": value, "ease": "through"} for at, (_, value) in zip(labels, rows, strict=True)]
        tree["tracks"] = [{"axis": "pan", "keys": keys}]

    change(harbour, "project.json", dense)
    before = opened(harbour)
    done = run("thin", harbour, "--within", "0.5", "--write")
    after = opened(harbour)
    taken = len(before.move.tracks[0].keys) - len(after.move.tracks[0].keys)
    assert taken >= 25
    assert done.output.startswith(f"thinned to within 0.5: {taken} keys of pan taken out")
    assert f"and {taken - 20} more" in " ".join(done.output.split())
    at_s = np.array([float(before.timebase.rate.seconds(key.at)) for key in before.move.tracks[0].keys])
    curve = compile_move(after.rig, after.move, after.timebase.rate, laws()).sample(at_s)[:, 0]
    assert np.abs(curve - [key.value for key in before.move.tracks[0].keys]).max() <= 0.5


def test_snap_to_parts_of_a_beat_leaves_pinned_keys_unless_told(harbour: Path) -> None:
    run("offset", harbour, "--axis", "pan", "--frames", "1.25", "--write")
    moved = keys_of(harbour, "pan")
    change(harbour, "project.json", lambda tree: tree["tracks"][0]["keys"][2].update(pin=True))
    done = run("snap", harbour, "--axis", "pan", "--onto", "beats", "--part", "1/2", "--write")
    assert done.output.startswith("snapped to 1/2 beats (1 pinned stay): 11 keys of pan changed")
    # 96 beats a minute at 25 frames a second: half a beat is 7.8125 frames, and that is where the demo's keys stood
    at = [key.at for key in keys_of(harbour, "pan")]
    assert at[2] == moved[2].at
    assert all((frame / Fraction("7.8125")).denominator == 1 for place, frame in enumerate(at) if place != 2)
    done = run("snap", harbour, "--axis", "pan", "--onto", "beats", "--part", "1/2", "--pinned", "--write")
    assert done.output.startswith("snapped to 1/2 beats: 1 key of pan changed")


def test_what_changes_nothing_writes_nothing(harbour: Path) -> None:
    before = files(harbour)
    done = run("snap", harbour, "--onto", "beats", "--part", "1/4", "--write")
    assert done.exit_code == 0
    assert done.output.startswith("snapped to 1/4 beats: nothing changed\nbefore: fits")
    assert "written" not in done.output
    assert files(harbour) == before


def test_an_edit_beyond_the_limits_is_found_told_and_written_all_the_same(harbour: Path) -> None:
    done = run("stretch", harbour, "--by", "1/2", "--write")
    assert done.exit_code == 1
    assert "before: fits, reserve 25 %\nafter:  5 legs are over\nworst:  jerk of pan, 1730 at 10:00:12:04.69, " in (
        done.output
    )
    assert f"written; the file before is project.json.bak; try: twintake fit {harbour}\n" in done.output
    # so that the next edit begins with a move that is over
    done = run("stretch", harbour, "--by", "2", "--json")
    assert done.exit_code == 0
    found = json.loads(done.output)
    assert (found["before"]["ok"], found["before"]["legs_over"], found["after"]["ok"]) == (False, 5, True)


def test_a_jump_is_no_number(harbour: Path) -> None:
    options = ("--axis", "pan", "--from", "10:00:09:00", "--to", "10:00:13:00", "--ease", "linear")
    done = run("join", harbour, *options)
    assert done.exit_code == 1
    assert "of pan, a jump at " in done.output
    assert json.loads(run("join", harbour, *options, "--json").output)["after"]["reserve_percent"] is None


def test_many_changed_keys_are_shown_in_part(harbour: Path) -> None:
    done = run("offset", harbour, "--frames", "10")
    assert sum(" 10:00:" in line for line in done.output.splitlines()) == 20
    assert "and 27 more" in done.output


def test_times_without_an_end_are_written_as_they_are_judged(harbour: Path) -> None:
    assert run("stretch", harbour, "--by", "1/3", "--axis", "pan", "--write").exit_code == 1
    exact = [Fraction(375, 2) + (key.at - Fraction(375, 2)) / 3 for key in load(HARBOUR, laws()).move.tracks[0].keys]
    written = [key.at for key in keys_of(harbour, "pan")]
    assert all(abs(one - other) <= Fraction(1, 10**9) for one, other in zip(exact, written, strict=True))
