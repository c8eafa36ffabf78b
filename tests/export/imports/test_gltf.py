"""Cameras from glTF 2.0: files put together by pygltflib or by hand, checked by closed formulas of the standard."""

import base64
import json
import struct
from collections.abc import Callable
from fractions import Fraction

import numpy as np
import pygltflib
import pytest
from scipy.spatial.transform import Rotation

from sequencer.export.contract import Wanted
from sequencer.export.formats.gltf import make
from sequencer.export.imports import gltf
from sequencer.timebase.rate import Rate
from tests.export.deliveries import NTSC, OPENING, delivery
from tests.export.imports.gltf_files import FROM_Y_UP, axes, file, found, moving
from tests.export.projecting import PIXELS, PLACE_M, TURN_DEG, apart_deg, pixels_of, shown


@pytest.mark.parametrize("suffix", [".glb", ".gltf"])
@pytest.mark.parametrize("rate", [NTSC, Rate(60000, 1001)])
def test_our_own_file_comes_back_as_it_was(suffix: str, rate: Rate) -> None:
    given = delivery(97, rate=rate, parts=OPENING)
    (one,) = gltf.cameras(make(given, suffix, Wanted(first=1001)), "a", None)
    expected = shown(given, np.arange(1, 291))
    assert np.abs(one.position_m - expected.position).max() < PLACE_M
    assert apart_deg(one.matrix, expected.axes).max() < TURN_DEG
    pixels = pixels_of(expected.points, one.position_m, one.matrix, one.focal_mm / 24.9)
    assert np.abs(pixels - expected.pixels).max() < PIXELS
    assert (one.rate, one.sensor_mm, one.remarks) == (rate, (24.9, 13.1), ())
    assert one.frames[:4] == pytest.approx([1001, 1001.25, 1001.75, 1002], abs=1e-4)
    assert one.start == rate.seconds(36_000 * rate.nominal + 250)


def test_ten_minutes_come_back_frame_by_frame() -> None:
    """Seconds in single precision name a frame exactly, whatever they lost."""
    given = delivery(36_000, rate=Rate(60000, 1001))
    (one,) = gltf.cameras(make(given, ".glb", Wanted()), "a", None)
    expected = shown(given)
    assert one.frames.tolist() == list(range(250, 36_250))
    assert apart_deg(one.matrix, expected.axes).max() < TURN_DEG


def test_what_carries_the_camera_is_counted() -> None:
    """Source: glTF 2.0, transformations: a node's is translation * rotation * scale, within its parent's."""
    times = [number / 25 for number in range(26)]
    turns = Rotation.from_rotvec(np.outer(np.linspace(0, 3, 26), [0.6, 0.0, 0.8]))
    climbs = np.linspace([0, 0, 0], [1, 2, 3], 26)
    base = np.diag([2.0, 2.0, 2.0, 1.0]) @ np.eye(4)
    base[:3, 3] = (5, 6, 7)
    document = file(
        [{"children": [1], "matrix": base.T.ravel().tolist()}, {"children": [2]}, {"camera": 0, "name": "previz"}],
        [
            ({"node": 1, "path": "rotation"}, times, turns.as_quat(), "LINEAR"),
            ({"node": 2, "path": "translation"}, times, climbs, "LINEAR"),
        ],
    )
    one = found(document, Rate(25))
    assert one.name == "previz"
    expected = np.array([5, 6, 7]) + 2 * turns.apply(climbs)
    assert np.abs(one.position_m - expected @ FROM_Y_UP.T).max() < 1e-6
    assert apart_deg(one.matrix, axes(turns.as_matrix())).max() < 1e-4
    assert any("is scaled by 2," in words for words in one.remarks)


@pytest.mark.parametrize(
    ("mode", "between"),
    [("LINEAR", lambda part: part), ("STEP", lambda _part: 0.0)],
)
def test_between_keys_it_moves_as_the_file_says(mode: str, between: Callable[[float], float]) -> None:
    """Source: glTF 2.0, appendix C.1 and C.2."""
    document = file([{"camera": 0}], [({"node": 0, "path": "translation"}, [0, 0.4], [[0, 0, 0], [1, 0, 0]], mode)])
    one = found(document, Rate(25))
    assert one.frames.tolist() == list(range(11))
    expected = [between(number / 10) for number in range(10)] + [1.0]
    assert one.position_m[:, 0] == pytest.approx(expected, abs=1e-6)


def test_a_spline_is_the_standards_hermite() -> None:
    """Source: glTF 2.0, appendix C.4, for a cubic whose tangents are its slopes: s^3 - s, by hand."""
    times = [0.0, 0.4, 1.0]
    flat = [[one, 0, 0] for at in times for one in (3 * at**2 - 1, at**3 - at, 3 * at**2 - 1)]
    one = found(file([{"camera": 0}], [({"node": 0, "path": "translation"}, times, flat, "CUBICSPLINE")]), Rate(50))
    along = np.arange(51) / 50
    assert one.position_m[:, 0] == pytest.approx(along**3 - along, abs=1e-6)


