"""What a port hears, in words: timecode of every rate without a project, tempo, triggers, and what nobody asked for."""

from collections.abc import Iterable
from itertools import pairwise

import mido
import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from sequencer.sync.describe import Describer
from sequencer.sync.facts import Fact
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timecode, count, label
from sequencer.wire import mmc
from sequencer.wire.ltc import Heard, packed
from sequencer.wire.ltc_word import Word, encode
from sequencer.wire.osc import command
from tests.sync.master import COUNTINGS, Sent, chance, later, run, ten_o_clock

SECOND = 1_000_000_000
SLOW = 1000 / 1001


def heard(sent: Iterable[Sent]) -> tuple[Describer, int]:
    """Return who heard all of this, and when the last of it came."""
    describer, now_ns = Describer("midi", 0), 0
    for message in sorted(sent, key=lambda one: one.at_s):
        now_ns = message.at_ns
        describer.feed(now_ns, message.data)
    return describer, now_ns


def midi(*messages: bytes) -> tuple[str, ...]:
    describer = Describer("midi", 0)
    for message in messages:
        describer.feed(SECOND, message)
    return describer.words(SECOND)


def only(facts: Iterable[Fact], what: str = "MTC") -> Fact:
    (fact,) = [fact for fact in facts if fact.what == what]
    return fact


