"""A recording's own timecode: the broadcast extension of a WAV, and what iXML says of its rate. No sample is read.

Source: EBU Tech 3285 version 2 for the time reference; the iXML specification 3.0 for the rate of the timecode and for
what the time reference is counted in, where the recording is to be pulled down. That a reference of zero means none:
common practice, no source.
"""

import struct
from fractions import Fraction

from sequencer.errors import ImportFault
from sequencer.export.contract import ImportKind
from sequencer.export.found import FoundCut
from sequencer.timebase.rate import RATES, Rate
from sequencer.timebase.timecode import Counting
from sequencer.wire.bext import Chunk, bext, chunks, without_sound
from sequencer.wire.ixml import MAX_BYTES, Ixml, ixml

_SAMPLES_A_SECOND_AT = 4  # in the content of `fmt `
_DAY_S = 86_487  # of labels at 24000/1001, which is a thousandth longer than a day


def cut(data: bytes, name: str, rate: Rate | None) -> FoundCut:
    """Return where the recording in these bytes begins; `rate`, where the operator says one, counts before iXML's.

    Error: ImportFault.
    """

    def read(at: int, size: int) -> bytes:
        return data[at : at + size]

    try:
        there: dict[bytes, Chunk] = {}
        for chunk in chunks(len(data), read):
            there.setdefault(chunk.name, chunk)
        extension = bext(len(data), read)
    except ValueError as fault:
        raise ImportFault(f"{name}: {fault}; copy it again, or export it as WAV") from fault
    told, remarks = Ixml(), []
    if (found := there.get(b"iXML")) is not None:
        try:
            told = ixml(read(found.at, min(found.size, MAX_BYTES + 1)))
        except ValueError as fault:
            remarks.append(f"{fault}; it is left out")
    reference = extension.reference if extension else 0
    if told.since_midnight is not None and told.since_midnight != reference:
        if reference:
            remarks.append(
                f"iXML says {told.since_midnight} samples since midnight, the broadcast extension {reference}, which "
                f"counts"
            )
        reference = reference or told.since_midnight
    if not reference:
        mend = "place it by ear, or take it from the recorder again"
        raise ImportFault(f"{name}: it does not say where in timecode it begins (no time reference); {mend}")
    hz = _samples_a_second(data, there, told, name, remarks)
    start = Fraction(reference, hz)
    if start >= _DAY_S:
        raise ImportFault(
            f"{name}: its time reference is {float(start / 3600):.6g} hours after midnight; its recorder was not set"
        )
    its_rate, drop = _rate(told, rate, remarks)
    if its_rate is None:
        remarks.append("the file says no frame rate: its samples since midnight are taken at the project's")
    return FoundCut(rate=its_rate, drop=drop, start=start, remarks=tuple(remarks))


def _samples_a_second(data: bytes, there: dict[bytes, Chunk], told: Ixml, name: str, remarks: list[str]) -> int:
    """Return what the time reference is counted in. Error: ImportFault where nobody says it."""
    hz = 0
    if (form := there.get(b"fmt ")) is not None and form.at + 8 <= len(data):
        (hz,) = struct.unpack_from("<I", data, form.at + _SAMPLES_A_SECOND_AT)
    stamp_hz = told.samples_a_second or hz
    if not stamp_hz:
        raise ImportFault(f"{name}: it does not say how many samples it has a second; export it again")
    if stamp_hz != hz:
        remarks.append(f"its time reference counts {stamp_hz} samples a second, its sound {hz}: it is to be pulled")
    return stamp_hz


def _rate(told: Ixml, rate: Rate | None, remarks: list[str]) -> tuple[Rate | None, bool | None]:
    """Return the rate of the timecode and whether it drops labels; remarks where it cannot be."""
    its_rate = None
    if told.timecode_rate is not None:
        above, _, below = told.timecode_rate.partition("/")
        its_rate = next((one for one in RATES.values() if (str(one.num), str(one.den)) == (above, below or "1")), None)
        if its_rate is None:
            remarks.append(f"iXML says the timecode rate {told.timecode_rate[:32]!r}, which is none; it is left out")
    if rate is not None and its_rate not in (None, rate):
        remarks.append(f"iXML says the timecode rate {its_rate}; {rate} counts, as you say")
    its_rate = rate or its_rate
    drop = told.drop if its_rate is not None else None
    if drop and its_rate is not None:
        try:
            Counting(its_rate, drop)
        except ValueError as fault:
            remarks.append(f"iXML says drop-frame, but {fault}; it is taken as non-drop")
            drop = False
    return its_rate, drop


KIND = ImportKind(
    name="wav",
    title="a recording's timecode, of a WAV's broadcast extension",
    suffixes=(".wav", ".bwf", ".rf64", ".bw64"),
    cut=cut,
    shorten=without_sound,
)
