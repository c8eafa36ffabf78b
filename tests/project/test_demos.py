"""The demo projects load as they are written, fit their rigs with some reserve, and harbour-lanterns keeps its beat."""

import importlib
import importlib.util
import io
import pkgutil
import wave
from fractions import Fraction
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from numpy.typing import NDArray

from sequencer.motion.compile import compile_move
from sequencer.motion.peaks import over, peaks
from sequencer.project.document import Project
from sequencer.project.store import dump, load
from sequencer.score import laws as law_files
from sequencer.score.easing import Laws
from sequencer.timebase.tempo import TempoMap

PROJECTS = Path(__file__).parents[2] / "projects"
NAMES = sorted(path.name for path in PROJECTS.iterdir() if path.is_dir())
HARBOUR = PROJECTS / "harbour-lanterns"

Floats = NDArray[np.float64]


@pytest.fixture(scope="module")
def real_laws() -> Laws:
    kinds = [
        importlib.import_module(f"{law_files.__name__}.{m.name}").KIND for m in pkgutil.iter_modules(law_files.__path__)
    ]
    return {kind.name: kind for kind in kinds}


@pytest.fixture(scope="module")
def demos(real_laws: Laws) -> dict[str, Project]:
    return {name: load(PROJECTS / name, real_laws) for name in NAMES}


def test_there_are_three() -> None:
    assert NAMES == ["harbour-lanterns", "low-tide", "paper-boats"]


@pytest.mark.parametrize("name", NAMES)
def test_the_files_are_laid_out_as_the_program_writes_them(name: str, demos: dict[str, Project]) -> None:
    assert dump(demos[name]) == {
        file: (PROJECTS / name / file).read_text(encoding="utf-8") for file in ("project.json", "rig.json")
    }


@pytest.mark.parametrize(
    ("name", "axes", "passes", "rate"),
    [
        ("harbour-lanterns", "pan tilt roll slide focus", ["band", "clean plate", "lanterns"], "25"),
        ("low-tide", "pan tilt slide", ["tide", "rehearsal in half a minute"], "25"),
        (
            "paper-boats",
            "pan tilt roll slide lift focus zoom",
            ["boats", "clean plate", "far bridge at 1:12", "water at half speed"],
            "24000/1001",
        ),
    ],
)
def test_what_the_scenario_asks(name: str, axes: str, passes: list[str], rate: str, demos: dict[str, Project]) -> None:
    demo = demos[name]
    assert demo.rig.names == tuple(axes.split())
    assert [one.name for one in demo.move.passes] == passes
    assert str(demo.timebase.rate) == rate
    assert {track.axis for track in demo.move.tracks} == set(demo.rig.names)


@pytest.mark.parametrize("name", NAMES)
def test_every_axis_begins_at_home_and_leads_by_what_its_motor_lags(name: str, demos: dict[str, Project]) -> None:
    demo = demos[name]
    for axis in demo.rig.axes:
        # setpoints carry their speed, which a drive uses as feed-forward: what is left of its delay is the transport
        assert axis.latency_s == pytest.approx(axis.simulated.transport_s)
        assert 0.002 <= axis.latency_s <= 0.020
    assert {track.axis: track.keys[0].value for track in demo.move.tracks} == {
        axis.name: axis.home for axis in demo.rig.axes
    }


def test_the_takes_cue_is_first_and_has_room_for_a_preroll(demos: dict[str, Project]) -> None:
    harbour = demos["harbour-lanterns"]
    cue = harbour.move.cues[0]
    assert cue.name == "lantern turn"
    assert harbour.timebase.rate.seconds(cue.start) >= 6
    assert harbour.timebase.rate.seconds(cue.end - cue.start) == 8
    # it begins and ends at rest: no key before it, none that it cuts off
    moving = [key.at for track in harbour.move.tracks for key in track.keys if key.ease.law != "hold"]
    assert min(moving) >= cue.start
    assert not [at for at in moving if Fraction(0) <= at - cue.end < 25]


def tempo_of(project: Project) -> TempoMap:
    assert project.tempo is not None
    return project.tempo


def test_harbour_keys_and_markers_stand_on_beats(demos: dict[str, Project]) -> None:
    harbour = demos["harbour-lanterns"]
    at = [key.at for track in harbour.move.tracks for key in track.keys]
    at += [marker.at for marker in harbour.move.markers]
    beats = [tempo_of(harbour).beat(harbour.timebase.rate.seconds(frame)) for frame in at]
    assert [beat for beat in beats if beat.denominator != 1] == []
    assert any(frame.denominator != 1 for frame in at)  # a beat is no whole frame here


def test_low_tide_lasts_six_hours(demos: dict[str, Project]) -> None:
    tide = demos["low-tide"]
    cue = tide.move.cues[0]
    assert tide.timebase.rate.seconds(cue.end - cue.start) == 6 * 3600


