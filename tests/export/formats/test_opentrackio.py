"""Clips of OpenTrackIO samples: by the published schema, and read by a decoder made from the standard's text alone."""

import json
from dataclasses import replace
from fractions import Fraction
from typing import Any

import numpy as np
import pytest

from sequencer.errors import ExportError
from sequencer.export.contract import Wanted
from sequencer.export.delivery import Delivery
from sequencer.export.formats.opentrackio import KIND, make
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Timebase, parse
from tests.export.deliveries import OPENING, delivery, with_path
from tests.export.projecting import PIXELS, Floats, apart_deg, pixels_of, shown
from tests.opentrackio import check_schema

PLAIN = Wanted()


def clip(given: Delivery, wanted: Wanted = PLAIN) -> list[Any]:
    samples: list[Any] = json.loads(make(given, ".json", wanted))
    return samples


def axes_of(rotation: dict[str, float]) -> Floats:
    """Right, forward and up of a sample's camera, turned vector by vector.

    Source: OpenTrackIO 1.0.1, transforms: right-handed, Z up, Y forward; intrinsic Z, X, Y; a positive rotation is
    clockwise for who looks along the axis, which is the right-hand rule. Each turns the two other axes of the camera.
    """
    axes = {"x": np.array([1.0, 0, 0]), "y": np.array([0, 1.0, 0]), "z": np.array([0, 0, 1.0])}
    for name, one, other in (("pan", "x", "y"), ("tilt", "y", "z"), ("roll", "z", "x")):
        angle = np.radians(rotation[name])
        cos, sin = np.cos(angle), np.sin(angle)
        axes[one], axes[other] = cos * axes[one] + sin * axes[other], cos * axes[other] - sin * axes[one]
    return np.column_stack([axes["x"], axes["y"], axes["z"]])


@pytest.mark.parametrize("parts", [(Fraction(0),), OPENING])
def test_every_sample_follows_the_schema_and_draws_the_same_picture(parts: tuple[Fraction, ...]) -> None:
    given = delivery(41, parts=parts)
    samples, expected = clip(given), shown(given)
    assert len(samples) == 41 * len(parts)
    for sample in samples:
        check_schema(sample)
        assert sample["protocol"] == {"name": "OpenTrackIO", "version": [1, 0, 1]}
        assert [one["id"] for one in sample["transforms"]] == ["Camera"]
        assert sample["lens"]["entrancePupilOffset"] == 0.0
    places = [sample["transforms"][0]["translation"] for sample in samples]
    position = np.array([[place["x"], place["y"], place["z"]] for place in places])
    axes = np.array([axes_of(sample["transforms"][0]["rotation"]) for sample in samples])
    assert np.array_equal(position, expected.position)
    assert apart_deg(axes, expected.axes).max() < 1e-12
    sensor = samples[0]["static"]["camera"]["activeSensorPhysicalDimensions"]
    focal = np.array([sample["lens"]["pinholeFocalLength"] for sample in samples])
    pixels = pixels_of(expected.points, position, axes, focal / sensor["width"])
    assert np.abs(pixels - expected.pixels).max() < PIXELS / 1000


def test_what_the_schema_does_not_check_is_as_the_standard_has_it() -> None:
    """Source: OpenTrackIO 1.0.1, the schema's descriptions of identities, numbers and the static block."""
    samples = clip(delivery(9))
    assert len({sample["sampleId"] for sample in samples}) == 9
    assert {sample["sampleId"][23] for sample in samples} == {"8"}  # RFC 9562: the version of each identity
    assert len({sample["sourceId"] for sample in samples}) == 1
    assert {sample["sourceNumber"] for sample in samples} == {1}
    assert [sample["timing"]["sequenceNumber"] for sample in samples] == list(range(9))
    assert ["static" in sample for sample in samples] == [True] + [False] * 8
    assert samples[0]["static"]["duration"] == {"num": 3003, "denom": 8000}
    assert samples[0]["static"]["camera"] == {
        "activeSensorPhysicalDimensions": {"width": 24.9, "height": 13.1},
        "activeSensorResolution": {"width": 4096, "height": 2160},
        "captureFrameRate": {"num": 24000, "denom": 1001},
        "shutterAngle": 180.0,
        "label": "quay",
    }
    assert samples[0]["lens"]["fStop"] == 2.8


def test_a_pan_keeps_its_turns() -> None:
    pans = [sample["transforms"][0]["rotation"]["pan"] for sample in clip(delivery(9))]
    assert min(pans) < -360


