"""Targets: files from elsewhere, of which something is taken: cuts, songs, recordings, cameras, audio."""

import base64
import json
import struct
import wave
from collections.abc import Callable
from fractions import Fraction
from functools import cache
from io import BytesIO
from typing import Any

import mido
import msgspec
import numpy as np

from sequencer.errors import ImportFault, LinkError, ProjectError
from sequencer.export import otio_read
from sequencer.export.contract import ImportKind
from sequencer.export.found import FoundCamera, FoundCut
from sequencer.export.imports import csv, edl, gltf, midi, otio, wav
from sequencer.project import audiofile
from sequencer.timebase.rate import RATES, Rate
from sequencer.wire.ixml import ixml
from tests.fuzz.opened import _folder
from tests.fuzz.recipes import changed
from tests.fuzz.target import Target, demand_shown

_ASKED: tuple[Rate | None, ...] = (None, *RATES.values())


def _cut(found: FoundCut) -> None:
    """A cut that was taken can be shown, and its instants are in the order that shots have."""
    assert all(one.end >= one.start for one in found.shots)
    assert all(isinstance(one.at, Fraction) for one in found.markers)
    assert all(one.isprintable() for one in found.remarks), "the words cannot be shown"


def _camera(found: FoundCamera) -> None:
    """A camera that was taken is numbers alone, in order of time."""
    count = len(found.frames)
    assert found.position_m.shape == (count, 3)
    assert found.matrix.shape == (count, 3, 3)
    assert np.isfinite(found.position_m).all()
    assert np.isfinite(found.matrix).all()
    assert (np.diff(found.frames) > 0).all()


def _asked(kind: ImportKind) -> Callable[[bytes], None]:
    """The first byte says which rate the operator gives; the rest is the file."""

    def take(data: bytes) -> None:
        asked = _ASKED[data[0] % len(_ASKED)] if data else None
        try:
            file = data[1:]
            if kind.shorten is not None:
                file = kind.shorten(len(file), lambda at, size: data[1 + at : 1 + at + size])
        except ValueError:
            return
        try:
            if kind.cut is not None:
                _cut(kind.cut(file, "a", asked))
            if kind.camera is not None:
                for one in kind.camera(file, "a", asked):
                    _camera(one)
        except ImportFault as fault:
            demand_shown(fault)

    return take


def _changed(kind: ImportKind, tree: Callable[[], Any]) -> Callable[[bytes], None]:
    """Changes to a JSON file that is right; the first byte says which rate the operator gives."""
    take = _asked(kind)

    def edit(data: bytes) -> None:
        made = changed(tree(), data[1:])
        take(data[:1] + json.dumps(made).encode("utf-8", "replace"))

    return edit


def _ixml(data: bytes) -> None:
    try:
        ixml(data)
    except ValueError:
        return


def _audio(data: bytes) -> None:
    path = _folder() / "song.wav"
    path.write_bytes(data)
    try:
        told = audiofile.info(path)
        assert told.rate_hz > 0
        if told.frames < 10_000:
            audiofile.load(path, 8000)
    except (ProjectError, LinkError):
        return


def _otio(data: bytes) -> None:
    """What is looked at before the library sees it; the library itself is tried by nobody here, as that of USD."""
    try:
        text = otio.checked(data, "a")
    except ImportFault as fault:
        demand_shown(fault)
        return
    assert json.loads(text) is not None or data.strip() == b"null"


def _otio_answer(data: bytes) -> None:
    try:
        _cut(otio_read.told(data))
    except ImportFault:
        return


# what is right, to begin with


def _edl() -> bytes:
    lines = (
        "TITLE: HARBOUR LANTERNS",
        "FCM: NON-DROP FRAME",
        "001  AX       V     C        00:00:00:00 00:00:08:00 10:00:07:10 10:00:15:10",
        "* FROM CLIP NAME: lantern turn",
        "* LOC: 10:00:07:12 WHITE verse",
        "002  BL       V     C        00:00:00:00 00:00:01:00 10:00:15:10 10:00:16:10",
        "003  TAPE2    B     W001 025 00:00:00:00 00:00:08:20 10:00:16:10 10:00:25:05",
        "M2   TAPE2    012.5          00:00:00:00",
    )
    return "\r\n".join(lines).encode()


def _song() -> bytes:
    made = mido.MidiFile(ticks_per_beat=96)
    track = mido.MidiTrack()
    track.extend(
        [
            mido.MetaMessage("smpte_offset", frame_rate=25, hours=10),
            mido.MetaMessage("set_tempo", tempo=625_000),
            mido.MetaMessage("time_signature", numerator=3, denominator=4),
            mido.MetaMessage("marker", text="verse", time=96),
            mido.Message("note_on", note=60, time=10),
            mido.Message("sysex", data=(1, 2)),
            mido.MetaMessage("set_tempo", tempo=400_000, time=288),
        ]
    )
    made.tracks.append(track)
    file = BytesIO()
    made.save(file=file)
    return file.getvalue()


def _sound() -> bytes:
    file = BytesIO()
    with wave.open(file, "wb") as writer:
        writer.setnchannels(1)
        writer.setsampwidth(2)
        writer.setframerate(48_000)
        writer.writeframes(struct.pack("<16h", *range(16)))
    return file.getvalue()


_SPEED = b"<BWFXML><SPEED><TIMECODE_RATE>25/1</TIMECODE_RATE><TIMECODE_FLAG>NDF</TIMECODE_FLAG></SPEED></BWFXML>"


