"""Timelines from elsewhere: made with the library itself, and spoilt in every way that would end a program."""

import json
import subprocess
from collections.abc import Callable
from contextlib import suppress
from fractions import Fraction
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.errors import ImportFault
from sequencer.export.found import FoundCut
from sequencer.export.imports import otio as reader
from sequencer.export.imports.otio import KIND
from sequencer.export.otio_read import Answer, told
from sequencer.export.otio_read import read as read_here
from sequencer.timebase.rate import Rate

otio = pytest.importorskip("opentimelineio", reason="OpenTimelineIO has no wheels for this Python")


@pytest.fixture
def here(monkeypatch: pytest.MonkeyPatch) -> None:
    """Read in this process, which is what the reader's own would do, and quicker."""
    monkeypatch.setattr(reader, "_apart", lambda question, _name: read_here(question))


def time(value: float, rate: float = 25.0) -> Any:
    return otio.opentime.RationalTime(value, rate)


def span(start: float, length: float, rate: float = 25.0) -> Any:
    return otio.opentime.TimeRange(time(start, rate), time(length, rate))


def clip(name: str, start: float, length: float) -> Any:
    return otio.schema.Clip(name, source_range=span(start, length))


def timeline() -> Any:
    """A cut at 01:00:00:00: two shots with a dissolve, a gap, one more; markers on the timeline, a track and a clip."""
    made = otio.schema.Timeline("cut", global_start_time=time(90_000))
    track = otio.schema.Track("V1", kind="Video")
    first, second, third = clip("one", 500, 50), clip("two", 100, 25), clip("three", 0, 10)
    second.markers.append(otio.schema.Marker("in two", span(105, 0)))
    track.extend([first, otio.schema.Transition(in_offset=time(5), out_offset=time(5)), second])
    track.extend([otio.schema.Gap(source_range=span(0, 15)), third])
    track.markers.append(otio.schema.Marker("on the track", span(60, 0)))
    made.tracks.append(track)
    made.tracks.markers.append(otio.schema.Marker("on the timeline", span(7.5, 0)))
    return made


def read(made: Any, rate: Rate | None = None) -> FoundCut:
    assert KIND.cut is not None
    data = made if isinstance(made, bytes) else made.to_json_string().encode()
    return KIND.cut(data, "cut.otio", rate)


def test_clips_stand_where_the_library_says() -> None:
    made = timeline()
    found = read(made)
    hour = 3600
    assert found.rate == Rate(25)
    assert found.start == hour
    for one in found.shots:
        theirs = next(each for each in made.find_clips() if each.name == one.name)
        where = theirs.transformed_time_range(theirs.trimmed_range(), made.tracks)
        assert (one.start - hour) * 25 == where.start_time.value
        assert (one.end - one.start) * 25 == where.duration.value
    assert [one.name for one in found.shots] == ["one", "two", "three"]
    assert [(one.name, (one.at - hour) * 25) for one in found.markers] == [
        ("on the timeline", Fraction(15, 2)),
        ("in two", 55),
        ("on the track", 60),
    ]
    assert found.remarks == ("transitions, of which shots say nothing: 1",)


def test_a_timeline_without_a_start_has_no_timecode() -> None:
    made = timeline()
    made.global_start_time = None
    found = read(made)
    assert found.start is None
    assert found.shots[0].start == 0


def test_fractional_rates_are_exact() -> None:
    made = otio.schema.Timeline("cut", global_start_time=time(86_400, 24000 / 1001))
    made.tracks.markers.append(otio.schema.Marker("m", span(240, 0, 23.976023976023978)))
    found = read(made)
    assert found.rate == Rate(24000, 1001)
    assert found.markers[0].at == Fraction(86_640 * 1001, 24_000)


