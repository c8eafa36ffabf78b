"""The files of a project folder, project.json field by field as it is written. Nothing is computed or judged here.

Instants are timecode as text, factors and tempo are exact numbers as text; `build` turns them into exact time. The
field descriptions become the JSON Schemas in docs/schema.
"""

from typing import Annotated, Any, Final, Literal

from msgspec import UNSET, Meta, Struct, UnsetType, field

from sequencer.project.camera_file import CameraCueFile
from sequencer.project.document import SYNC_SOURCES
from sequencer.project.hands_file import HandlingFile
from sequencer.project.pass_file import PassFile
from sequencer.project.piece import Exact, Name
from sequencer.project.points_file import PointFile
from sequencer.project.timelapse_file import TimelapseFile
from sequencer.score.move import PASSINGS, TURNS
from sequencer.timebase.rate import RATES
from sequencer.timebase.tempo import BEAT_NOTES

PROJECT = "project.json"
RIG = "rig.json"
PROJECT_FORMAT: Final = "twintake/project"
RIG_FORMAT: Final = "twintake/rig"
VERSION: Final = 1  # of both files
MAX_BYTES: Final = 32 * 2**20  # of each: sixteen axes with ten keys a second for half an hour
ORDERS: Final = ("start", "stop clock", "stop rig", "locate", "cue", "mark")

At = Annotated[
    str,
    Meta(
        description="Timecode, with up to nine decimals of a frame: 10:00:05:12 or 10:00:05:12.25.",
        extra_json_schema={"pattern": r"^\d{1,2}:\d{1,2}:\d{1,2}[:;]\d{1,3}(\.\d{1,9})?$"},
    ),
]
Signed = Annotated[
    str,
    Meta(
        description='An exact number as text: "2", "-1/2" or "-2.5".',
        extra_json_schema={"pattern": r"^-?\d{1,9}(/\d{1,10}|\.\d{1,9})?$"},
    ),
]
BeatNote = Annotated[
    int | UnsetType,
    Meta(
        description="Which note is a beat, the lower number of the metre: 4 a quarter note, 8 an eighth.",
        extra_json_schema={"enum": list(BEAT_NOTES)},
    ),
]
RateName = Annotated[str, Meta(description="Frames a second.", extra_json_schema={"enum": list(RATES)})]
EaseFile = Annotated[
    str
    | Annotated[
        dict[str, Any],
        Meta(extra_json_schema={"properties": {"law": {"type": "string"}}, "required": ["law"]}),
    ],
    Meta(
        description='How the leg to the next key moves: a motion law\'s name, "through" for a leg of a smooth run, or '
        'a law with its parameters: {"law": "bezier", "points": [0.42, 0, 0.58, 1]}.',
    ),
]


class Strict(Struct, frozen=True, forbid_unknown_fields=True):
    """A piece of a file that has no other fields than its own."""


class TimebaseFile(Strict, frozen=True, kw_only=True, omit_defaults=True):
    rate: RateName
    start: Annotated[At, Meta(description="The label, of a whole frame, at which the project's own time begins.")]
    drop: Annotated[bool, Meta(description="Drop-frame counting: 30000/1001 and 60000/1001 only.")] = False


class TempoChangeFile(Strict, frozen=True, kw_only=True):
    bar: Annotated[int, Meta(description="The bar, counted from one.", extra_json_schema={"minimum": 1})]
    beat: (
        Annotated[
            Exact, Meta(description='The beat of the bar, counted from one: "3", or "5/2". Without it, the first.')
        ]
        | UnsetType
    ) = UNSET
    bpm: Annotated[Exact, Meta(description="Beats a minute from here on.")] | UnsetType = UNSET
    beats_per_bar: Annotated[
        int | UnsetType,
        Meta(description="From here on; a bar begins here.", extra_json_schema={"minimum": 1}),
    ] = UNSET
    beat_note: BeatNote = UNSET


_SOME_CHANGE = {"anyOf": [{"required": [name]} for name in ("bpm", "beats_per_bar", "beat_note")]}


