"""Which laws, outputs, sources, controllers and formats there are: one a file in its folder, and what others bring.

One that fails to load is left out, and says why; it stops nobody.
"""

import importlib
import pkgutil
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from functools import cache, partial
from importlib.metadata import entry_points
from types import ModuleType
from typing import TypeVar

import sequencer.adapters.controllers
import sequencer.adapters.outputs
import sequencer.adapters.sources
import sequencer.export.formats
import sequencer.export.imports
import sequencer.score.laws
from sequencer.adapters.contract import Carried, ControllerKind, Output, OutputKind, Source, SourceKind
from sequencer.errors import LinkError
from sequencer.export.contract import ExportKind, ImportKind
from sequencer.rig.axis import Rig
from sequencer.score.easing import LawKind
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timebase, parse

LAWS_GROUP = "twintake.laws"
OUTPUTS_GROUP = "twintake.outputs"
SOURCES_GROUP = "twintake.sources"
CONTROLLERS_GROUP = "twintake.controllers"
EXPORTS_GROUP = "twintake.exports"
IMPORTS_GROUP = "twintake.imports"

_COUNTING = Counting(Rate(25))
NO_PROJECT = Timebase(_COUNTING, parse("00:00:00:00", _COUNTING))

K = TypeVar("K", LawKind, OutputKind, SourceKind, ControllerKind, ExportKind, ImportKind)


def laws() -> dict[str, LawKind]:
    """Return the motion laws by name."""
    return dict(_laws()[0])


def laws_left_out() -> dict[str, str]:
    """Return the modules and entry points that brought no law, with the reason, for the operator to read."""
    return dict(_laws()[1])


def source_kind(address: str) -> SourceKind:
    """Return the source that opens `address`. Error: LinkError that lists the schemes there are."""
    return _by_scheme(_sources(), address, "source")


def source_address(name: str, scheme: str = "midi") -> str:
    """Return the address that an operator means by `name`: itself, or the port of that name behind `scheme`."""
    return name if name.partition(":")[0] in _sources()[0] else f"{scheme}:{name}"


def carried(address: str) -> Carried:
    """Return what comes in at a source: midi, ltc or osc. Error: LinkError that lists the schemes there are."""
    return source_kind(address).carries


def judge_source(address: str) -> None:
    """Read the address of a source, and open nothing. Error: LinkError where it is known already that none opens."""
    source_kind(address).judge(address)


def source_names() -> dict[str, tuple[str, ...] | str]:
    """Return for each source that there is, by its schemes, the addresses it finds here, or why it finds none."""
    return {", ".join(kind.schemes): _named(kind.names) for kind in dict.fromkeys(_sources()[0].values())}


def sources_left_out() -> dict[str, str]:
    """Return the modules and entry points that brought no source, with the reason, for the operator to read."""
    return dict(_sources()[1])


def controller_kind(address: str) -> ControllerKind:
    """Return what opens the game controllers at `address`. Error: LinkError that lists the schemes there are."""
    return _by_scheme(_controllers(), address, "game controller")


def controller_names() -> dict[str, tuple[str, ...] | str]:
    """Return for each kind of game controllers, by its scheme, the pads it finds here, or why it finds none."""
    return {scheme: _named(kind.names) for scheme, kind in _controllers()[0].items()}


def controllers_left_out() -> dict[str, str]:
    """Return what brought no game controllers, with the reason, for the operator to read."""
    return dict(_controllers()[1])


def output_kind(address: str) -> OutputKind:
    """Return the output that opens `address`. Error: LinkError that lists the schemes there are."""
    return _by_scheme(_outputs(), address, "output")


def output_kinds() -> tuple[OutputKind, ...]:
    """Return the kinds of outputs there are, each once."""
    return tuple(dict.fromkeys(_outputs()[0].values()))


def output_names() -> dict[str, tuple[str, ...] | str]:
    """Return for each kind of output, by its schemes, the addresses it finds here, or why it finds none."""
    return {", ".join(kind.schemes): _named(kind.names) for kind in output_kinds()}


def outputs_left_out() -> dict[str, str]:
    """Return what brought no output, with the reason, for the operator to read."""
    return dict(_outputs()[1])


