"""Cameras in glTF 2.0, read back by pygltflib and maths of the test's own: accessors, quaternions, the picture."""

import json
import math
import os
import subprocess
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from pygltflib import GLTF2
from scipy.spatial.transform import Rotation

from sequencer.errors import ExportError
from sequencer.export.contract import Wanted
from sequencer.export.delivery import Delivery
from sequencer.export.formats.gltf import KIND, make
from sequencer.export.spaces import quaternions
from sequencer.timebase.rate import Rate
from tests.export.deliveries import NTSC, OPENING, delivery, with_path
from tests.export.projecting import PIXELS, PLACE_M, TURN_DEG, Floats, apart_deg, pixels_of, shown
from tests.needs import needs

# Source: glTF 2.0, coordinate system: Y up, and cameras look along -Z; ours: Z up, forward Y
FROM_Y_UP = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])


def opened(folder: Path, given: Delivery, suffix: str = ".glb") -> GLTF2:
    file = folder / f"camera{suffix}"
    file.write_bytes(make(given, suffix, Wanted()))
    return GLTF2().load(str(file))


def numbers(file: GLTF2, accessor: int) -> Floats:
    """The numbers of an accessor, by the table in glTF 2.0, "Accessor Data Types"."""
    about = file.accessors[accessor]
    view = file.bufferViews[about.bufferView]
    wide = {"SCALAR": 1, "VEC3": 3, "VEC4": 4}[about.type]
    assert about.componentType == 5126
    assert view.byteOffset % 4 == 0
    data = file.get_data_from_buffer_uri(file.buffers[0].uri) if file.buffers[0].uri else file.binary_blob()
    content = np.frombuffer(data[view.byteOffset : view.byteOffset + view.byteLength], "<f4")
    return content.reshape(about.count, wide).astype(np.float64)


def keys(file: GLTF2, path: str) -> tuple[Floats, Floats]:
    """The times and the values of what is animated."""
    animation = file.animations[0]
    (channel,) = (one for one in animation.channels if one.target.path == path)
    sampler = animation.samplers[channel.sampler]
    return numbers(file, sampler.input)[:, 0], numbers(file, sampler.output)


def axes_of(quaternion: Floats) -> Floats:
    """Right, forward and up in our space. Source: glTF 2.0, appendix C: x, y, z, w; the textbook's matrix."""
    x, y, z, w = quaternion.T
    matrix = np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
    ).transpose(2, 0, 1)
    right, up, back = np.moveaxis(FROM_Y_UP @ matrix, -1, 0)
    return np.stack([right, -back, up], axis=-1)


@pytest.mark.parametrize("suffix", KIND.suffixes)
@pytest.mark.parametrize("rate", [NTSC, Rate(25), Rate(60000, 1001)])
def test_another_reader_and_plain_maths_draw_the_same_picture(tmp_path: Path, suffix: str, rate: Rate) -> None:
    given = delivery(97, rate=rate)
    file, expected = opened(tmp_path, given, suffix), shown(given)
    times, places = keys(file, "translation")
    _, turnings = keys(file, "rotation")
    _, fields = keys(file, "pointer")
    assert np.round(times * rate.num / rate.den).tolist() == list(range(97))
    assert np.abs(places @ FROM_Y_UP.T - expected.position).max() < PLACE_M
    axes = axes_of(turnings)
    assert apart_deg(axes, expected.axes).max() < TURN_DEG
    focal_by_width = 1 / (2 * np.tan(fields[:, 0] / 2) * file.cameras[0].perspective.aspectRatio)
    pixels = pixels_of(expected.points, places @ FROM_Y_UP.T, axes, focal_by_width)
    assert np.abs(pixels - expected.pixels).max() < PIXELS


def test_ten_minutes_hold_as_well_key_by_key(tmp_path: Path) -> None:
    given = delivery(36_000, rate=Rate(60))
    file, expected = opened(tmp_path, given), shown(given)
    times, places = keys(file, "translation")
    assert np.round(times * 60).tolist() == list(range(36_000))
    assert np.abs(places @ FROM_Y_UP.T - expected.position).max() < PLACE_M
    assert apart_deg(axes_of(keys(file, "rotation")[1]), expected.axes).max() < TURN_DEG


