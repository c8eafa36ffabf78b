"""What the operator chose for a run: which rig, which clock, which cue and pass, how fast; and the orders that follow.

It opens nothing and starts nothing: a choice is a value, and so are the orders.
"""

from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Literal, get_args

from sequencer.errors import LinkError, ProjectError
from sequencer.project.document import Project
from sequencer.project.passed import in_pass
from sequencer.rig.axis import Rig
from sequencer.shell import shoot
from sequencer.shell.kinds import carried, judge_source, laws, source_address
from sequencer.shell.messages import Arm, Late, Setup, Sync
from ui.language import translate
from ui.link.ahead import Stretches, stretches

ClockChoice = Literal["own", "music", "mtc", "ltc", "clock", "osc"]
CLOCKS: tuple[ClockChoice, ...] = get_args(ClockChoice)
SIMULATED = "simulated"
OSC_PORT = "osc:9001"
PADS = "pads:"
_SYNC: dict[ClockChoice, Sync] = {
    "own": "internal",
    "music": "audio",
    "mtc": "mtc",
    "ltc": "ltc",
    "clock": "clock",
    "osc": "internal",
}
_USUAL = {"mtc": shoot.VIRTUAL, "clock": shoot.VIRTUAL, "ltc": "ltc:", "osc": OSC_PORT}
_FOR_ONE_ARMING = ("cue", "speed", "late", "preroll_s", "remote", "record", "by_hand", "punch_in")
_MUSIC_AHEAD_S = 3.0  # music is known to run only a moment after it began


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """All that Setup and Arm offer, as the operator sees it. None for a pass or a cue: the first pass, the whole move.

    `inlet` is where the clock comes in, empty for the usual place. Unit: `speed` a part of the pass's own.
    """

    rig: str = SIMULATED  # or outputs as they are written; empty for those of the rig's own description
    clock: ClockChoice = "own"
    inlet: str = ""
    triggers: tuple[str, ...] = ()
    give: tuple[str, ...] = ()
    audio_out: str = ""
    run: str | None = None
    tick_hz: int = 250
    precise: bool = False
    freewheel_s: float = 2.0
    answers_needed: bool = True
    # for one arming
    cue: str | None = None
    speed: Fraction = Fraction(1)
    late: Late = "refuse"
    preroll_s: float = 1.0
    remote: bool = False
    record: bool = False
    by_hand: tuple[str, ...] = ()  # axes that hands perform while the others play
    punch_in: bool = False  # not from the start, but from a punch in on

    @property
    def real(self) -> bool:
        """Whether something moves that can hurt somebody."""
        return self.rig != SIMULATED

    @property
    def ours(self) -> bool:
        """Whether the clock is started here: the program's own one, or the music."""
        return self.clock in ("own", "music")

    def same_setup(self, other: "Choice") -> bool:
        """Whether an engine that was set up for `other` serves this choice too."""
        mine = {name: getattr(self, name) for name in _FOR_ONE_ARMING}
        return replace(other, **mine) == self


def setup_of(choice: Choice, folder: Path, output: str) -> Setup:
    """Return how an engine is set up for the choice. Error: LinkError where the port brings another kind of time."""
    inlet = _inlet(choice)
    return Setup(
        project=str(folder),
        run=choice.run,
        output=output,
        sync=_SYNC[choice.clock],
        sources=(inlet,) if inlet and choice.clock != "osc" else (),
        triggers=tuple(dict.fromkeys((*((inlet,) if choice.clock == "osc" else ()), *choice.triggers))),
        audio_out=choice.audio_out,
        controllers=PADS,
        give=choice.give,
        tick_hz=choice.tick_hz,
        precise=choice.precise,
        freewheel_s=choice.freewheel_s,
        answers_needed=choice.answers_needed,
    )


def _inlet(choice: Choice) -> str:
    usual = _USUAL.get(choice.clock, "")
    if not usual:
        return ""
    wanted = {"ltc": "ltc", "osc": "osc"}.get(choice.clock, "midi")
    address = source_address(choice.inlet or usual, wanted)
    if carried(address) != wanted:
        raise LinkError(f"{address} does not bring what this clock needs; choose another port")
    judge_source(address)
    return address


