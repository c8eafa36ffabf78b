"""A glTF 2.0 file taken apart: its two shapes, its document by type, and the numbers behind its accessors.

Everything is checked against what is there before it is used. It follows no file beside it: there is no camera whose
numbers need one, and what a stranger's file names is not opened.
Source: Khronos glTF 2.0: "GLB File Format Specification", "Accessors", "Animations".
"""

import base64
import binascii
import struct
from typing import TypeVar

import msgspec
import numpy as np

from sequencer.errors import ImportFault
from sequencer.export.edit_list import printable
from sequencer.export.foreign import MOST_SAMPLES
from sequencer.export.found import Floats
from sequencer.export.gltf_file import BIN_CHUNK, JSON_CHUNK, MAGIC

# what may be required and changes no camera; of KHR_animation_pointer the angle of view and the nodes are known
_HARMLESS = ("KHR_materials_", "KHR_texture_", "EXT_texture_")
_KNOWN = {
    "KHR_animation_pointer",
    "KHR_draco_mesh_compression",
    "KHR_lights_punctual",
    "KHR_mesh_quantization",
    "KHR_node_visibility",
    "EXT_mesh_gpu_instancing",
}
T = TypeVar("T")
_MOST_NUMBERS = 64 * 10**6  # that are looked at; a file may point at the same ones from many places
_WIDE = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4}
# type of a component, and what a normalised one is divided by
_COMPONENTS = {5120: ("<i1", 127), 5121: ("<u1", 255), 5122: ("<i2", 32767), 5123: ("<u2", 65535), 5126: ("<f4", 1)}


class Asset(msgspec.Struct):
    version: str


class Buffer(msgspec.Struct):
    byteLength: int  # noqa: N815  # the standard's name
    uri: str | None = None


class View(msgspec.Struct):
    buffer: int
    byteLength: int  # noqa: N815  # the standard's name
    byteOffset: int = 0  # noqa: N815  # the standard's name
    byteStride: int | None = None  # noqa: N815  # the standard's name


class Accessor(msgspec.Struct):
    componentType: int  # noqa: N815  # the standard's name
    count: int
    type: str
    bufferView: int | None = None  # noqa: N815  # the standard's name
    byteOffset: int = 0  # noqa: N815  # the standard's name
    normalized: bool = False
    sparse: dict[str, object] | None = None


class Node(msgspec.Struct):
    name: str = ""
    camera: int | None = None
    children: list[int] = []
    matrix: list[float] | None = None
    translation: tuple[float, float, float] = (0.0, 0.0, 0.0)
    rotation: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 1.0)
    scale: tuple[float, float, float] = (1.0, 1.0, 1.0)


class Perspective(msgspec.Struct):
    yfov: float
    aspectRatio: float | None = None  # noqa: N815  # the standard's name


class Lens(msgspec.Struct):
    type: str
    name: str = ""
    perspective: Perspective | None = None
    extras: object = None


class Target(msgspec.Struct):
    path: str
    node: int | None = None
    extensions: dict[str, object] = {}


class Channel(msgspec.Struct):
    sampler: int
    target: Target


class Sampler(msgspec.Struct):
    input: int
    output: int
    interpolation: str = "LINEAR"


class Animation(msgspec.Struct):
    channels: list[Channel]
    samplers: list[Sampler]
    name: str = ""


class Document(msgspec.Struct):
    """What of a glTF file a camera needs; the rest is passed over."""

    asset: Asset
    extensionsRequired: list[str] = []  # noqa: N815  # the standard's name
    buffers: list[Buffer] = []
    bufferViews: list[View] = []  # noqa: N815  # the standard's name
    accessors: list[Accessor] = []
    nodes: list[Node] = []
    cameras: list[Lens] = []
    animations: list[Animation] = []
    extras: object = None


def opened(data: bytes, name: str) -> "Opened":
    """Return a file taken apart. Error: ImportFault that names the place and the mend."""
    text, inside = _parts(data, name)
    try:
        document = msgspec.json.decode(text, type=Document)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as fault:
        raise ImportFault(f"{name}: it is no glTF document: {fault}; export it again") from fault
    if document.asset.version.partition(".")[0] != "2":
        raise ImportFault(
            f"{name}: it is glTF {printable(document.asset.version)[:20]}, and 2.0 is read; export it as that"
        )
    for extension in document.extensionsRequired:
        if extension not in _KNOWN and not extension.startswith(_HARMLESS):
            raise ImportFault(
                f"{name}: it requires the extension {printable(extension)[:60]}, which is not known here; leave it out"
            )
    return Opened(document, inside, name)