@pytest.mark.parametrize("name", NAMES)
def test_every_pass_is_within_the_limits_with_a_reserve(name: str, demos: dict[str, Project], real_laws: Laws) -> None:
    demo = demos[name]
    for one in demo.move.passes:
        # a pass at another speed asks for that factor of the speed, its square of the acceleration, its cube of jerk
        factor = float(one.speed)
        limits = np.array([[a.speed / factor, a.acceleration / factor**2, a.jerk / factor**3] for a in demo.rig.axes])
        trajectory = compile_move(demo.rig, demo.move, demo.timebase.rate, real_laws)
        asked = np.array([[p.speed.value, p.acceleration.value, p.jerk.value] for p in peaks(trajectory, demo.rig)])
        assert (asked / limits).max() < 0.8
        if one.speed == max(each.speed for each in demo.move.passes):
            assert (asked / limits).max() > 0.6  # and the rig is not a giant beside its move
        assert over(trajectory, demo.rig) == ()
        # the exact extremes against plain sampling, at least 20,000 instants
        at_s = np.linspace(trajectory.start_s - 1, trajectory.end_s + 1, 20_001)
        sampled = np.stack([np.abs(trajectory.sample(at_s, order)).max(axis=0) for order in (1, 2, 3)], axis=1)
        assert (sampled <= asked * (1 + 1e-6) + 1e-12).all()
        assert sampled == pytest.approx(asked, rel=0.05, abs=1e-9)


# --- the playback audio


@pytest.fixture(scope="module")
def maker() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make_playback", HARBOUR / "make_playback.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def samples(data: bytes) -> tuple[NDArray[np.int16], int]:
    with wave.open(io.BytesIO(data)) as file:
        assert (file.getnchannels(), file.getsampwidth()) == (1, 2)
        return np.frombuffer(file.readframes(file.getnframes()), dtype="<i2"), file.getframerate()


@pytest.fixture(scope="module")
def song(demos: dict[str, Project]) -> tuple[Floats, int]:
    playback = demos["harbour-lanterns"].playback
    assert playback is not None
    assert playback.at == 0
    data = (HARBOUR / playback.file).read_bytes()
    assert len(data) < 1_000_000
    read, rate_hz = samples(data)
    return read.astype(np.float64), rate_hz


def test_the_audio_file_is_what_the_script_makes(maker: ModuleType, song: tuple[Floats, int]) -> None:
    made, rate_hz = samples(maker.wav(maker.song()))
    there, there_hz = song
    assert rate_hz == there_hz
    assert made.shape == there.shape
    assert np.abs(made.astype(np.float64) - there).max() <= 1  # sines differ in the last bit between systems


def rises(sound: Floats, rate_hz: int, above_hz: float = 0, below_hz: float = 1e9) -> tuple[Floats, Floats]:
    """Return instants every 5 ms and how much the spectrum rises there (spectral flux). Unit: seconds."""
    hop, width = rate_hz // 200, 256
    frames = np.lib.stride_tricks.sliding_window_view(np.pad(sound / 32768, width), width)[::hop] * np.hanning(width)
    hz = np.fft.rfftfreq(width, 1 / rate_hz)
    size = np.log1p(100 * np.abs(np.fft.rfft(frames, axis=1)))[:, (hz >= above_hz) & (hz <= below_hz)]
    centre = np.arange(1, len(frames)) * hop / rate_hz - width / 2 / rate_hz
    return centre, np.maximum(0, np.diff(size, axis=0)).sum(axis=1)


def test_the_audio_keeps_the_projects_beat(demos: dict[str, Project], song: tuple[Floats, int]) -> None:
    """Near each beat of the tempo map the strongest onset is the beat itself, to the width of the analysis window."""
    harbour = demos["harbour-lanterns"]
    at_s, rise = rises(*song)
    late = []
    for beat in range(1, 64):
        beat_s = float(tempo_of(harbour).seconds(beat))
        near = np.abs(at_s - beat_s) < 0.15
        late.append(at_s[near][rise[near].argmax()] - beat_s)
    assert np.abs(late).max() < 0.011
    assert len(song[0]) / song[1] == tempo_of(harbour).seconds(64)


def test_a_bell_rings_where_the_lamps_come_on(demos: dict[str, Project], song: tuple[Floats, int]) -> None:
    """The bell's highest partial, 4.07 x 880 Hz, belongs to no other sound: its onsets are the markers but `verse`."""
    harbour = demos["harbour-lanterns"]
    at_s, rise = rises(*song, above_hz=3450, below_hz=3700)
    wanted = [
        float(harbour.timebase.rate.seconds(marker.at)) for marker in harbour.move.markers if marker.name != "verse"
    ]
    heard = []
    for _ in wanted:
        loudest = rise.argmax()
        heard.append(float(at_s[loudest]))
        rise[np.abs(at_s - at_s[loudest]) < 0.2] = 0
    assert sorted(heard) == pytest.approx(sorted(wanted), abs=0.011)
