"""Files of glTF 2.0 that are damaged, that no camera can come from, or that want something else opened."""

import base64
import copy
import struct
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from sequencer.errors import ImportFault
from sequencer.export.contract import Wanted
from sequencer.export.formats.gltf import make
from sequencer.export.imports import gltf
from sequencer.timebase.rate import Rate
from tests.export.deliveries import delivery
from tests.export.imports.gltf_files import Tree, file, found, moving


def put(*path: str | int, value: Any) -> Callable[[Tree], None]:
    def spoil(document: Tree) -> None:
        place: Any = document
        for step in path[:-1]:
            place = place[step]
        place[path[-1]] = value

    return spoil


def in_a_circle(document: Tree) -> None:
    document["nodes"] = [{"camera": 0, "children": [1]}, {"children": [0]}]


def two_parents(document: Tree) -> None:
    document["nodes"] = [{"camera": 0}, {"children": [0]}, {"children": [0]}]


def squeezed(document: Tree) -> None:
    document["nodes"] = [{"camera": 0}, {"children": [0], "scale": [1, 2, 1]}]


def sheared(document: Tree) -> None:
    turned = Rotation.from_euler("z", 30, degrees=True).as_quat().tolist()
    document["nodes"] = [{"camera": 0, "rotation": turned}, {"children": [0], "scale": [1, 2, 1]}]


def mirrored(document: Tree) -> None:
    document["nodes"] = [{"camera": 0, "scale": [-1, 1, 1]}]


def too_long(document: Tree) -> None:
    document["nodes"] = [{"camera": 0}, *({"children": [number]} for number in range(300))]


def growing(document: Tree) -> None:
    document["nodes"] = [{"camera": 0, "scale": [1e99] * 3}]
    document["nodes"] += [{"children": [number], "scale": [1e99] * 3} for number in range(5)]


def moved_twice(document: Tree) -> None:
    document["animations"][0]["channels"] *= 2


def short(document: Tree) -> None:
    document["buffers"][0]["uri"] = "data:;base64,AAAA"


def no_number(document: Tree) -> None:
    data = base64.b64decode(document["buffers"][0]["uri"].partition(",")[2])
    spoilt = base64.b64encode(data[:20] + b"\xff\xff\xff\xff" + data[24:]).decode()
    document["buffers"][0]["uri"] = f"data:;base64,{spoilt}"


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (put("asset", "version", value="1.0"), "it is glTF 1.0, and 2.0 is read"),
        (
            put("extensionsRequired", value=["EXT_meshopt_compression"]),
            "it requires the extension EXT_meshopt_compress",
        ),
        (
            put("buffers", 0, "uri", value="../../etc/passwd"),
            "in another file (../../etc/passwd), which is not followed",
        ),
        (put("buffers", 0, "uri", value="camera.bin"), "in another file (camera.bin), which is not followed"),
        (put("buffers", 0, "uri", value="data:;base64,***"), "buffers[0] is damaged"),
        (put("buffers", 0, value={"byteLength": 4}), "buffers[0] is nowhere; export it as .glb"),
        (short, "reaches outside of its buffer; the file was cut short"),
        (put("accessors", 1, "sparse", value={"count": 1}), "accessors[1] is sparse, which is not read"),
        (put("accessors", 1, "count", value=4), "has 5 times and 4 values, which do not fit"),
        (put("accessors", 1, "count", value=6), "accessors[1] reaches outside of its view"),
        (put("accessors", 1, "count", value=10**12), "has 1000000000000 entries; 1 to"),
        (put("accessors", 1, "byteOffset", value=-4), "accessors[1] reaches outside of its view"),
        (put("accessors", 1, "componentType", value=5125), "is of a type that no animation has"),
        (put("accessors", 1, "componentType", value=5121), "whole numbers that are not normalised"),
        (put("accessors", 1, "bufferView", value=9), "accessors[1].bufferView is not in the file, which has 2"),
        (put("bufferViews", 0, "buffer", value=3), "is not in the file, which has 1"),
        (put("animations", 0, "samplers", 0, "input", value=7), "accessors[7] is not in the file"),
        (put("animations", 0, "samplers", 0, "interpolation", value="STRAIGHT"), "STRAIGHT, which glTF does not have"),
        (put("animations", 0, "channels", 0, "sampler", value=2), "animations[0].channels[0] has no sampler"),
        (no_number, "has something in it that is no number"),
        (put("nodes", value=[{"name": "empty"}]), "no node of it has a camera"),
        (put("nodes", value=[{"camera": 4}]), "nodes[0].camera is no camera of the file"),
        (put("nodes", value=[{"camera": 0, "matrix": [1.0]}]), "has a transform that is no number"),
        (put("nodes", value=[{"camera": 0, "rotation": [0, 0, 0, 0]}]), "has a transform that is no number"),
        (put("nodes", value=[{"camera": 0, "scale": [1e300, 1e300, 1e300]}]), "no number, or far too large"),
        (put("nodes", value=[{"camera": 0, "children": [5]}]), "nodes[0].children: node 5 is no node"),
        (put("nodes", value=[{"camera": 0}] * 65), "it has 65 cameras"),
        (in_a_circle, "its nodes carry each other in a circle"),
        (two_parents, "has two parents"),
        (too_long, "nodes[0] is carried by 300 nodes; 256 are the most"),
        (growing, "no number, or far too large"),
        (moved_twice, "channels[1] moves what another channel moves already"),
        (squeezed, "camera 0 at frame 0 is scaled unevenly"),
        (sheared, "camera 0 at frame 0 is sheared"),
        (mirrored, "camera 0 at frame 0 is mirrored"),
        (put("cameras", 0, "type", value="orthographic"), "draws without perspective (orthographic)"),
        (put("cameras", 0, "perspective", "yfov", value=4.0), "angle of view of 4 rad, which cannot be"),
        (put("cameras", 0, "perspective", "yfov", value="wide"), "it is no glTF document: Expected `float`, got `str`"),
    ],
)
def test_what_cannot_be_a_camera_is_refused_with_its_place(spoil: Callable[[Tree], None], words: str) -> None:
    document = copy.deepcopy(moving())
    spoil(document)
    with pytest.raises(ImportFault) as caught:
        found(document)
    assert words in str(caught.value)
    assert str(caught.value).startswith("a.gltf: ")


