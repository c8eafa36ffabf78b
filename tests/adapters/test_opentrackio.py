"""The output of tracking data, to sockets of our own: JSON and CBOR, read and drawn as a receiver would."""

import json
import socket
import sys
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from typing import Any

import cbor2
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from sequencer.adapters import wallclock
from sequencer.adapters.outputs.opentrackio import parse_address
from sequencer.errors import LinkError
from sequencer.rig.axis import Axis, AxisKind, Camera, Rig, Unit
from sequencer.rig.geometry import Geometry
from sequencer.rig.lens import from_camera, lens, projected
from sequencer.rig.pose import pose
from sequencer.rig.signals import Setpoint, Trigger
from sequencer.shell.kinds import open_output, output_kind
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timebase, count, parse
from tests.adapters.hearing import LOOPBACK, hearing, hearing_group, waiting
from tests.opentrackio import check_schema, unpacked

MS_NS = 1_000_000
SECOND_NS = 1_000 * MS_NS
BEGIN_NS = 77 * SECOND_NS


def axis(name: str, kind: AxisKind, unit: Unit) -> Axis:
    return Axis(name=name, kind=kind, unit=unit, travel=None, speed=60, acceleration=120, jerk=600)


CAMERA = Camera(sensor_mm=(24.9, 14.0), pixels=(3840, 2160), focal_mm=35.0, subject_m=3.5)
AXES = (
    axis("pan", "pan", "deg"),
    axis("tilt", "tilt", "deg"),
    axis("roll", "roll", "deg"),
    axis("slide", "slide", "mm"),
    axis("lift", "lift", "mm"),
    axis("zoom", "zoom", "mm"),
    axis("focus", "focus", "mm"),
    axis("iris", "iris", "part"),
)
RIG = Rig(
    name="quay",
    axes=AXES,
    camera=CAMERA,
    geometry=Geometry(height_m=1.2, positive=(("pan", "right"), ("lift", "down")), heading_deg=(("slide", 30.0),)),
)
AT = (25.0, -8.0, 3.0, 750.0, 120.0, 50.0, 2400.0, 0.4)
DROP = Counting(Rate(30_000, 1001), drop=True)
EVENING = Timebase(DROP, parse("10:00:58;00", DROP))


def setpoint(at: tuple[float, ...] = AT, due_ns: int = BEGIN_NS, timeline_s: float = 0.0) -> Setpoint:
    return Setpoint(due_ns, np.array(at), np.zeros(len(at)), timeline_s)


def address(port: socket.socket, options: str = "") -> str:
    return f"opentrackio://{LOOPBACK}:{port.getsockname()[1]}{options}"


def sent(*setpoints: Setpoint, rig: Rig = RIG, options: str = "", timebase: Timebase = EVENING) -> list[dict[str, Any]]:
    """Return the samples that a receiver has of these setpoints, each checked by the schema where that is here."""
    with hearing() as port, open_output(address(port, options), rig, timebase) as output:
        samples = []
        for one in setpoints:
            output.send(one)
            read = [unpacked(data) for data in waiting(port)]
            payload = b"".join(packet.payload for packet in read)
            samples.append(cbor2.loads(payload) if read[0].encoding == 2 else json.loads(payload))
    for sample in samples:
        check_schema(sample)
    return samples


def drawn(sample: dict[str, Any], sensor_mm: tuple[float, float], points: np.ndarray) -> np.ndarray:
    """Return where a receiver draws points of the world, in halves of the frame.

    By the standard's own words and scipy: Z up, Y forward, intrinsic rotations about Z, X and Y by right-hand signs.
    """
    (transform,) = sample["transforms"]
    turn, place = transform["rotation"], transform["translation"]
    turned = Rotation.from_euler("ZXY", [turn["pan"], turn["tilt"], turn["roll"]], degrees=True)
    seen = turned.inv().apply(points - [place["x"], place["y"], place["z"]])
    focal_mm = sample["lens"]["pinholeFocalLength"]
    flat: np.ndarray = seen[:, ::2] / seen[:, 1:2] * focal_mm / (np.array(sensor_mm) / 2)
    return flat


