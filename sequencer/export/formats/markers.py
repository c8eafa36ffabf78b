"""A Standard MIDI File of the project's markers, its tempo map and metres, and its cues as cue points.

It begins with the first beat, or as many whole bars before it as the earliest marker or cue needs; where it can say its
timecode it does. Beats stay beats: a marker on a beat is on its tick, whatever the rounding of the tempo makes of its
time.

Source: Standard MIDI Files 1.0 (RP-001): marker FF 06, cue point FF 07, set tempo FF 51 in whole microseconds a
quarter note, SMPTE offset FF 54, time signature FF 58, all in the first track of a file of format 1.
"""

import io
from fractions import Fraction
from math import ceil, floor

import mido

from sequencer.errors import ExportError
from sequencer.export.contract import ExportKind, Wanted
from sequencer.export.delivery import Delivery
from sequencer.timebase.rate import Rate
from sequencer.timebase.tempo import QUARTER, TempoMap
from sequencer.timebase.timecode import Counting

TICKS = 960  # a quarter note
_LONGEST_US = 2**24 - 1
_MOST_BEATS = 255
_LAST_TICK = 2**28 - 1  # a delta time has four bytes of seven bits
_PLAIN = TempoMap(Fraction(120), 4)
_WORTH_SAYING_S = Fraction(1, 10**6)
# of the rates that an SMPTE offset can say, what the library calls each
_OFFSETS = {24: 24, 25: 25, 30: 30}


def make(delivery: Delivery, _suffix: str, _wanted: Wanted) -> bytes:
    """Return the file. Error: ExportError for a tempo or metre that the format has no number for."""
    tempo, origin = _tempo(delivery), _origin(delivery)
    events: list[tuple[int, int, mido.MetaMessage]] = [(0, 0, mido.MetaMessage("track_name", name=delivery.project))]
    if (offset := _offset(delivery, origin)) is not None:
        events.append((0, 1, offset))
    metre = None
    for one in tempo.stretches:
        # the first tempo and metre hold before the first beat too
        at = 0 if metre is None else _tick(tempo, one.beat, origin)
        if one.metre != metre or one.origin == one.beat:
            events.append((at, 2, _metre(one.beats_per_bar, one.beat_note)))
        metre = one.metre
        events.append((at, 3, mido.MetaMessage("set_tempo", tempo=_quarter_us(one.quarter_bpm))))
    for kind, name, seconds in _named(delivery):
        tick = _tick(tempo, tempo.beat(seconds), origin)
        events.append((tick, 4, mido.MetaMessage(kind, text=name)))
    file = mido.MidiFile(type=1, ticks_per_beat=TICKS, charset="utf-8")
    track = file.add_track()
    now = 0
    for tick, _, message in sorted(events, key=lambda one: one[:2]):
        if tick > _LAST_TICK:
            raise ExportError("a MIDI file of these markers would be longer than any; take out the farthest one")
        track.append(message.copy(time=tick - now))
        now = tick
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


def remarks(delivery: Delivery, wanted: Wanted) -> tuple[str, ...]:
    """Return what is rounded, by how much at most, and where the file is to be put."""
    words = []
    tempo, origin, timebase = _tempo(delivery), _origin(delivery), delivery.timebase
    if delivery.tempo is None:
        whose = "a take alone" if delivery.take else "the project"
        words.append(f"{whose} has no tempo: the file says 120 BPM in 4/4, and its beats mean nothing")
    rounded = [one.quarter_bpm for one in tempo.stretches if (60_000_000 / one.quarter_bpm).denominator != 1]
    if rounded:
        words.append(
            f"tempi are whole microseconds a quarter note: {float(rounded[0]):.9g} quarter notes a minute are "
            f"{60_000_000 / _quarter_us(rounded[0]):.9f}"
        )
    off = _furthest_off_s(delivery)
    if off > _WORTH_SAYING_S:
        frames = float(timebase.rate.frames(off))
        words.append(f"markers are off by up to {float(off) * 1000:.3g} ms, {frames:.2g} frame, by ticks and tempo")
    begins = timebase.label(round(timebase.rate.frames(tempo.seconds(origin)), 2))
    counting = timebase.counting
    if _offset(delivery, origin) is None:
        words.append(f"the format cannot say timecode at {counting.rate}: put the file's beginning at {begins}")
    elif counting.rate.fraction.denominator != 1 and not counting.drop:
        words.append(f"it begins at {begins}; it says {counting.rate.nominal}, since it cannot say {counting.rate}")
    else:
        words.append(f"it begins at {begins}, and says so")
    if wanted.first is not None:
        words.append("frames are not renumbered: a MIDI file has none")
    return tuple(words)


