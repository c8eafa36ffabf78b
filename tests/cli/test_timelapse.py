"""`twintake timelapse`: its plan in words and as JSON, what it refuses and with what, and keys that follow the sky."""

import json
import math
import re
import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import typer
from typer.testing import CliRunner, Result

from sequencer.cli.app import app
from sequencer.cli.timelapse_shoot import Shoot, Wanted
from sequencer.errors import ProjectError, TakeError
from sequencer.motion.sky import direction
from sequencer.project.shot_log import Begun, Exposed, Firing, Log, read
from sequencer.project.store import load
from sequencer.score.timelapse import Place, Start
from sequencer.shell.kinds import laws
from sequencer.shell.spread import begins, spread

TIDE = Path("projects/low-tide")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return Path(shutil.copytree(TIDE, tmp_path / "low-tide"))


def change(folder: Path, **fields: Any) -> None:
    tree = json.loads((folder / "project.json").read_text(encoding="utf-8"))
    tree["timelapse"] |= fields
    (folder / "project.json").write_text(json.dumps(tree), encoding="utf-8")


def words_of(done: Result) -> str:
    """Return what was printed, however wide the terminal is."""
    return " ".join(done.output.split())


def run(folder: Path, *options: str) -> Result:
    return CliRunner().invoke(app, ["timelapse", str(folder), *options], env={"COLUMNS": "200"})


def plan(folder: Path, *options: str) -> Any:
    return json.loads(run(folder, *options, "--json").stdout)


def test_the_demo_is_planned_as_by_hand(folder: Path) -> None:
    """24 s at 25 are 600 frames; six hours over 600 are 36 s; 600 x 52 MB are 31.2 GB; 14 W for 6 h are 84 Wh."""
    done = run(folder)
    assert done.exit_code == 0
    found = plan(folder)
    assert (found["ok"], found["refused"]) == (True, None)
    assert (found["frames"], found["interval_s"], found["event_s"]) == (600, [36.0, 36.0], 21_600.0)
    assert (found["card_bytes"], found["battery_wh"]) == (31_200_000_000, 84.0)
    assert (found["card_full_by_frame"], found["battery_empty_by_frame"]) == (None, None)
    assert found["shutter_angle_deg"] == 20.0
    first, last = (datetime.fromisoformat(found[name]) for name in ("begins", "ends"))
    assert (last - first).total_seconds() == 599 * 36
    assert f"{first:%H:%M}" == "05:20"
    assert "600" in done.output
    assert "36 s" in done.output


def test_the_way_between_frames_is_the_motors(folder: Path) -> None:
    found = spread(load(folder, laws()), laws())
    assert found.poses.shape == (600, 3)
    assert found.poses[0].tolist() == [-34.0, 3.0, 40.0]
    assert found.poses[-1].tolist() == [31.0, 1.5, 1140.0]
    # the slide's longest step is 3.93 mm or less, at up to 45 mm/s: well under a second, over a fifth of one
    assert 0.2 < plan(folder)["move_s"] < 1.0
    slow = load(folder, laws())
    change(folder, speed="1/20")
    assert spread(load(folder, laws()), laws()).plan.move_s > spread(slow, laws()).plan.move_s


@pytest.mark.parametrize(
    ("options", "figures"),
    [
        # 2 h at one frame every 4 s are 1800 frames, 72 s of clip at 25
        ("--event 2h --interval 4 --clip ? --exposure 1/2 --settle 1", {"frames": 1800, "clip_s": 72.0}),
        # 10 s of clip are 250 frames; every 90 s they last 22500 s
        ("--event ? --interval 1m30s --clip 10", {"frames": 250, "event_s": 22_500.0}),
        ("--event ? --interval ? --clip ? --frames 100", {"frames": 100, "clip_s": 4.0}),
        # half of 36 s, and the rest
        ("--exposure ? --settle ?", {"exposure_s": 18.0}),
    ],
)
def test_the_command_line_changes_what_is_known(folder: Path, options: str, figures: dict[str, float]) -> None:
    found = plan(folder, *options.split())
    assert found["ok"]
    assert {name: found[name] for name in figures} == figures


