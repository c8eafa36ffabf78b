"""A camera from OpenUSD: any camera that the file writes down, with all that carries it; text (.usda) or binary.

The library reads in a process of its own (`usd_read`), since a damaged file can end it, or keep it busy for ever.
"""

import subprocess
import sys
from fractions import Fraction
from importlib.util import find_spec

import msgspec
import numpy as np

from sequencer.errors import ImportFault
from sequencer.export.contract import ImportKind
from sequencer.export.cuts import with_cuts
from sequencer.export.foreign import bounded, on_frames, rate_near, rate_of_text, settle, start_of
from sequencer.export.found import Floats, FoundCamera
from sequencer.export.spaces import Up, Warped, from_space
from sequencer.export.usd_read import RawCamera, RawStage, Refused
from sequencer.timebase.rate import Rate

_LONGEST_S = 120.0
# a sensor wider than this, whose plain numbers would be one: written in millimetres whatever the scene's unit
_WIDEST_MM, _LEAST_MM = 110.0, 2.0


def cameras(data: bytes, name: str, asked: Rate | None) -> tuple[FoundCamera, ...]:
    """Return the cameras of a file. Error: ImportFault that names the prim, or the place in the text, and the mend."""
    bounded(data, name)
    if find_spec("pxr") is None:
        raise ImportFault(f"{name}: OpenUSD needs a package that is not here; pip install 'twintake[usd]'")
    stage = _read(data, name)
    if not (0 < stage.unit_m < 1e6 and 0 < stage.frames_hz < 1e6 and 0 < stage.time_codes_hz < 1e6):
        raise ImportFault(f"{name}: its metersPerUnit, or its frames a second, cannot be; write what they are")
    said = rate_of_text(stage.about.get("rate")) or rate_near(stage.frames_hz)
    if said is None and asked is None:
        raise ImportFault(f"{name}: it has {stage.frames_hz:g} frames a second, which is no rate; say its rate")
    rate, remarks = settle(said, asked, name)
    remarks += _untold(stage)
    return tuple(with_cuts(_found(one, stage, name, rate, remarks)) for one in stage.cameras)


def _read(data: bytes, name: str) -> RawStage:
    found = msgspec.msgpack.decode(_apart(data, name), type=dict)
    if "words" in found:
        raise ImportFault(f"{name}: {msgspec.convert(found, Refused).words}")
    return msgspec.convert(found, RawStage)


def _apart(data: bytes, name: str) -> bytes:
    """Return what the process of its own answers."""
    try:
        done = subprocess.run(
            [sys.executable, "-P", "-m", "sequencer.export.usd_read"],
            input=data,
            capture_output=True,
            timeout=_LONGEST_S,
            check=False,
        )
    except subprocess.TimeoutExpired as fault:
        raise ImportFault(
            f"{name}: it was not read within {_LONGEST_S:.0f} s; it is damaged, or export the camera alone"
        ) from fault
    if done.returncode != 0:
        raise ImportFault(f"{name}: OpenUSD's library ended while it read it: the file is damaged; export it again")
    return done.stdout


def _untold(stage: RawStage) -> tuple[str, ...]:
    standard = {
        "upAxis": f"which way is up: {stage.up} is taken, as the standard has it",
        "metersPerUnit": f"how long its unit is: {stage.unit_m * 100:g} cm is taken, as the standard has it",
    }
    if "timeCodesPerSecond" not in stage.written and "framesPerSecond" not in stage.written:
        standard["timeCodesPerSecond"] = "its rate: 24 is taken, as the standard has it"
    return tuple(f"the file does not say {words}" for name, words in standard.items() if name not in stage.written)