class TempoFile(Strict, frozen=True, kw_only=True):
    bpm: Annotated[Exact, Meta(description='Beats a minute: "96".')]
    beats_per_bar: Annotated[int, Meta(extra_json_schema={"minimum": 1})]
    beat_note: BeatNote = UNSET
    first_beat: Annotated[At, Meta(description="Where the first beat of the first bar falls.")]
    changes: Annotated[
        list[Annotated[TempoChangeFile, Meta(extra_json_schema=_SOME_CHANGE)]] | UnsetType,
        Meta(description="Steps of tempo and metre, in order of time. What a step does not say stays as it was."),
    ] = UNSET


class PlaybackFile(Strict, frozen=True, kw_only=True):
    file: Annotated[str, Meta(description="Audio file, relative to the project folder and inside it.")]
    at: Annotated[At, Meta(description="Where the audio file begins.")]


class CueFile(Strict, frozen=True, kw_only=True):
    name: Name
    start: At = field(name="from")
    end: At = field(name="to")


class MarkerFile(Strict, frozen=True, kw_only=True):
    name: Name
    at: At


class LegFile(Strict, frozen=True, kw_only=True):
    """How the rig goes to a mark: just so long, or no faster than a part of each axis's speed limit."""

    lasts_s: Annotated[Exact, Meta(description='Seconds: "2.5".')] | UnsetType = UNSET
    speed: Annotated[Exact, Meta(description='Above 0 and at most 1: "1/2".')] | UnsetType = UNSET


_ONE_PACE = {"oneOf": [{"required": ["lasts_s"]}, {"required": ["speed"]}]}


class MarkFile(Strict, frozen=True, kw_only=True):
    name: Name
    position: Annotated[
        dict[str, float],
        Meta(
            description="Where axes stand, by their names, each in its own unit. Others stay where they are.",
            extra_json_schema={"minProperties": 1},
        ),
    ]
    leg: Annotated[
        Annotated[LegFile, Meta(extra_json_schema=_ONE_PACE)] | UnsetType,
        Meta(description="How the rig goes there; without it, as fast as its axes may."),
    ] = UNSET


class SyncFile(Strict, frozen=True, kw_only=True):
    source: Annotated[str, Meta(extra_json_schema={"enum": list(SYNC_SOURCES)})]
    offset_frames: (
        Annotated[
            Signed,
            Meta(description="Frames added to what the source says, at any speed: above zero the move comes earlier."),
        ]
        | UnsetType
    ) = UNSET
    delay_ms: Annotated[
        float | UnsetType,
        Meta(
            description="How late the source's time arrives here.",
            extra_json_schema={"minimum": -1000, "maximum": 1000},
        ),
    ] = UNSET


class MidiTriggerFile(Strict, frozen=True, kw_only=True):
    """A MIDI message, a note on or a program change, and what it is to do."""

    note: Annotated[int | UnsetType, Meta(extra_json_schema={"minimum": 0, "maximum": 127})] = UNSET
    program: Annotated[
        int | UnsetType,
        Meta(description="As on the wire, from 0.", extra_json_schema={"minimum": 0, "maximum": 127}),
    ] = UNSET
    channel: Annotated[
        int | UnsetType,
        Meta(description="1 to 16; without it, any.", extra_json_schema={"minimum": 1, "maximum": 16}),
    ] = UNSET
    do: Annotated[
        str,
        Meta(
            description="start, stop clock and locate are for the program's own clock or playback; cue and mark go "
            "there; stop rig stops the rig, latched.",
            extra_json_schema={"enum": list(ORDERS)},
        ),
    ]
    name: Annotated[Name, Meta(description="Of the cue or the marker.")] | UnsetType = UNSET
    at: Annotated[At, Meta(description="Where to locate.")] | UnsetType = UNSET


_ONE_MESSAGE = {
    "oneOf": [{"required": ["note"]}, {"required": ["program"]}],
    "allOf": [
        {"if": {"properties": {"do": {"enum": ["cue", "mark"]}}}, "then": {"required": ["name"]}},
        {"if": {"properties": {"do": {"const": "locate"}}}, "then": {"required": ["at"]}},
    ],
}


class TriggersFile(Strict, frozen=True, kw_only=True):
    mmc_device: Annotated[
        int | UnsetType,
        Meta(
            description="Our device number for MIDI Machine Control; without it, every number is obeyed.",
            extra_json_schema={"minimum": 0, "maximum": 126},
        ),
    ] = UNSET
    midi: list[Annotated[MidiTriggerFile, Meta(extra_json_schema=_ONE_MESSAGE)]] | UnsetType = UNSET