def test_turnings_are_scipys_and_never_jump_to_the_other_sign() -> None:
    """Source: scipy.spatial.transform.Rotation; Y up: pan about Y, tilt about X, roll about -Z, in this order."""
    given = delivery(97)
    assert given.path is not None
    angles = given.path.angles_deg[:, 0]
    ours = quaternions(angles.copy())
    theirs = Rotation.from_euler("YXZ", angles * [1, 1, -1], degrees=True)
    assert (Rotation.from_quat(ours) * theirs.inv()).magnitude().max() < 1e-12
    assert (np.sum(ours[1:] * ours[:-1], axis=1) > 0).all()
    assert np.abs(np.linalg.norm(ours, axis=1) - 1).max() < 1e-12


def test_the_standing_camera_is_the_first_frame(tmp_path: Path) -> None:
    file = opened(tmp_path, delivery(9))
    node = file.nodes[0]
    assert np.abs(np.array(node.translation) - keys(file, "translation")[1][0]).max() < 1e-6
    assert np.abs(np.array(node.rotation) - keys(file, "rotation")[1][0]).max() < 1e-6
    assert file.cameras[0].perspective.yfov == pytest.approx(2 * math.atan(13.1 / 2 / 35), rel=1e-12)


def test_the_extension_is_there_only_where_the_zoom_moves(tmp_path: Path) -> None:
    moving = delivery(9)
    assert opened(tmp_path, moving).extensionsUsed == ["KHR_animation_pointer"]
    assert any("KHR_animation_pointer" in words for words in KIND.remarks(moving, Wanted()))
    assert moving.path is not None
    still = with_path(moving, replace(moving.path, focal_mm=np.full((9, 1), 50.0)))
    file = opened(tmp_path, still)
    assert file.extensionsUsed == []
    assert len(file.animations[0].channels) == 2
    assert not any("zoom" in words for words in KIND.remarks(still, Wanted()))


def test_what_has_no_place_in_the_standard_stands_in_extras(tmp_path: Path) -> None:
    file = opened(tmp_path, delivery(9))
    told = file.extras["twintake"]
    assert (told["rate"], told["startTimecode"], told["fNumber"]) == ("24000/1001", "10:00:10:10", 2.8)
    assert file.cameras[0].extras == {"sensorMm": [24.9, 13.1], "focalMm": pytest.approx(35.0)}


def test_samples_of_the_shutter_lie_between_frames_and_time_begins_at_zero(tmp_path: Path) -> None:
    given = delivery(5, parts=OPENING)
    times, _ = keys(opened(tmp_path, given), "translation")
    expected = [frame + part for frame in range(5) for part in (-0.25, 0, 0.25)][1:]
    assert np.abs(times - np.array(expected) * 1001 / 24000).max() < 1e-7
    assert any("time begins at the first picture frame" in words for words in KIND.remarks(given, Wanted()))


def test_a_shutter_that_never_closes_has_no_instant_twice(tmp_path: Path) -> None:
    half = Fraction(1, 2)
    times, _ = keys(opened(tmp_path, delivery(5, parts=(-half, Fraction(0), half))), "translation")
    assert (np.diff(times) > 0).all()
    assert len(times) == 5 + 5


def test_frames_at_which_nobody_knew_have_no_keys_and_the_remark_says_so(tmp_path: Path) -> None:
    given = delivery(9, holes=(0, 3))
    times, _ = keys(opened(tmp_path, given), "rotation")
    assert np.round(times * 24000 / 1001).tolist() == [1, 2, 4, 5, 6, 7, 8]
    assert "in 2 frames (10:00:10:10, 10:00:10:13)" in KIND.remarks(given, Wanted())[0]


def test_what_single_precision_costs_is_said() -> None:
    given = delivery(200, rate=Rate(60))
    assert given.path is not None
    assert not any("single precision" in words for words in KIND.remarks(given, Wanted()))
    far = with_path(given, replace(given.path, position_m=given.path.position_m + 4000))
    assert any("from the origin, where single precision leaves" in words for words in KIND.remarks(far, Wanted()))