def test_time_counts_from_timecode_midnight_and_claims_no_clock() -> None:
    """10:00:10:10 is frame 864250 of the day; at 24000/1001 that is 36046.4270833.. real seconds: by hand."""
    samples = clip(delivery(3, parts=OPENING))
    timings = [sample["timing"] for sample in samples]
    exact = [Fraction((864_250 + n) * 1001, 24000) + part * Fraction(1001, 24000) for n in range(3) for part in OPENING]
    for timing, at in zip(timings, exact, strict=True):
        stamp = timing["sampleTimestamp"]
        assert abs(stamp["seconds"] + Fraction(stamp["nanoseconds"], 10**9) - at) <= Fraction(1, 2 * 10**9)
        assert "synchronization" not in timing
        assert "sampleRate" not in timing  # a quarter, a quarter, a half of a frame: no rate
    assert "it is no PTP time" in samples[0]["tracker"]["notes"]
    assert ["timecode" in timing for timing in timings] == [False, True, False] * 3
    assert timings[1]["timecode"] == {
        "hours": 10,
        "minutes": 0,
        "seconds": 10,
        "frames": 10,
        "frameRate": {"num": 24000, "denom": 1001},
        "dropFrame": False,
    }


@pytest.mark.parametrize(
    ("parts", "rate"),
    [((Fraction(0),), {"num": 24000, "denom": 1001}), ((Fraction(-1, 2), Fraction(0)), {"num": 48000, "denom": 1001})],
)
def test_the_rate_is_that_of_the_samples(parts: tuple[Fraction, ...], rate: dict[str, int]) -> None:
    assert {json.dumps(sample["timing"]["sampleRate"]) for sample in clip(delivery(3, parts=parts))} == {
        json.dumps(rate)
    }


def test_drop_frame_labels_are_told_as_such() -> None:
    samples = clip(delivery(2, rate=Rate(30000, 1001), drop=True, first=1799))
    labels = [sample["timing"]["timecode"] for sample in samples]
    assert [(one["seconds"], one["frames"], one["dropFrame"]) for one in labels] == [(59, 29, True), (0, 2, True)]


@pytest.mark.parametrize(
    ("source", "status"),
    [
        ("planned", "planned, not measured"),
        ("asked", "setpoints, not measured"),
        ("actual", "measured by the rig's axes"),
    ],
)
def test_the_status_says_what_the_path_is_of(source: Any, status: str) -> None:
    assert {sample["tracker"]["status"] for sample in clip(delivery(2, source=source))} == {status}


def test_where_nobody_knew_there_is_no_pose_and_the_status_says_so() -> None:
    given = delivery(4, holes=(2,), source="actual")
    samples = clip(given)
    for sample in samples:
        check_schema(sample)
    assert ["transforms" in sample for sample in samples] == [True, True, False, True]
    assert samples[2]["tracker"]["status"] == "no pose: the rig did not say where it stood"
    assert samples[2]["lens"] == {"entrancePupilOffset": 0.0, "fStop": 2.8}
    assert KIND.remarks(given, Wanted())[0].endswith("their samples have no transforms, and their status says so")


def test_infinity_and_a_new_first_frame_are_said() -> None:
    given = delivery(2)
    assert given.path is not None
    far = with_path(given, replace(given.path, focus_m=np.full((2, 1), np.inf)))
    assert [sample["lens"]["focusDistance"] for sample in clip(far)] == [10_000.0, 10_000.0]
    assert KIND.remarks(far, Wanted(first=1001)) == (
        "a distance in focus at infinity is written as 10 km",
        "OpenTrackIO has timecode and no frame numbers: another first frame changes nothing",
    )


def test_it_says_what_the_camera_ran_at_where_that_is_known() -> None:
    given = delivery(3)
    assert given.path is not None
    # half speed frame for frame: the camera ran at half the rate, at which the pictures are shown
    for shot_hz, said in ((Fraction(12000, 1001), {"num": 12000, "denom": 1001}), (None, None)):
        (first, *_) = clip(with_path(given, replace(given.path, shot_hz=shot_hz)))
        assert first["static"]["camera"].get("captureFrameRate") == said
        assert first["timing"]["sampleRate"] == {"num": 24000, "denom": 1001}


def test_time_before_midnight_and_no_camera_are_refused() -> None:
    given = delivery(3, parts=OPENING, first=0)
    early = Timebase(given.timebase.counting, parse("00:00:00:00", given.timebase.counting))
    with pytest.raises(ExportError, match="begins before timecode 00:00:00:00; start the project later"):
        make(replace(given, timebase=early), ".json", Wanted())
    with pytest.raises(ExportError, match="no camera to hand over"):
        make(replace(given, path=None), ".json", Wanted())