@pytest.mark.parametrize("form", ["json", "cbor"])
def test_a_receiver_draws_points_where_our_own_view_has_them(form: str) -> None:
    """Source: the schema's description of transforms; scipy's rotations are the other side."""
    random = np.random.default_rng(3)
    for _ in range(20):
        at = tuple(random.uniform([-400, -60, -40, -2000, -300, 18, 500, 0], [400, 60, 40, 2000, 300, 90, 9000, 1]))
        (sample,) = sent(setpoint(at), options=f"?form={form}")
        here, (what, guessed) = pose(RIG, at), lens(CAMERA, RIG, np.array(at))
        assert not guessed
        ahead = random.uniform(1, 20, 50)
        seen = np.stack([random.uniform(-0.3, 0.3, 50) * ahead, ahead, random.uniform(-0.2, 0.2, 50) * ahead], axis=1)
        points = seen @ here.matrix.T + here.position
        ours = projected(what, from_camera(here, points))
        assert np.abs(drawn(sample, CAMERA.sensor_mm, points) - ours).max() < 1e-9
        assert sample["lens"]["focusDistance"] == pytest.approx(at[6] / 1000)
        assert sample["lens"]["encoders"] == {"iris": pytest.approx(at[7])}


@pytest.mark.parametrize(
    ("at", "position", "rotation"),
    [
        ((90.0, 0.0, 0.0, 0.0), (0.0, 0.0, 1.5), (90.0, 0.0, 0.0)),  # to the left
        ((0.0, 20.0, 0.0, 0.0), (0.0, 0.0, 1.5), (0.0, 20.0, 0.0)),  # up
        ((-730.0, 0.0, 5.0, 1000.0), (1.0, 0.0, 1.5), (-730.0, 0.0, 5.0)),  # two turns; a metre to the right
    ],
)
def test_axes_units_and_signs_are_the_standards(
    at: tuple[float, ...], position: tuple[float, ...], rotation: tuple[float, ...]
) -> None:
    """Source: docs/conventions.md for what our axes mean; the schema's description of transforms for the other side."""
    rig = Rig(name="quay", axes=AXES[:4])
    (sample,) = sent(setpoint(at), rig=rig)
    (transform,) = sample["transforms"]
    assert tuple(transform["translation"].values()) == pytest.approx(position)
    assert tuple(transform["rotation"].values()) == pytest.approx(rotation)
    ahead = Rotation.from_euler("ZXY", rotation, degrees=True).apply([0, 1, 0])
    if at[0] == 90:
        assert ahead == pytest.approx([-1, 0, 0])
    if at[1] == 20:
        assert ahead[2] > 0


def test_the_place_is_that_of_the_pupil_which_the_head_carries_round() -> None:
    """Source: the schema's description of transforms; the pupil is turned by scipy."""
    pupil_mm = (12.0, 95.0, -20.0)
    rig = replace(RIG, geometry=replace(RIG.geometry, pupil_mm=pupil_mm))
    random = np.random.default_rng(4)
    for _ in range(10):
        at = tuple(random.uniform([-400, -60, -40, -2000, -300, 18, 500, 0], [400, 60, 40, 2000, 300, 90, 9000, 1]))
        ((with_it,), (without,)) = (
            one["transforms"] for one in (*sent(setpoint(at), rig=rig), *sent(setpoint(at), rig=RIG))
        )
        assert with_it["rotation"] == without["rotation"]
        turn = with_it["rotation"]
        turned = Rotation.from_euler("ZXY", [turn["pan"], turn["tilt"], turn["roll"]], degrees=True)
        moved = np.array(list(with_it["translation"].values())) - list(without["translation"].values())
        assert moved == pytest.approx(turned.apply(np.array(pupil_mm) / 1000), abs=1e-12)


