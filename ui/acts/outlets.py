"""What is wrong with the outputs that reach a rig, what will be told of them before arming, and how addresses look.

It opens nothing and knows no widget. Kinds of outputs are loaded at the first question: it is asked in a thread.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from urllib.parse import quote

from sequencer.errors import ProjectError, SequencerError
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.geometry import Geometry
from sequencer.rig.outlet import Outlet
from sequencer.shell.kinds import output_kind, output_kinds, output_names
from sequencer.shell.outlets import demand, parts, told
from ui.language import translate

_LETTERS = {"deg": "ABC", "mm": "XYZ"}  # of RS-274/NGC: turning and straight axes
_PLAIN = {
    "osc": "osc://192.168.1.20:9000",
    "osc+tcp": "osc+tcp://192.168.1.20:9000",
    "osc+serial": "osc+serial:/dev/ttyUSB0?baud=115200",
    "device": "device://192.168.1.20:9100",
    "device+tcp": "device+tcp://192.168.1.20:9100",
    "device+serial": "device+serial:/dev/ttyACM0?baud=115200",
    "gcode": "gcode:/dev/ttyUSB0?baud=115200",
    "mavlink": "mavlink://192.168.1.20:14550",
    "mavlink+serial": "mavlink+serial:/dev/ttyACM0?baud=57600",
    "midi": "midi:PORT NAME",
    "virtual": "virtual:NAME",
    "sacn": "sacn://192.168.1.20/1",
    "opentrackio": "opentrackio://192.168.1.20:55555",
    "serial": "serial:/dev/ttyUSB0",
    "gpio": "gpio:/dev/gpiochip0",
    "csv": "csv:/path/setpoints.csv",
    "mcap": "mcap:/path/setpoints.mcap",
}


@dataclass(frozen=True, slots=True)
class Judged:
    """Of each output what is wrong with it, empty for nothing, and what is told of it; `whole`: of all together.

    `ends` is what a kind of output says by itself of the end of setpoints and of a stop.
    """

    faults: tuple[str, ...] = ()
    told: tuple[tuple[str, ...], ...] = ()
    ends: tuple[str, ...] = ()
    whole: str = ""


@dataclass(frozen=True, slots=True)
class Offer:
    """A kind of output: the addresses that are found on this machine, or why none are; and examples."""

    title: str
    found: tuple[str, ...]
    missing: str
    examples: tuple[str, ...]


def judged(rig: Rig, tick_hz: int) -> Judged:
    """Return what is to be said of the outputs of the rig's own description."""
    if not rig.outlets:
        return Judged()
    rest = _rest(rig)
    found = [_alone(outlet, rig, rest, tick_hz) for outlet in rig.outlets]
    faults, whole = [fault for fault, _, _ in found], ""
    try:
        parts("", rig)
    except ProjectError as fault:
        # two that want one axis: the later one is at fault
        at = [n for n, one in enumerate(rig.outlets) if fault.path == f"output {one.address}"]
        if at and not faults[at[-1]]:
            faults[at[-1]] = words_of(fault)
        elif not at:
            whole = words_of(fault)
    except SequencerError as fault:
        whole = "" if any(faults) else str(fault)
    return Judged(tuple(faults), tuple(words for _, words, _ in found), tuple(ends for _, _, ends in found), whole)


def fault_of(written: str, rig: Rig, tick_hz: int) -> str:
    """Return why a run with these outputs is refused: as typed, or without words those of the rig; empty for no why."""
    try:
        demand(parts(written, rig), tick_hz)
    except ProjectError as fault:
        return f"{fault.path}: {words_of(fault)}"
    except SequencerError as fault:
        return str(fault)
    return ""


def _rest(rig: Rig) -> tuple[str, ...]:
    """Return the axes that no output names which drives a rig."""
    owned = {name for outlet in rig.outlets if _drives(outlet) for name in outlet.axes}
    return tuple(name for name in rig.names if name not in owned)


