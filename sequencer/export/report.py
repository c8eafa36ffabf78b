"""A comparison of takes as one HTML page that needs nothing beside it, made to be printed and filed with the slates.

It reads no file and no clock: the same takes give the same page.
"""

from collections.abc import Iterable, Sequence
from html import escape

import numpy as np

from sequencer.export.plots import axis_plot, clock_plot, shift_plot
from sequencer.takes.align import Alignment, Basis
from sequencer.takes.compare import CLOCK_STEP_S, AxisMatch, Comparison
from sequencer.takes.frames import GAP_S
from sequencer.takes.take import Take
from sequencer.takes.verdict import Verdict

_MOST_EVENTS = 200
_VERDICTS = {Verdict.MATCH: "Match", Verdict.DIFFER: "No match", Verdict.OPEN: "Not judged"}

_CAUTION = (
    "Motorised rigs crush, trap and drop things. This program is not a safety device: a hard-wired emergency stop that "
    "cuts motor power, in reach of a person who watches the rig, is required whatever the software does. Follow local "
    "codes and the set's responsible person; rigging over people, vehicles and powered lifts are for licensed people."
)

_STYLE = """
@page { size: A4; margin: 15mm; }
body { font: 10pt/1.4 "DejaVu Sans", Arial, Helvetica, sans-serif; color: #000; background: #fff;
  max-width: 180mm; margin: 10mm auto; padding: 0 4mm; }
h1 { font-size: 17pt; font-weight: normal; margin: 0 0 3mm; }
h2 { font-size: 11pt; margin: 7mm 0 2mm; border-bottom: 0.3mm solid #000; break-after: avoid; }
h3 { font-size: 10pt; margin: 4mm 0 1mm; break-after: avoid; }
p { margin: 1.5mm 0; }
dl { display: grid; grid-template-columns: 32mm 1fr; gap: 0.5mm 3mm; margin: 0; }
dt { color: #444; }
dd { margin: 0; }
.verdict { border: 0.5mm solid #000; padding: 2mm 3mm; margin: 5mm 0; break-inside: avoid; }
.verdict strong { display: block; font-size: 14pt; }
.match { border-width: 1.2mm; } .differ { border-width: 1.2mm; border-style: double; } .open { border-style: dashed; }
table { border-collapse: collapse; width: 100%; margin: 2mm 0 3mm; font-size: 8.5pt;
  font-variant-numeric: tabular-nums; }
th { font-weight: normal; color: #444; text-align: right; vertical-align: bottom; border-bottom: 0.2mm solid #000; }
td { text-align: right; border-bottom: 0.1mm solid #bbb; }
th, td { padding: 0.8mm 1.2mm; }
.left { text-align: left; }
tr, figure { break-inside: avoid; }
figure { margin: 2mm 0; }
svg { width: 100%; height: auto; }
.caution { border: 0.2mm solid #000; padding: 2mm 3mm; font-size: 8.5pt; margin-top: 6mm; break-inside: avoid; }
.small { font-size: 8.5pt; }
.above { break-after: avoid; }
@media print { body { margin: 0; padding: 0; max-width: none; } }
"""


def report(comparison: Comparison) -> str:
    """Return the report on a comparison as an HTML page.

    Source: HTML (WHATWG living standard) and SVG 1.1; nothing is loaded from anywhere.
    """
    first = comparison.takes[0]
    title = f"{first.project}: {first.cue}, {len(comparison.takes)} takes compared"
    parts = [
        f"<h1>{escape(title)}</h1>",
        _facts(comparison),
        _verdict(comparison),
        "<h2>How well the takes match</h2>",
        _axes_table(comparison.axes),
        _clock_cost(comparison.axes),
        *_shift(comparison),
        *_missing(comparison),
        "<h2>Each axis</h2>",
        *(_axis(comparison, number) for number in range(len(comparison.axes))),
        "<h2>Timecode and playback</h2>",
        _clock_table(comparison),
        f"<figure>{clock_plot(comparison)}</figure>",
        "<h2>What happened</h2>",
        *(_events(take, found, comparison) for take, found in _pairs(comparison)),
        "<h2>How the numbers are made</h2>",
        _method(comparison),
        f'<p class="caution">{escape(_CAUTION)}</p>',
    ]
    body = "\n".join(part for part in parts if part)
    return (
        f'<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n<title>{escape(title)}</title>\n'
        f"<style>{_STYLE}</style>\n</head>\n<body>\n{body}\n</body>\n</html>\n"
    )


def _pairs(comparison: Comparison) -> Iterable[tuple[Take, Alignment]]:
    return zip(comparison.takes, comparison.alignments, strict=True)


