"""glTF 2.0 files put together by hand, for the reader of cameras to be tried with."""

import base64
import json
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sequencer.export.imports import gltf
from sequencer.timebase.rate import Rate

Floats = NDArray[np.float64]
FROM_Y_UP = np.array([[1.0, 0, 0], [0, 0, -1.0], [0, 1.0, 0]])
Tree = dict[str, Any]


def axes(world: Floats) -> Floats:
    """Right, forward and up in our space of a camera that looks along its own -Z, Y up."""
    right, up, back = np.moveaxis(FROM_Y_UP @ world, -1, 0)
    return np.stack([right, -back, up], axis=-1)


def file(nodes: list[Tree], curves: list[tuple[Tree, list[float], Any, str]], **more: Any) -> Tree:
    """A document with one camera and one animation of `curves`: target, times, values, interpolation."""
    data = b""
    views: list[Tree] = []
    accessors: list[Tree] = []
    samplers: list[Tree] = []
    channels: list[Tree] = []

    def add(values: Any) -> int:
        nonlocal data
        array = np.array(values, "<f4")
        kind = {1: "SCALAR", 3: "VEC3", 4: "VEC4"}[1 if array.ndim == 1 else array.shape[1]]
        views.append({"buffer": 0, "byteOffset": len(data), "byteLength": array.nbytes})
        accessors.append({"bufferView": len(views) - 1, "componentType": 5126, "count": len(array), "type": kind})
        data += array.tobytes()
        return len(accessors) - 1

    for target, times, values, mode in curves:
        channels.append({"sampler": len(samplers), "target": target})
        samplers.append({"input": add(times), "output": add(values), "interpolation": mode})
    uri = "data:application/octet-stream;base64," + base64.b64encode(data).decode()
    lens = {"type": "perspective", "perspective": {"yfov": 0.5, "aspectRatio": 1.5, "znear": 0.01}}
    return {
        "asset": {"version": "2.0"},
        "nodes": nodes,
        "cameras": [lens],
        "buffers": [{"byteLength": len(data), "uri": uri}],
        "bufferViews": views,
        "accessors": accessors,
        "animations": [{"samplers": samplers, "channels": channels}] if curves else [],
    } | more


def found(document: Tree, asked: Rate | None = None) -> Any:
    (one,) = gltf.cameras(json.dumps(document).encode(), "a.gltf", asked)
    return one


def moving(mode: str = "LINEAR") -> Tree:
    """A camera that slides along its X, a key each frame of 24."""
    times = [number / 24 for number in range(5)]
    return file([{"camera": 0}], [({"node": 0, "path": "translation"}, times, [[n, 1, 0] for n in range(5)], mode)])
