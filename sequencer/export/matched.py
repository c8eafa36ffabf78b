"""How well takes match, as both reports say it: the verdict in a frame, the table of the axes, and the lens."""

from collections.abc import Sequence

from sequencer.export.paper import Boxed, Table, number
from sequencer.rig.axis import Camera
from sequencer.takes.compare import AxisMatch, Comparison
from sequencer.takes.verdict import Verdict

_VERDICTS = {Verdict.MATCH: "Match", Verdict.DIFFER: "No match", Verdict.OPEN: "Not judged"}


def verdict_box(comparison: Comparison) -> Boxed:
    """Return the verdict and what must be known of it."""
    name = comparison.verdict
    return Boxed(_VERDICTS[name], (comparison.words, *comparison.notes), name.value)


def axes_table(axes: Sequence[AxisMatch]) -> Table:
    """Return one line for each axis, in its unit and in pixels."""
    heads = ("axis", "unit", "mean", "RMS", "peak", "at", "path repeatability", "RMS, pixels", "peak, pixels")
    rows = tuple(
        (
            one.axis,
            one.unit,
            number(one.mean),
            number(one.rms),
            number(one.peak),
            one.peak_at or "–",
            number(one.path_repeatability),
            number(one.pixels_rms, 2),
            number(one.pixels_peak, 2),
        )
        for one in axes
    )
    return Table("Difference between two takes at the same frame, over all pairs", heads, rows, left=2)


def lens_words(camera: Camera) -> str:
    """Return the lens, the sensor and the distance of the subject."""
    return (
        f"{camera.focal_mm:g} mm lens, {camera.pixels[0]} × {camera.pixels[1]} pixels over {camera.sensor_mm[0]:g} × "
        f"{camera.sensor_mm[1]:g} mm, subject at {camera.subject_m:g} m"
    )