def _tempo(delivery: Delivery) -> TempoMap:
    return delivery.tempo or _PLAIN


def _named(delivery: Delivery) -> list[tuple[str, str, Fraction]]:
    """Return what is written at an instant: kind, words, and seconds from the project's start."""
    seconds = delivery.timebase.rate.seconds
    named = [("marker", one.name, seconds(one.at)) for one in delivery.markers]
    return named + [("cue_marker", one.name, seconds(one.start)) for one in delivery.cues]


def _origin(delivery: Delivery) -> Fraction:
    """Return the beat at which the file begins: 0, or that of a bar before it."""
    tempo = _tempo(delivery)
    earliest = min((tempo.beat(at) for _, _, at in _named(delivery)), default=Fraction(0))
    bars = min(0, floor(earliest / tempo.beats_per_bar))
    return Fraction(bars * tempo.beats_per_bar)


def _tick(tempo: TempoMap, beat: Fraction, origin: Fraction) -> int:
    quarters = tempo.at(beat).quarters(beat) - tempo.at(origin).quarters(origin)
    return floor(quarters * TICKS + Fraction(1, 2))


def _quarter_us(quarter_bpm: Fraction) -> int:
    microseconds = floor(60_000_000 / quarter_bpm + Fraction(1, 2))
    if not 1 <= microseconds <= _LONGEST_US:
        raise ExportError(f"{float(quarter_bpm):.6g} quarter notes a minute have no number in a MIDI file; change it")
    return microseconds


def _metre(beats: int, note: int) -> mido.MetaMessage:
    if beats > _MOST_BEATS:
        raise ExportError(f"a bar of {beats} beats has no number in a MIDI file; {_MOST_BEATS} are the most")
    # a metronome that clicks each beat: MIDI clocks are 24 a quarter note
    clocks = max(1, ceil(24 * QUARTER / note))
    return mido.MetaMessage(
        "time_signature", numerator=beats, denominator=note, clocks_per_click=clocks, notated_32nd_notes_per_beat=8
    )


def _offset(delivery: Delivery, origin: Fraction) -> mido.MetaMessage | None:
    """Return the SMPTE offset of the file's beginning, to a hundredth of a frame; None where it cannot be said."""
    timebase = delivery.timebase
    counting = timebase.counting
    said = 29.97 if counting.drop else _OFFSETS.get(counting.rate.nominal)
    if said is None or counting == Counting(Rate(60000, 1001), True):
        return None
    at = timebase.rate.frames(_tempo(delivery).seconds(origin))
    label = timebase.label(Fraction(floor(at * 100 + Fraction(1, 2)), 100))
    return mido.MetaMessage(
        "smpte_offset",
        frame_rate=said,
        hours=label.hours,
        minutes=label.minutes,
        seconds=label.seconds,
        frames=label.frames,
        sub_frames=int(label.part * 100),
    )


def _furthest_off_s(delivery: Delivery) -> Fraction:
    """Return by how much the farthest marker or cue is off, by the tempi and ticks as they are written."""
    tempo, origin = _tempo(delivery), _origin(delivery)
    begins = tempo.seconds(origin)
    steps: list[tuple[int, Fraction, int]] = []  # tick, seconds from the file's beginning, microseconds
    for one in tempo.stretches:
        tick, at_s = 0, Fraction(0)
        if steps:
            before, at_s, us = steps[-1]
            tick = _tick(tempo, one.beat, origin)
            at_s += Fraction((tick - before) * us, TICKS * 10**6)
        steps.append((tick, at_s, _quarter_us(one.quarter_bpm)))
    worst = Fraction(0)
    for _, _, seconds in _named(delivery):
        tick = _tick(tempo, tempo.beat(seconds), origin)
        before, at_s, us = next(one for one in reversed(steps) if one[0] <= tick)
        worst = max(worst, abs(at_s + Fraction((tick - before) * us, TICKS * 10**6) - (seconds - begins)))
    return worst


KIND = ExportKind(
    name="midi",
    title="a MIDI file of markers, cue points and tempo",
    suffixes=(".mid",),
    holds="markers",
    make=make,
    remarks=remarks,
)