def inlet_fault(choice: Choice) -> str:
    """Return why the clock cannot come in where it was typed, as far as that is known unopened; empty for nothing."""
    try:
        _inlet(choice)
    except LinkError as fault:
        return str(fault)
    return ""


def plan_of(choice: Choice, project: Project, folder: Path) -> shoot.Plan | None:
    """Return what would be shot, or None for the whole move. Error: ProjectError that lists what there is."""
    if choice.cue is None:
        return None
    return shoot.plan(project, choice.cue, choice.run, folder / "takes", choice.speed, folder)


def order_of(choice: Choice, project: Project, folder: Path) -> Arm:
    """Return the order to arm. Error: ProjectError, LinkError where no take can be kept or no such cue is there."""
    plan = plan_of(choice, project, folder)
    order = {
        "cue": choice.cue,
        "speed": str(choice.speed),
        "late": choice.late,
        "preroll_s": max(choice.preroll_s, _MUSIC_AHEAD_S) if choice.clock == "music" else choice.preroll_s,
        "remote": choice.remote,
        "by_hand": choice.by_hand,
        "punched": not choice.punch_in,
    }
    if not choice.record:
        return Arm(**order)  # type: ignore[arg-type]  # one dict of many types
    if plan is None:
        raise LinkError("a take is of one cue; choose a cue, or record no take")
    if choice.remote:
        raise LinkError("a take is of one cue, and triggers choose others; leave one of the two out")
    path = plan.next_path()
    return Arm(**order, take=str(path), heading=replace(plan.heading(path.stem), by_hand=choice.by_hand))  # type: ignore[arg-type]  # as above


def first(choice: Choice, project: Project) -> Choice:
    """Return the choice for a project that has just been opened: its first cue, its first pass."""
    cue = next((cue.name for cue in project.move.cues), None)
    return replace(choice, rig=_reached(choice.rig, project), cue=cue, run=None, by_hand=())


def mended(choice: Choice, project: Project) -> Choice:
    """Return the choice without what the project has no more.

    The first cue and the first pass come instead, and the simulated rig for one that names no outputs.
    """
    cues = [cue.name for cue in project.move.cues]
    cue = choice.cue if choice.cue is None or choice.cue in cues else next(iter(cues), None)
    run = choice.run if choice.run in [one.name for one in project.move.passes] else None
    by_hand = tuple(name for name in choice.by_hand if name in project.rig.names)
    rig = _reached(choice.rig, project)
    return replace(choice, rig=rig, cue=cue, run=run, record=choice.record and cue is not None, by_hand=by_hand)


def _reached(rig: str, project: Project) -> str:
    return rig if rig or project.rig.outlets else SIMULATED


def rig_words(chosen: str, rig: Rig) -> str:
    """Return where a real rig is that was chosen for a run: its address, or how many outputs it has."""
    written = [outlet.address for outlet in rig.outlets] if not chosen else chosen.split(";")
    addresses = [address.strip() for address in written if address.strip()]
    return addresses[0] if len(addresses) == 1 else translate("run", "{n} outputs").format(n=len(addresses))


def foreseen(choice: Choice, project: Project) -> tuple[float | None, Stretches]:
    """Return where on the timeline the armed part begins, and the stretches with motion in it. Unit: seconds."""
    move, rate = project.move, project.timebase.rate
    keys = [] if choice.cue else [track.keys[0].at for track in move.tracks if track.keys]
    cues = [project.cue(choice.cue)] if choice.cue else move.cues
    begin = min([cue.start for cue in cues] + keys, default=None)
    if begin is None:
        return None, ()
    speed = project.run(choice.run).speed * choice.speed
    try:
        move = in_pass(project, choice.run, laws())[0].move
    except ProjectError:
        return float(rate.seconds(begin)), ()  # the engine says why the pass cannot be made, and arms nothing
    return float(rate.seconds(begin)), stretches(move, rate, begin, speed)