def _number(value: float | None, decimals: int = 4) -> str:
    # the z drops the sign of a number that rounds to zero
    return "–" if value is None else f"{value:z.{decimals}f}".replace("-", "−")


def _table(heads: Sequence[str], rows: Iterable[Sequence[str]], left: int = 1) -> str:
    """Return a table of text; the first `left` columns stand to the left."""

    def line(cells: Sequence[str], tag: str) -> str:
        marks = [' class="left"' if place < left else "" for place in range(len(cells))]
        return "".join(f"<{tag}{mark}>{escape(cell)}</{tag}>" for mark, cell in zip(marks, cells, strict=True))

    lines = "\n".join(f"<tr>{line(row, 'td')}</tr>" for row in rows)
    return f"<table>\n<thead><tr>{line(heads, 'th')}</tr></thead>\n<tbody>\n{lines}\n</tbody>\n</table>"


def _facts(comparison: Comparison) -> str:
    first, timebase, frames, camera = (
        comparison.takes[0],
        comparison.timebase,
        comparison.frames,
        comparison.camera,
    )
    span = f"{timebase.label(int(frames[0]))} to {timebase.label(int(frames[-1]))}, {len(frames)} frames"
    lens = (
        f"{camera.focal_mm:g} mm lens, {camera.pixels[0]} × {camera.pixels[1]} pixels over {camera.sensor_mm[0]:g} × "
        f"{camera.sensor_mm[1]:g} mm, subject at {camera.subject_m:g} m"
        if camera
        else "not one and the same in all takes, or not named in the rig file"
    )
    drop = ", drop-frame" if timebase.counting.drop else ""
    speed = "" if first.speed == 1 else f", pass at {first.speed} speed"
    rows = [
        ("Project", first.project),
        ("Cue", f"{first.cue}, {span}"),
        ("Rate", f"{timebase.rate} frames a second{drop}{speed}"),
        ("Camera", lens),
        *(
            (f"Take {place}", f"{take.name} – {take.run}, started {take.started}")
            for place, take in enumerate(comparison.takes, 1)
        ),
    ]
    return "<dl>" + "\n".join(f"<dt>{escape(name)}</dt><dd>{escape(text)}</dd>" for name, text in rows) + "</dl>"


def _verdict(comparison: Comparison) -> str:
    notes = "".join(f"<p>{escape(note)}</p>" for note in comparison.notes)
    name = comparison.verdict
    return (
        f'<div class="verdict {name.value}"><strong>{_VERDICTS[name]}</strong>{escape(comparison.words)}{notes}</div>'
    )


def _axes_table(axes: Sequence[AxisMatch]) -> str:
    heads = ("axis", "unit", "mean", "RMS", "peak", "at", "path repeatability", "RMS, pixels", "peak, pixels")
    rows = (
        (
            one.axis,
            one.unit,
            _number(one.mean),
            _number(one.rms),
            _number(one.peak),
            one.peak_at or "–",
            _number(one.path_repeatability),
            _number(one.pixels_rms, 2),
            _number(one.pixels_peak, 2),
        )
        for one in axes
    )
    return _table(heads, rows, left=2) + (
        '<p class="small">Mean, RMS and peak are of the size of the difference between two takes at the same frame, '
        "over all frames and every pair of takes.</p>"
    )


def _clock_cost(axes: Sequence[AxisMatch]) -> str:
    """Say what a clock error costs where each axis is fastest."""
    known = [one for one in axes if one.pixels_per_step is not None and one.fastest]
    if not known:
        return ""
    costs = "; ".join(
        f"{one.axis}, at most {one.fastest:.1f} {one.unit}/s: {_number(one.pixels_per_step, 2)} pixels" for one in known
    )
    return (
        f"<p>What {CLOCK_STEP_S * 1000:g} ms of clock error is on this lens and sensor, where an axis is fastest in "
        f"the cue – {escape(costs)}. (For scale: with a 35 mm lens and 4096 pixels over 24.9 mm it is about 0.6 pixel "
        "at 60 deg/s of pan.)</p>"
    )


def _shift(comparison: Comparison) -> Iterable[str]:
    if comparison.shift is not None:
        yield (
            '<p class="small above">The most that the picture can shift between any two takes, all axes together.</p>'
            f"<figure>{shift_plot(comparison)}</figure>"
        )


def _missing(comparison: Comparison) -> Iterable[str]:
    if comparison.missing:
        yield "<h3>Frames that were not compared</h3><ul>"
        yield "\n".join(f"<li>{escape(one.words)}</li>" for one in comparison.missing)
        yield "</ul>"


