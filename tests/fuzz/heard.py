"""Targets: time and orders that come in by MIDI, sound and OSC, and hands on a pad."""

import math
from collections.abc import Callable
from functools import cache
from itertools import islice
from pathlib import Path
from typing import Any

import mido
import numpy as np

from sequencer.project.document import Project
from sequencer.project.store import load
from sequencer.shell.hands import HandsOn
from sequencer.shell.kinds import laws
from sequencer.sync.address import Addresses, running
from sequencer.sync.audio import audio_follower
from sequencer.sync.ltc import ltc_follower
from sequencer.sync.ltc_ear import LtcEar
from sequencer.sync.midi_clock import clock_follower
from sequencer.sync.midi_ear import MidiEar
from sequencer.sync.midi_orders import MidiOrders
from sequencer.sync.mtc import mtc_follower
from sequencer.sync.orders import Mapped, StartClock, StopRig
from sequencer.sync.pad_ear import PadEar
from sequencer.sync.reading import Follower, Lock
from sequencer.sync.recorded import frame_at, frames, runs
from sequencer.wire import ltc, ltc_rate, midi_clock, mmc, mtc, pad, played
from sequencer.wire.ltc_reader import LtcReader
from sequencer.wire.ltc_word import Word, decode, encode, fault
from sequencer.wire.midi import Messages
from tests.fuzz.target import Target, at_gap, packed, packets, pieces, timed

PROJECTS = Path(__file__).parents[2] / "projects"
_RATE_HZ = 16_000
_ODD = np.array((0.0, math.nan, math.inf, 1e38, 1e-30, 1.0, 1e-4, -1.0), np.float32)
_MARKS = (-40_000_000.0, -30_000_000.0, -20_000_000.0, -10_000_000.0, 0.0)


@cache
def project() -> Project:
    """The demo project whose rig and timebase the targets work for."""
    return load(PROJECTS / "harbour-lanterns", laws())


def _mtc(data: bytes) -> None:
    reader = mtc.Reader()
    found = [one for part in pieces(data) for one in reader.feed(part)]
    assert found == list(mtc.Reader().feed(data[1:])), "it depends on how the stream was split"
    addresses = Addresses(project().timebase.counting)
    for one in found:
        if isinstance(one, mtc.FullFrame):
            frame = addresses.frame(one.address)
            assert frame is None or addresses.address(frame) == one.address
            assert mtc.decode(one.data()) == one


def _midi(data: bytes) -> None:
    one, whole = Messages(real_time=True), Messages(real_time=True)
    found = [message for part in pieces(data) for message in one.feed(part)]
    assert found == list(whole.feed(data[1:])), "it depends on how the stream was split"
    clock = midi_clock.Reader()
    for part in pieces(data):
        clock.feed(part)
    for message in found:
        assert message[0] >= 0x80
        asked = mmc.decode(message)
        for command in asked.commands if asked else ():
            assert str(command)


@cache
def _mapped() -> tuple[Mapped, ...]:
    return (
        Mapped(message="note", number=60, order=StartClock()),
        Mapped(message="program", number=3, channel=2, order=StopRig()),
    )


def _midi_orders(data: bytes) -> None:
    orders = MidiOrders(_mapped(), 5, project().timebase)
    for number, part in enumerate(pieces(data)):
        for due in orders.feed(number, part):
            assert due.at_ns == number
    assert all(orders.troubles())


def _midi_ear(data: bytes) -> None:
    ear = MidiEar()
    now_ns = 0
    for now_ns, part in timed(data):
        ear.feed(now_ns, part)
    for later_ns in (0, 2_000_000_000):
        assert all(one.words and one.what for one in ear.facts(now_ns + later_ns))


def _followed(make: Callable[[], Follower]) -> Callable[[bytes], None]:
    def follow(data: bytes) -> None:
        follower = make()
        for now_ns, part in timed(data):
            follower.feed(now_ns, part)
            clock = follower.at(now_ns)
            assert clock.lock is Lock.WAITING or (math.isfinite(clock.position_s) and math.isfinite(clock.speed))
            follower.sightings()
        assert all(follower.troubles())
        assert follower.told

    return follow


def _clock() -> Follower:
    tempo = project().tempo
    assert tempo is not None
    return clock_follower(project().timebase, tempo)