def _found(raw: RawCamera, stage: RawStage, name: str, rate: Rate, remarks: tuple[str, ...]) -> FoundCamera:
    if raw.orthographic:
        raise ImportFault(f"{name}: {raw.place} draws without perspective (orthographic); make it a perspective camera")
    per_frame = stage.time_codes_hz / stage.frames_hz
    frames = on_frames(np.frombuffer(raw.times) / per_frame)
    # a row of the standard's matrix is where an axis of the camera points
    matrices = np.frombuffer(raw.matrices).reshape(-1, 4, 4)
    up: Up = "z" if stage.up == "Z" else "y"
    taken = from_space(np.swapaxes(matrices[:, :3, :3], 1, 2), matrices[:, 3, :3], up, stage.unit_m)
    if isinstance(taken, Warped):
        raise ImportFault(
            f"{name}: {raw.place} at frame {frames[taken.number]:g} {taken.words}, which no camera is; bake it, or "
            "take the scale off what carries it"
        )
    position, matrix, scale = taken
    lens = {one: np.frombuffer(values).copy() for one, values in raw.lens.items()}
    focal, sensor, more = _lens(raw, lens, stage.unit_m)
    if abs(scale - 1) > 1e-4:
        more += (f"{raw.place} is scaled by {scale:.6g}, which changes nothing of its picture and is taken off",)
    if raw.shifted:
        more += (f"{raw.place} has its lens shifted (aperture offset), which no rig here does: it is left out",)
    focus = lens["focusDistance"] * stage.unit_m
    focus[~(focus > 0)] = np.nan  # 0 is the standard's word for none
    return FoundCamera(
        name=raw.place,
        rate=rate,
        frames=frames,
        position_m=position,
        matrix=matrix,
        focal_mm=focal,
        focus_m=focus if "focusDistance" in raw.said else np.full(len(frames), np.nan),
        sensor_mm=sensor,
        start=_start(stage, rate, float(frames[0])),
        remarks=remarks + more + _gaps(raw, per_frame),
    )


def _lens(
    raw: RawCamera, lens: dict[str, Floats], unit_m: float
) -> tuple[Floats, tuple[float, float] | None, tuple[str, ...]]:
    """Return the focal length and the sensor in millimetres, and what must be said of them."""
    focal, across, along = lens["focalLength"], lens["horizontalAperture"], lens["verticalAperture"]
    words: tuple[str, ...] = ()
    to_mm = unit_m * 100  # tenths of a unit
    if across[0] * to_mm > _WIDEST_MM >= across[0] >= _LEAST_MM:
        words += (
            f"{raw.place}: its sensor would be {across[0] * to_mm:g} mm wide by the standard; its numbers are taken as "
            "millimetres, as many programs write them",
        )
        to_mm = 1.0
    sensor = None
    if {"horizontalAperture", "verticalAperture"} <= set(raw.said) and across[0] > 0 and along[0] > 0:
        sensor = (_short(across[0]) * to_mm, _short(along[0]) * to_mm)
        if not np.allclose(across, across[0], rtol=1e-6):
            focal = focal * across[0] / across
            words += (f"{raw.place}: its sensor changes its size; the focal length is what keeps the angle of view",)
    else:
        words += (f"{raw.place}: it does not say its sensor (horizontalAperture, verticalAperture)",)
    if "focalLength" not in raw.said or not (focal > 0).all():
        return np.full(len(focal), np.nan), sensor, (*words, f"{raw.place}: it does not say its focal length")
    return focal * to_mm, sensor, words


def _short(single: float) -> float:
    """Return what was written before single precision took it: 24.9 and not 24.899999618530273."""
    return float(str(np.float32(single)))


def _start(stage: RawStage, rate: Rate, first: float) -> Fraction | None:
    """Return the timecode of the first sample, which only our own files say."""
    at = start_of(stage.about.get("startTimecode"), rate, stage.about.get("dropFrame"))
    number = stage.about.get("firstFrame")
    if at is None or not isinstance(number, int):
        return None
    return at + rate.seconds(Fraction(first) - number)


def _gaps(raw: RawCamera, per_frame: float) -> tuple[str, ...]:
    own = np.frombuffer(raw.own) / per_frame
    wide = np.flatnonzero(np.diff(own) > 1.5)
    if not len(wide):
        return ()
    first = f"the first between frame {own[wide[0]]:g} and {own[wide[0] + 1]:g}"
    what = "nothing is put there" if raw.solid else "there it is as the standard draws it"
    return (f"{raw.place}: frames are missing in {len(wide)} places, {first}: {what}",)


KIND = ImportKind(name="usd", title="OpenUSD camera", suffixes=(".usda", ".usdc", ".usd"), camera=cameras, extra="usd")