class KeyFile(Strict, frozen=True, kw_only=True):
    at: At
    value: Annotated[float, Meta(description="Position in the axis's own unit.")]
    ease: EaseFile = "poly345"
    passing: Annotated[
        str | UnsetType,
        Meta(
            description="What a smooth run does at the key: pass without a stop, stop for an instant, hold (come to "
            "rest), or pass free: the legs on both sides may overshoot.",
            extra_json_schema={"enum": list(PASSINGS)},
        ),
    ] = UNSET
    turn: Annotated[
        str | UnsetType,
        Meta(
            description="Which way round an axis without end goes to the next key; without it, as the values say.",
            extra_json_schema={"enum": list(TURNS)},
        ),
    ] = UNSET
    pin: Annotated[bool | UnsetType, Meta(description="Whether no repair may move the key.")] = UNSET


class TrackFile(Strict, frozen=True, kw_only=True):
    axis: Annotated[Name, Meta(description="The name of an axis in rig.json.")]
    keys: Annotated[list[KeyFile], Meta(description="In order of time.")]


class GroundFile(Strict, frozen=True, kw_only=True, omit_defaults=True):
    size_m: Annotated[float, Meta(description="Length of a side of the square grid around the origin.")] = 20.0
    cell_m: Annotated[float, Meta(description="Length of a side of one cell.")] = 1.0


class PersonFile(Strict, frozen=True, kw_only=True):
    """A stand-in. Places are in metres from the camera at zero: x to its right, y ahead of it."""

    name: Name
    x_m: float
    y_m: float
    height_m: Annotated[float, Meta(extra_json_schema={"exclusiveMinimum": 0})]
    heading_deg: Annotated[float, Meta(description="Where the face points: 0 forward, 90 left, 180 to the camera.")] = (
        180.0
    )


Three = tuple[float, float, float]


class BoxFile(Strict, frozen=True, kw_only=True):
    name: Name
    centre_m: Annotated[Three, Meta(description="To the camera's right, ahead of it, and above the ground.")]
    size_m: Annotated[Three, Meta(description="Across, along and up, before it is turned.")]
    heading_deg: Annotated[float, Meta(description="By how much it is turned to the left.")] = 0.0


class StageFile(Strict, frozen=True, kw_only=True, omit_defaults=True):
    """The set, as the views draw it."""

    ground: GroundFile | UnsetType = UNSET
    people: Annotated[list[PersonFile], Meta(extra_json_schema={"maxItems": 200})] = []
    boxes: Annotated[list[BoxFile], Meta(extra_json_schema={"maxItems": 200})] = []


class ProjectFile(Strict, frozen=True, kw_only=True, omit_defaults=True):
    """project.json: the move, and the time and music it belongs to."""

    format: Literal["twintake/project"]
    version: Literal[1]
    name: Name
    timebase: TimebaseFile
    tempo: TempoFile | UnsetType = UNSET
    playback: PlaybackFile | UnsetType = UNSET
    cues: Annotated[list[CueFile], Meta(description="Stretches that are shot as one take.")] = []
    markers: list[MarkerFile] = []
    marks: Annotated[list[MarkFile], Meta(description="Poses of the rig that are kept, in their order.")] = []
    points: Annotated[list[PointFile], Meta(description="Points in the set at which the camera can be aimed.")] = []
    passes: list[PassFile] = []
    sync: Annotated[list[SyncFile], Meta(description="What lies between a source's time and the picture.")] = []
    triggers: Annotated[TriggersFile | UnsetType, Meta(description="Messages that give orders.")] = UNSET
    aspect: (
        Annotated[Exact, Meta(description='Width of the picture for each unit of its height: "16/9" or "2.39".')]
        | UnsetType
    ) = UNSET
    timelapse: Annotated[TimelapseFile | UnsetType, Meta(description="How a cue is spread over hours.")] = UNSET
    stage: Annotated[StageFile | UnsetType, Meta(description="What stands before the camera, for the views.")] = UNSET
    hands: Annotated[
        list[HandlingFile], Meta(description="How game controllers are handled. Without it, as suits any pad.")
    ] = []
    camera: Annotated[list[CameraCueFile], Meta(description="What the camera does along the move.")] = []
    tracks: Annotated[list[TrackFile], Meta(description="One for each axis that moves.")] = []