def test_turnings_take_the_short_way_at_an_even_speed() -> None:
    """Source: glTF 2.0, appendix C.3, by the rotation's axis and angle; the second key has the other sign."""
    turn = Rotation.from_rotvec([0, 1.2, 0]).as_quat()
    document = file([{"camera": 0}], [({"node": 0, "path": "rotation"}, [0, 0.4], [[0, 0, 0, 1], -turn], "LINEAR")])
    one = found(document, Rate(25))
    expected = Rotation.from_rotvec(np.outer(np.linspace(0, 1.2, 11), [0, 1, 0])).as_matrix()
    assert apart_deg(one.matrix, axes(expected)).max() < 1e-4


def test_whole_numbers_that_are_normalised_are_read() -> None:
    """Source: glTF 2.0, animations: a short c means max(c / 32767, -1)."""
    document = file([{"camera": 0}], [({"node": 0, "path": "rotation"}, [0, 1], [[0, 0, 0, 1]] * 2, "LINEAR")])
    shorts = struct.pack("<8h", 0, 0, 0, 32767, 0, 23170, 0, 23170)
    document["buffers"].append({"byteLength": 16, "uri": "data:;base64," + base64.b64encode(shorts).decode()})
    document["bufferViews"][1] = {"buffer": 1, "byteLength": 16}
    document["accessors"][1] |= {"componentType": 5122, "normalized": True}
    one = found(document, Rate(25))
    assert apart_deg(one.matrix[-1:], axes(Rotation.from_euler("y", [90], degrees=True).as_matrix()))[0] < 1e-3


def test_a_file_made_by_another_library_is_read() -> None:
    """Source: pygltflib writes the binary form."""
    made = pygltflib.GLTF2.from_json(json.dumps(moving()))
    made.convert_buffers(pygltflib.BufferFormat.BINARYBLOB)
    (one,) = gltf.cameras(b"".join(made.save_to_bytes()), "a.glb", None)
    assert one.position_m[:, 0].tolist() == [0, 1, 2, 3, 4]


def test_each_camera_in_each_animation_is_found() -> None:
    document = moving()
    document["nodes"] += [{"camera": 0, "name": "other"}]
    document["animations"] = [document["animations"][0] | {"name": name} for name in ("take 1", "take 2")]
    names = [one.name for one in gltf.cameras(json.dumps(document).encode(), "a.gltf", Rate(24))]
    assert names == ["camera 0 (take 1)", "camera 0 (take 2)", "other"]


def test_a_camera_that_does_not_move_is_one_sample_and_says_so() -> None:
    one = found(file([{"camera": 0, "translation": [1, 2, 3]}], []))
    assert one.position_m.tolist() == [[1, -3, 2]]
    assert any("does not move in this file" in words for words in one.remarks)


def test_the_rate_is_the_one_on_whose_frames_the_keys_lie() -> None:
    one = found(moving())
    assert one.rate == Rate(24)
    assert one.remarks[0] == "the file does not say its rate; its keys lie on frames of 24, which is taken"


def test_at_another_rate_seconds_stay_seconds() -> None:
    one = found(moving(), Rate(25))
    assert one.frames[:3].tolist() == [0, 1, pytest.approx(25 / 24)]
    assert one.position_m[1, 0] == pytest.approx(24 / 25)
    assert one.remarks[0] == "its keys lie on frames of 24; it is read at 25, and between its keys as it says"


def test_a_zoom_is_read_by_the_extension_and_a_sensor_that_nobody_says_is_stood_in_for() -> None:
    """Source: KHR_animation_pointer; the angle of view by its definition."""
    document = moving()
    accessors = document["accessors"]
    target = {"path": "pointer", "extensions": {"KHR_animation_pointer": {"pointer": "/cameras/0/perspective/yfov"}}}
    zoom = file([{"camera": 0}], [(target, [n / 24 for n in range(5)], [0.4, 0.5, 0.6, 0.7, 0.8], "LINEAR")])
    assert len(accessors) == 2
    one = found(zoom | {"extensionsRequired": ["KHR_animation_pointer"]})
    assert one.sensor_mm == (36.0, 24.0)
    assert one.focal_mm == pytest.approx(12 / np.tan(np.array([0.4, 0.5, 0.6, 0.7, 0.8]) / 2), rel=1e-6)
    assert any("focal lengths are those on a sensor 24 mm high" in words for words in one.remarks)


def test_an_angle_of_view_without_any_shape_is_said() -> None:
    document = moving()
    del document["cameras"][0]["perspective"]["aspectRatio"]
    one = found(document)
    assert np.isnan(one.focal_mm).all()
    assert any("28.65 deg and no sensor: the lens is left out" in words for words in one.remarks)


def test_a_start_that_our_file_says_is_exact() -> None:
    (one,) = gltf.cameras(make(delivery(3, holes=(0,)), ".glb", Wanted()), "a", None)
    assert one.start == Fraction(1001 * (864_250 + 1), 24000)