def test_an_interval_that_is_too_short_ends_with_status_1_and_what_works(folder: Path) -> None:
    options = ("--interval", "4", "--event", "?")
    done = run(folder, *options)
    assert done.exit_code == 1
    assert "cannot be shot: the interval of 4 s cannot hold 2 s exposure" in words_of(done)
    offered = re.search(r"what works: an interval of ([0-9.]+) s", words_of(done))
    assert offered is not None
    assert run(folder, "--interval", offered[1], "--event", "?").exit_code == 0
    # and nothing is shot
    assert run(folder, *options, "--shoot", "--arm").exit_code == 1
    assert not (folder / "takes").exists()


def test_a_full_card_and_an_empty_battery_are_said_before(folder: Path) -> None:
    change(folder, stock={"frame_bytes": 100, "card_bytes": 40_000, "battery_wh": "56", "load_w": "14"})
    done = run(folder)
    assert "the card is full by frame 400" in words_of(done)
    # 56 Wh at 14 W are 4 h, that is 400 frames
    assert "the battery is empty by frame 400" in words_of(done)


def test_a_frame_whose_pose_cannot_be_stood_in_is_named(folder: Path) -> None:
    tree = json.loads((folder / "rig.json").read_text(encoding="utf-8"))
    tree["combined"] = [{"name": "cable", "sum": {"slide": 1.0, "tilt": 1.0}, "travel": [0.0, 500.0]}]
    (folder / "rig.json").write_text(json.dumps(tree), encoding="utf-8")
    done = run(folder)
    assert done.exit_code == 2
    assert "cannot be exposed at its pose: cable" in words_of(done)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ("--clip 10 --frames 300", "300 frames do not make a clip of 10 s"),
        ("--interval soon", "--interval: 'soon' is no time"),
        ("--exposure 1/0", "--exposure: '1/0' is no time"),
        ("--frames many", "--frames: 'many' is no number of frames"),
        ("--at teatime", "'teatime' is no start"),
        ("--date 2020-01-01", "05:20 on 2020-01-01 is over"),
        ("--resume", "--resume: nothing is shot; add --shoot"),
        ("--plan --shoot", "choose one"),
        ("--shoot --json", "--json: a run of the rig has no document"),
        ("--shoot --resume", "there is no log of a timelapse; begin it anew"),
        ("--shoot --arm --change-at 600", "there is no frame 600; they are 0 to 599"),
    ],
)
def test_what_is_wrong_is_said_with_status_2(folder: Path, options: str, words: str) -> None:
    done = run(folder, *options.split())
    assert done.exit_code == 2
    assert words in words_of(done)


def test_a_project_without_one_says_what_to_write(tmp_path: Path) -> None:
    folder = Path(shutil.copytree("projects/harbour-lanterns", tmp_path / "lanterns"))
    done = run(folder)
    assert done.exit_code == 2
    assert 'there is none; write "timelapse"' in words_of(done)
    # unless the command line says all that must be known
    assert plan(folder, "--event", "1h", "--interval", "5", "--exposure", "1/2", "--settle", "1")["frames"] == 720


def test_a_shoot_that_is_resumed_with_another_move_is_refused(folder: Path) -> None:
    found = spread(load(folder, laws()), laws())
    log = folder / "takes" / "whole-tide.shots.jsonl"
    Log.begin(log, Begun(of="whole tide", frames=600, begins=0.0, sha256="of another")).close()
    done = run(folder, "--shoot", "--resume", "--arm")
    assert done.exit_code == 2
    assert "the move, the rig's axes or the plan was changed since this timelapse began" in words_of(done)
    assert found.sha256 == spread(load(folder, laws()), laws()).sha256
    change(folder, exposure_s="1")
    assert found.sha256 != spread(load(folder, laws()), laws()).sha256


def test_what_cannot_be_is_said_before_anybody_is_asked_to_arm(folder: Path) -> None:
    done = run(folder, "--shoot", "--arm", "--out", "sacn://127.0.0.1/1?pan=1&tilt=3&slide=5")
    assert done.exit_code == 2
    assert "none carries shutter to a camera: sacn://127.0.0.1/1?pan=1&tilt=3&slide=5 (no camera)" in words_of(done)
    assert "hard-wired" not in words_of(done)
    found = spread(load(folder, laws()), laws())
    log = folder / "takes" / "whole-tide.shots.jsonl"
    Log.begin(log, Begun(of="whole tide", frames=600, begins=0.0, sha256=found.sha256)).close()
    done = run(folder, "--shoot", "--arm")
    assert done.exit_code == 2
    assert "there is a log already; resume it with --resume" in words_of(done)
    assert "hard-wired" not in words_of(done)