@pytest.mark.parametrize("form", ["json", "cbor"])
def test_what_goes_out_follows_the_published_schema(form: str) -> None:
    """Source: OpenTrackIO's schema.json; every other sample of this file is checked too where it is here."""
    for sample in sent(setpoint(), setpoint(due_ns=BEGIN_NS + 40 * MS_NS), options=f"?form={form}"):
        check_schema(sample)


@pytest.mark.parametrize("form", ["json", "cbor"])
def test_both_forms_say_the_same(form: str) -> None:
    (sample,) = sent(setpoint(), options=f"?form={form}&source=200")
    assert sample["sourceNumber"] == 200
    assert sample["tracker"] == {"status": "setpoints, not measured"}
    assert sample["static"]["camera"]["activeSensorPhysicalDimensions"] == {"height": 14.0, "width": 24.9}
    assert sample["static"]["camera"]["activeSensorResolution"] == {"height": 2160, "width": 3840}
    assert "lens" not in sample["static"]  # a zoom has no nominal focal length


def test_cbor_is_a_map_with_names_as_text_and_floats_of_64_bits() -> None:
    """Source: RFC 8949, section 3.1: major type 5 for a map, 3 for text; 0xfb begins a float of 64 bits."""
    with hearing() as port, open_output(address(port, "?form=cbor"), RIG, EVENING) as output:
        output.send(setpoint())
        payload = unpacked(port.recv(65_535)).payload
    assert payload[0] >> 5 == 5
    assert b"\x6dtransforms"[1:] in payload
    assert bytes([0x60 + len("transforms")]) + b"transforms" in payload
    assert b"\x61x\xfb" in payload


@pytest.mark.parametrize(
    ("rate", "drop", "start", "timeline_s", "label"),
    [
        (Rate(25), False, "10:00:00:00", 1.5, (10, 0, 1, 12)),
        (Rate(25), False, "10:00:00:00", 0.04, (10, 0, 0, 1)),  # 0.04 * 25 is 1 up to rounding
        (Rate(25), False, "00:00:00:00", -0.02, (23, 59, 59, 24)),  # before the start, over midnight
        (Rate(24_000, 1001), False, "01:00:00:00", 1001 / 1000, (1, 0, 1, 0)),
        (Rate(30_000, 1001), True, "10:00:58;00", 60 * 1001 / 30_000, (10, 1, 0, 2)),  # :00 and :01 are dropped
        (Rate(60), False, "00:00:00:00", 59 / 60 + 1e-9, (0, 0, 0, 59)),
    ],
)
def test_timecode_is_the_frame_that_the_timeline_is_in(
    rate: Rate, drop: bool, start: str, timeline_s: float, label: tuple[int, ...]
) -> None:
    """Source: SMPTE ST 12-1, counting of labels and drop-frame compensation."""
    counting = Counting(rate, drop)
    (sample,) = sent(setpoint(timeline_s=timeline_s), timebase=Timebase(counting, parse(start, counting)))
    timecode = sample["timing"]["timecode"]
    assert tuple(timecode[name] for name in ("hours", "minutes", "seconds", "frames")) == label
    assert timecode["frameRate"] == {"num": rate.num, "denom": rate.den}
    assert timecode["dropFrame"] is drop


def test_every_frame_of_a_move_has_its_own_label() -> None:
    frame_s = 1001 / 30_000
    samples = sent(*(setpoint(due_ns=BEGIN_NS + n, timeline_s=n * frame_s) for n in range(200)))
    counted = [
        count(parse("{hours:02}:{minutes:02}:{seconds:02};{frames:02}".format(**one["timing"]["timecode"]), DROP), DROP)
        for one in samples
    ]
    assert [after - before for before, after in pairwise(counted)] == [1] * 199


def test_without_a_clock_there_is_no_timecode() -> None:
    (sample,) = sent(setpoint(timeline_s=float("nan")))
    assert "timecode" not in sample["timing"]


