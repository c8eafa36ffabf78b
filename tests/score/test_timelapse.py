"""What a timelapse refuses of what is written of it, with the place in the file."""

from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from sequencer.errors import ProjectError
from sequencer.project import files, text
from sequencer.project.build_timelapse import build_timelapse
from sequencer.project.store import load_rig
from sequencer.project.timelapse_file import TimelapseFile
from sequencer.score.move import Move
from sequencer.score.ramp import Intervals
from sequencer.score.timelapse import Place, Timelapse


def built(written: dict[str, Any]) -> Timelapse:
    return build_timelapse(
        text.convert(written, TimelapseFile, files.PROJECT), Move(tracks=()), load_rig(Path("projects/low-tide"))
    )


def somewhere(height_m: float) -> dict[str, Any]:
    return {"start": {"place": {"latitude_deg": 52, "longitude_deg": 4, "height_m": height_m}}}


@pytest.mark.parametrize(
    ("written", "place", "words"),
    [
        (somewhere(9001), "timelapse.start.place", "height_m is 9001; it must be from -500 to 9000"),
        (somewhere(-501), "timelapse.start.place", "height_m is -501; it must be from -500 to 9000"),
        ({"still_s": 61}, "timelapse", "still_s is 61; it must be from 0 to 60"),
        ({"still_s": -0.5}, "timelapse", "still_s is -0.5; it must be from 0 to 60"),
        ({"ramp": []}, "timelapse.ramp", "there is no interval; give one"),
    ],
)
def test_what_cannot_be_is_refused_with_its_place(written: dict[str, Any], place: str, words: str) -> None:
    with pytest.raises(ProjectError) as refused:
        built(written)
    assert refused.value.path == place
    assert words in str(refused.value)


@pytest.mark.parametrize("end", [-500, 9000])
def test_what_is_at_the_end_of_its_range_is_taken(end: float) -> None:
    assert built(somewhere(end)).start.place == Place(latitude_deg=52, longitude_deg=4, height_m=end)
    assert (built({"still_s": 0}).still_s, built({"still_s": 60}).still_s) == (0, 60)


@pytest.mark.parametrize("wrong", [float("nan"), float("inf")])
def test_what_is_no_number_is_refused(wrong: float) -> None:
    with pytest.raises(ValueError, match=f"height_m is {wrong}; it must be from"):
        Place(latitude_deg=0.0, longitude_deg=0.0, height_m=wrong)
    with pytest.raises(ValueError, match=f"still_s is {wrong}; it must be from 0 to 60"):
        Timelapse(still_s=wrong)


@pytest.mark.parametrize("interval_s", [Fraction(0), Fraction(-1, 2)])
def test_a_ramp_to_no_interval_is_refused_with_its_frame(interval_s: Fraction) -> None:
    with pytest.raises(ValueError, match=f"the interval at frame 40 is {interval_s} s; it must be above zero"):
        Intervals(((0, Fraction(4)), (40, interval_s)))
