"""The tempo, metre and markers of a Standard MIDI File, exactly. No file is opened here, and no note is looked at.

Source: Standard MIDI Files 1.0 (RP-001): chunks, of which unknown ones are skipped; variable-length quantities of at
most four bytes; set tempo FF 51 03, time signature FF 58 04, marker FF 06, SMPTE offset FF 54 05; 120 quarter notes a
minute and 4/4 where nothing is said. In the names of markers, UTF-8 where they are that, else Latin-1: common practice.
"""

from dataclasses import dataclass, field
from fractions import Fraction

from sequencer.errors import ImportFault
from sequencer.timebase.rate import Rate
from sequencer.timebase.tempo import BEAT_NOTES, QUARTER, Change, Stretch, TempoMap
from sequencer.timebase.timecode import Counting, Timecode, count

MAX_BYTES = 16 * 2**20
_DEFAULT_US = 500_000  # a quarter note
_LONGEST_S = 43_200
_MARKER, _END, _TEMPO, _OFFSET, _METRE = 0x06, 0x2F, 0x51, 0x54, 0x58
# what the two bits above the hour say
_COUNTINGS = (Counting(Rate(24)), Counting(Rate(25)), Counting(Rate(30000, 1001), True), Counting(Rate(30)))
_DATA_BYTES = {0x80: 2, 0x90: 2, 0xA0: 2, 0xB0: 2, 0xC0: 1, 0xD0: 1, 0xE0: 2}
_LONGEST_QUANTITY = 4  # bytes


@dataclass(frozen=True, slots=True)
class Offset:
    """The timecode at which a file begins, and how its labels count, as far as two bits can say it: 24, 25 or 30."""

    label: Timecode
    counting: Counting


@dataclass(frozen=True, slots=True, kw_only=True)
class Song:
    """What a file says of the music's time. `markers` are names with their beats; `words` what is worth knowing."""

    tempo: TempoMap
    markers: tuple[tuple[str, Fraction], ...]
    words: tuple[str, ...]
    offset: Offset | None = None


@dataclass(slots=True)
class _Told:
    """What all tracks together say, by tick; the last word at a tick counts."""

    tempi_us: dict[int, int] = field(default_factory=dict)
    metres: dict[int, tuple[int, int]] = field(default_factory=dict)
    markers: list[tuple[int, str]] = field(default_factory=list)
    offset: Offset | None = None
    words: list[str] = field(default_factory=list)


def read_song(data: bytes, name: str, at_s: Fraction = Fraction(0)) -> Song:
    """Return the song in the bytes of the file `name`, its first beat at `at_s` seconds from the project's start.

    Error: ImportFault, and no other, with what is wrong and where.
    """
    told = _Told()
    division = _read_chunks(data, name, told)
    tempo = _tempo(told, division, at_s, name)
    markers = sorted(told.markers, key=lambda one: one[0])
    if markers:
        _check_length(tempo.seconds(tempo.at_quarter(Fraction(markers[-1][0], division))) - at_s, name)
    words = [] if told.tempi_us else ["the file says no tempo: 120 BPM, as the standard has it"]
    words += [] if told.metres else ["the file says no metre: 4/4, as the standard has it"]
    return Song(
        tempo=tempo,
        markers=tuple((text, tempo.at_quarter(Fraction(tick, division))) for tick, text in markers),
        words=(*words, *told.words),
        offset=told.offset,
    )


def _tempo(told: _Told, division: int, at_s: Fraction, name: str) -> TempoMap:
    count, note = told.metres.get(0, (4, QUARTER))
    first = _bpm(told.tempi_us.get(0, _DEFAULT_US), note)
    now = TempoMap(first, count, at_s, note).stretches[0]
    changes = []
    for tick in sorted((told.tempi_us.keys() | told.metres.keys()) - {0}):
        quarter = Fraction(tick, division)
        change = _change(now, now.at_quarter(quarter), told.tempi_us.get(tick), told.metres.get(tick))
        if change is not None:
            changes.append(change)
            now = now.then(change)
            _check_length(now.at_s - at_s, name)
    return TempoMap(first, count, at_s, note, tuple(changes))


def _change(now: Stretch, beat: Fraction, tempo_us: int | None, metre: tuple[int, int] | None) -> Change | None:
    """Return what changes at `beat`; None where all is said that holds already."""
    count, note = metre or (now.beats_per_bar, now.beat_note)
    begins = metre is not None and (metre != (now.beats_per_bar, now.beat_note) or now.in_bar(beat).beat != 0)
    faster = tempo_us is not None and _bpm(tempo_us, QUARTER) != now.quarter_bpm
    if not begins and not faster:
        return None
    return Change(
        beat=beat,
        bpm=_bpm(tempo_us, note) if faster and tempo_us else None,
        beats_per_bar=count if begins else None,
        beat_note=note if note != now.beat_note else None,
    )


def _bpm(quarter_us: int, note: int) -> Fraction:
    return Fraction(60_000_000 * note, quarter_us * QUARTER)


def _check_length(seconds: Fraction, name: str) -> None:
    if seconds >= _LONGEST_S:
        raise _fault("it goes on for half a day or more", "this is not the time of a song", name)


