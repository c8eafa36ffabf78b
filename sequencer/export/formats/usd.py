"""A camera for compositing and previz in OpenUSD: text (.usda) or binary (.usdc).

Centimetres and tenths of them, which are millimetres, Y up unless Z is asked for. Samples lie at frame numbers.
"""

import tempfile
from pathlib import Path
from typing import Any

from sequencer.errors import ExportError
from sequencer.export.contract import ExportKind, Wanted
from sequencer.export.delivery import Delivery
from sequencer.export.flat import hole_words, lens_words
from sequencer.export.spaces import GROWS, LOOKING_BACK, Space


def make(delivery: Delivery, suffix: str, wanted: Wanted) -> bytes:
    """Return the file. Error: ExportError without a camera, or without the library."""
    try:
        from sequencer.export.usd_stage import layer
    except ImportError as fault:
        raise ExportError(
            "OpenUSD needs a package that is not here; pip install 'twintake[usd]', or take gltf or csv"
        ) from fault
    made = layer(delivery, suffix, wanted, space(wanted))
    if suffix == ".usda":
        return str(made.ExportToString()).encode()
    return _binary(made)


def _binary(made: Any) -> bytes:
    """Return a layer in OpenUSD's binary form, which the library writes to files only. Error: ExportError."""
    from pxr import Tf

    trouble: Exception | None = None
    try:
        with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
            file = Path(folder) / "camera.usdc"
            if made.Export(str(file)):
                return file.read_bytes()
    except (OSError, Tf.ErrorException) as fault:
        trouble = fault
    raise ExportError(
        "OpenUSD could not write its binary form into the folder for temporary files; free its disk, or take .usda"
    ) from trouble


def remarks(delivery: Delivery, wanted: Wanted) -> tuple[str, ...]:
    """Say what the file does not hold."""
    words = hole_words(delivery, "they have no samples, and whoever reads the file draws a straight line over them")
    return words + lens_words(
        delivery, untold="there is no sample of it, and readers take the standard's own without any (50 mm)"
    )


def space(wanted: Wanted) -> Space:
    """Return in which space the camera is written."""
    turns = {
        "y": "rotateZXY of (tilt, pan, -roll)",
        "z": "rotateZ by pan, then rotateX by tilt + 90, then rotateZ by -roll",
    }[wanted.up]
    return Space(
        up=wanted.up,
        unit="cm",
        in_metre=100.0,
        turns=f"{turns}, in degrees with all turns: {GROWS}",
        camera=LOOKING_BACK,
        lens="focal length and apertures in tenths of a unit, which are mm; distance in focus in cm",
    )


KIND = ExportKind(
    name="usd",
    title="OpenUSD camera",
    suffixes=(".usda", ".usdc"),
    holds="camera",
    make=make,
    remarks=remarks,
    extra="usd",
    space=space,
)