def open_output(address: str, rig: Rig, timebase: Timebase = NO_PROJECT) -> AbstractContextManager[Output]:
    """Open the rig at `address`, as in `osc://127.0.0.1:9000`. Error: LinkError."""
    return output_kind(address).open(address, rig, timebase)


def open_source(address: str) -> AbstractContextManager[Source]:
    """Open the source at `address`, as in `pipe:0` or `midi:NAME`. Error: LinkError."""
    return source_kind(address).open(address)


def open_controllers(address: str) -> AbstractContextManager[Source]:
    """Open the game controllers at `address`, as in `pads:`. Error: LinkError."""
    return controller_kind(address).open(address)


def exports() -> dict[str, ExportKind]:
    """Return the formats to hand something over in, by name."""
    return dict(_exports()[0])


def imports() -> dict[str, ImportKind]:
    """Return the formats to take something from, by name."""
    return dict(_imports()[0])


def formats_left_out() -> dict[str, str]:
    """Return what brought no format, with the reason, for the operator to read."""
    return {**_exports()[1], **_imports()[1]}


Found = tuple[dict[str, K], dict[str, str]]


def _by_scheme(found: Found[K], address: str, what: str) -> K:
    kinds, left_out = found
    scheme = address.partition(":")[0]
    if scheme in kinds:
        return kinds[scheme]
    why = "".join(f"; {source} is left out: {reason}" for source, reason in left_out.items())
    raise LinkError(f"{address!r} is no {what}; it must begin with {': or '.join(sorted(kinds))}:{why}")


@cache
def _laws() -> Found[LawKind]:
    return _found(sequencer.score.laws, LAWS_GROUP, LawKind, lambda kind: (kind.name,))


@cache
def _outputs() -> Found[OutputKind]:
    return _found(sequencer.adapters.outputs, OUTPUTS_GROUP, OutputKind, lambda kind: kind.schemes)


@cache
def _sources() -> Found[SourceKind]:
    return _found(sequencer.adapters.sources, SOURCES_GROUP, SourceKind, lambda kind: kind.schemes)


@cache
def _controllers() -> Found[ControllerKind]:
    return _found(sequencer.adapters.controllers, CONTROLLERS_GROUP, ControllerKind, lambda kind: (kind.scheme,))


@cache
def _exports() -> Found[ExportKind]:
    return _found(sequencer.export.formats, EXPORTS_GROUP, ExportKind, lambda kind: (kind.name,))


@cache
def _imports() -> Found[ImportKind]:
    return _found(sequencer.export.imports, IMPORTS_GROUP, ImportKind, lambda kind: (kind.name,))


def _named(names: Callable[[], tuple[str, ...]]) -> tuple[str, ...] | str:
    try:
        return names()
    except LinkError as fault:
        return str(fault)


def _found(folder: ModuleType, group: str, wanted: type[K], names: Callable[[K], tuple[str, ...]]) -> Found[K]:
    """Return the kinds by name, and what was left out with the reason."""
    found: dict[str, K] = {}
    left_out: dict[str, str] = {}
    for place, load in _places(folder, group):
        try:
            kind = load()
        # whatever a stranger's file does when it is loaded, the others must still be found
        except Exception as error:
            left_out[place] = f"{type(error).__name__}: {error}"
            continue
        if not isinstance(kind, wanted):
            left_out[place] = f"its KIND is {kind!r}, not a {wanted.__name__}"
            continue
        for name in names(kind):
            if name in found:
                left_out[place] = f"there is one called {name!r} already"
            else:
                found[name] = kind
    return found, left_out


def _places(folder: ModuleType, group: str) -> Iterator[tuple[str, Callable[[], object]]]:
    """Yield a name and a loader for each module in `folder`, then for each entry point of `group`."""
    for module in pkgutil.iter_modules(folder.__path__, f"{folder.__name__}."):
        yield module.name, partial(_kind_of, module.name)
    for point in entry_points(group=group):
        yield f"{point.name} ({point.value})", point.load


def _kind_of(module: str) -> object:
    return importlib.import_module(module).KIND