def test_times_that_do_not_rise_are_refused() -> None:
    document = file([{"camera": 0}], [({"node": 0, "path": "translation"}, [0, 0.4, 0.2], [[0, 0, 0]] * 3, "LINEAR")])
    with pytest.raises(ImportFault, match="its times do not rise"):
        found(document, Rate(25))


def test_a_turning_of_no_length_is_refused_with_its_channel() -> None:
    turned = [[0, 0, 0, 1], [0, 0, 0, 0], [0, 0, 0, 1]]
    document = file([{"camera": 0}], [({"node": 0, "path": "rotation"}, [0, 0.04, 0.08], turned, "LINEAR")])
    with pytest.raises(ImportFault) as caught:
        found(document, Rate(25))
    assert str(caught.value) == "a.gltf: animations[0].channels[0] has a turning of no length; export it again"


@pytest.mark.parametrize(
    ("times", "words"),
    [
        ([0.0, 2.0], "its keys could be 24, 25, 30, 48, 50, 60; say its rate"),
        ([0.0, 0.0123], "none that is known; say its"),
    ],
)
def test_a_rate_that_keys_do_not_tell_is_asked_for(times: list[float], words: str) -> None:
    document = file([{"camera": 0}], [({"node": 0, "path": "translation"}, times, [[0, 0, 0]] * 2, "LINEAR")])
    with pytest.raises(ImportFault, match=words):
        found(document)


def test_a_time_far_away_is_refused() -> None:
    document = file([{"camera": 0}], [({"node": 0, "path": "translation"}, [0, 1e9], [[0, 0, 0]] * 2, "LINEAR")])
    with pytest.raises(ImportFault, match="500000 samples are the most"):
        found(document, Rate(25))


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "it is no glTF document"),
        (b"\xff\xfe", "it is no glTF document"),
        (b"[" * 100_000, "it is no glTF document"),
        (b"{}", "it is no glTF document: Object missing required field `asset`"),
        (struct.pack("<III", 0x46546C67, 1, 12), "it is version 1 of binary glTF"),
        (struct.pack("<III", 0x46546C67, 2, 99), "it says that it has 99 bytes, and has 12; it was cut short"),
        (struct.pack("<III", 0x46546C67, 2, 12), "it has no document in it"),
        (struct.pack("<IIIII", 0x46546C67, 2, 20, 99, 0x4E4F534A), "the chunk at byte 12 is longer than the file"),
    ],
)
def test_a_damaged_file_is_refused(data: bytes, words: str) -> None:
    with pytest.raises(ImportFault) as caught:
        gltf.cameras(data, "a.glb", None)
    assert words in str(caught.value)


def refusal(data: bytes) -> str:
    try:
        gltf.cameras(data, "a.glb", None)
    except ImportFault as fault:
        return str(fault)
    return ""


def test_whatever_a_damaged_byte_does_a_camera_or_a_word_comes_of_it() -> None:
    rng = np.random.default_rng(3)
    data = make(delivery(4), ".glb", Wanted())
    said = []
    for _ in range(400):
        spoilt = bytearray(data)
        for place in rng.integers(0, len(data), 3):
            spoilt[place] = rng.integers(0, 256)
        said.append(refusal(bytes(spoilt)))
    assert 100 < sum(words.startswith("a.glb: ") for words in said) < 400
    assert not [words for words in said if words and not words.startswith("a.glb: ")]


@pytest.mark.parametrize("number", ["9" * 5000, "9" * 10, "\N{ARABIC-INDIC DIGIT ONE}"])
def test_a_pointer_to_a_node_that_no_file_has_moves_nothing(number: str) -> None:
    document = moving()
    pointer = {"KHR_animation_pointer": {"pointer": f"/nodes/{number}/translation"}}
    document["animations"][0]["channels"][0]["target"] = {"path": "pointer", "extensions": pointer}
    assert len(found(document, Rate(24)).frames) == 1


def test_a_file_whose_numbers_are_looked_at_too_often_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """Many places of a small file may point at the same numbers, and each takes memory of its own."""
    monkeypatch.setattr("sequencer.export.gltf_read._MOST_NUMBERS", 40)
    assert found(moving())
    document = copy.deepcopy(moving())
    document["nodes"].append({"camera": 0, "children": [0]})
    document["animations"] = document["animations"] * 3
    with pytest.raises(ImportFault, match="its cameras move by more than 40 numbers"):
        found(document)


@pytest.mark.parametrize("path", [("nodes", 0, "name"), ("asset", "version"), ("cameras", 0, "type")])
def test_names_in_a_strangers_file_do_nothing_to_a_terminal(path: tuple[str | int, ...]) -> None:
    document = moving()
    document["nodes"][0]["scale"] = [1, 2, 1]
    put(*path, value="\x1b[2Jhead\N{RIGHT-TO-LEFT OVERRIDE}")(document)
    with pytest.raises(ImportFault) as caught:
        found(document, Rate(24))
    assert str(caught.value).isprintable()
