"""The takes of a folder as a list for whoever gets an export: only their headings are read, so that many are quick."""

from collections.abc import Iterable

from sequencer.export.delivery import TakeMade
from sequencer.export.sampled import span_of
from sequencer.project.library import Filed, Library, ordered


def taken(there: Library) -> tuple[tuple[TakeMade, ...], tuple[str, ...]]:
    """Return the takes that can be used, the oldest first, and in words which are left out and what is not known."""
    remarks = [f"{one.path.name} is left out: {one.fault}" for one in there.takes if not one.usable]
    if there.fault:
        remarks.append(f"which takes are circled, and notes, are not known: {there.fault}")
    return tuple(_made(ordered(there.takes, "oldest"))), tuple(remarks)


def _made(takes: Iterable[Filed]) -> Iterable[TakeMade]:
    for one in takes:
        if one.heading is None or one.told is None:
            continue
        yield TakeMade(
            name=one.heading.name,
            cue=one.cue,
            run=one.run,
            number=one.number,
            span=span_of(one.heading.cue_s, one.told.timebase.rate),
            started=one.started,
            circled=one.circled,
            note=one.note,
            file=one.path.name,
        )
