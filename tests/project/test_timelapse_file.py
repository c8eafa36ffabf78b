"""The timelapse in project.json: what is saved is what is loaded, faults are told with their place."""

import json
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from sequencer.errors import ProjectError
from sequencer.project.differ import differences
from sequencer.project.journal import Reading, framed, step, unframed
from sequencer.project.schema import schemas
from sequencer.project.store import load, save
from sequencer.score.interval import Known
from sequencer.score.ramp import Intervals
from sequencer.score.stock import Stock
from sequencer.score.timelapse import Place, Start, Timelapse
from sequencer.shell.kinds import laws as real_laws

TIDE = Path("projects/low-tide")
HARBOUR = Path("projects/harbour-lanterns")
WHOLE = Timelapse(
    cue="whole tide",
    manner="continuous",
    known=Known(
        clip_s=Fraction(24),
        exposure_s=Fraction(1, 250),
        settle_s=Fraction(3, 2),
        camera_s=Fraction(1, 3),
        ramp=Intervals(((0, Fraction(4)), (600, Fraction(61, 2)))),
        frames=600,
    ),
    poses_by="time",
    speed=Fraction(1, 4),
    tolerance=(("pan", 0.05), ("slide", 0.2)),
    still_s=0.75,
    stock=Stock(frame_bytes=1, card_bytes=2, battery_wh=Fraction(98), load_w=Fraction(27, 2)),
    start=Start(
        at="sunrise-1h30m",
        date="2026-06-21",
        zone="Europe/Amsterdam",
        place=Place(latitude_deg=52.5, longitude_deg=-3.5, height_m=12.0),
        facing_deg=70.0,
    ),
)


@pytest.mark.parametrize("timelapse", [None, Timelapse(), WHOLE, Timelapse(known=Known(interval_s=Fraction(30)))])
def test_what_is_saved_is_what_is_loaded(tmp_path: Path, timelapse: Timelapse | None) -> None:
    project = replace(load(TIDE, real_laws()), timelapse=timelapse)
    save(tmp_path, project, real_laws())
    assert load(tmp_path, real_laws()) == project
    tree = json.loads((tmp_path / "project.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator(schemas()["project.json"]).validate(tree)
    assert ("timelapse" in tree) == (timelapse is not None)


def test_a_project_without_one_opens_as_before() -> None:
    assert load(HARBOUR, real_laws()).timelapse is None


def test_an_edit_of_it_is_told_and_journalled() -> None:
    before = load(TIDE, real_laws())
    now = replace(before, timelapse=WHOLE)
    assert differences(before, now) == ("the timelapse",)
    record = step(before, now, 0.0)
    assert record is not None
    reading = Reading(real_laws(), before)
    assert reading.feed(next(unframed(framed(record))))
    assert reading.newest() == now


@pytest.mark.parametrize(
    ("piece", "place", "words"),
    [
        ({"cue": "no such"}, "timelapse.cue", "there is no cue 'no such'"),
        ({"interval_s": "0"}, "timelapse.interval_s", "not a number above zero"),
        ({"interval_s": "4", "ramp": [{"frame": 0, "interval_s": "4"}]}, "timelapse", "both given"),
        ({"ramp": [{"frame": 3, "interval_s": "4"}, {"frame": 3, "interval_s": "5"}]}, "timelapse.ramp", "must rise"),
        ({"ramp": [{"frame": 3, "interval_s": "x"}]}, "timelapse.ramp[0].interval_s", "not a number"),
        ({"manner": "sideways"}, "timelapse", "it must be one of"),
        ({"poses_by": "chance"}, "timelapse", "it must be one of frame, time"),
        ({"speed": "2"}, "timelapse", "above 0 and at most 1"),
        ({"tolerance": {"zoom": 1.0}}, "timelapse.tolerance", "no axis 'zoom'"),
        ({"tolerance": {"pan": -1.0}}, "timelapse", "must be above zero"),
        ({"frames": 0}, "timelapse", "must be above zero"),
        ({"stock": {"card_bytes": 0}}, "timelapse.stock", "must be above zero"),
        ({"stock": {"load_w": "none"}}, "timelapse.stock.load_w", "not a number"),
        ({"start": {"date": "21.6.2026"}}, "timelapse.start.date", "is no date"),
        ({"start": {"zone": "Sea/Middle"}}, "timelapse.start.zone", "no time zone"),
        ({"start": {"place": {"latitude_deg": 95, "longitude_deg": 0}}}, "timelapse.start.place", "from -90 to 90"),
    ],
)
def test_a_fault_is_told_with_its_place(tmp_path: Path, piece: dict[str, Any], place: str, words: str) -> None:
    folder = tmp_path / "tide"
    save(folder, load(TIDE, real_laws()), real_laws())
    tree = json.loads((folder / "project.json").read_text(encoding="utf-8"))
    tree["timelapse"] = piece
    (folder / "project.json").write_text(json.dumps(tree), encoding="utf-8")
    with pytest.raises(ProjectError) as told:
        load(folder, real_laws())
    assert told.value.path == place
    assert words in str(told.value)
