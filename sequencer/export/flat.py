"""A path's instants one after another, and what every format says beside them."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sequencer.errors import ExportError
from sequencer.export.contract import Wanted
from sequencer.export.delivery import CameraPath, Delivery, Floats
from sequencer.rig.axis import Camera

FAR_M = 10_000.0  # what stands for infinity where a format has none; docs/conventions.md draws it there too
_MOST_NAMED = 4


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Flat:
    """All M instants of a path in order of time, `known` where the rig said where it stood.

    Unit: `offset` is picture frames from the first one, `first` the number that the first one has in the file.
    Shape: as in CameraPath, with (F, S) become M.
    """

    first: int
    offset: Floats
    known: NDArray[np.bool_]
    position_m: Floats
    angles_deg: Floats
    focal_mm: Floats
    focus_m: Floats
    values: Floats

    @property
    def frame(self) -> Floats:
        """The frame numbers of the file, with parts of a frame."""
        return self.first + self.offset


def flat(path: CameraPath, wanted: Wanted) -> Flat:
    """Lay out a path's instants one after another."""
    frames, parts = path.position_m.shape[:2]
    offset = (np.arange(frames)[:, np.newaxis] + np.array([float(part) for part in path.parts])).ravel()
    position, angles = path.position_m.reshape(-1, 3), path.angles_deg.reshape(-1, 3)
    return Flat(
        first=first_number(path, wanted),
        offset=offset,
        known=np.isfinite(np.concatenate([position, angles], axis=1)).all(axis=1),
        position_m=position,
        angles_deg=angles,
        focal_mm=path.focal_mm.ravel(),
        focus_m=path.focus_m.ravel(),
        values=path.values.reshape(frames * parts, -1),
    )


def first_number(path: CameraPath, wanted: Wanted) -> int:
    """Return the number that the first picture frame has in the file."""
    return path.first if wanted.first is None else wanted.first


def known_path(delivery: Delivery) -> CameraPath:
    """Return the path of a delivery. Error: ExportError where it has none."""
    if delivery.path is None:
        raise ExportError(f"{delivery.cue.name}: there is no camera to hand over; hand over the axes, as csv")
    if not flat(delivery.path, Wanted()).known.any():
        raise ExportError(f"{delivery.take or delivery.cue.name}: the rig never said where it stood; ask for planned")
    return delivery.path


def camera_path(delivery: Delivery) -> tuple[CameraPath, Camera]:
    """Return the path and the camera of a delivery. Error: ExportError where it has none."""
    if delivery.path is None or delivery.rig.camera is None:
        raise ExportError(
            f"{delivery.cue.name}: there is no camera to hand over; write camera into rig.json: sensor_mm, pixels, "
            "focal_mm and subject_m"
        )
    return known_path(delivery), delivery.rig.camera


def hole_words(delivery: Delivery, what: str) -> tuple[str, ...]:
    """Say how many frames have no pose, which are the first of them, and `what` the format does instead."""
    path = delivery.path
    if path is None:
        return ()
    known = flat(path, Wanted()).known.reshape(path.frames, -1)
    missing = np.flatnonzero(~known.all(axis=1))
    if not len(missing):
        return ()
    named = ", ".join(str(delivery.timebase.label(path.first + int(frame))) for frame in missing[:_MOST_NAMED])
    more = f" and {len(missing) - _MOST_NAMED} more" if len(missing) > _MOST_NAMED else ""
    frames = "1 frame" if len(missing) == 1 else f"{len(missing)} frames"
    return (f"the rig did not say where it stood in {frames} ({named}{more}): {what}",)


def lens_words(delivery: Delivery, *, untold: str, focus: bool = True, far: bool = True) -> tuple[str, ...]:
    """Say what is missing of the lens: `untold` is what the format does then.

    `focus`: it holds a distance in focus; `far`: infinity has to be a number in it. A path that has no distance at all
    says so itself, and so does that of a rig without a camera.
    """
    path = delivery.path
    if path is None or delivery.rig.camera is None:
        return ()
    words = []
    every = flat(path, Wanted())
    instants = int(every.known.sum())
    for name, values in (("focal length", every.focal_mm), ("distance in focus", every.focus_m))[: 1 + focus]:
        missing = int(np.isnan(values[every.known]).sum())
        if 0 < missing < instants:
            words.append(f"nobody says the {name} at {missing} of {instants} instants: {untold} there")
        elif missing and values is every.focal_mm:
            words.append(f"nobody says the {name}: {untold}")
    if focus and far and np.isinf(every.focus_m).any():
        words.append(f"a distance in focus at infinity is written as {FAR_M / 1000:g} km")
    return tuple(words)


def told(delivery: Delivery, wanted: Wanted) -> dict[str, object]:
    """Return what a file says of itself beside the camera, by names that a stranger can read."""
    path, camera = camera_path(delivery)
    geometry = delivery.rig.geometry
    mounted = "entrance pupil" if geometry.sensor_plane_mm is None else "sensor plane"
    words: dict[str, object] = {
        "project": delivery.project,
        "rig": delivery.rig.name,
        "cue": delivery.cue.name,
        "pass": delivery.run,
        "path": delivery.source,
        "take": delivery.take,
        "madeBy": delivery.made,
        "document": delivery.document,
        "rate": str(delivery.timebase.rate),
        "dropFrame": delivery.timebase.counting.drop,
        "startTimecode": str(delivery.timebase.label(path.first)),
        "firstFrame": first_number(path, wanted),
        "frames": path.frames,
        "samplesPerFrame": len(path.parts),
        "origin": "entrance pupil",
        "fromPivotMm": list(geometry.mounted_mm),
        "fromPivotTo": mounted,
        "sensorMm": list(camera.sensor_mm),
        "pixels": list(camera.pixels),
    }
    if path.shot_hz not in (None, delivery.timebase.rate.fraction):
        words["cameraRate"] = str(path.shot_hz)
    if path.step != 1 or path.origin != path.first:
        words |= {"moveStart": str(delivery.timebase.label(path.origin)), "moveFramesPerFrame": str(path.step)}
    return {name: value for name, value in words.items() if value != ""}


def steady(values: Floats) -> float | None:
    """Return the one value that all have, or None where they differ or there is none."""
    known = values[np.isfinite(values)]
    return float(known[0]) if len(known) and (known == known[0]).all() else None