def test_what_is_left_out_is_counted() -> None:
    made = timeline()
    sound = otio.schema.Track("A1", kind="Audio")
    sound.append(clip("song", 0, 50))
    off = otio.schema.Track("V2", kind="Video")
    off.enabled = False
    nested = otio.schema.Stack("inside")
    nested.append(clip("deep", 0, 30))
    made.tracks[0].append(nested)
    slow = clip("slow", 0, 10)
    slow.effects.append(otio.schema.LinearTimeWarp(time_scalar=0.5))
    made.tracks[0].append(slow)
    unused = clip("unused", 0, 10)
    unused.enabled = False
    made.tracks[0].append(unused)
    made.tracks.extend([sound, off])
    found = read(made)
    assert [one.name for one in found.shots] == ["one", "two", "three", "inside", "slow"]
    for words in (
        "tracks without a picture, left out: 1",
        "tracks that are switched off, left out: 1",
        "clips that are switched off, left out: 1",
        "nested, taken as one shot each: 1",
        "clips at another speed, which keep the length that the edit has: 1",
    ):
        assert words in found.remarks


def test_a_rate_that_the_operator_says_counts_frame_for_frame() -> None:
    found = read(timeline(), Rate(24))
    assert found.start == Fraction(90_000, 24)
    assert found.shots[1].start == Fraction(90_050, 24)
    assert "the file says the rate 25; 24 counts, as you say, frame for frame" in found.remarks


def _spoil(change: Callable[[Any], None]) -> bytes:
    tree = json.loads(timeline().to_json_string())
    change(tree)
    return json.dumps(tree).encode()


def _clip_value(value: float) -> Callable[[Any], None]:
    def change(tree: Any) -> None:
        tree["tracks"]["children"][0]["children"][0]["source_range"]["duration"]["value"] = value

    return change


def _rate(rate: float) -> Callable[[Any], None]:
    def change(tree: Any) -> None:
        tree["global_start_time"]["rate"] = rate

    return change


def _alone(*clips: Any, start: float | None = None) -> bytes:
    """Return a timeline of clips on one track."""
    made = otio.schema.Timeline("cut", global_start_time=None if start is None else time(start))
    made.tracks.append(otio.schema.Track("V1", kind="Video", children=clips))
    return bytes(made.to_json_string(), "utf-8")


def _two() -> bytes:
    made = otio.schema.SerializableCollection("bin", [timeline(), timeline()])
    return bytes(made.to_json_string(), "utf-8")


@pytest.mark.usefixtures("here")
@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "it is no JSON"),
        (b"\xff\xfe", "byte 0: this is no text"),
        (b"{", "it is no JSON: Expecting property name"),
        (b"5", "it has a int and no timeline"),
        (b"[" * 100_000 + b"]" * 100_000, "nested deeper than any timeline"),  # ends the library's reader, and Python
        (b"[" * 300 + b"]" * 300, "nested deeper than any timeline"),
        (b'{"OTIO_SCHEMA": "Timeline.99"}', "it is no timeline that can be read: unsupported schema version"),
        (b'{"OTIO_SCHEMA": "Timeline.1", "name": "x"}', "it is no timeline that can be read"),
        (b'{"OTIO_SCHEMA": "SerializableCollection.1", "name": "", "children": []}', "it has 0 timelines"),
        (_two(), "it has 2 timelines, and one is needed; export the one that is meant"),
        (
            _alone(clip("one", 0, 9), otio.schema.Clip("lost", metadata={"words": "long " * 999})),
            "track 1, item 2 'lost': it cannot be followed: Cannot compute available range: No available_range set",
        ),
        (_alone(), "it says no rate; say it with --rate"),
        (
            _alone(clip("day", 0, 25 * 50_000), clip("night", 0, 25 * 50_000)),
            "track 1, item 2 'night': the track is longer than a day; export the edit alone",
        ),
        (_spoil(_clip_value(-5)), "track 1, item 1 'one': it lasts less than no time"),
        (_spoil(_clip_value(1e18)), "seconds are more than a day"),
        (_spoil(_clip_value(float("nan"))), "nan at the rate 25 is no time"),
        (_spoil(_rate(0)), "global_start_time: 90000 at the rate 0 is no time"),
        (_spoil(_rate(26)), "its rate is 26, which this program does not know; say it with --rate"),
        (
            _spoil(lambda tree: tree.update(tracks={"OTIO_SCHEMA": "SerializableObjectRef.1", "id": "Timeline-1"})),
            "an object in it refers to another",
        ),
        (b" " * (32 * 2**20 + 1), "larger than 32 MB"),
        (b'{"OTIO_SCHEMA": "Timeline.1", "tracks": 1, "tracks": 2}', "'tracks' is written twice in one object"),
    ],
)
def test_what_cannot_be_is_refused_with_its_place(data: bytes, words: str) -> None:
    with pytest.raises(ImportFault) as caught:
        read(data)
    assert words in str(caught.value)
    assert str(caught.value).startswith("cut.otio: ")
    assert len(str(caught.value)) < 400