def _ltc_words(data: bytes) -> None:
    ear, now_ns = LtcEar(), 0
    heard = []
    for now_ns, part in timed(data):
        try:
            heard.append(ltc.unpacked(part).heard)
        except ValueError:
            continue
        ear.feed(now_ns, part)
        word = decode(heard[-1].bits)
        if not fault(heard[-1].bits, 30) and not word.groups:
            assert decode(encode(word, 30)) == word
    for later_ns in (0, 2_000_000_000):
        assert all(one.words for one in ear.facts(now_ns + later_ns))


def _samples(data: bytes) -> np.ndarray[Any, np.dtype[np.float32]]:
    """Return sound of which each byte is a stretch without a change of sign, or one of a few oddities."""
    told = np.frombuffer(data, np.uint8)
    odd = told >= 0xF0
    lasts = np.where(odd, np.where(told & 8, 1, 64), told)
    height = np.where(odd, _ODD[told & 7], np.float32(0.5))
    height[::2] *= -1
    # and silence until the last words are through the filter
    return np.concatenate((np.repeat(height, lasts), np.zeros(_RATE_HZ // 20, np.float32)))


def _ltc_sound(data: bytes) -> None:
    samples = _samples(data[1:800])
    reader, other = LtcReader(_RATE_HZ), LtcReader(_RATE_HZ)
    heard = reader.feed(samples)
    step = 1 + 97 * (data[0] if data else 1)
    parts = [one for at in range(0, len(samples), step) for one in other.feed(samples[at : at + step])]
    assert parts == heard, "it depends on how the sound was split"
    counting = project().timebase.counting
    found = frames(heard, counting)
    assert len(runs(found, counting, _RATE_HZ)) <= len(found)
    frame_at(found, len(samples) / 2)
    shown = ltc_rate.shown(heard, _RATE_HZ)
    assert shown is None or (math.isfinite(shown.words_hz) and shown.rate)


def _hands(data: bytes) -> None:
    hands, ear, now_ns = HandsOn(project().rig, project().hands), PadEar(), 0
    hands.take(True)
    at = tuple(0.0 for _ in project().rig.axes)
    for now_ns, part in timed(data):
        ear.feed(now_ns, part)
        try:
            pad.unpacked(part)
        except ValueError:
            continue
        hands.feed(now_ns, part)
        wished = hands.wishes(now_ns, at)
        assert wished is None or len(wished) == len(at)
        hands.deeds()
    assert len(hands.settings()) <= 4
    ear.facts(now_ns)


def _pads(data: bytes) -> None:
    for part in packets(data):
        try:
            row = pad.unpacked(part)
        except ValueError:
            continue
        assert all(-1.001 <= one <= 1 for one in row.axes)
        assert len(row.axes) > pad.MOST_AXES or pad.unpacked(pad.packed(row)).buttons == row.buttons


def _played(data: bytes) -> None:
    for part in packets(data):
        try:
            assert played.unpacked(part).rate_hz > 0
        except ValueError:
            continue


# what is right, to begin with


def _by_mido(*messages: mido.Message) -> bytes:
    return b"".join(bytes(one.bytes()) for one in messages)


def _quarters(count: int = 48, *, backward: bool = False) -> list[bytes]:
    counting = project().timebase.counting
    return [part for _, part in islice(running(counting, 900_000, backward=backward), count)]


def _mtc_seeds() -> list[bytes]:
    full = mtc.FullFrame(mtc.Address(1, 10, 0, 5, 12)).data()
    quarters = [mido.Message("quarter_frame", frame_type=n % 8, frame_value=n % 4) for n in range(16)]
    return [b"\x21" + _by_mido(*quarters), b"\x00" + b"".join(_quarters()), b"\x42" + full + full]


def _midi_seeds() -> list[bytes]:
    asked = mmc.encode((mmc.Transport.STOP, mmc.Locate(1, 10, 0, 5, 12), mmc.Transport.PLAY), 5)
    return [
        b"\x13"
        + _by_mido(
            mido.Message("note_on", note=60, velocity=64),
            mido.Message("program_change", channel=1, program=3),
            mido.Message("pitchwheel", pitch=-100),
            mido.Message("sysex", data=(0x7F, 5, 6, 1)),
        ),
        b"\x02" + _by_mido(mido.Message("songpos", pos=16), mido.Message("continue"), *[mido.Message("clock")] * 9),
        b"\x30" + asked + b"\x90\x3c\x40\x3d\x00\xf8\x3e\x01" + mmc.encode((mmc.Transport.PAUSE,)),
    ]


def _timed_midi() -> list[bytes]:
    forward = b"".join(at_gap(10, one) for one in _quarters(96))
    back = b"".join(at_gap(10, one) for one in _quarters(64, backward=True))
    full = at_gap(150, mtc.FullFrame(mtc.Address(1, 10, 0, 5, 12)).data())
    clocks = at_gap(10, b"\xfa") + at_gap(20, b"\xf8") * 60 + at_gap(1, b"\xfc") + at_gap(4, b"\xf2\x10\x00\xfb")
    return [forward, full + forward[:120] + back, clocks, at_gap(1, b"\x90\x3c\x40") + forward[:80]]


def _word(frame: int, seconds: int = 5) -> bytes:
    return encode(Word(10, 0, seconds, frame), 25)


def _word_seeds() -> list[bytes]:
    def sent(frame: int, *, backward: bool = False) -> bytes:
        return ltc.packed(ltc.Heard(_word(frame), backward, _MARKS[::-1] if backward else _MARKS), 0)

    forward = b"".join(at_gap(40, sent(n)) for n in range(8))
    back = b"".join(at_gap(40, sent(20 - n, backward=True)) for n in range(8))
    return [forward, back, forward[:244] + at_gap(600, b"") + back[:244]]


def _sound_seeds() -> list[bytes]:
    """Words at 25 frames a second: a stretch is four samples where a half bit is one of 160 a word."""
    told = b""
    for frame in range(4):
        bits = int.from_bytes(_word(frame), "little")
        told += b"".join(b"\x04\x04" if bits >> place & 1 else b"\x08" for place in range(80))
    return [b"\x01" + told, b"\x09" + told[::-1], b"\x02" + told[:150] + b"\xf1\xf9\x50" + told[150:300]]


def _rows() -> list[bytes]:
    rest = pad.packed(pad.PadRow(0, "two sticks", (0.0,) * 6))
    held = pad.packed(pad.PadRow(0, "two sticks", (0.5, -1, 0, 0.25, 0, 1), frozenset({8, 9})))
    other = pad.packed(pad.PadRow(3, "", (0.1, 0.2), frozenset({0, 5}), known=False))
    return [rest, held, other, pad.packed(pad.PadRow(0, "two sticks", here=False))]


def _played_rows() -> list[bytes]:
    return [played.packed(played.Playing(n * 480, 48_000, n < 20)) for n in range(22)]


TARGETS = (
    Target(name="mtc", decode=_mtc, seeds=_mtc_seeds, longest=64),
    Target(name="midi", decode=_midi, seeds=_midi_seeds, longest=64),
    Target(name="midi-orders", decode=_midi_orders, seeds=_midi_seeds, longest=64),
    Target(name="midi-ear", decode=_midi_ear, seeds=_timed_midi, longest=400),
    Target(
        name="mtc-followed",
        decode=_followed(lambda: mtc_follower(project().timebase)),
        seeds=_timed_midi,
        longest=600,
    ),
    Target(name="clock-followed", decode=_followed(_clock), seeds=_timed_midi, longest=400),
    Target(name="ltc-words", decode=_ltc_words, seeds=_word_seeds, longest=600),
    Target(
        name="ltc-followed",
        decode=_followed(lambda: ltc_follower(project().timebase)),
        seeds=_word_seeds,
        longest=800,
    ),
    Target(name="ltc-sound", decode=_ltc_sound, seeds=_sound_seeds, longest=800),
    Target(
        name="audio-followed",
        decode=_followed(lambda: audio_follower(project().timebase, 1.0)),
        seeds=lambda: [b"".join(at_gap(10, one) for one in _played_rows())],
        longest=400,
    ),
    Target(name="pads", decode=_pads, seeds=lambda: [packed(_rows()), *(packed([one]) for one in _rows())]),
    Target(name="hands", decode=_hands, seeds=lambda: [b"".join(at_gap(10, one) for one in _rows() * 3)]),
    Target(name="played", decode=_played, seeds=lambda: [packed(_played_rows()[:3])], longest=80),
)
