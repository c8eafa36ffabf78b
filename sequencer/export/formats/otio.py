"""OpenTimelineIO: takes as clips at their own timecode, one track for each pass, and the markers of the project.

The first track of a pass has its selects (`export.selects`); its other takes lie on tracks above that are switched off.
Frame 0 of the timeline is the project's start, or what begins before it; `global_start_time` is its timecode.

Source: the OpenTimelineIO 0.18 schemas Timeline.1, Track.1, Clip.2, MissingReference.1, Marker.2; that a clip's
`source_range` is in its media's own timecode, and markers in their parent's time: its documentation on time.
"""

from fractions import Fraction
from math import floor
from typing import Any

from sequencer.errors import ExportError
from sequencer.export.contract import ExportKind, Wanted
from sequencer.export.delivery import Delivery
from sequencer.export.otio_library import library
from sequencer.export.selects import Clip, Lane, lanes
from sequencer.timebase.timecode import count

OURS = "twintake"


def make(delivery: Delivery, _suffix: str, _wanted: Wanted) -> bytes:
    """Return the timeline as JSON. Error: ExportError where the library is missing, or there is nothing to write."""
    otio = library(ExportError)
    rows = lanes(delivery)
    if not rows and not delivery.markers:
        raise ExportError(f"{delivery.project} has no take, no cue and no marker; there is nothing for a timeline")
    timebase = delivery.timebase
    begin = _begin(delivery, rows)
    writer = _Writer(otio, delivery, begin)
    timeline = otio.schema.Timeline(delivery.project)
    origin = (count(timebase.start, timebase.counting) + begin) % timebase.counting.day
    timeline.global_start_time = writer.time(origin)
    timeline.metadata[OURS] = {
        "made": delivery.made,
        "document": delivery.document,
        "project": delivery.project,
        "rate": str(timebase.rate),
        "drop": timebase.counting.drop,
        "start": str(timebase.start),
    }
    for row in rows:
        timeline.tracks.append(writer.track(row))
    for marker in delivery.markers:
        timeline.tracks.markers.append(writer.marker(marker.name, marker.at))
    return (str(timeline.to_json_string(indent=2)) + "\n").encode()


def remarks(delivery: Delivery, wanted: Wanted) -> tuple[str, ...]:
    """Return what the timeline cannot hold exactly, and what an editor finds in it."""
    rate, words = delivery.timebase.rate, []
    if rate.den != 1:
        words.append(f"the rate is {rate}; the format has {float(rate.fraction)!r}, and the exact one in metadata")
    if delivery.timebase.counting.drop:
        words.append("the format does not say drop-frame: set the timeline to it; frames are counted, not labels")
    between = [one for one in delivery.markers if one.at.denominator != 1]
    if between:
        at = delivery.timebase.label(round(between[0].at, 3))
        words.append(f"markers between frames: {len(between)}, the first {between[0].name} at {at}; readers round them")
    if delivery.takes:
        words.append(
            "clips have no media: link them by timecode; takes that are not selects are on tracks that are off"
        )
    if wanted.first is not None:
        words.append("frames are not renumbered: a timeline keeps its timecode")
    return tuple(words)


def _begin(delivery: Delivery, rows: tuple[Lane, ...]) -> int:
    """Return the frame after the project's start at which the timeline begins; never after it."""
    at = [clip.first for row in rows for clip in row.clips] + [floor(one.at) for one in delivery.markers]
    return min(0, *at)


class _Writer:
    """Makes the library's objects of ours. `begin` is frame 0 of the timeline, in frames after the project's start."""

    def __init__(self, otio: Any, delivery: Delivery, begin: int) -> None:
        self._otio, self._begin = otio, begin
        self._rate = float(delivery.timebase.rate.fraction)
        counting = delivery.timebase.counting
        self._day, self._start = counting.day, count(delivery.timebase.start, counting)

    def time(self, frames: Fraction | int) -> Any:
        return self._otio.opentime.RationalTime(float(frames), self._rate)

    def marker(self, name: str, at: Fraction) -> Any:
        span = self._otio.opentime.TimeRange(self.time(at - self._begin), self.time(0))
        return self._otio.schema.Marker(name=name, marked_range=span, metadata={OURS: {"frames": str(at)}})

    def track(self, row: Lane) -> Any:
        otio = self._otio
        name = row.run if row.selects else f"{row.run}, other takes"
        track = otio.schema.Track(name, kind=otio.schema.TrackKind.Video)
        track.enabled = row.selects
        track.metadata[OURS] = {"pass": row.run, "selects": row.selects}
        at = self._begin
        for clip in row.clips:
            if clip.first > at:
                gap = otio.opentime.TimeRange(self.time(0), self.time(clip.first - at))
                track.append(otio.schema.Gap(source_range=gap))
            track.append(self._clip(clip))
            at = clip.end
        return track

    def _clip(self, clip: Clip) -> Any:
        otio, take = self._otio, clip.take
        there = self.time((self._start + clip.first) % self._day)
        span = otio.opentime.TimeRange(there, self.time(clip.end - clip.first))
        said: dict[str, Any] = {"cue": clip.cue, "pass": clip.run}
        if take is not None:
            said |= {"take": take.name, "number": take.number, "circled": take.circled, "note": take.note}
            said |= {"started": take.started, "file": take.file, "span": [str(one) for one in take.span]}
        media = otio.schema.MissingReference(name=take.file if take else "", available_range=span)
        return otio.schema.Clip(clip.name, media_reference=media, source_range=span, metadata={OURS: said})


KIND = ExportKind(
    name="otio",
    title="OpenTimelineIO: takes as clips, and markers",
    suffixes=(".otio",),
    holds="takes",
    make=make,
    remarks=remarks,
    extra="otio",
)
