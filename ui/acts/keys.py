"""Keys come, go and are moved by steps or to numbers. It refuses to move a pinned key, and says so."""

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction

from sequencer.errors import SequencerError
from sequencer.motion.split import split
from sequencer.project.document import Project
from sequencer.rig.axis import Rig
from sequencer.score.edits import keys as edits
from sequencer.score.edits.offset import offset
from sequencer.score.edits.selection import Selection
from sequencer.score.move import Ease, Key, Move, Track
from ui.acts.carry import carry
from ui.acts.choose import choose_key
from ui.acts.doing import do, when
from ui.acts.rest import together, without_jumps
from ui.desk import Desk
from ui.language import translate

# one step of a value, in the axis's own unit
STEPS: Mapping[str, float] = {"deg": 1.0, "mm": 1.0, "part": 0.01}
_FIRST_LAW = "poly345"  # of a track that begins; from rest to rest with little jerk


def add_key(desk: Desk, axis: str, at: Fraction | None = None, value: float | None = None) -> bool:
    """Add a key at frame `at`, else at the playhead, and choose it.

    Without a `value`, or inside a leg, the key lies on the curve, which stays as it is where that can be; outside it
    has the value of the end of the track, or the axis's home where it has no key.
    """
    at = desk.playhead if at is None else at
    words = translate("acts", "add a key of {axis}").format(axis=axis)
    if not do(desk, words, lambda project: _with_key(desk, project, axis, at, value)):
        return False
    track = desk.track(axis)
    if track is not None:
        choose_key(desk, axis, next(number for number, key in enumerate(track.keys) if key.at == at))
    return True


def _with_key(desk: Desk, project: Project, axis: str, at: Fraction, value: float | None) -> Move:
    own = project.rig.axes[project.rig.index(axis)]
    track = next((track for track in project.move.tracks if track.axis == axis), None)
    move = project.move
    if track is not None and track.keys[0].at < at < track.keys[-1].at and value is None:
        try:
            return split_track(desk, project, move, track, at)
        except SequencerError:
            raise
        except ValueError:  # the curve cannot be kept: a plain key where the axis stands at that instant
            value = stands(desk, axis, at)
    if value is None:
        value = own.home if track is None else (track.keys[0] if at < track.keys[0].at else track.keys[-1]).value
    before = None if track is None else next((key for key in reversed(track.keys) if key.at < at), track.keys[0])
    ease = Ease(_FIRST_LAW if _FIRST_LAW in desk.laws else min(desk.laws)) if before is None else before.ease
    if before is not None and ease.how is not None and desk.laws[ease.law].curves is not None:
        ease = Ease(_FIRST_LAW)  # what was drawn belongs to the leg that it was drawn for
    after = edits.put(move, axis, Key(at, value, ease))
    return without_jumps(move, after, desk.laws)[0]


def split_track(desk: Desk, project: Project, move: Move, track: Track, at: Fraction) -> Move:
    """Return the move with a key on the curve of one of its tracks at frame `at`; only that one is compiled.

    Error: as in `motion.split`.
    """
    alone = Rig(name=project.rig.name, axes=(project.rig.axes[project.rig.index(track.axis)],))
    done = split(alone, Move(tracks=(track,)), project.timebase.rate, desk.laws, track.axis, at).tracks[0]
    return replace(move, tracks=tuple(done if each is track else each for each in move.tracks))


def stands(desk: Desk, axis: str, at: Fraction) -> float:
    """Return where the axis stands at frame `at`, as its track's curve says; the axis's home where it has none."""
    shape = desk.shapes.get(axis)
    if shape is None or not len(shape.at_s):
        return desk.project.rig.axes[desk.project.rig.index(axis)].home
    at_s = float(desk.project.timebase.rate.seconds(at))
    if at_s <= shape.at_s[0]:
        return float(shape.value[0])
    if at_s >= shape.at_s[-1]:
        return float(shape.value[-1])
    piece = max(0, int(shape.from_s.searchsorted(at_s, "right")) - 1)
    since_s, found = at_s - shape.from_s[piece], 0.0
    for coefficient in shape.coeffs[:, piece].tolist():
        found = found * since_s + coefficient
    return float(found)


def delete_keys(desk: Desk, words: str = "") -> bool:
    """Take the chosen keys out. A leg at rest that would have to jump then gets the law of the one after it."""
    if not some(desk):
        return False
    selection = desk.selection

    def edit(project: Project) -> Move:
        return without_jumps(project.move, edits.removed(project.move, selection), desk.laws)[0]

    if not do(desk, words or translate("acts", "delete {keys}").format(keys=many(desk)), edit):
        return False
    desk.select({})
    return True


def nudge_time(desk: Desk, frames: Fraction) -> bool:
    """Move the chosen keys by so many frames, as far as there is room beside those that stay."""
    return _nudge(desk, frames, 0.0)


def nudge_value(desk: Desk, steps: float) -> bool:
    """Move the chosen keys by so many steps of their axes' units, as far as there is travel."""
    if not some(desk):
        return False
    units = {desk.project.rig.axes[desk.project.rig.index(axis)].unit for axis in desk.selection}
    if len({STEPS[unit] for unit in units}) > 1:
        words = translate("acts", "the chosen keys are counted in different units; choose keys of one kind of axis")
        desk.note(words, "refused")
        return False
    return _nudge(desk, Fraction(0), steps * STEPS[units.pop()])