def _drives(outlet: Outlet) -> bool:
    try:
        return output_kind(outlet.address).drives
    except SequencerError:
        return True


def _alone(outlet: Outlet, rig: Rig, rest: tuple[str, ...], tick_hz: int) -> tuple[str, tuple[str, ...], str]:
    """Return what is wrong with one output by itself, what is told of it, and what its kind says of the end."""
    alone = replace(rig, outlets=(replace(outlet, axes=()),))
    try:
        kind = output_kind(outlet.address)
        if kind.drives:
            names = outlet.axes or rest
            if not names:
                return "", (), kind.stop_action
            axes = tuple(axis for axis in rig.axes if axis.name in names)
            alone = replace(alone, axes=axes, combined=(), geometry=Geometry())
        served = parts("", alone)
        demand(served, tick_hz)
    except SequencerError as fault:
        return words_of(fault), (), ""
    return "", told(served, tick_hz), kind.stop_action


def words_of(fault: SequencerError) -> str:
    """Return a fault in words, without the place, beside which it is said."""
    if isinstance(fault, ProjectError):
        return f"{fault.what}; {fault.mend}." if fault.mend else f"{fault.what}."
    return str(fault)


def offers(axes: Sequence[Axis]) -> tuple[Offer, ...]:
    """Return every kind of output with what is found on this machine now, which may take a while."""
    names = output_names()
    return tuple(_offer(kind.schemes, names[", ".join(kind.schemes)], axes) for kind in output_kinds())


def _offer(schemes: tuple[str, ...], found: tuple[str, ...] | str, axes: Sequence[Axis]) -> Offer:
    examples = tuple(example(scheme, axes) for scheme in schemes)
    if isinstance(found, str):
        return Offer(", ".join(schemes), (), found, examples)
    return Offer(", ".join(schemes), tuple(with_ways(one, axes) for one in found), "", examples)


def example(scheme: str, axes: Sequence[Axis]) -> str:
    """Return how an address of this kind may look, for these axes; of a stranger's kind only how it begins."""
    return with_ways(_PLAIN.get(scheme, f"{scheme}:"), axes)


def with_ways(address: str, axes: Sequence[Axis]) -> str:
    """Return the address with a way for each axis, or the shutter, where its kind wants one that it does not say."""
    ways = _ways(address.partition(":")[0], axes)
    here, _, options = address.partition("?")
    there = {option.partition("=")[0] for option in options.split("&")}
    more = [f"{quote(name)}={way}" for name, way in ways if quote(name) not in there]
    return "?".join(filter(None, (here, "&".join(filter(None, (options, *more))))))


def _ways(scheme: str, axes: Sequence[Axis]) -> list[tuple[str, str]]:
    match scheme:
        case "midi" | "virtual":
            return [(axis.name, f"cc{16 + n}" if n < 16 else f"nrpn{n}") for n, axis in enumerate(axes)]
        case "sacn":
            return [(axis.name, str(1 + 2 * n)) for n, axis in enumerate(axes)]
        case "gcode":
            return _letters(axes)
        case "serial":
            return [("shutter", "rts")]
        case "gpio":
            return [("shutter", "17")]
    return []


def _letters(axes: Sequence[Axis]) -> list[tuple[str, str]]:
    """Return a letter for each axis: its own sort's first, then any that is left; none beyond the last."""
    left = "XYZABC"
    ways = []
    for axis in axes:
        own = [letter for letter in _LETTERS.get(axis.unit, "") if letter in left]
        letter = next(iter(own), left[:1])
        if letter:
            ways.append((axis.name, letter))
            left = left.replace(letter, "")
    return ways


def ends_named() -> tuple[str, ...]:
    """Return in words what a device may do when setpoints end, in the order of `rig.outlet.AT_END`."""
    return (
        translate("setup", "holds"),
        translate("setup", "slows down"),
        translate("setup", "drops power"),
        translate("setup", "not known"),
    )