def _axis(comparison: Comparison, number: int) -> str:
    one = comparison.axes[number]
    parts = [f"<h3>{escape(one.axis)}</h3>"]
    if one.peak is not None and one.peak_takes is not None:
        in_pixels = "" if one.pixels_peak is None else f" ({one.pixels_peak:.2f} pixels)"
        first, second = one.peak_takes
        words = (
            f"Largest difference {one.peak:.4f} {one.unit}{in_pixels} between {first} and {second} at {one.peak_at}."
        )
    else:
        words = "The rig did not say where this axis stood."
    parts.append(f'<p class="above">{escape(words)}</p>')
    parts.append(f"<figure>{axis_plot(comparison, number)}</figure>")
    if one.pairs:
        rows = (
            (
                f"{pair.second} less {pair.first}",
                *(_number(value) for value in (pair.spread.offset, pair.spread.rms, pair.spread.peak)),
                pair.spread.at,
                _number(pair.pixels_peak, 2),
            )
            for pair in one.pairs
        )
        parts.append(_table(("difference", "mean", "RMS", "peak", "at", "peak, pixels"), rows))
    if one.following:
        follows = (
            (
                follow.take,
                *(_number(value) for value in (follow.spread.offset, follow.spread.rms, follow.spread.peak)),
                follow.spread.at,
                "–" if follow.behind_s is None else f"{follow.behind_s * 1000:.2f}",
            )
            for follow in one.following
        )
        parts.append(_table(("actual less asked", "mean", "RMS", "peak", "at", "behind, ms"), follows))
    return "\n".join(parts)


def _clock_table(comparison: Comparison) -> str:
    def row(take: Take, found: Alignment) -> Sequence[str]:
        error_ms = found.clock_error_s[np.isfinite(found.clock_error_s)] * 1000
        known = len(error_ms) > 0
        heard = found.basis is not Basis.PLAYBACK
        return (
            take.name,
            found.basis.value,
            str(len(found.heard_s)),
            _number(found.spread_s * 1000 if heard else None, 3),
            _number(float(error_ms.mean()) if known else None, 3),
            _number(float(error_ms.std()) if known else None, 3),
            _number((found.rate - 1) * 1e6 if heard else None, 1),
        )

    heads = (
        "take",
        "frames placed by",
        "messages",
        "their scatter, ms",
        "playback ahead: mean, ms",
        "SD, ms",
        "master's speed, ppm",
    )
    return _table(heads, (row(take, found) for take, found in _pairs(comparison)), left=2)


def _events(take: Take, found: Alignment, comparison: Comparison) -> str:
    """Return a take's log, its times counted from the instant of the cue's first frame that is known."""
    known = np.flatnonzero(np.isfinite(found.at_s))
    if len(known):
        frame = int(comparison.frames[known[0]])
        zero_s, zero = float(found.at_s[known[0]]), f"s from {comparison.timebase.label(frame)}"
    else:
        zero_s, zero = 0.0, "s from the first row"
    shown = take.happenings[:_MOST_EVENTS]
    rows = ((_number((one.at_ns - found.origin_ns) / 1e9 - zero_s, 3), one.code, one.text) for one in shown)
    more = len(take.happenings) - len(shown)
    rest = f"<p>{more} lines more are in the take file.</p>" if more else ""
    if not take.happenings:
        return f"<h3>{escape(take.name)}</h3><p>Nothing was noted.</p>"
    return f"<h3>{escape(take.name)}</h3>" + _table((zero, "what", "in words"), rows, left=3) + rest


def _method(comparison: Comparison) -> str:
    bases = {found.basis for found in comparison.alignments}
    placed = "; ".join(sorted(basis.value for basis in bases))
    text = (
        f"Frames are placed in time by {placed}. Playback's own clock is not used where there is timecode, so that "
        "its errors show. A transport delay that is the same in all takes cancels. Positions at a frame are a cubic "
        f"through the rig's answers around it; where answers lie more than {GAP_S * 1000:g} ms apart, the frame is not "
        "compared.",
        "Path repeatability is RT of ISO 9283: at each frame the mean distance of the takes from their mean path plus "
        "three standard deviations of it, and of that the largest. The standard measures a robot's tool in space over "
        "ten runs; here it is a single axis at the frames of the cue, so lateness counts. With two takes it is half "
        "the largest difference; it begins to mean more with several.",
        "Pixels: pan and tilt at the middle of the frame (towards the edges it is more), roll at its corner, slide and "
        "lift for a point at the subject's distance with the axis running across the view. All axes together: pan and "
        "slide, and tilt and lift, are taken to add up; the two directions at right angles; roll on top. The true "
        "shift of a point at that distance near the middle is not more, and may be less. Lens motors are given in "
        "their own unit only.",
        "Actual less asked compares the rig's answers with the setpoints due at the same instant; “behind” is the one "
        "delay that explains most of it.",
    )
    return "\n".join(f'<p class="small">{escape(part)}</p>' for part in text)
