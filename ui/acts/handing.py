"""What is handed over from the editor: what must be known of it before, and the files that were written.

It refuses to know Qt, and to change the document. Whoever calls it is a thread beside the window.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from sequencer.errors import ExportError, SequencerError
from sequencer.export.contract import ExportKind, Wanted
from sequencer.export.delivery import Delivery
from sequencer.export.documents import keep, kind_of
from sequencer.export.spaces import Up
from sequencer.project.document import Project
from sequencer.shell.extras import lacking
from sequencer.shell.handover import Asked, Handed, demand_camera, gather, hand_over, missing, usual_name
from sequencer.shell.kinds import exports
from ui.language import translate

UPS: tuple[Up, ...] = ("y", "z")
Tell = Callable[[float], bool]


T = TypeVar("T")


class GivenUp(Exception):
    """Nobody wants the answer any more."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Ready:
    """What would be written: its usual name, and what is guessed and not held, in words."""

    delivery: Delivery
    name: str
    span: str
    guessed: tuple[str, ...]
    lost: tuple[str, ...]
    missing: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """Where the document is: `whose` is its folder, or itself where the files there are not up to date."""

    folder: Path | None
    whose: Path | Project


def formats() -> list[ExportKind]:
    """Return the formats: cameras first, since they are asked for most."""
    order = ("camera", "takes", "markers")
    return sorted(exports().values(), key=lambda kind: (order.index(kind.holds), kind.title.casefold()))


def needs(kind: ExportKind) -> str:
    """Say what a format needs that is not installed here, and how it is; empty where nothing is missing."""
    packages = lacking(kind.extra)
    if not packages:
        return ""
    words = translate(
        "hand over",
        "It needs {packages}, not installed here: pip install 'twintake[{extra}]', then open the editor anew.",
    )
    return words.format(packages=translate("hand over", " and ").join(packages), extra=kind.extra)


def leaves_up(kind: ExportKind) -> bool:
    """Tell whether a format leaves the choice which axis is up."""
    spaces = [kind.space(Wanted(up=up)) for up in UPS]
    return spaces[0] != spaces[1]


def sound(kind: ExportKind, work: Callable[[], T]) -> T:
    """Do the work; formats may come from elsewhere, and what they do wrong ends no editor. Error: SequencerError."""
    try:
        return work()
    except (SequencerError, OSError):
        raise
    except Exception as fault:
        words = translate("hand over", "{title}: a fault of this format, {name}: {words}; nothing was written")
        raise ExportError(words.format(title=kind.title, name=type(fault).__name__, words=fault)) from fault


def ready(asked: Asked, kind: ExportKind, wanted: Wanted) -> Ready:
    """Return what would be written. Error: SequencerError."""
    return sound(kind, lambda: _ready(asked, kind, wanted))


def _ready(asked: Asked, kind: ExportKind, wanted: Wanted) -> Ready:
    delivery, said = gather(asked, kind.holds)
    demand_camera(delivery, kind)
    path = delivery.path if kind.holds == "camera" else None
    unknown = missing(delivery) if path is not None else 0
    span = ""
    if path is not None:
        first, last = (delivery.timebase.label(path.first + frame) for frame in (0, path.frames - 1))
        words = translate("hand over", "{cue}, {run}: {count} frames, {first} to {last}.")
        run = translate("hand over", "{run}, take {take}").format(run=delivery.run, take=delivery.take)
        span = words.format(
            cue=delivery.cue.name,
            run=run if delivery.take else delivery.run,
            count=path.frames,
            first=first,
            last=last,
        )
    return Ready(
        delivery=delivery,
        name=usual_name(delivery, kind),
        span=span,
        guessed=(*said, *(() if path is None else path.remarks)),
        lost=kind.remarks(delivery, wanted),
        missing=unknown,
    )


def written(asked: Asked, kind: ExportKind, wanted: Wanted, folder: Path, name: str, force: bool) -> Handed:
    """Write it, under its usual name where none is given. Error: SequencerError; then nothing is written."""
    delivery, said = gather(asked, kind.holds)
    file = folder / (name or usual_name(delivery, kind))
    if not file.suffix:
        file = file.with_name(file.name + kind.suffixes[0])
    return sound(kind, lambda: hand_over(delivery, kind, wanted, file, force, said))


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """What a prep sheet is asked for. Unit: metres; `reach_m` None: not measured, and no area is drawn."""

    cue: str | None = None
    run: str | None = None
    reach_m: float | None = None
    margin_m: float = 0.0
    whole_travel: bool = False


def prep_sheet(source: Source, sheet: Sheet, out: Path, force: bool) -> tuple[str, ...]:
    """Write the prep sheet; return what must be known of it. Error: SequencerError."""
    kind = kind_of(out)
    # what draws takes seconds to load, and only who writes a document waits for it
    from sequencer.export.prep_sheet import prep_sheet as drawn
    from sequencer.shell.prepared import gather as prepared

    try:
        found = prepared(source.whose, sheet.cue, sheet.run, sheet.reach_m, sheet.margin_m, sheet.whole_travel)
    except ValueError as fault:
        raise ExportError(str(fault)) from fault
    keep(out, kind, drawn(found), force)
    told = [f"{found.stretch}: {found.fits}"]
    if found.reach_m is None:
        told.append(translate("hand over", "No reach was given, so no keep-clear area is drawn: measure it."))
    else:
        inside = ", ".join(one.name for one in found.places if one.inside)
        nobody = translate("hand over", "nobody and nothing")
        words = translate("hand over", "Keep clear: {area:.2f} m². Within it, as the set is planned: {inside}.")
        told.append(words.format(area=found.swept.area_m2, inside=inside or nobody))
    return (*told, *found.remarks)


def shoot_report(
    source: Source, takes: Sequence[Path], of: tuple[str | None, str | None], out: Path, force: bool, tell: Tell
) -> tuple[str, ...]:
    """Write the shoot report of these takes, or of all; return what must be known. `of`: a cue and a pass, or None.

    Error: SequencerError; GivenUp when `tell` says so.
    """
    kind = kind_of(out)
    if source.folder is None:
        raise ExportError(translate("hand over", "this project has no folder, and so no takes yet; save it first"))
    from sequencer.export.shoot_report import shoot_report as drawn
    from sequencer.shell.shot_report import gather as shot

    def step(done: int, whole: int) -> None:
        if not tell(done / max(whole, 1)):
            raise GivenUp

    edited = source.whose if isinstance(source.whose, Project) else None
    found = shot(source.folder, [str(path) for path in takes], *of, None, step, edited)
    keep(out, kind, drawn(found), force)
    whole = sum(one.whole for one in found.takes)
    words = translate("hand over", "{count} takes, {whole} of them whole.")
    told = [words.format(count=len(found.takes), whole=whole)]
    told += [f"{one.name}, {one.standing}: {one.fault}" for one in found.takes if not one.whole]
    return tuple(told)