def _nudge(desk: Desk, frames: Fraction, value: float) -> bool:
    if not some(desk):
        return False
    carried = carry(desk.history.now, desk.selection, desk.laws)
    done_frames, done_value = carried.within(frames, value)
    if not carried.timed or (value and not carried.valued):
        desk.note(pinned_words(), "refused")
        return False
    if not done_frames and not done_value:
        there = translate("acts", "there is no room: a key stands beside it")
        desk.note(there if frames else translate("acts", "there is no room: the axis's travel ends here"), "refused")
        return False
    words = translate("acts", "nudge {keys}").format(keys=many(desk))
    merge = "nudge time" if frames else "nudge value"
    done = do(desk, words, lambda project: carried.moved(done_frames, done_value), merge)
    if done and carried.stays:
        desk.note(some_stay_words().format(count=carried.stays))
    return done


def offset_keys(desk: Desk, frames: Fraction = Fraction(0), value: float = 0.0) -> bool:
    """Move the chosen keys by exactly so much, or not at all."""
    if not some(desk):
        return False
    selection = desk.selection

    def edit(project: Project) -> Move:
        refuse_pinned(desk, project.move, selection)
        move = offset(project.move, selection, frames=frames) if frames else project.move
        return offset(move, joined(desk, move, selection), value=value) if value else move

    return do(desk, translate("acts", "shift {keys}").format(keys=many(desk)), edit)


def move_first_to(desk: Desk, at: Fraction) -> bool:
    """Move the chosen keys in time so that the first of them stands at frame `at`."""
    chosen = desk.chosen_keys()
    if not some(desk):
        return False
    first = min(key.at for _, _, key in chosen)
    return at == first or offset_keys(desk, frames=at - first)


def set_values(desk: Desk, value: float) -> bool:
    """Give all chosen keys one value; those that legs at rest join them to, too."""
    if not some(desk):
        return False
    selection = desk.selection

    def edit(project: Project) -> Move:
        refuse_pinned(desk, project.move, selection)
        return _valued(project.move, joined(desk, project.move, selection), value)

    return do(desk, translate("acts", "set the value of {keys}").format(keys=many(desk)), edit)


def set_key(desk: Desk, axis: str, number: int, *, at: Fraction | None = None, value: float | None = None) -> bool:
    """Put one key elsewhere in time or value, whatever is chosen."""

    def edit(project: Project) -> Move:
        refuse_pinned(desk, project.move, {axis: {number}})
        move = edits.placed(project.move, axis, number, at=at) if at is not None else project.move
        if value is None:
            return move
        group = joined(desk, move, {axis: {number}})
        if len(group[axis]) == 1:
            return edits.placed(move, axis, number, value=value)
        return _valued(move, group, value)

    return do(desk, translate("acts", "change a key of {axis}").format(axis=axis), edit)


def _valued(move: Move, selection: Selection, value: float) -> Move:
    def valued(track: Track) -> Track:
        own = selection.get(track.axis, frozenset())
        keys = (replace(key, value=value) if number in own else key for number, key in enumerate(track.keys))
        return Track(track.axis, tuple(keys)) if own else track

    return replace(move, tracks=tuple(valued(track) for track in move.tracks))


def joined(desk: Desk, move: Move, selection: Selection) -> dict[str, frozenset[int]]:
    """Return the chosen keys and those that legs at rest join them to. Error: ValueError where one is pinned."""
    found = {}
    for track in move.tracks:
        if numbers := selection.get(track.axis):
            groups = together(track, numbers, desk.laws)
            found[track.axis] = frozenset(number for group in groups for number in group)
    refuse_pinned(desk, move, found)
    return found


def refuse_pinned(desk: Desk, move: Move, selection: Selection) -> None:
    """Error: ValueError in words that names the first pinned key."""
    for track in move.tracks:
        for number in sorted(selection.get(track.axis, ())):
            if track.keys[number].pin:
                words = translate("acts", "the key of {axis} at {at} is pinned; unpin it first")
                raise ValueError(words.format(axis=track.axis, at=when(desk, track.keys[number].at)))


def some(desk: Desk) -> bool:
    """Whether a key is chosen; if none is, it is said."""
    if not desk.selection:
        desk.note(translate("acts", "no key is chosen; choose one first"), "refused")
    return bool(desk.selection)


def many(desk: Desk) -> str:
    """Return how many keys are chosen, in words."""
    count = sum(map(len, desk.selection.values()))
    if count == 1:
        return translate("acts", "a key of {axis}").format(axis=next(iter(desk.selection)))
    return translate("acts", "{count} keys").format(count=count)


def pinned_words() -> str:
    """Say that nothing moves."""
    return translate("acts", "what is chosen is pinned, or rests beside a pinned key; unpin it first")


def some_stay_words() -> str:
    """Say that some do not move."""
    return translate("acts", "{count} of the chosen keys stay: they are pinned, or rest beside a pinned key")
