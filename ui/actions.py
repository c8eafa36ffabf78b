"""Each item of the menus once: its words, its keys, what it does. It makes no menu, and no item ever moves a rig.

Keys are the desktop's own where the desktop has some. None is a bare letter, and Escape and Space are not among them.
"""

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

from ui.acts import choose, clipboard, keys, laws, marks, playhead, retime, view
from ui.acts.files import Files
from ui.desk import Desk
from ui.language import translate
from ui.theme import THEMES


@dataclass(frozen=True, slots=True)
class Item:
    """One line of a menu. `keys` as Qt writes them, empty for none; `name` is for programs and never changes."""

    name: str
    words: str
    keys: str
    do: Callable[[], object]


@dataclass(frozen=True, slots=True)
class Menu:
    """A menu of items; None is a line between groups."""

    words: str
    items: tuple[Item | None, ...]


def menus(desk: Desk, files: Files) -> tuple[Menu, ...]:
    """Return the menus of the window, bound to this desk."""
    return (
        Menu(translate("actions", "&File"), _file(files)),
        Menu(translate("actions", "&Edit"), _edit(desk)),
        Menu(translate("actions", "&Keys"), _keys(desk)),
        Menu(translate("actions", "&Time"), _time(desk)),
        Menu(translate("actions", "&View"), _view(desk)),
    )


def _file(files: Files) -> tuple[Item | None, ...]:
    return (
        Item("new", translate("actions", "&New project"), "Ctrl+N", files.new),
        Item("open", translate("actions", "&Open project folder…"), "Ctrl+O", files.choose),
        None,
        Item("save", translate("actions", "&Save"), "Ctrl+S", files.save),
        Item("save-as", translate("actions", "Save in another &folder…"), "Ctrl+Shift+S", files.save_as),
        Item("reload", translate("actions", "&Read again from the disk"), "", files.reload),
        None,
        Item("playback", translate("actions", "Choose &playback audio…"), "", files.audio.choose),
    )


def _edit(desk: Desk) -> tuple[Item | None, ...]:
    return (
        Item("undo", translate("actions", "&Undo"), "Ctrl+Z", desk.undo),
        Item("redo", translate("actions", "&Redo"), "Ctrl+Shift+Z", desk.redo),
        None,
        Item("cut", translate("actions", "Cu&t keys"), "Ctrl+X", lambda: clipboard.cut_keys(desk)),
        Item("copy", translate("actions", "&Copy keys"), "Ctrl+C", lambda: clipboard.copy_keys(desk)),
        Item(
            "paste", translate("actions", "&Paste keys at the playhead"), "Ctrl+V", lambda: clipboard.paste_keys(desk)
        ),
        Item("delete", translate("actions", "&Delete keys"), "", lambda: keys.delete_keys(desk)),
        None,
        Item("choose-all", translate("actions", "Choose &all keys"), "Ctrl+A", lambda: choose.choose_all(desk)),
        Item("choose-axis", translate("actions", "Choose all of the a&xis"), "", lambda: choose.choose_axis(desk)),
        Item("choose-cue", translate("actions", "Choose all in the &cue"), "", lambda: choose.choose_in_cue(desk)),
        Item("choose-none", translate("actions", "Choose &none"), "Ctrl+D", lambda: choose.choose_none(desk)),
    )


def _keys(desk: Desk) -> tuple[Item | None, ...]:
    laws_offered = tuple(
        Item(f"law-{law}", translate("actions", "Law: {law}").format(law=law), "", _law(desk, law))
        for law in laws.offered_laws(desk)
    )
    return (
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


def _time(desk: Desk) -> tuple[Item | None, ...]:
    return (
        Item("marker", translate("actions", "Add a &marker at the playhead"), "Ctrl+M", lambda: marks.add_marker(desk)),
        Item("cue", translate("actions", "Add a &cue"), "Ctrl+Shift+M", lambda: marks.add_cue(desk)),
        Item("pass", translate("actions", "Add a &pass"), "", lambda: marks.add_pass(desk)),
        None,
        Item("begin", translate("actions", "Playhead to the &begin"), "Ctrl+Home", lambda: playhead.go_begin(desk)),
        Item("end", translate("actions", "Playhead to the &end"), "Ctrl+End", lambda: playhead.go_end(desk)),
        Item("frame-back", translate("actions", "One frame back"), "Alt+Left", lambda: playhead.step_frames(desk, -1)),
        Item("frame-on", translate("actions", "One frame on"), "Alt+Right", lambda: playhead.step_frames(desk, 1)),
        Item("marker-back", translate("actions", "Marker before"), "Ctrl+PgUp", lambda: playhead.step_marker(desk, -1)),
        Item("marker-on", translate("actions", "Marker after"), "Ctrl+PgDown", lambda: playhead.step_marker(desk, 1)),
    )


def _view(desk: Desk) -> tuple[Item | None, ...]:
    return (
        Item("prepare", translate("actions", "Face for &preparing"), "F5", lambda: desk.turn_to("prepare")),
        Item("run", translate("actions", "Face for &running"), "F6", lambda: desk.turn_to("run")),
        None,
        Item("zoom-in", translate("actions", "See &less time"), "Ctrl++", lambda: view.zoom_in(desk)),
        Item("zoom-out", translate("actions", "See &more time"), "Ctrl+-", lambda: view.zoom_out(desk)),
        Item("zoom-all", translate("actions", "See the &whole move"), "Ctrl+0", lambda: view.zoom_all(desk)),
        Item("zoom-chosen", translate("actions", "See what is &chosen"), "Ctrl+9", lambda: view.zoom_chosen(desk)),
        None,
        Item("sun", translate("actions", "Bright &sun, or dark stage"), "F9", lambda: _turn_theme(desk)),
    )


def _turn_theme(desk: Desk) -> None:
    themes = list(THEMES.values())
    desk.dress(themes[(themes.index(desk.theme) + 1) % len(themes)])