def test_what_a_reader_loses_that_samples_by_seconds_is_said() -> None:
    """A key at 500 s may lie 1.5e-5 s beside its frame; a pan at 40 deg/s is then 0.0006 deg beside it."""
    given = delivery(36_000, rate=Rate(60))
    assert given.path is not None
    pan = 30 * given.path.angles_deg[:, 0, 0]
    fast = with_path(given, replace(given.path, angles_deg=np.stack([pan, 0 * pan, 0 * pan], axis=-1)[:, np.newaxis]))
    (words,) = (one for one in KIND.remarks(fast, Wanted()) if "samples by seconds" in one)
    at_s = np.arange(36_000) / 60
    sampled = np.interp(at_s, at_s.astype(np.float32).astype(np.float64), pan)
    lost = np.abs(sampled - pan).max()
    said = float(words.partition("up to ")[2].partition(" deg")[0])
    assert lost > TURN_DEG
    assert lost <= said * 1.05 + 1e-5
    assert said < 1.5 * lost


def test_without_a_focal_length_there_is_no_angle_of_view() -> None:
    given = delivery(3)
    assert given.path is not None
    with pytest.raises(ExportError, match=r"nobody says the focal length; give the rig's camera its focal_mm"):
        make(with_path(given, replace(given.path, focal_mm=np.full((3, 1), np.nan))), ".glb", Wanted())


def test_without_a_path_it_says_what_to_do() -> None:
    with pytest.raises(ExportError, match="no camera to hand over"):
        make(replace(delivery(3), path=None), ".glb", Wanted())


# ways to the validator's package: NODE_PATH, or where .ci/run puts it
PLACES = (*os.environ.get("NODE_PATH", "").split(os.pathsep), str(Path.home() / ".cache/twintake/node_modules"))
ASK = """
const validator = require('gltf-validator'), files = require('fs');
validator.validateBytes(new Uint8Array(files.readFileSync(process.argv[1])))
    .then(report => process.stdout.write(JSON.stringify(report)));
"""


def validated(file: Path) -> dict[str, object]:
    """What the Khronos validator says of a file; skipped where it is not installed, but not where it must be."""
    needs("node")
    folder = next((place for place in PLACES if place and (Path(place) / "gltf-validator").is_dir()), None)
    if folder is None:
        if os.environ.get("CI") == "true":
            pytest.fail("the node package gltf-validator is not installed; .ci/run installs it")
        pytest.skip("the node package gltf-validator is not installed")
    asked = subprocess.run(
        ["node", "-e", ASK, str(file)],
        env=os.environ | {"NODE_PATH": folder},
        capture_output=True,
        check=True,
        timeout=60,
    )
    report: dict[str, object] = json.loads(asked.stdout)
    return report


@pytest.mark.parametrize("suffix", KIND.suffixes)
def test_the_khronos_validator_finds_no_fault(tmp_path: Path, suffix: str) -> None:
    """Source: the Khronos Group's own validator of glTF 2.0; it checks the extension in parts only, and says so."""
    file = tmp_path / f"camera{suffix}"
    file.write_bytes(make(delivery(25, parts=OPENING, holes=(4,)), suffix, Wanted()))
    issues = validated(file)["issues"]
    assert isinstance(issues, dict)
    assert (issues["numErrors"], issues["numWarnings"]) == (0, 0)
    assert {message["code"] for message in issues["messages"]} == {"INCOMPLETE_EXTENSION_SUPPORT"}


def test_the_validator_would_find_a_fault(tmp_path: Path) -> None:
    file = tmp_path / "camera.gltf"
    wrong = json.loads(make(delivery(5), ".gltf", Wanted()))
    wrong["accessors"][0]["max"] = [7.0]
    file.write_text(json.dumps(wrong), encoding="utf-8")
    issues = validated(file)["issues"]
    assert isinstance(issues, dict)
    assert "ACCESSOR_MAX_MISMATCH" in {message["code"] for message in issues["messages"]}