@pytest.mark.parametrize(("options", "ahead_s"), [("", 37), ("?tai_utc=0", 0)])
def test_a_sample_is_stamped_with_the_instant_at_which_it_is_due(options: str, ahead_s: int) -> None:
    """Source: the schema's sampleTimestamp: the instant of capture, by PTP; TAI - UTC is 37 s (from memory)."""
    at_ns, offset_ns = wallclock.measure()
    (sample,) = sent(setpoint(due_ns=at_ns + 20 * MS_NS), options=options)
    stamp = sample["timing"]["sampleTimestamp"]
    due_ns = at_ns + 20 * MS_NS + offset_ns + ahead_s * SECOND_NS
    assert abs(stamp["seconds"] * SECOND_NS + stamp["nanoseconds"] - due_ns) < 5 * MS_NS
    assert sample["timing"]["mode"] == "internal"


def test_a_step_of_the_time_of_day_is_said_and_does_not_tear_the_stream(monkeypatch: pytest.MonkeyPatch) -> None:
    offset_ns = 1_700_000_000 * SECOND_NS
    now = [
        (BEGIN_NS, offset_ns),
        (BEGIN_NS + 2 * SECOND_NS, offset_ns + 50_000),
        (BEGIN_NS + 4 * SECOND_NS, offset_ns + 3 * SECOND_NS),
    ]
    monkeypatch.setattr(wallclock, "measure", lambda: now.pop(0))
    with hearing() as port, open_output(address(port), RIG, EVENING) as output:
        stamps = []
        for second in (0, 2, 4):
            assert output.trouble() == ""
            output.send(setpoint(due_ns=BEGIN_NS + second * SECOND_NS))
            stamp = json.loads(unpacked(port.recv(65_535)).payload)["timing"]["sampleTimestamp"]
            stamps.append(stamp["seconds"] * SECOND_NS + stamp["nanoseconds"])
        assert "changed by 3.000 s during the run" in output.trouble()
    # the slow drift of 50 us is followed, the step of 3 s is not
    assert np.diff(stamps).tolist() == [2 * SECOND_NS + 50_000, 2 * SECOND_NS]


@pytest.mark.parametrize(
    ("apart_ns", "rate"),
    [
        (round(1001 / 30_000 * 1e9), Fraction(30_000, 1001)),  # the project's own, to the fraction
        (round(1e9 / 30), Fraction(1_000_000, 33_333)),  # 30 is another rate
        (4 * MS_NS, Fraction(250)),
        (20 * MS_NS, Fraction(50)),
    ],
)
def test_the_rate_is_that_of_the_last_two_samples(apart_ns: int, rate: Fraction) -> None:
    """Source: the schema's sampleRate: where it varies it is estimated from the last sample delta time."""
    first, second = sent(setpoint(), setpoint(due_ns=BEGIN_NS + apart_ns))
    assert "sampleRate" not in first["timing"]
    said = second["timing"]["sampleRate"]
    assert Fraction(said["num"], said["denom"]) == rate


def test_after_a_pause_there_is_no_rate() -> None:
    _, second = sent(setpoint(), setpoint(due_ns=BEGIN_NS + 3600 * SECOND_NS))
    assert "sampleRate" not in second["timing"]


def test_what_seldom_changes_goes_out_first_and_once_a_second() -> None:
    samples = sent(*(setpoint(due_ns=BEGIN_NS + n * 40 * MS_NS) for n in range(76)))
    assert [n for n, sample in enumerate(samples) if "static" in sample] == [0, 25, 50, 75]


def test_samples_count_and_have_names_of_their_own() -> None:
    """Source: the schema's sequenceNumber, sampleId and sourceId; RFC 9562, section 5.8 (version 8)."""
    once = sent(*(setpoint(due_ns=BEGIN_NS + n * MS_NS) for n in range(30)))
    again = sent(setpoint())
    assert [sample["timing"]["sequenceNumber"] for sample in once] == list(range(30))
    assert len({sample["sampleId"] for sample in once + again}) == 31
    assert len({sample["sourceId"] for sample in once + again}) == 1
    assert once[0]["sampleId"][len("urn:uuid:") + 14] == "8"


