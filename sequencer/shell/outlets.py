"""Which outputs a run has, which axes each of them serves, and whether it can carry them. Nothing is opened here.

Written, an outlet is an address, or axes and an address: `pan,tilt=osc://192.168.1.20:9000`; several are parted by `;`.
Nothing written means the outlets of the rig's own description.
"""

import contextlib
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from urllib.parse import quote

from sequencer.adapters.contract import Carries, OutputKind
from sequencer.errors import LinkError, ProjectError
from sequencer.playback.ahead import Timing
from sequencer.project.files import RIG
from sequencer.project.inside import LEADS_OUT, leads_out
from sequencer.rig.axis import Rig
from sequencer.rig.geometry import Geometry
from sequencer.rig.outlet import OnLoss, Outlet
from sequencer.shell.kinds import output_kind

USUAL = "osc://127.0.0.1:9000"
_WRITTEN = re.compile(r"(?:(?P<axes>[^\s:=?;]+)=)?(?P<address>[a-z][a-z0-9+.-]*:.*)")
_AT_END = {
    "hold": "holds where it is",
    "decelerate": "slows down and stops",
    "drop power": "drops motor power: what it carries can fall",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One output of a run: its axes as a rig of their own, and their places in the whole one."""

    outlet: Outlet
    kind: OutputKind
    rig: Rig
    places: tuple[int, ...]
    carries: Carries
    on_loss: OnLoss

    @property
    def rate_hz(self) -> float | None:
        """The most setpoint sets a second that it is sent; None for one a tick."""
        asked, most = self.outlet.rate_hz, self.carries.most_hz
        return asked if asked is not None else most


def parts(written: str, rig: Rig, folder: Path | None = None) -> tuple[Part, ...]:
    """Return the outputs of a run; whoever opens them says of which project `folder` they are.

    Error: ProjectError, LinkError that name the outlet and what is wrong with it.
    """
    outlets = _read(written) or tuple(_inside(one, folder) for one in rig.outlets) or (Outlet(address=USUAL),)
    kinds = [output_kind(outlet.address) for outlet in outlets]
    claims = _claims(outlets, kinds, rig)
    return tuple(_part(*one, rig) for one in zip(outlets, kinds, claims, strict=True))


def _read(written: str) -> tuple[Outlet, ...]:
    outlets = []
    for word in filter(None, map(str.strip, written.split(";"))):
        found = _WRITTEN.fullmatch(word)
        if found is None:
            mend = f"write it as {USUAL}, or with its axes as pan,tilt={USUAL}"
            raise ProjectError("--out", f"{word!r} is no output", mend, "command line")
        axes = tuple(filter(None, (found["axes"] or "").split(",")))
        try:
            outlets.append(Outlet(address=found["address"], axes=axes))
        except ValueError as fault:
            raise ProjectError("--out", str(fault), "write each axis once", "command line") from fault
    return tuple(outlets)


def files_of(rig: Rig) -> tuple[Outlet, ...]:
    """Return the outputs of rig.json that write files; one that there is no kind of is none."""
    found = []
    for one in rig.outlets:
        with contextlib.suppress(LinkError):
            if output_kind(one.address).writes is not None:
                found.append(one)
    return tuple(found)


def without_files(rig: Rig) -> Rig:
    """Return the rig for what is done beside a run, such as homing: it starts often, and a file is written once.

    One that has nothing but files keeps them: without any output the usual one would be taken.
    """
    files = files_of(rig)
    return replace(rig, outlets=tuple(one for one in rig.outlets if one not in files) or rig.outlets)


def _inside(outlet: Outlet, folder: Path | None) -> Outlet:
    """Return an outlet of rig.json; a file that it writes lies in the project's folder. Error: ProjectError."""
    kind = output_kind(outlet.address)
    if kind.writes is None or folder is None:
        return outlet
    named = kind.writes(outlet.address)
    path = folder.absolute() / named
    if named.is_absolute() or leads_out(path, folder):
        what = f"it would write {named}, which {LEADS_OUT}"
        mend = f"write its path within the folder, or name it on the command line: --out {outlet.address}"
        raise ProjectError(f"output {outlet.address}", what, mend, RIG)
    scheme, query = outlet.address.partition(":")[0], "".join(outlet.address.partition("?")[1:])
    return replace(outlet, address=f"{scheme}:{quote(str(path))}{query}")


def _claims(outlets: Sequence[Outlet], kinds: Sequence[OutputKind], rig: Rig) -> list[tuple[str, ...]]:
    """Return which axes each output drives; all of them for one that only tells."""
    owner: dict[str, str] = {}
    for outlet, kind in zip(outlets, kinds, strict=True):
        for name in outlet.axes:
            try:
                rig.index(name)
            except ValueError as fault:
                raise ProjectError(f"output {outlet.address}", str(fault), "name one of them") from fault
            if name in owner and kind.drives:
                what = f"{name} is claimed by {owner[name]} too"
                raise ProjectError(f"output {outlet.address}", what, "give each axis to one output")
            if kind.drives:
                owner[name] = outlet.address
    rest = tuple(name for name in rig.names if name not in owner)
    claims = []
    for outlet, kind in zip(outlets, kinds, strict=True):
        claim = outlet.axes or (rest if kind.drives else rig.names)
        if kind.drives and not outlet.axes:
            if not rest:
                raise ProjectError(
                    f"output {outlet.address}", "no axis is left for it", "name its axes, or leave it out"
                )
            others = [one.address for one, other in zip(outlets, kinds, strict=True) if other.drives and not one.axes]
            if len(others) > 1:
                what = f"it and {next(one for one in others if one != outlet.address)} would drive the same axes"
                raise ProjectError(f"output {outlet.address}", what, "say which axes are whose: pan,tilt=ADDRESS")
        claims.append(claim)
    unserved = [name for name in rest if not any(k.drives and name in c for k, c in zip(kinds, claims, strict=True))]
    if unserved and any(kind.drives for kind in kinds):
        what = f"no output drives {', '.join(unserved)}"
        raise ProjectError("outputs", what, "name them at one output, or take them out of the rig")
    return claims


def _part(outlet: Outlet, kind: OutputKind, claim: tuple[str, ...], rig: Rig) -> Part:
    own = rig
    if kind.drives:
        # what ties axes together, and what they do to the camera, is the whole rig's
        axes = tuple(axis for axis in rig.axes if axis.name in claim)
        own = replace(rig, axes=axes, combined=(), geometry=Geometry(), outlets=())
    return Part(
        outlet=outlet,
        kind=kind,
        rig=own,
        places=tuple(rig.index(name) for name in own.names),
        carries=kind.carries(outlet.address, own),
        on_loss=outlet.on_loss or ("stop" if kind.drives else "go on"),
    )


def demand(served: Sequence[Part], tick_hz: int) -> None:
    """Refuse what an output cannot carry. Error: ProjectError with the figure and the mend."""
    for part in served:
        where, carries = f"output {part.outlet.address}", part.carries
        if carries.most_axes is not None and len(part.rig.axes) > carries.most_axes:
            what = f"it carries {carries.most_axes} axes, and {len(part.rig.axes)} are given to it"
            raise ProjectError(where, what, "give it fewer: AXIS,AXIS=ADDRESS")
        asked = part.outlet.rate_hz
        if asked is not None and carries.most_hz is not None and min(asked, tick_hz) > carries.most_hz:
            what = f"it holds {carries.most_hz:.0f} setpoints a second ({carries.why}), and {asked:g} are asked for"
            raise ProjectError(where, what, f"set rate_hz to {int(carries.most_hz)} or less, or use a faster link")
        for axis, span in zip(part.rig.axes, carries.span, strict=bool(carries.span)):
            low, high = axis.travel or (-math.inf, math.inf)
            if span is None:
                continue
            only = f"it carries {axis.name} from {span[0]:g} to {span[1]:g} only, outside the axis's"
            if not (span[0] < high and low < span[1]):
                raise ProjectError(where, f"{only} travel", "correct the scaling in the address")
            if not span[0] <= axis.home <= span[1]:
                mend = "correct the scaling in the address, or give the axis a home within that"
                raise ProjectError(where, f"{only} home at {axis.home:g}", mend)


def told(served: Sequence[Part], tick_hz: int) -> tuple[str, ...]:
    """Return what the operator is told of the outputs before arming, in words."""
    words = []
    for part in served:
        if not part.kind.drives:
            able = part.carries.triggers if part.kind.camera else ()
            what = f"has the camera ({', '.join(able)})" if able else "is told of the move"
            words.append(f"{part.outlet.address} {what}, and moves nothing")
            continue
        rate = "" if part.rate_hz is None or part.rate_hz >= tick_hz else f", {part.rate_hz:.0f} times a second"
        why = f" ({part.carries.why})" if rate and part.outlet.rate_hz is None and part.carries.why else ""
        ahead = f", {part.carries.ahead_s:g} s ahead" if part.carries.ahead_s else ""
        at_end = part.outlet.at_end if part.outlet.at_end != "unknown" else part.kind.at_end
        ends = f"it {_AT_END[at_end]}; a stop: " if at_end in _AT_END else ""
        words.append(
            f"{', '.join(part.rig.names)} by {part.outlet.address}{rate}{why}{ahead}. "
            f"When setpoints end: {ends}{part.kind.stop_action}"
        )
        if part.on_loss == "go on":
            words.append(f"when {part.outlet.address} is lost, the others go on moving")
        words += [
            f"{name} is kept within {low:g} to {high:g}: {part.outlet.address} carries no more"
            for name, low, high in _narrowed(part)
        ]
        if part.outlet.latency_s:
            words.append(f"{part.outlet.address} is led by {part.outlet.latency_s * 1e3:.0f} ms beside its axes' own")
    return tuple(words)


def answering(served: Sequence[Part], rig: Rig) -> tuple[bool, ...]:
    """Return for each axis whether the rig behind its output can say where it stands."""
    can = {name for part in served if part.kind.drives and part.kind.answers for name in part.rig.names}
    return tuple(name in can for name in rig.names)


def _narrowed(part: Part) -> list[tuple[str, float, float]]:
    """Return the axes of which the output carries less than their travel, and what."""
    spans = zip(part.rig.axes, part.carries.span, strict=bool(part.carries.span))
    return [
        (axis.name, *span)
        for axis, span in spans
        if span is not None and (axis.travel is None or axis.travel[0] < span[0] or span[1] < axis.travel[1])
    ]


def as_served(rig: Rig, served: Sequence[Part]) -> Rig:
    """Return the rig as its outputs make it: led by their latency, within what they can say."""
    axes = {axis.name: axis for axis in rig.axes}
    for part in served:
        if not part.kind.drives:
            continue
        for name in part.rig.names:
            axes[name] = replace(axes[name], latency_s=axes[name].latency_s + part.outlet.latency_s)
        for name, low, high in _narrowed(part):
            least, most = axes[name].travel or (low, high)
            axes[name] = replace(axes[name], travel=(max(low, least), min(high, most)))
    return replace(rig, axes=tuple(axes[name] for name in rig.names))


def timing(served: Sequence[Part], tick_hz: int) -> Timing:
    """Return how far ahead setpoints are made: as far as the output that wants them earliest."""
    ahead_s = max((part.carries.ahead_s for part in served), default=0.0)
    committed_s = max((part.carries.committed_s for part in served), default=0.0)
    return Timing(
        period_ns=round(1e9 / tick_hz),
        ahead_ns=round(ahead_s * 1e9),
        committed_ns=round(min(committed_s, ahead_s) * 1e9),
    )