@pytest.mark.parametrize(
    ("counting", "speed", "rate", "percent"),
    [
        ("24", 1.0, "24", 100.0),
        ("24", SLOW, "24000/1001", 100.0),
        ("25", 1.0, "25", 100.0),
        ("25", SLOW, "25", 99.9),
        ("25", 1.04, "25", 104.0),
        ("30 drop", 1.0, "30000/1001", 100.0),
        ("30", 1.0, "30", 100.0),
        ("30", SLOW, "30000/1001", 100.0),
        ("30", 0.9, "30", 90.0),
    ],
)
@pytest.mark.parametrize("backward", [False, True])
def test_a_masters_rate_place_and_speed_are_told(
    counting: str, speed: float, rate: str, percent: float, backward: bool
) -> None:
    how = COUNTINGS[counting]
    sent = run(how, ten_o_clock(how), 8.0, chance(1), at_s=1.0, sigma_s=3e-4, speed=speed, backward=backward)
    describer, now_ns = heard(sent)
    fact = only(describer.facts(now_ns))
    assert fact.values["rate"] == rate
    assert fact.values["drop"] == str(how.drop).lower()
    assert fact.values["timecode"] == str(label(sent[-1].quarter // 4, how))
    told = fact.values["speed_percent"]
    assert isinstance(told, float)
    assert told == pytest.approx(-percent if backward else percent, abs=0.05)
    assert fact.count == len(sent)


@pytest.mark.parametrize("sigma_s", [3e-4, 1e-3, 2e-3])
def test_the_jitter_is_told(sigma_s: float) -> None:
    how = COUNTINGS["25"]
    describer, now_ns = heard(run(how, 1000, 8.0, chance(2), at_s=1.0, sigma_s=sigma_s))
    jitter = only(describer.facts(now_ns)).values["jitter_ms"]
    assert isinstance(jitter, float)
    assert jitter == pytest.approx(sigma_s * 1000, rel=0.25)


def test_a_rate_that_only_the_speed_can_tell_is_not_guessed_early() -> None:
    how = COUNTINGS["30"]
    describer, now_ns = heard(run(how, 1000, 0.3, chance(1), at_s=1.0))
    fact = only(describer.facts(now_ns))
    assert fact.values["rate"] is None
    assert "30 or 30000/1001 frames a second" in fact.words


@given(start=st.integers(0, 2_589_407), skip=st.integers(0, 7), name=st.sampled_from(sorted(COUNTINGS)))
@example(start=0, skip=4, name="30 drop")
@example(start=1798, skip=1, name="30 drop")
def test_any_sixteen_quarter_frames_tell_the_place(start: int, skip: int, name: str) -> None:
    how = COUNTINGS[name]
    start %= how.day
    # up to four more at an edge of a minute with dropped labels, where eight to eleven may leave two answers
    sent = run(how, start, 1.0, chance(1), at_s=1.0, sigma_s=0.0, skip=skip)[: 20 if how.drop else 16]
    describer, now_ns = heard(sent)
    assert only(describer.facts(now_ns)).values["timecode"] == str(label(sent[-1].quarter // 4, how))


@pytest.mark.parametrize("shift", [1, 3000, 90_000])
@pytest.mark.parametrize("off_s", [0.0, 0.003, 0.013])
@pytest.mark.parametrize(("one", "other"), [("25", "25"), ("25", "30"), ("24", "30 drop"), ("30", "30")])
def test_two_masters_on_one_wire_are_told_apart(one: str, other: str, off_s: float, shift: int) -> None:
    a, b = COUNTINGS[one], COUNTINGS[other]
    first = run(a, ten_o_clock(a), 3.0, chance(1), at_s=1.0, sigma_s=3e-4)
    second = run(b, ten_o_clock(b) + shift, 3.0, chance(2), at_s=1.0 + off_s, sigma_s=3e-4)
    describer, now_ns = heard(first + second)
    facts = describer.facts(now_ns)
    places = sorted(str(fact.values["timecode"]) for fact in facts if fact.what == "MTC")
    assert len(places) == 2
    assert only(facts, "two timecodes").wrong
    if off_s:
        # of two that tick together nobody can say which piece is whose
        last = (label(first[-1].quarter // 4, a), label(second[-1].quarter // 4, b))
        assert places == sorted(str(at) for at in last)


@pytest.mark.parametrize("seed", range(3))
def test_one_master_with_losses_is_not_taken_for_two(seed: int) -> None:
    how, dice = COUNTINGS["25"], chance(seed)
    sent = [one for one in run(how, 1000, 12.0, dice, at_s=1.0) if dice.random() > 0.1]
    describer = Describer("midi", 0)
    for number, message in enumerate(sent):
        describer.feed(message.at_ns, message.data)
        if number > 100:
            assert [fact.what for fact in describer.facts(message.at_ns)] == ["MTC"]


def test_a_jump_is_not_taken_for_two_masters() -> None:
    how = COUNTINGS["25"]
    before = run(how, 1000, 3.0, chance(1), at_s=1.0)
    after = later(run(how, 50_000, 3.0, chance(2)), before[-1].at_s + 0.01)
    describer = Describer("midi", 0)
    for message in before + after:
        describer.feed(message.at_ns, message.data)
        assert "two timecodes" not in [fact.what for fact in describer.facts(message.at_ns)]
    assert only(describer.facts(message.at_ns)).values["timecode"] == str(label(after[-1].quarter // 4, how))


def test_a_master_that_comes_twice_is_a_loop_and_not_two_masters() -> None:
    how = COUNTINGS["25"]
    sent = run(how, 1000, 3.0, chance(1), at_s=1.0, sigma_s=0.0)
    describer, now_ns = heard(sent + later(sent, 0.0005))
    facts = describer.facts(now_ns)
    assert [fact.what for fact in facts] == ["MTC", "copies"]
    assert only(facts, "copies").wrong


def test_random_quarter_frames_make_no_time() -> None:
    dice = chance(3)
    describer = Describer("midi", 0)
    for number in range(20_000):
        now_ns = SECOND + number * 8_333_333
        describer.feed(now_ns, bytes((0xF1, int(dice.integers(128)))))
        if number % 10 == 0:
            assert not describer.facts(now_ns)[0].values
    assert "make no time" in only(describer.facts(now_ns)).words


def test_a_master_that_ends_has_stopped_there_and_the_silence_is_told() -> None:
    how = COUNTINGS["30 drop"]
    sent = run(how, ten_o_clock(how), 2.0, chance(1), at_s=1.0)
    describer, now_ns = heard(sent)
    assert describer.silence(now_ns) == ""
    at = label(sent[-1].quarter // 4, how)
    assert describer.words(now_ns + 12 * SECOND) == (
        "nothing for 12 s",
        f"MTC 30000/1001 frames a second, drop-frame, stopped at {at}",
    )


def test_nothing_is_told_as_nothing() -> None:
    assert Describer("midi", 0).words(SECOND) == ("nothing yet",)
    assert Describer("osc", 0).words(5 * SECOND) == ("nothing for 5 s",)


def test_the_specifications_full_frame_is_read() -> None:
    # Source: MIDI Time Code and Cueing, 1987, worked example of 01:37:52:16 at 30 frames a second
    words = midi(bytes.fromhex("F0 7F 7F 01 01 61 25 34 10 F7"))
    assert words == ("MTC 30 frames a second, stands at 01:37:52:16 (full frame)",)


def ticks(bpm: float, seconds: float, sigma_s: float) -> list[int]:
    gap_s = 60 / bpm / 24
    number = int(seconds / gap_s)
    off = chance(4).normal(0, sigma_s, number)
    return sorted(round((1 + k * gap_s + off[k]) * SECOND) for k in range(number))


@pytest.mark.parametrize("bpm", [40.0, 96.0, 174.5, 300.0])
def test_the_tempo_of_midi_clock_is_told(bpm: float) -> None:
    describer = Describer("midi", 0)
    stamps = ticks(bpm, 8.0, 1e-3)
    for stamp_ns in stamps:
        describer.feed(stamp_ns, b"\xf8")
    fact = only(describer.facts(stamps[-1]), "MIDI clock")
    assert fact.values["bpm"] == pytest.approx(bpm, rel=2e-3)
    assert only(describer.facts(stamps[-1] + SECOND), "MIDI clock").words == "stopped"


def test_clock_and_timecode_on_one_port_do_not_disturb_each_other() -> None:
    how = COUNTINGS["25"]
    sent = run(how, 1000, 4.0, chance(1), at_s=1.0)
    both = sorted([(one.at_ns, one.data) for one in sent] + [(at_ns, b"\xf8") for at_ns in ticks(96.0, 4.0, 1e-4)])
    describer = Describer("midi", 0)
    for at_ns, data in both:
        describer.feed(at_ns, data)
    facts = describer.facts(at_ns)
    assert only(facts).values["timecode"] == str(label(sent[-1].quarter // 4, how))
    assert only(facts, "MIDI clock").values["bpm"] == pytest.approx(96.0, rel=1e-3)


@pytest.mark.parametrize(
    ("message", "words"),
    [
        (mido.Message("note_on", channel=9, note=36, velocity=100), "note 36 channel 10, velocity 100"),
        (mido.Message("note_on", channel=0, note=1, velocity=0), "note off 1 channel 1"),
        (mido.Message("note_off", channel=9, note=36), "note off 36 channel 10"),
        (mido.Message("program_change", channel=1, program=5), "program 5 channel 2"),
        (mido.Message("control_change", control=7, value=3), "controller 7 channel 1, value 3"),
        (mido.Message("pitchwheel", pitch=-100), "pitch bend -100 channel 1"),
        (mido.Message("aftertouch", value=3), "aftertouch D0 03 channel 1"),
        (mido.Message("songpos", pos=16), "song position 16 (sixteenth notes)"),
        (mido.Message("song_select", song=2), "song 2"),
        (mido.Message("start"), "MIDI clock message start"),
        (mido.Message("reset"), "reset first: FF"),
        (mido.Message("sysex", data=(0x7D, 1, 2)), "system exclusive first: F0 7D 01 02 F7"),
    ],
)
def test_each_kind_of_message_has_its_words(message: mido.Message, words: str) -> None:
    assert midi(bytes(message.bin())) == (words,)


def test_machine_control_is_told_with_its_device() -> None:
    assert midi(mmc.encode([mmc.Transport.PLAY])) == ("machine control play (device 127)",)
    locate = mmc.Locate(1, 10, 0, 7, 12)
    assert midi(mmc.encode([mmc.Transport.STOP, locate], 16)) == (
        "machine control stop, locate 10:00:07:12 (device 16)",
    )
    assert midi(bytes.fromhex("F0 7F 10 06 44 06 F7")) == (
        "machine control its command locate is cut short (device 16)",
    )


def test_of_unknown_things_the_first_is_shown_and_all_are_counted() -> None:
    describer = Describer("midi", 0)
    for number in range(5):
        describer.feed(SECOND, bytes((0xF0, 0x7D, number, *range(60), 0xF7)))
        describer.feed(SECOND, b"\x01\x02\x03\xf6")
    facts = {fact.what: fact for fact in describer.facts(SECOND)}
    counts = {what: fact.count for what, fact in facts.items()}
    assert counts == {"system exclusive": 5, "no MIDI": 5, "tune request": 5}
    first = "first: F0 7D 00 00 01 02 03 04 05 06 07 08 09 0A 0B 0C … (64 bytes)"
    assert facts["system exclusive"].words == first
    assert facts["no MIDI"].words == "first: 01 02 03 F6"


@given(st.lists(st.binary(max_size=40), max_size=40))
def test_bytes_of_any_kind_are_described(pieces: list[bytes]) -> None:
    describer = Describer("midi", 0)
    for number, piece in enumerate(pieces):
        describer.feed(number * 1_000_000, piece)
        assert all(isinstance(words, str) for words in describer.words(number * 1_000_000))


@given(st.data())
def test_a_stream_may_be_split_anywhere(data: st.DataObject) -> None:
    stream = bytes.fromhex("90 24 40 25 40 F0 7D 01 F7 C0 05 F0 7F 7F 01 01 2A 00 00 00 F7 B0 07 03")
    cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=6)))
    pieces = [stream[a:b] for a, b in pairwise([0, *cuts, len(stream)])]
    assert set(midi(*pieces)) == set(midi(stream))


@pytest.mark.parametrize(
    "counting",
    [
        Counting(Rate(24)),
        Counting(Rate(24000, 1001)),
        Counting(Rate(25)),
        Counting(Rate(30000, 1001)),
        Counting(Rate(30000, 1001), drop=True),
        Counting(Rate(30)),
    ],
    ids=str,
)
@pytest.mark.parametrize("speed", [1.0, -1.0])
def test_linear_timecode_is_told_in_every_rate(counting: Counting, speed: float) -> None:
    describer, now_ns, at = linear(counting, speed, 150)
    fact = only(describer.facts(now_ns), "LTC")
    assert fact.values["rate"] == str(counting.rate)
    assert fact.values["drop"] == str(counting.drop).lower()
    assert fact.values["timecode"] == str(at)
    assert fact.values["speed_percent"] == pytest.approx(100 * speed, abs=0.05)
    assert fact.values["user_bits"] == "00000021"
    assert fact.count == 150


@pytest.mark.parametrize(("speed", "rate"), [(0.5, "25"), (1.04, "25"), (2.0, "25")])
def test_linear_timecode_at_another_speed_keeps_its_rate(speed: float, rate: str) -> None:
    describer, now_ns, _ = linear(Counting(Rate(25)), speed, 150)
    fact = only(describer.facts(now_ns), "LTC")
    assert fact.values["rate"] == rate
    assert fact.values["speed_percent"] == pytest.approx(100 * speed, rel=1e-3)


def test_frames_that_were_not_counted_yet_are_not_guessed() -> None:
    describer, now_ns, at = linear(Counting(Rate(25)), 1.0, 10)
    assert only(describer.facts(now_ns), "LTC").words == f"about 25 frames a second, {at}, user bits 00000021"


def test_a_word_that_takes_no_time_is_said_and_not_counted_with() -> None:
    describer = Describer("ltc", 0)
    describer.feed(SECOND, packed(Heard(encode(Word(10, 0, 0, 5), 25), False, (SECOND,) * 5), SECOND))
    (fact,) = describer.facts(SECOND)
    assert (fact.words, fact.wrong) == ("a word that takes no time", True)


def linear(counting: Counting, speed: float, words: int) -> tuple[Describer, int, Timecode]:
    """Return who heard so many words from five frames after ten o'clock on, when, and the last label."""
    describer, dice = Describer("ltc", 0), np.random.default_rng(1)
    first = int(count(Timecode(10, 0, 0, 5, drop=counting.drop), counting))
    frame_ns = float(counting.rate.seconds(1)) / abs(speed) * 1e9
    way = 1 if speed > 0 else -1
    for k in range(words):
        at = label(first + way * k, counting)
        word = Word(at.hours, at.minutes, at.seconds, at.frames, drop=at.drop, user=(1, 2, 0, 0, 0, 0, 0, 0))
        zero, one, two, three, four = (
            SECOND + (k + quarter / 4) * frame_ns + dice.normal(0, 2e4) for quarter in range(5)[::way]
        )
        now_ns = round(max(zero, four) + 5e6)
        bits = encode(word, counting.rate.nominal)
        describer.feed(now_ns, packed(Heard(bits, speed < 0, (zero, one, two, three, four)), now_ns))
    return describer, now_ns, at


def test_osc_is_told_by_address_and_what_is_none_is_named() -> None:
    describer = Describer("osc", 0)
    describer.feed(SECOND, command("/run/start"))
    describer.feed(SECOND, command("/run/start"))
    describer.feed(SECOND, b"/mark/go\0\0\0\0,s\0\0lantern\0")
    describer.feed(SECOND, b"no packet")
    facts = describer.facts(SECOND)
    assert [(str(fact), fact.count) for fact in facts[:2]] == [("OSC /run/start", 2), ("OSC /mark/go lantern", 1)]
    assert facts[2].wrong
    assert "begins with '/'" in facts[2].words


def test_addresses_without_end_are_not_kept_without_end() -> None:
    describer = Describer("osc", 0)
    for number in range(1000):
        describer.feed(SECOND, command(f"/lamp/{number}"))
    facts = describer.facts(SECOND)
    assert len(facts) < 50
    assert sum(fact.count for fact in facts) == 1000