class Opened:
    """A file whose document is known, and whose numbers are fetched as they are asked for."""

    def __init__(self, document: Document, inside: bytes | None, name: str) -> None:
        self.document, self._inside, self._name = document, inside, name
        self._buffers: dict[int, bytes] = {}
        self._room = _MOST_NUMBERS

    def fault(self, words: str) -> ImportFault:
        """Return the fault that says `words` of this file."""
        return ImportFault(f"{self._name}: {printable(words)}")

    def numbers(self, number: int, place: str) -> Floats:
        """Return an accessor's numbers. Shape: (N, 1 to 4). Error: ImportFault that says at which `place`."""
        here = f"{place}, accessors[{number}]"
        accessor = self._at(self.document.accessors, number, here)
        if accessor.sparse is not None:
            raise self.fault(f"{here} is sparse, which is not read; export without it")
        if accessor.componentType not in _COMPONENTS or accessor.type not in _WIDE:
            raise self.fault(f"{here} is of a type that no animation has; export it again")
        code, whole = _COMPONENTS[accessor.componentType]
        if whole != 1 and not accessor.normalized:
            raise self.fault(f"{here} has whole numbers that are not normalised; export it again")
        if not 1 <= accessor.count <= 3 * MOST_SAMPLES:
            raise self.fault(f"{here} has {accessor.count} entries; 1 to {3 * MOST_SAMPLES} are read")
        wide, kind = _WIDE[accessor.type], np.dtype(code)
        self._room -= accessor.count * wide
        if self._room < 0:
            raise self.fault(f"its cameras move by more than {_MOST_NUMBERS} numbers; export the camera alone")
        if accessor.bufferView is None:
            return np.zeros((accessor.count, wide))
        view = self._at(self.document.bufferViews, accessor.bufferView, f"{here}.bufferView")
        raw = self._buffer(view.buffer, here)
        stride = view.byteStride or wide * kind.itemsize
        begin = view.byteOffset + accessor.byteOffset
        last = accessor.byteOffset + stride * (accessor.count - 1) + wide * kind.itemsize
        if min(view.byteOffset, accessor.byteOffset) < 0 or stride < wide * kind.itemsize or last > view.byteLength:
            raise self.fault(f"{here} reaches outside of its view; the file is damaged, export it again")
        if view.byteOffset + view.byteLength > len(raw):
            raise self.fault(f"{here} reaches outside of its buffer; the file was cut short, export it again")
        shape, strides = (accessor.count, wide), (stride, kind.itemsize)
        values = np.ndarray(shape, kind, raw, begin, strides).astype(np.float64)
        if not np.isfinite(values).all():
            raise self.fault(f"{here} has something in it that is no number; export it again")
        return np.maximum(values / whole, -1.0) if whole != 1 else values

    def _buffer(self, number: int, here: str) -> bytes:
        if number not in self._buffers:
            buffer = self._at(self.document.buffers, number, here)
            self._buffers[number] = self._content(buffer, number)
        return self._buffers[number]

    def _content(self, buffer: Buffer, number: int) -> bytes:
        if buffer.uri is None:
            if self._inside is None or number != 0:
                raise self.fault(f"buffers[{number}] is nowhere; export it as .glb")
            return self._inside
        head, comma, text = buffer.uri.partition(",")
        if not (head.startswith("data:") and head.endswith(";base64") and comma):
            raise self.fault(
                f"its numbers are in another file ({buffer.uri[:60]}), which is not followed; export it as .glb, or "
                "with its buffers embedded"
            )
        try:
            return base64.b64decode(text, validate=True)
        except (binascii.Error, ValueError) as fault:
            raise self.fault(f"buffers[{number}] is damaged: {fault}; export it again") from fault

    def _at(self, things: list[T], number: int, here: str) -> T:
        if not 0 <= number < len(things):
            raise self.fault(f"{here} is not in the file, which has {len(things)}; it is damaged, export it again")
        return things[number]


def _parts(data: bytes, name: str) -> tuple[bytes, bytes | None]:
    """Return the document's text, and the buffer of a binary file."""
    if len(data) < 12 or struct.unpack_from("<I", data)[0] != MAGIC:
        return data, None
    _, version, length = struct.unpack_from("<III", data)
    if version != 2:
        raise ImportFault(f"{name}: it is version {version} of binary glTF, and 2 is read; export it as that")
    if length > len(data):
        raise ImportFault(f"{name}: it says that it has {length} bytes, and has {len(data)}; it was cut short")
    chunks: dict[int, bytes] = {}
    at = 12
    while at + 8 <= length:
        size, kind = struct.unpack_from("<II", data, at)
        if at + 8 + size > length:
            raise ImportFault(f"{name}: the chunk at byte {at} is longer than the file; it was cut short")
        chunks.setdefault(kind, data[at + 8 : at + 8 + size])
        at += 8 + size
    if JSON_CHUNK not in chunks:
        raise ImportFault(f"{name}: it has no document in it; export it again")
    return chunks[JSON_CHUNK], chunks.get(BIN_CHUNK)
