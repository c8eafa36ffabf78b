"""Each item of the menus once: its words, its keys, what it does. It makes no menu, and no item ever moves a rig.

Keys are the desktop's own where the desktop has some. None is a bare letter, and Escape and Space are not among them.
An act that cannot be done says why, so no item is grey but while the project is not in sight.
"""

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from ui.acts import choose, clipboard, keys, laws, marks, playhead, retime, view
from ui.acts.files import Files
from ui.desk import Desk
from ui.language import translate
from ui.theme import THEMES

Topic = Literal["keys", "cautions"]
Part = Literal["export", "import", "report", "prep", "copy"]  # of what hands over
Axis = Callable[[], str]


@dataclass(frozen=True, slots=True)
class Item:
    """One line of a menu. `keys` as Qt writes them, empty for none; `name` is for programs and never changes.

    `everywhere`: it can also be done while the first page, or a choice of files, is shown over the project.
    """

    name: str
    words: str
    keys: str
    do: Callable[[], object]
    everywhere: bool = False


@dataclass(frozen=True, slots=True)
class Menu:
    """A menu of items; None is a line between groups."""

    words: str
    items: tuple[Item | None, ...]


def menus(
    desk: Desk,
    files: Files,
    axis: Axis | None = None,
    tell: Callable[[Topic], object] | None = None,
    store: Callable[[], object] | None = None,
    slate: Callable[[], object] | None = None,
    hand: Callable[[Part], object] | None = None,
) -> tuple[Menu, ...]:
    """Return the menus of the window, bound to this desk.

    `axis` says which lane has the keyboard; without it, acts on one axis are for the first that has a chosen key.
    `tell` shows a topic of the help; without it there is no such menu. `store` stores a mark, `slate` shows the slate,
    `hand` a part of what hands over; without them no item does.
    """
    own = axis if axis is not None else lambda: _first_axis(desk)
    found = (
        Menu(translate("actions", "&File"), (*_file(files), *_handed(hand))),
        Menu(translate("actions", "&Edit"), _edit(desk, own)),
        Menu(translate("actions", "&Keys"), _keys(desk, own)),
        Menu(translate("actions", "&Time"), (*_stored(store), *_time(desk, own))),
        Menu(translate("actions", "&View"), (*_view(desk), *_slated(slate))),
    )
    return found if tell is None else (*found, Menu(translate("actions", "&Help"), _help(tell)))


def _first_axis(desk: Desk) -> str:
    return next(iter(desk.selection), desk.project.rig.names[0])


def _file(files: Files) -> tuple[Item | None, ...]:
    return (
        Item("new", translate("actions", "&New project"), "Ctrl+N", files.new, True),
        Item("open", translate("actions", "&Open project folder…"), "Ctrl+O", files.choose, True),
        None,
        Item("save", translate("actions", "&Save"), "Ctrl+S", files.save),
        Item("save-as", translate("actions", "Save in another &folder…"), "Ctrl+Shift+S", files.save_as),
        Item("reload", translate("actions", "&Read again from the disk"), "", files.reload),
        None,
        Item("playback", translate("actions", "Choose &playback audio…"), "", files.audio.choose),
    )


def _handed(hand: Callable[[Part], object] | None) -> tuple[Item | None, ...]:
    if hand is None:
        return ()
    return (
        None,
        Item("hand-over", translate("actions", "&Hand over…"), "", lambda: hand("export")),
        Item("import", translate("actions", "&Import…"), "", lambda: hand("import")),
        Item("report", translate("actions", "Shoo&t report…"), "", lambda: hand("report")),
        Item("prep", translate("actions", "Pr&ep sheet…"), "", lambda: hand("prep")),
        Item("copy-project", translate("actions", "&Copy the project…"), "", lambda: hand("copy")),
    )


def _edit(desk: Desk, axis: Axis) -> tuple[Item | None, ...]:
    return (
        Item("undo", translate("actions", "&Undo"), "Ctrl+Z", desk.undo),
        Item("redo", translate("actions", "&Redo"), "Ctrl+Shift+Z", desk.redo),
        None,
        Item("cut", translate("actions", "Cu&t keys"), "Ctrl+X", lambda: clipboard.cut_keys(desk)),
        Item("copy", translate("actions", "&Copy keys"), "Ctrl+C", lambda: clipboard.copy_keys(desk)),
        Item(
            "paste", translate("actions", "&Paste keys at the playhead"), "Ctrl+V", lambda: clipboard.paste_keys(desk)
        ),
        Item(
            "paste-axis",
            translate("actions", "Paste keys &onto the chosen lane"),
            "Ctrl+Shift+V",
            lambda: clipboard.paste_keys(desk, axis()),
        ),
        Item("delete", translate("actions", "&Delete keys"), "", lambda: keys.delete_keys(desk)),
        None,
        Item("choose-all", translate("actions", "Choose &all keys"), "Ctrl+A", lambda: choose.choose_all(desk)),
        Item("choose-axis", translate("actions", "Choose all of the a&xis"), "", lambda: choose.choose_axis(desk)),
        Item("choose-cue", translate("actions", "Choose all in the cu&e"), "", lambda: choose.choose_in_cue(desk)),
        Item(
            "choose-back",
            translate("actions", "Choose the key &before"),
            "",
            lambda: choose.choose_next(desk, axis(), -1),
        ),
        Item(
            "choose-on", translate("actions", "Choose the key a&fter"), "", lambda: choose.choose_next(desk, axis(), 1)
        ),
        Item("choose-none", translate("actions", "Choose &none"), "Ctrl+D", lambda: choose.choose_none(desk)),
    )