def _recording() -> bytes:
    bext = struct.pack("<256s32s32s10s8sQH64s190s", b"d", b"o", b"r", b"2031-05-04", b"18:30:00", 10**9, 2, b"", b"")
    chunks = [(b"bext", bext), (b"iXML", _SPEED + b" " * (len(_SPEED) % 2))]
    more = b"".join(name + struct.pack("<I", len(data)) + data for name, data in chunks)
    sound = _sound()
    return sound[:4] + struct.pack("<I", len(sound) + len(more) - 8) + sound[8:12] + more + sound[12:]


@cache
def _gltf() -> Any:
    times = np.arange(4, dtype="<f4") / 24
    places = np.arange(12, dtype="<f4")
    data = times.tobytes() + places.tobytes()
    return {
        "asset": {"version": "2.0"},
        "nodes": [{"camera": 0, "name": "head", "rotation": [0, 0, 0, 1]}, {"children": [0], "scale": [1, 1, 1]}],
        "cameras": [{"type": "perspective", "perspective": {"yfov": 0.5, "aspectRatio": 1.5, "znear": 0.01}}],
        "buffers": [
            {
                "byteLength": len(data),
                "uri": "data:application/octet-stream;base64," + base64.b64encode(data).decode(),
            }
        ],
        "bufferViews": [
            {"buffer": 0, "byteOffset": 0, "byteLength": 16},
            {"buffer": 0, "byteOffset": 16, "byteLength": 48},
        ],
        "accessors": [
            {"bufferView": 0, "componentType": 5126, "count": 4, "type": "SCALAR"},
            {"bufferView": 1, "componentType": 5126, "count": 4, "type": "VEC3"},
        ],
        "animations": [
            {
                "samplers": [{"input": 0, "output": 1, "interpolation": "LINEAR"}],
                "channels": [
                    {"sampler": 0, "target": {"node": 0, "path": "translation"}},
                    {
                        "sampler": 0,
                        "target": {
                            "path": "pointer",
                            "extensions": {"KHR_animation_pointer": {"pointer": "/nodes/1/scale"}},
                        },
                    },
                ],
            }
        ],
        "extras": {"twintake": {"rate": "24", "startTimecode": "10:00:00:00", "dropFrame": False, "firstFrame": 1}},
    }


def _glb() -> bytes:
    tree = _gltf()
    data = base64.b64decode(tree["buffers"][0]["uri"].partition(",")[2])
    document = json.dumps(tree | {"buffers": [{"byteLength": len(data)}]}).encode()
    document += b" " * (-len(document) % 4)
    chunks = struct.pack("<II", len(document), 0x4E4F534A) + document + struct.pack("<II", len(data), 0x004E4942) + data
    return struct.pack("<4sII", b"glTF", 2, 12 + len(chunks)) + chunks


def _timeline() -> bytes:
    return json.dumps(
        {
            "OTIO_SCHEMA": "Timeline.1",
            "name": "cut",
            "global_start_time": {"OTIO_SCHEMA": "RationalTime.1", "rate": 25.0, "value": 90000.0},
            "tracks": {"OTIO_SCHEMA": "Stack.1", "children": [{"OTIO_SCHEMA": "Track.1", "children": []}]},
        }
    ).encode()


def _answers() -> list[bytes]:
    whole = otio_read.Answer(
        rate="25",
        start="3600",
        markers=(("verse", "36127/10", "in it"),),
        shots=(("lantern turn", "3607", "3615", ""),),
        remarks=("one is left out",),
    )
    return [msgspec.msgpack.encode(one) for one in (whole, otio_read.Answer(fault="a: it is damaged"))]


_TABLE = (
    b"frame,timecode (25 fps),x (m),y (m),z (m),pan (deg),tilt (deg),roll (deg),focal length (mm)\n"
    b"0,10:00:00:00,0,0,1.5,0,0,0,35\n1,10:00:00:01,0.01,0,1.5,1,0,0,35\n2,10:00:00:02,0.02,0,1.5,2,0,0,\n"
)

TARGETS = (
    Target(name="edl", decode=_asked(edl.KIND), seeds=lambda: [b"\x03" + _edl(), b"\x00" + _edl()], longest=700),
    Target(name="smf", decode=_asked(midi.KIND), seeds=lambda: [b"\x00" + _song(), b"\x06" + _song()], longest=300),
    Target(name="recording", decode=_asked(wav.KIND), seeds=lambda: [b"\x00" + _recording()], longest=1200),
    Target(name="ixml", decode=_ixml, seeds=lambda: [_SPEED], longest=300),
    Target(name="audio", decode=_audio, seeds=lambda: [_sound(), _recording()], longest=1000),
    Target(name="table", decode=_asked(csv.KIND), seeds=lambda: [b"\x00" + _TABLE, b"\x02" + _TABLE], longest=400),
    Target(name="gltf", decode=_asked(gltf.KIND), seeds=lambda: [b"\x00" + _glb(), b"\x03" + _glb()], longest=2000),
    Target(name="gltf-edited", decode=_changed(gltf.KIND, _gltf), seeds=lambda: [b"\x00\x00\x03\x02\x00"], longest=25),
    Target(name="otio", decode=_otio, seeds=lambda: [_timeline(), b'{"OTIO_SCHEMA": "Timeline.1", "tracks": [{}]}']),
    Target(name="otio-answer", decode=_otio_answer, seeds=_answers, longest=300),
)