@pytest.mark.parametrize("answer", [False, typer.Abort()])
def test_who_does_not_go_on_behind_a_change_ends_it_in_order(
    folder: Path, answer: bool | typer.Abort, monkeypatch: pytest.MonkeyPatch
) -> None:
    def said(_: str) -> bool:
        if isinstance(answer, typer.Abort):
            raise answer
        return answer

    monkeypatch.setattr(typer, "confirm", said)
    wanted = Wanted(output="", tick_hz=250, changes=frozenset(), gap="catch-up", taken=None, armed=True)
    with pytest.raises(KeyboardInterrupt):
        Shoot(spread(load(folder, laws()), laws()), wanted, folder / "log")._wait("Go on?")


def test_a_log_with_which_somebody_went_on_meanwhile_is_not_gone_on_with(folder: Path) -> None:
    found = spread(load(folder, laws()), laws())
    path = folder / "takes" / "whole-tide.shots.jsonl"
    with Log.begin(path, Begun(of="whole tide", frames=600, begins=0.0, sha256=found.sha256)) as log:
        before = read(path)
        log.add(Firing(frame=0, at=1.0))
        log.add(Exposed(frame=0, at=1.0))
    wanted = Wanted(output="", tick_hz=250, changes=frozenset(), gap="catch-up", taken=None, armed=True)
    with pytest.raises(TakeError, match="somebody went on with it while you were asked; resume once more"):
        Shoot(found, wanted, path)._opened(found.course(0.0), before)
    Log.resume(path)[0].close()


def test_a_sunset_that_does_not_occur_is_said_with_the_nearest_that_does(folder: Path) -> None:
    place = {"latitude_deg": 71.0, "longitude_deg": 25.0}
    change(folder, start={"at": "sunset-1h", "date": "2030-06-21", "zone": "Etc/GMT-2", "place": place})
    done = run(folder)
    assert done.exit_code == 2
    assert "there is no sunset on 2030-06-21 at 71 degrees north; the nearest are on 2030-0" in words_of(done)
    near = words_of(done).split(" and on ")[1][:10]
    begun = datetime.fromisoformat(plan(folder, "--date", near)["begins"])
    assert (begun + timedelta(hours=1)).date().isoformat() == near


def test_a_start_without_a_date_is_the_next_one() -> None:
    now = datetime(2026, 6, 21, 12, tzinfo=UTC)
    assert begins(Start(), now) == now
    assert begins(Start(at="13:00"), now) == datetime(2026, 6, 21, 13, tzinfo=UTC)
    assert begins(Start(at="11:00"), now) == datetime(2026, 6, 22, 11, tzinfo=UTC)
    assert begins(Start(at="11:00", zone="Etc/GMT-2"), now) == datetime(2026, 6, 22, 9, tzinfo=UTC)
    place = Place(latitude_deg=52.5, longitude_deg=3.5)
    assert begins(Start(at="sunrise", place=place), now).date() == datetime(2026, 6, 22, tzinfo=UTC).date()
    with pytest.raises(ProjectError, match="is over"):
        begins(Start(at="11:00", date="2026-06-21"), now)
    with pytest.raises(ProjectError, match="a day is given, 2026-06-23, and no time"):
        begins(Start(date="2026-06-23"), now)


def test_the_next_one_to_come_may_be_of_yesterdays_event_or_the_day_after_a_day_without() -> None:
    place = Place(latitude_deg=52.5, longitude_deg=3.5)
    night = datetime(2026, 6, 21, 0, 30, tzinfo=UTC)
    sunset = begins(Start(at="sunset", place=place), night - timedelta(hours=12))
    assert begins(Start(at="sunset+8h", place=place), night) == sunset + timedelta(hours=8)
    # the moon rises 50 minutes later every day (from memory), so that some days have no moonrise
    days = [datetime(2026, 6, 1, tzinfo=UTC) + timedelta(days=away) for away in range(31)]
    rises = [begins(Start(at="moonrise", place=place), day) for day in days]
    assert any(rise - day > timedelta(days=1) for day, rise in zip(days, rises, strict=True))
    assert all(timedelta(0) <= rise - day < timedelta(hours=26) for day, rise in zip(days, rises, strict=True))
    cape = Place(latitude_deg=71.0, longitude_deg=25.0)
    with pytest.raises(ProjectError, match="there is no sunset on 2026-06-21"):
        begins(Start(at="sunset", place=cape), night)