def _keys(desk: Desk, axis: Axis) -> tuple[Item | None, ...]:
    laws_offered = tuple(
        Item(f"law-{law}", translate("actions", "Law: {law}").format(law=law), "", _law(desk, law))
        for law in laws.offered_laws(desk)
    )
    return (
        Item("add-key", translate("actions", "&Add a key at the playhead"), "", lambda: keys.add_key(desk, axis())),
        None,
        Item("snap", translate("actions", "&Snap chosen keys"), "Ctrl+G", lambda: retime.snap_keys(desk)),
        Item("reverse", translate("actions", "Run chosen keys &backward"), "", lambda: retime.reverse_keys(desk)),
        Item("mirror", translate("actions", "&Mirror chosen keys about zero"), "", lambda: retime.mirror_keys(desk)),
        Item("half", translate("actions", "&Half as fast"), "", lambda: retime.stretch_keys(desk, Fraction(2))),
        Item("twice", translate("actions", "&Twice as fast"), "", lambda: retime.stretch_keys(desk, Fraction(1, 2))),
        None,
        Item("split", translate("actions", "S&plit legs at the playhead"), "Ctrl+K", lambda: retime.split_legs(desk)),
        Item("join", translate("actions", "&Join legs over chosen keys"), "Ctrl+J", lambda: retime.join_keys(desk)),
        Item("pin", translate("actions", "P&in or unpin chosen keys"), "Ctrl+P", lambda: laws.toggle_pin(desk)),
        None,
        *laws_offered,
    )


def _law(desk: Desk, law: str) -> Callable[[], object]:
    return lambda: laws.set_law(desk, law)


def _stored(store: Callable[[], object] | None) -> tuple[Item, ...]:
    words = translate("actions", "&Store a mark: where the rig is, or the playhead")
    return () if store is None else (Item("mark", words, "Ctrl+Alt+M", store),)


def _slated(slate: Callable[[], object] | None) -> tuple[Item, ...]:
    return () if slate is None else (Item("slate", translate("actions", "Sl&ate, over the whole screen"), "F7", slate),)


def _time(desk: Desk, axis: Axis) -> tuple[Item | None, ...]:
    return (
        Item("marker", translate("actions", "Add a &marker at the playhead"), "Ctrl+M", lambda: marks.add_marker(desk)),
        Item("cue", translate("actions", "Add a &cue"), "Ctrl+Shift+M", lambda: marks.add_cue(desk)),
        Item("pass", translate("actions", "Add a &pass"), "", lambda: marks.add_pass(desk)),
        None,
        Item("begin", translate("actions", "Playhead to the &begin"), "Ctrl+Home", lambda: playhead.go_begin(desk)),
        Item("end", translate("actions", "Playhead to the &end"), "Ctrl+End", lambda: playhead.go_end(desk)),
        Item("frame-back", translate("actions", "One frame back"), "Alt+Left", lambda: playhead.step_frames(desk, -1)),
        Item("frame-on", translate("actions", "One frame on"), "Alt+Right", lambda: playhead.step_frames(desk, 1)),
        Item(
            "beat-back", translate("actions", "One beat back"), "Alt+Shift+Left", lambda: playhead.step_beats(desk, -1)
        ),
        Item("beat-on", translate("actions", "One beat on"), "Alt+Shift+Right", lambda: playhead.step_beats(desk, 1)),
        Item("key-back", translate("actions", "Key before"), "", lambda: playhead.step_key(desk, -1, axis())),
        Item("key-on", translate("actions", "Key after"), "", lambda: playhead.step_key(desk, 1, axis())),
        Item("marker-back", translate("actions", "Marker before"), "Ctrl+PgUp", lambda: playhead.step_marker(desk, -1)),
        Item("marker-on", translate("actions", "Marker after"), "Ctrl+PgDown", lambda: playhead.step_marker(desk, 1)),
    )


def _view(desk: Desk) -> tuple[Item | None, ...]:
    return (
        Item("prepare", translate("actions", "Face for &preparing"), "F5", lambda: desk.turn_to("prepare")),
        Item("run", translate("actions", "Face for &running"), "F6", lambda: desk.turn_to("run")),
        None,
        Item("zoom-in", translate("actions", "See less t&ime"), "Ctrl++", lambda: view.zoom_in(desk)),
        Item("zoom-out", translate("actions", "See &more time"), "Ctrl+-", lambda: view.zoom_out(desk)),
        Item("zoom-all", translate("actions", "See the &whole move"), "Ctrl+0", lambda: view.zoom_all(desk)),
        Item("zoom-chosen", translate("actions", "See what is &chosen"), "Ctrl+9", lambda: view.zoom_chosen(desk)),
        None,
        Item("earlier", translate("actions", "See what is &earlier"), "Alt+PgUp", lambda: view.pan(desk, -0.5)),
        Item("later", translate("actions", "See what is &later"), "Alt+PgDown", lambda: view.pan(desk, 0.5)),
        None,
        Item("sun", translate("actions", "Bright &sun, or dark stage"), "F9", lambda: _turn_theme(desk), True),
    )


def _help(tell: Callable[[Topic], object]) -> tuple[Item | None, ...]:
    return (
        Item("help-keys", translate("actions", "&Keys of the timeline"), "F1", lambda: tell("keys"), True),
        Item("cautions", translate("actions", "&Cautions"), "", lambda: tell("cautions"), True),
    )


def _turn_theme(desk: Desk) -> None:
    themes = list(THEMES.values())
    desk.dress(themes[(themes.index(desk.theme) + 1) % len(themes)])