@pytest.mark.usefixtures("here")
def test_more_clips_or_markers_than_an_edit_has_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reader, "_MOST", 3)
    assert (len(read(timeline()).shots), len(read(timeline()).markers)) == (3, 3)
    monkeypatch.setattr(reader, "_MOST", 2)
    with pytest.raises(ImportFault, match=r"^cut\.otio: more than 2 markers; export the edit alone$"):
        read(timeline())
    with pytest.raises(ImportFault, match=r"^cut\.otio: more than 2 clips; export the edit alone$"):
        read(_alone(*(clip(name, 0, 10) for name in "abc")))


def test_what_keeps_the_library_busy_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    def busy(command: list[str], *, timeout: float, **_options: Any) -> None:
        raise subprocess.TimeoutExpired(command, timeout)

    monkeypatch.setattr(subprocess, "run", busy)
    with pytest.raises(ImportFault, match=r"^cut\.otio: it was not read within 120 s; export the edit alone$"):
        read(timeline())


def test_a_missing_library_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(__import__("sys").modules, "opentimelineio", None)
    with pytest.raises(ImportFault, match=r"pip install 'twintake\[otio\]'"):
        read(b"{}")


@given(st.binary(min_size=1, max_size=30), st.integers(0, 10_000), st.integers(0, 200))
def test_no_bytes_break_it(spoilt: bytes, at: int, cut: int) -> None:
    whole = timeline().to_json_string().encode()
    with suppress(ImportFault):
        read(whole[: at % len(whole)] + spoilt + whole[at % len(whole) + cut :])


_VALUES = st.one_of(st.none(), st.booleans(), st.floats(), st.integers(), st.text(max_size=5), st.just([]), st.just({}))


@given(st.integers(0, 400), _VALUES)
def test_no_value_in_any_place_breaks_it(place: int, value: object) -> None:
    tree = json.loads(timeline().to_json_string())
    places: list[tuple[Any, Any]] = []
    level: list[Any] = [tree]
    while level:
        one = level.pop()
        keys = list(one) if isinstance(one, dict) else list(range(len(one)))
        places += [(one, key) for key in keys]
        level += [one[key] for key in keys if isinstance(one[key], dict | list)]
    where, key = places[place % len(places)]
    where[key] = value
    with suppress(ImportFault):
        read(json.dumps(tree).encode())


def test_a_file_that_ends_the_library_is_refused_and_ends_nothing_else() -> None:
    """OpenTimelineIO 0.18 reads what is not there as it brings an old clip up to date."""
    media = {"DEFAULT_MEDIA": {"OTIO_SCHEMA": "MissingReference.1"}}
    old = {"OTIO_SCHEMA": "Clip.1", "media_references": media}
    data = json.dumps({"tracks": {"children": [{"children": [old]}]}}).encode()
    with pytest.raises(ImportFault, match=r"cut\.otio: (OpenTimelineIO's library ended|it is no timeline|it has a)"):
        read(data)


@pytest.mark.parametrize(
    "answer",
    [
        *(b"", b"\xc0", msgspec.msgpack.encode(Answer(rate="7")), b"\x81\xa5start\xa31/0"),
        msgspec.msgpack.encode(Answer(shots=(("one", "5", "4", ""),))),
    ],
)
def test_an_answer_that_is_none_is_refused(answer: bytes) -> None:
    with pytest.raises(ImportFault, match="what was read of the timeline cannot be used"):
        told(answer)