def test_a_shoot_through_the_night_in_which_clocks_change_ends_when_it_ends(folder: Path) -> None:
    """Source: clocks of the European Union go back at 01:00 UTC on the last Sunday of October (2000/84/EC)."""
    change(folder, start={"at": "23:00", "date": "2030-10-26", "zone": "Europe/Amsterdam"})
    found = plan(folder)
    assert found["begins"] == "2030-10-26T23:00:00+02:00"
    assert found["ends"] == "2030-10-27T03:59:24+01:00", "599 intervals of 36 s later"
    assert "2030-10-27 03:59:24 CET" in words_of(run(folder))


def test_a_continuous_move_that_the_motors_cannot_do_is_refused(folder: Path) -> None:
    change(folder, manner="continuous")
    assert plan(folder)["ok"]
    fast = plan(folder, "--interval", "1/50", "--event", "?", "--exposure", "1/1000", "--settle", "?")
    assert "the camera" in fast["refused"]
    change(folder, camera_s="1/1000")
    fast = plan(folder, "--interval", "1/50", "--event", "?", "--exposure", "1/1000", "--settle", "?")
    assert "slide asks" in fast["refused"]


def test_a_preview_that_is_too_fast_says_in_how_many_seconds_it_works(folder: Path) -> None:
    done = run(folder, "--preview", "4", "--arm")
    assert done.exit_code == 1
    assert re.search(r"the motors cannot do it in 4 s: .*; [0-9.]+ s would do", words_of(done))


def test_the_sun_is_followed_with_keys(folder: Path) -> None:
    change(
        folder,
        poses_by="time",
        start={
            "at": "08:20",
            "date": "2030-06-21",
            "zone": "Etc/GMT-2",
            "place": {"latitude_deg": 52.5, "longitude_deg": 3.5},
            "facing_deg": 140.0,
        },
    )
    rig = json.loads((folder / "rig.json").read_text(encoding="utf-8"))
    rig["axes"][1]["travel"] = [-35.0, 70.0]
    (folder / "rig.json").write_text(json.dumps(rig), encoding="utf-8")
    before = load(folder, laws())
    done = run(folder, "--follow", "sun", "--write", "--json")
    assert done.exit_code == 0, done.output
    found = json.loads(done.stdout)
    assert found["written"]
    after = load(folder, laws())
    assert [track.axis for track in after.move.tracks] == ["pan", "tilt", "slide"]
    assert after.move.tracks[2] == before.move.tracks[2]
    assert len(after.move.tracks[0].keys) == found["keys"]
    # every frame looks at the sun where it is when that frame is exposed
    shot = spread(after, laws())
    begun = datetime.fromisoformat(found["begins"])
    place = Place(latitude_deg=52.5, longitude_deg=3.5)
    for frame in range(0, 600, 7):
        azimuth, altitude = direction("sun", place, begun + timedelta(seconds=float(shot.plan.at(frame))))
        pan, tilt, _ = shot.poses[frame]
        assert pan == pytest.approx(140.0 - azimuth, abs=0.02 / math.cos(math.radians(altitude)))
        assert tilt == pytest.approx(altitude, abs=0.02)
    assert plan(folder)["ok"]


def test_where_the_head_cannot_follow_nothing_is_written(folder: Path) -> None:
    change(
        folder,
        start={
            "at": "05:20",
            "date": "2030-06-21",
            "zone": "Etc/GMT-2",
            "place": {"latitude_deg": 52.5, "longitude_deg": 3.5},
            "facing_deg": 70.0,
        },
    )
    rig = json.loads((folder / "rig.json").read_text(encoding="utf-8"))
    rig["axes"][1]["travel"] = [-35.0, 30.0]
    (folder / "rig.json").write_text(json.dumps(rig), encoding="utf-8")
    before = load(folder, laws())
    done = run(folder, "--follow", "sun", "--write")
    assert done.exit_code == 1
    assert "it is below the horizon" in words_of(done)
    assert "tilt would have to go beyond its travel [-35, 30] deg" in words_of(done)
    assert load(folder, laws()) == before
    change(folder, start={})
    assert run(folder, "--follow", "stars").exit_code == 2
