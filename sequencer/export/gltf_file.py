"""How a glTF 2.0 file is put together: numbers in single precision, one buffer, and the two shapes of the file.

Source: Khronos glTF 2.0: "GLB File Format Specification", "Accessors" (alignment, minimum and maximum).
"""

import base64
import json
import struct

import numpy as np
from numpy.typing import NDArray

from sequencer.export.delivery import Floats

Tree = dict[str, object]
Singles = NDArray[np.float32]

MAGIC, VERSION = 0x46546C67, 2
JSON_CHUNK, BIN_CHUNK = 0x4E4F534A, 0x004E4942
FLOAT = 5126
_KINDS = {1: "SCALAR", 3: "VEC3", 4: "VEC4"}


class Numbers:
    """The one buffer of a file, and the accessors into it."""

    def __init__(self) -> None:
        self._parts: list[bytes] = []
        self.views: list[Tree] = []
        self.accessors: list[Tree] = []

    def add(self, values: Floats | Singles, *, bounded: bool = False) -> int:
        """Add numbers and return their accessor. Shape: (N,) or (N, 3 or 4). `bounded` says the least and greatest."""
        single = np.ascontiguousarray(values, np.float32).reshape(len(values), -1)
        data = single.astype("<f4").tobytes()
        accessor: Tree = {
            "bufferView": len(self.views),
            "componentType": FLOAT,
            "count": len(single),
            "type": _KINDS[single.shape[1]],
        }
        if bounded:
            accessor |= {"min": single.min(axis=0).tolist(), "max": single.max(axis=0).tolist()}
        # each part is whole floats, so that the next one lies at a multiple of four
        self.views.append({"buffer": 0, "byteOffset": sum(map(len, self._parts)), "byteLength": len(data)})
        self._parts.append(data)
        self.accessors.append(accessor)
        return len(self.accessors) - 1

    @property
    def data(self) -> bytes:
        """The whole buffer."""
        return b"".join(self._parts)


def binary(document: Tree, data: bytes) -> bytes:
    """Return the file in its binary form (.glb)."""
    text = _text(document | {"buffers": [{"byteLength": len(data)}]})
    text += b" " * (-len(text) % 4)
    data += b"\0" * (-len(data) % 4)
    head = struct.pack("<III", MAGIC, VERSION, 12 + 8 + len(text) + 8 + len(data))
    return b"".join(
        (head, struct.pack("<II", len(text), JSON_CHUNK), text, struct.pack("<II", len(data), BIN_CHUNK), data)
    )


def readable(document: Tree, data: bytes) -> bytes:
    """Return the file as JSON text with its numbers inside (.gltf)."""
    inside = "data:application/octet-stream;base64," + base64.b64encode(data).decode()
    return _text(document | {"buffers": [{"byteLength": len(data), "uri": inside}]}, indent=1) + b"\n"


def _text(document: Tree, indent: int | None = None) -> bytes:
    separators = (",", ":") if indent is None else None
    return json.dumps(document, ensure_ascii=False, allow_nan=False, indent=indent, separators=separators).encode()
