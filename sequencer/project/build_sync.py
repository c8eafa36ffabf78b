"""From the sync offsets and triggers of a project file to their values, and back. Every fault is a ProjectError."""

from fractions import Fraction
from typing import Literal

from msgspec import UNSET, UnsetType

from sequencer.errors import ProjectError
from sequencer.project import files, text
from sequencer.project.document import SYNC_SOURCES, SyncOffset, Triggers
from sequencer.project.values import exact_text, instant, placed, said, signed, timecode
from sequencer.score.move import Cue, Marker, Move
from sequencer.sync.orders import GoToMark, Locate, Mapped, Order, StartClock, StopClock, StopRig, TakeCue
from sequencer.timebase.timecode import Timebase

_LONGEST_DELAY_MS = 1000
_FINEST = 10**9  # parts of a frame that a file tells apart
_ALONE: dict[str, Order] = {"start": StartClock(), "stop clock": StopClock(), "stop rig": StopRig()}


def build_sync(written: list[files.SyncFile], timebase: Timebase) -> tuple[SyncOffset, ...]:
    """Return the offset of each source."""
    found: dict[str, SyncOffset] = {}
    for i, one in enumerate(written):
        path = f"sync[{i}]"
        if one.source not in SYNC_SOURCES:
            what = f"{text.printable(one.source)!r} is no source with an offset"
            raise ProjectError(f"{path}.source", what, f"there are {', '.join(SYNC_SOURCES)}")
        if one.source in found:
            first = list(found).index(one.source)
            raise ProjectError(f"{path}.source", f"{one.source} has an offset in sync[{first}] already", "keep one")
        frames = signed(said(one.offset_frames, "0"), f"{path}.offset_frames")
        delay_ms = said(one.delay_ms, 0.0)
        if abs(frames) >= timebase.counting.day:
            what = f"{exact_text(frames)} frames are a day or more"
            raise ProjectError(f"{path}.offset_frames", what, "write less")
        if abs(delay_ms) > _LONGEST_DELAY_MS:
            what = f"{delay_ms:g} ms is more than a second"
            raise ProjectError(f"{path}.delay_ms", what, "write less, or an offset in frames")
        found[one.source] = SyncOffset(one.source, frames, delay_ms)
    return tuple(found.values())


def plain_offset(offset: SyncOffset) -> files.SyncFile:
    """Return the offset as it is written."""
    return files.SyncFile(
        source=offset.source,
        offset_frames=exact_text(offset.frames) if offset.frames else UNSET,
        delay_ms=float(offset.delay_ms) if offset.delay_ms else UNSET,
    )


def build_triggers(written: files.TriggersFile, move: Move, timebase: Timebase) -> Triggers:
    """Return the triggers, whose cues and markers are those of the move."""
    device = said(written.mmc_device, None)
    if device is not None and not 0 <= device <= 126:
        mend = "write 0 to 126, or leave it out to obey every number"
        raise ProjectError("triggers.mmc_device", f"{device} is no device number", mend)
    mapped: list[Mapped] = []
    for i, one in enumerate(said(written.midi, [])):
        path = f"triggers.midi[{i}]"
        message, number = _message(one, path)
        order = _order(one, path, move, timebase)
        new = placed(path, Mapped, message=message, number=number, channel=said(one.channel, None), order=order)
        for k, other in enumerate(mapped):
            if _one_message(new, other):
                what = f"{_told(new)} has an order in triggers.midi[{k}] already"
                raise ProjectError(path, what, "keep one, or give them different channels")
        mapped.append(new)
    return Triggers(tuple(mapped), device)


def _message(written: files.MidiTriggerFile, path: str) -> tuple[Literal["note", "program"], int]:
    match written.note, written.program:
        case int(note), UnsetType():
            return "note", note
        case UnsetType(), int(program):
            return "program", program
    raise ProjectError(path, "it is neither one note nor one program", 'write "note" or "program", and not both')


def _one_message(a: Mapped, b: Mapped) -> bool:
    """Return whether a message can be both."""
    channels = {a.channel, b.channel}
    return (a.message, a.number) == (b.message, b.number) and (len(channels) == 1 or None in channels)


def _told(mapped: Mapped) -> str:
    channel = "any channel" if mapped.channel is None else f"channel {mapped.channel}"
    return f"{mapped.message} {mapped.number} on {channel}"


def _order(written: files.MidiTriggerFile, path: str, move: Move, timebase: Timebase) -> Order:
    needs = {"cue": "name", "mark": "name", "locate": "at"}.get(written.do)
    for name in ("name", "at"):
        if name != needs and getattr(written, name) is not UNSET:
            raise ProjectError(f"{path}.{name}", f"{written.do!r} needs none", "remove it")
    match written.do, written.name, written.at:
        case "cue", str(name), _:
            return TakeCue(_one_of(move.cues, name, path, "cue"))
        case "mark", str(name), _:
            return GoToMark(_one_of(move.markers, name, path, "marker"))
        case "locate", _, str(at):
            return Locate(float(timebase.rate.seconds(instant(at, f"{path}.at", timebase))))
        case (alone, _, _) if alone in _ALONE:
            return _ALONE[alone]
    if needs:
        raise ProjectError(f"{path}.{needs}", f"{written.do!r} needs it, and it is missing", "add it")
    raise ProjectError(
        f"{path}.do", f"there is no order {text.printable(written.do)!r}", f"there are {', '.join(files.ORDERS)}"
    )


def _one_of(named: tuple[Cue, ...] | tuple[Marker, ...], name: str, path: str, kind: str) -> str:
    """Return the name if there is one of that name. Error: ProjectError that lists the names there are."""
    names = [one.name for one in named]
    if name not in names:
        there = f"there are {', '.join(names)}" if names else "there are none"
        raise ProjectError(f"{path}.name", f"there is no {kind} {text.printable(name)!r}", there)
    if names.count(name) > 1:
        raise ProjectError(f"{path}.name", f"more than one {kind} has the name {name!r}", "rename the others")
    return name


def plain_triggers(triggers: Triggers, timebase: Timebase) -> files.TriggersFile:
    """Return the triggers as they are written."""
    midi = [_plain_mapped(one, f"triggers.midi[{i}]", timebase) for i, one in enumerate(triggers.mapped)]
    return files.TriggersFile(
        mmc_device=UNSET if triggers.mmc_device is None else triggers.mmc_device, midi=midi or UNSET
    )


def _plain_mapped(mapped: Mapped, path: str, timebase: Timebase) -> files.MidiTriggerFile:
    name: str | UnsetType = UNSET
    at: str | UnsetType = UNSET
    match mapped.order:
        case TakeCue(name=name):
            do = "cue"
        case GoToMark(name=name):
            do = "mark"
        case Locate(position_s=position_s):
            do = "locate"
            # a float of seconds lies beside the frame that was meant, by far less than a billionth
            frames = Fraction(round(timebase.rate.frames(Fraction(position_s)) * _FINEST), _FINEST)
            at = timecode(frames, f"{path}.at", timebase)
        case order:
            do = next(word for word, alone in _ALONE.items() if alone == order)
    return files.MidiTriggerFile(
        note=mapped.number if mapped.message == "note" else UNSET,
        program=mapped.number if mapped.message == "program" else UNSET,
        channel=UNSET if mapped.channel is None else mapped.channel,
        do=do,
        name=name,
        at=at,
    )
