"""What a format is, to be handed over in or taken from. One is one file that exports `KIND`."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from sequencer.export.delivery import Delivery
from sequencer.export.found import FoundCamera, FoundCut
from sequencer.export.spaces import OURS, Space, Up
from sequencer.timebase.rate import Rate

Holds = Literal["camera", "takes", "markers"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """How a delivery is to be written, as far as a format leaves a choice. `first` renumbers the first frame."""

    up: Up = "y"
    first: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ExportKind:
    """A format that something is handed over in.

    `suffixes` are those that its files may have, the first where nobody says. `make` returns the file's bytes for one
    of them; it writes nothing. `remarks` says what the format cannot hold of this delivery, for whoever asked for it.
    `extra` is the extra of this program that brings what it needs, empty for none. `space` is the space that a camera
    is written in, which the text beside the file explains. `bare`: it holds the path of a rig without a camera too.
    Error: `make` raises ExportError that says what is wrong and the mend.
    """

    name: str
    title: str
    suffixes: tuple[str, ...]
    holds: Holds
    make: Callable[[Delivery, str, Wanted], bytes]
    remarks: Callable[[Delivery, Wanted], tuple[str, ...]] = lambda _delivery, _wanted: ()
    extra: str = ""
    bare: bool = False
    space: Callable[[Wanted], Space] = lambda _wanted: OURS


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportKind:
    """A format that something is taken from: a cut (`cut`: markers, cues, tempo) or a camera (`camera`), or both.

    Both take the file's bytes, its name, and the rate that the operator says, or None for what the file says.
    `shorten` takes from a file of which most is not needed what is, by its size and a way to read `size` bytes from
    `at` on; ValueError for what is no such file. Without it a file is read whole, within bounds.
    Error: ImportFault that names the place in the file and the mend.
    """

    name: str
    title: str
    suffixes: tuple[str, ...]
    cut: Callable[[bytes, str, Rate | None], FoundCut] | None = None
    camera: Callable[[bytes, str, Rate | None], tuple[FoundCamera, ...]] | None = None
    shorten: Callable[[int, Callable[[int, int], bytes]], bytes] | None = None
    extra: str = ""
