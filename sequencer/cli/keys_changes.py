"""Which keys an edit changed, as one line, as a short table, and as JSON. It refuses to judge them: `verdict` does."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from rich import box
from rich.table import Table
from rich.text import Text

from sequencer.score.move import Key, Move, Track
from sequencer.timebase.timecode import Timebase

_MOST_ROWS = 20
# what an edit does to a key, and last what it does to the leg from a key to the next one
_WHAT = {"new": "key", "taken out": "key", "changed": "key", "reshaped": "leg"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """A key before and after an edit. One that is new has no `was`, one that was taken out no `now`."""

    axis: str
    was: Key | None
    now: Key | None

    @property
    def what(self) -> str:
        """What the edit did to the key, or to the leg that begins there."""
        if self.was is None:
            return "new"
        if self.now is None:
            return "taken out"
        moved = (self.was.at, self.was.value) != (self.now.at, self.now.value)
        return "changed" if moved else "reshaped"


def changes(before: Move, after: Move) -> list[Change]:
    """Return what differs, track after track: key by key where their number stayed, else instant by instant.

    `after` may have tracks more, behind the others.
    """
    found = []
    more = [Track(track.axis, ()) for track in after.tracks[len(before.tracks) :]]
    for old, new in zip((*before.tracks, *more), after.tracks, strict=True):
        pairs: Iterable[tuple[Key | None, Key | None]] = zip(old.keys, new.keys, strict=False)
        if len(old.keys) != len(new.keys):
            was, now = ({key.at: key for key in track.keys} for track in (old, new))
            pairs = [(was.get(at), now.get(at)) for at in sorted(was.keys() | now.keys())]
        found += [Change(axis=old.axis, was=was, now=now) for was, now in pairs if was != now]
    return found


def summary(before: Move, after: Move, found: list[Change]) -> str:
    """Say to how many keys of which axes something was done: `12 keys of pan and tilt changed; 1 cue moved`."""
    parts = []
    for what, name in _WHAT.items():
        own = [change for change in found if change.what == what]
        axes = [*dict.fromkeys(change.axis for change in own)]
        pins = sum(change.was is not None and change.was.pin for change in own) if what == "changed" else 0
        of = "all axes" if len(axes) == len(after.tracks) > 1 else _list(axes)
        parts += [f"{_many(len(own), name)} of {of} {what}{f' ({pins} pinned)' if pins else ''}"] if own else []
    for name, old, new in (("cue", before.cues, after.cues), ("marker", before.markers, after.markers)):
        moved = sum(one != other for one, other in zip(old, new, strict=True))
        parts += [f"{_many(moved, name)} moved"] if moved else []
    return "; ".join(parts) or "nothing changed"


def table(found: list[Change], timebase: Timebase) -> Table:
    """Return the first of the changed keys, one a line, each before and after."""
    shown = found[:_MOST_ROWS]
    eases = any(_ease(change) for change in shown)
    result = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0), pad_edge=False, show_edge=False)
    result.add_column("axis", overflow="fold")
    for name in ("before", "after"):
        result.add_column(name, no_wrap=True)
        result.add_column("value", justify="right", no_wrap=True)
    if eases:
        result.add_column("law of the leg", overflow="fold")
    for change in shown:
        law = (Text(_ease(change)),) if eases else ()
        result.add_row(Text(change.axis), *_cells(change.was, timebase), *_cells(change.now, timebase), *law)
    if len(found) > _MOST_ROWS:
        result.add_row("…", f"and {len(found) - _MOST_ROWS} more")
    return result


def facts(found: list[Change], timebase: Timebase) -> list[dict[str, Any]]:
    """Return the changed keys as JSON: axis, `was` and `now`, either of them null where there is no key."""

    def key(one: Key | None) -> dict[str, Any] | None:
        if one is None:
            return None
        at = str(timebase.label(one.at))
        says = {"turn": one.turn, "passing": one.passing, "pin": one.pin}
        return {"at": at, "value": one.value, "ease": one.ease.law, **says}

    return [{"axis": change.axis, "was": key(change.was), "now": key(change.now)} for change in found]


def _cells(key: Key | None, timebase: Timebase) -> tuple[str, str]:
    return ("-", "") if key is None else (str(timebase.label(round(key.at, 3))), f"{key.value:.9g}")


def _ease(change: Change) -> str:
    """Return the law of the leg to the next key, and which way round, where the edit changed that."""
    was, now = (
        "" if key is None else " ".join(filter(None, (key.ease.law, key.turn))) for key in (change.was, change.now)
    )
    return now if not was else f"{was} > {now}" if now and now != was else ""


def _many(number: int, name: str) -> str:
    return f"{number} {name}{'' if number == 1 else 's'}"


def _list(names: list[str]) -> str:
    return " and ".join(filter(None, (", ".join(names[:-1]), *names[-1:])))
