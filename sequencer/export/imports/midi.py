"""A Standard MIDI File as tempo, metre and markers. Notes are not looked at.

Source: Standard MIDI Files 1.0 (RP-001), which `music.smf` reads; the SMPTE offset FF 54 as where the file begins.
"""

from fractions import Fraction

from sequencer.errors import ImportFault
from sequencer.export.contract import ImportKind
from sequencer.export.found import FoundCut, FoundMarker
from sequencer.music.smf import MAX_BYTES, Offset, read_song
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, count


def cut(data: bytes, name: str, rate: Rate | None) -> FoundCut:
    """Return the file's markers and tempo. Error: ImportFault; also where it counts in frames, or is of format 2."""
    if len(data) > MAX_BYTES:
        raise ImportFault(f"{name}: larger than {MAX_BYTES // 2**20} MB; this is no song")
    song = read_song(data, name)
    remarks = list(song.words)
    start, counting = None, None
    if song.offset is not None:
        counting = _counting(song.offset, rate, name, remarks)
        start = counting.rate.seconds(count(song.offset.label, counting))
    elif rate is not None:
        remarks.append(f"the file has no timecode, so that the rate {rate} changes nothing")
    return FoundCut(
        rate=None if counting is None else counting.rate,
        drop=None if counting is None else counting.drop,
        start=start,
        markers=tuple(
            FoundMarker(text, (start or Fraction(0)) + song.tempo.seconds(beat)) for text, beat in song.markers
        ),
        tempo=song.tempo,
        remarks=tuple(remarks),
    )


def _counting(offset: Offset, rate: Rate | None, name: str, remarks: list[str]) -> Counting:
    """Return how the offset's label counts: as the file says, or at the operator's rate, where labels are the same."""
    its = offset.counting
    if rate is None or rate == its.rate:
        if not its.drop and its.rate != Rate(25):
            other = Rate(its.rate.num * 1000, 1001)
            remarks.append(f"the file says timecode of {its.rate}, and cannot say {other}: give --rate if it is that")
        return its
    if rate.nominal != its.rate.nominal:
        remarks.append(f"the file says timecode of {its.rate}; {rate} counts, as you say")
    try:
        counting = Counting(rate, its.drop)
        count(offset.label, counting)
    except ValueError as fault:
        raise ImportFault(f"{name}: its beginning {fault}; give another --rate, or none") from fault
    return counting


KIND = ImportKind(name="midi", title="tempo and markers of a MIDI file", suffixes=(".mid", ".midi", ".smf"), cut=cut)