def _read_chunks(data: bytes, name: str, told: _Told) -> int:
    """Read every track into `told`; return the ticks of a quarter note."""
    if data[:4] != b"MThd" or len(data) < 14:
        raise _fault("it is not a Standard MIDI File", "export one from where the music was made", name)
    header = int.from_bytes(data[4:8])
    form, tracks, division = (int.from_bytes(data[at : at + 2]) for at in (8, 10, 12))
    if header < 6 or form > 2:
        raise _fault("its header is not that of a Standard MIDI File", "export it again", name)
    if form == 2:
        what = "it is of format 2: songs one beside the other, each with its own time"
        raise _fault(what, "save the one that is meant as format 0 or 1", name)
    if division & 0x8000:
        what = "it counts its time in frames of timecode, not in notes, so that it has no beats"
        raise _fault(what, "save it with ticks a quarter note", name)
    if division == 0:
        raise _fault("it has no ticks in a quarter note", "export it again", name)
    at, found = 8 + header, 0
    while found < tracks:
        if at + 8 > len(data):
            what = f"it ends after {found} of the {tracks} tracks that it says it has"
            raise _fault(what, "copy or export it again", name)
        end = at + 8 + int.from_bytes(data[at + 4 : at + 8])
        if data[at : at + 4] == b"MTrk":
            found += 1
            if end > len(data):
                raise _fault("the file ends in the middle of it", "copy or export it again", name, f"track {found}")
            _Track(data, at + 8, end, f"track {found}", name).read(told)
        at = end
    return division


# mido (1.3.3) cannot take this over: it loses the time before a meta event that it does not know, so that all after it
# comes too early, and it refuses a file for a chunk that it does not know, which the standard says to skip, and for a
# key signature, a note or a frame offset that is none, which here nobody asks for.
class _Track:
    """Steps through the events of one track."""

    def __init__(self, data: bytes, at: int, end: int, place: str, file: str) -> None:
        self._data, self._at, self._end = data, at, end
        self._place, self._file = place, file

    def read(self, told: _Told) -> None:
        tick, status = 0, 0
        while self._at < self._end:
            tick += self._quantity()
            byte = self._take(1)[0]
            if byte < 0x80:  # running status: the event leaves out the one that it shares with the last
                self._at -= 1
                byte = status
            elif byte < 0xF0:
                status = byte
            if byte == 0xFF:
                kind = self._take(1)[0]
                if kind == _END:
                    return
                self._meta(kind, self._take(self._quantity()), tick, told)
            elif byte in (0xF0, 0xF7):
                self._take(self._quantity())
            elif byte & 0xF0 in _DATA_BYTES:
                self._take(_DATA_BYTES[byte & 0xF0])
            else:
                raise self._fault(f"an event that begins with {byte:02X} has no place in a file")

    def _meta(self, kind: int, data: bytes, tick: int, told: _Told) -> None:
        if kind == _TEMPO:
            quarter_us = int.from_bytes(data)
            if len(data) != 3 or not quarter_us:
                raise self._fault("a tempo that is none: a quarter note would take no time")
            told.tempi_us[tick] = quarter_us
        elif kind == _METRE:
            count, power = data[:2] if len(data) >= 2 else (0, 0)
            if not count or 1 << power not in BEAT_NOTES:
                raise self._fault("a metre that is none")
            told.metres[tick] = count, 1 << power
        elif kind == _MARKER and (text := _text(data)):
            told.markers.append((tick, text))
        elif kind == _OFFSET and tick == 0 and told.offset is None:
            self._offset(data, told)

    def _offset(self, data: bytes, told: _Told) -> None:
        """Keep where the file begins; one that is no timecode does no harm to the rest, and is said."""
        try:
            hours, minutes, seconds, frames, hundredths = data
            counting = _COUNTINGS[hours >> 5 & 0b11]
            label = Timecode(hours & 0b11111, minutes, seconds, frames, Fraction(hundredths, 100), counting.drop)
            count(label, counting)
        except ValueError:
            told.words.append(f"{self._place}: its SMPTE offset is no timecode and is left out")
            return
        told.offset = Offset(label, counting)

    def _take(self, count: int) -> bytes:
        taken = self._data[self._at : min(self._at + count, self._end)]
        if len(taken) < count:
            raise self._fault("it ends in the middle of an event")
        self._at += count
        return taken

    def _quantity(self) -> int:
        value = 0
        for _ in range(_LONGEST_QUANTITY):
            byte = self._take(1)[0]
            value = value << 7 | byte & 0x7F
            if byte < 0x80:
                return value
        raise self._fault("a length of time or of data that is longer than any")

    def _fault(self, what: str) -> ImportFault:
        return _fault(what, "export the file again", self._file, f"{self._place}, byte {self._at}")


def _fault(what: str, mend: str, file: str, place: str = "") -> ImportFault:
    return ImportFault(f"{file}: {f'{place}: ' if place else ''}{what}; {mend}")


def _text(data: bytes) -> str:
    """Return the words of a text event, as one line."""
    try:
        text = data.decode()
    except UnicodeDecodeError:
        text = data.decode("latin-1")
    return "".join(one for one in " ".join(text.split()) if one.isprintable())