def test_a_rig_without_a_camera_has_a_pose_all_the_same() -> None:
    (sample,) = sent(setpoint(AT[:4]), rig=Rig(name="quay", axes=AXES[:4]))
    assert sample["lens"] == {"entrancePupilOffset": 0.0}
    assert set(sample["static"]) == {"tracker"}


def test_an_axis_that_cannot_be_read_is_said() -> None:
    rig = Rig(name="quay", axes=(axis("pan", "pan", "mm"),))
    with hearing() as port, open_output(address(port), rig) as output:
        assert output.trouble() == "pan counts mm and is told as standing at zero; describe it in deg"


def test_without_a_host_it_goes_to_the_group_of_its_source() -> None:
    """Source: OpenTrackIO 1.0.1, IP addressing: 239.135.1 and the source's number, port 55555."""
    with (
        hearing_group("239.135.1.14", 55_555) as port,
        open_output(f"opentrackio:?source=14&by={LOOPBACK}", RIG, EVENING) as output,
    ):
        output.send(setpoint())
        (data,) = waiting(port)
    assert json.loads(unpacked(data).payload)["sourceNumber"] == 14


def test_a_sample_that_is_too_long_for_a_packet_goes_in_segments_with_running_numbers() -> None:
    rig = Rig(name="quay" * 250, axes=AXES, camera=CAMERA)
    with hearing() as port, open_output(address(port), rig, EVENING) as output:
        for n in range(2):
            output.send(setpoint(due_ns=BEGIN_NS + n))
        read = [unpacked(data) for data in waiting(port)]
    assert [(one.sequence, one.last) for one in read] == [(0, False), (1, True), (2, True)]
    first = json.loads(read[0].payload + read[1].payload)
    assert first["static"]["camera"]["label"] == "quay" * 250
    assert json.loads(read[2].payload)["timing"]["sequenceNumber"] == 1


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("opentrackio://192.0.2.20", "names no host and port"),
        ("opentrackio://192.0.2.20:0", "names no host and port"),
        ("opentrackio:group", "names no host and port"),
        ("opentrackio:?form=xml", "form=xml"),
        ("opentrackio:?source=0", "source=0"),
        ("opentrackio:?source=201", "source=201"),
        ("opentrackio:?source=1.5", "whole number"),
        ("opentrackio:?pan=1", "has the option pan"),
        ("opentrackio://192.0.2.20:55555?by=192.0.2.1", "for the multicast group only"),
    ],
)
def test_an_address_that_is_none_says_what_is_wrong_and_how_to_write_it(text: str, what: str) -> None:
    with pytest.raises(LinkError, match=what) as fault:
        output_kind("opentrackio:").carries(text, RIG)
    assert "write it as opentrackio://192.0.2.20:55555?form=json" in str(fault.value)


def test_addresses() -> None:
    where = parse_address("opentrackio://wall.local:6000?form=cbor&source=9&tai_utc=0")
    assert (where.host, where.port, where.form, where.source, where.tai_utc_s) == ("wall.local", 6000, "cbor", 9, 0)
    where = parse_address("opentrackio:")
    assert (where.host, where.port, where.form, where.source, where.tai_utc_s) == ("", 55_555, "json", 1, 37)


def test_without_the_package_for_cbor_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "cbor2", None)
    kind = output_kind("opentrackio:")
    with pytest.raises(LinkError, match=r"pip install 'twintake\[opentrackio\]'"):
        kind.carries("opentrackio:?form=cbor", RIG)
    assert kind.carries("opentrackio:?form=json", RIG).span == ()


def test_it_drives_nothing_and_a_stop_sends_nothing() -> None:
    kind = output_kind("opentrackio:")
    assert (kind.answers, kind.drives) == (False, False)
    with hearing() as port, open_output(address(port), RIG) as output:
        output.ask()
        output.look(BEGIN_NS)
        output.stop()
        output.here("pan", 1.0)
        assert not output.fire(Trigger(0, "record"))
        assert output.read(0) == ()
        assert output.fileno() is None
        with pytest.raises(AssertionError):
            output.replace(0)
        assert waiting(port) == []
