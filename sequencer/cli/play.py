"""`twintake play`: follow a clock with a real output."""

import dataclasses
import math
import time
from collections.abc import Mapping
from fractions import Fraction
from functools import partial
from pathlib import Path

import typer
from msgspec.structs import replace

from sequencer.cli import play_options as how
from sequencer.cli.exits import console, errors, exits
from sequencer.cli.link_shown import LinkShown, link_words
from sequencer.cli.options import Folder, Out, PassName, Speed, TickHz, fraction, instant, number, outputs
from sequencer.cli.play_remote import stay
from sequencer.cli.shown import clock_words
from sequencer.errors import LinkError, ProjectError
from sequencer.live.handling import Deed
from sequencer.playback.state import Phase
from sequencer.project.document import Project
from sequencer.project.passed import in_pass
from sequencer.project.store import load
from sequencer.shell import shoot
from sequencer.shell.crew import Crew, crew
from sequencer.shell.kinds import carried, judge_source, laws, source_address
from sequencer.shell.messages import Arm, Opened, Pressed, Punch, Said, Setup, Start, Status, TakeHands

_ARM_S = 10.0
_OPTION_OF = {"midi_in": ("mtc", "clock"), "audio_in": ("ltc",), "audio_out": ("audio",)}  # --sync
_WORDS: dict[str, str] = {"midi": "MIDI", "ltc": "linear timecode", "osc": "OSC"}
_BARE = {"punch": "punch", "fired": "camera:"}  # where the take keeps a bare word
CAUTION = (
    "The rig will move. Are people clear, and is a hard-wired emergency stop that cuts motor power in reach of a "
    "person who watches the rig? This program is not a safety device."
)

REMOTE = (
    "Triggers may choose the cue or marker: the rig then moves to its start without another question. Keep people "
    "clear of the rig for as long as this runs."
)


def play(
    project: Folder,
    sync: how.Sync = "internal",
    midi_in: how.MidiIn = None,
    audio_in: how.AudioIn = None,
    audio_out: how.AudioOut = "",
    trigger: how.Trigger = None,
    remote: how.Remote = False,
    give: how.Give = None,
    offset_frames: how.OffsetFrames = None,
    delay_ms: how.DelayMs = None,
    out: Out = None,
    run: PassName = None,
    cue: how.OneCue = None,
    until: how.Until = None,
    speed: Speed = "1",
    late: how.Joins = "refuse",
    preroll_s: how.Preroll = None,
    freewheel_s: how.Freewheel = 2.0,
    tick_hz: TickHz = 250,
    precise: how.Precise = False,
    arm: how.AtOnce = False,
    record: how.Record = False,
    by_hand: how.ByHand = None,
    punch_in: how.PunchIn = False,
    pads: how.Pads = "pads:",
) -> None:
    """Move to the start, say so, and follow the clock to the end of the move."""
    with exits():
        opened = load(project, laws())
        _refuse_options(sync, midi_in=midi_in, audio_in=audio_in, audio_out=audio_out)
        setup = Setup(
            project=str(project),
            run=in_pass(opened, run, laws())[1].name,
            output=outputs(out),
            sync="internal" if sync == "osc" else sync,
            sources=_sources(sync, midi_in, audio_in),
            triggers=_inlets("--trigger", trigger or (["osc:9001"] if sync == "osc" else []), ("osc", "midi")),
            audio_out=audio_out,
            controllers=pads if by_hand else "",
            give=tuple(give or ()),
            offset_frames=None if offset_frames is None else str(fraction(offset_frames)),
            delay_ms=None if delay_ms is None else number(delay_ms),
            tick_hz=tick_hz,
            precise=precise,
            freewheel_s=freewheel_s,
            answers_needed=False,
        )
        _refuse(setup, remote, record)
        if preroll_s is None:
            # a trigger means now; but music is known to run only a moment after it began
            preroll_s = 0.0 if setup.triggers and sync != "audio" else 3.0
        order = Arm(until_s=_until_s(opened, until), speed=speed, late=late, preroll_s=preroll_s, remote=remote)
        order = _performed(order, opened, by_hand or [], punch_in)
        if cue is not None or record:
            order = _of_cue(order, opened, project, cue, run, record)
        with crew(setup) as running:
            _play(running, setup, order, arm)


def _refuse_options(sync: str, **given: list[str] | str | None) -> None:
    """Refuse an option of another clock: who forgot --sync would see the rig start by itself. Error: ProjectError."""
    for name, value in given.items():
        if value and sync not in _OPTION_OF[name]:
            option, mend = f"--{name.replace('_', '-')}", f"add --sync {' or '.join(_OPTION_OF[name])}, or leave it out"
            raise ProjectError(option, f"has no meaning with --sync {sync}", mend, "command line")


def _refuse(setup: Setup, remote: bool, record: bool) -> None:
    """Refuse what makes no sense together. Error: ProjectError that names the option."""
    if remote and not setup.triggers:
        raise ProjectError("--remote", "nothing can choose", "name where orders come in: --trigger", "command line")
    if remote and record:
        mend = "leave one of them out"
        raise ProjectError("--remote", "a take is of one cue, and triggers choose others", mend, "command line")


def _performed(order: Arm, project: Project, axes: list[str], punch_in: bool) -> Arm:
    """Return the order with the axes that hands perform. Error: ProjectError that names the option."""
    if punch_in and not axes:
        raise ProjectError("--punch-in", "nothing is performed", "name an axis: --by-hand pan", "command line")
    if axes and order.remote:
        what = "what triggers choose cannot be performed by hand"
        raise ProjectError("--remote", what, "leave it or --by-hand out", "command line")
    if axes and order.late == "join":
        what = "what is performed by hand cannot be joined"
        raise ProjectError("--late", what, "leave one of them out", "command line")
    for name in axes:
        try:
            project.rig.index(name)
        except ValueError as fault:
            raise ProjectError("--by-hand", str(fault), "name one of them", "command line") from fault
    return replace(order, by_hand=tuple(dict.fromkeys(axes)), punched=not punch_in)


def _sources(sync: str, midi_in: list[str] | None, audio_in: list[str] | None) -> tuple[str, ...]:
    """Return where time may come in, the one that is followed first."""
    match sync:
        case "mtc" | "clock":
            return _inlets("--midi-in", midi_in or ["virtual:twintake"], ("midi",))
        case "ltc":
            return _inlets("--audio-in", audio_in or ["ltc:"], ("ltc",))
    return ()


def _inlets(option: str, names: list[str], wanted: tuple[str, ...]) -> tuple[str, ...]:
    """Return the addresses of the sources that an option names.

    Error: ProjectError where something else comes in; LinkError where nothing can, as far as that is known unopened.
    """
    found = tuple(source_address(name, "ltc" if "ltc" in wanted else "midi") for name in names)
    for address in found:
        if carried(address) not in wanted:
            fitting = " or ".join(_WORDS[one] for one in wanted)
            what = f"{_WORDS[carried(address)]} comes in at {address}, and {fitting} is wanted"
            raise ProjectError(option, what, "twintake ports lists what fits", "command line")
        judge_source(address)
    return found


def _until_s(project: Project, until: str | None) -> float | None:
    return None if until is None else float(project.timebase.rate.seconds(instant("--until", until, project.timebase)))


def _of_cue(order: Arm, project: Project, folder: Path, cue: str | None, run: str | None, record: bool) -> Arm:
    """Return the order to play one cue only, and where that is wanted to record a take of it."""
    if cue is None:
        raise ProjectError("--record", "a take is of a cue", "name it with --cue", file="command line")
    plan = shoot.plan(project, cue, run, folder / "takes", Fraction(order.speed), folder)
    if not record:
        return replace(order, cue=cue)
    path = plan.next_path()
    heading = dataclasses.replace(plan.heading(path.stem), by_hand=order.by_hand)
    return replace(order, cue=cue, take=str(path), heading=heading)


class _Teller:
    """Prints what happens, and now and then how it stands."""

    def __init__(self) -> None:
        self._shown_s = time.monotonic()
        self._link = LinkShown(console)

    def __call__(self, status: Status | None, said: list[Said]) -> None:
        for one in said:
            words = f"{_BARE[one.code]} {one.text}" if one.code in _BARE else one.text
            console.print(words, markup=False, highlight=False)
        self._link.look(status)
        if status is not None and time.monotonic() - self._shown_s > 5.0:
            self._shown_s = time.monotonic()
            words = f"{status.phase}, {status.source}: {clock_words(status)}; rig: {link_words(status)}"
            errors.print(words, style="dim", highlight=False)


def _play(running: Crew, setup: Setup, order: Arm, asked: bool) -> None:
    """Play what is ordered, once the operator has been told what is there and, unless `asked`, says so."""
    watch = shoot.Watch(running, _Teller(), act=partial(_punch, running))
    _tell_links(running, setup)
    watch.look()
    if order.by_hand:
        demand_pads(running.wait_opened(), setup)
    console.print(CAUTION, style="bold")
    if order.remote:
        console.print(REMOTE, style="bold")
    if not asked and not typer.confirm("Arm and move to the start?"):
        raise typer.Exit(0)
    try:
        if order.remote:
            stay(watch, order, _ARM_S, f"{CAUTION} {REMOTE}")
        watch.arm(order)
        watch.until(Phase.READY, _ARM_S)
        if order.by_hand:
            running.tell(TakeHands(on=True))
        if setup.sync in ("internal", "audio") and not setup.triggers:
            running.tell(Start())
        watch.until(Phase.FINISHED, math.inf)
        watch.until_camera()
        if order.take is not None:
            console.print(f"kept {watch.until_kept().path}", highlight=False, soft_wrap=True)
    except KeyboardInterrupt:
        watch.stop()
        raise


def demand_pads(opened: Mapping[str, Opened], setup: Setup) -> None:
    """Have the game controllers opened; why they are not was said. Error: LinkError."""
    if setup.pads_port not in opened["io"].sources:
        raise LinkError("no game controllers were opened, and nothing moves by hand without them; mend that first")


def _punch(running: Crew, pressed: Pressed) -> None:
    """Have the hands begin or end their performance, whichever it is."""
    status = running.status()
    if pressed.deed == Deed.PUNCH and status is not None:
        running.tell(Punch(not status.punched))


def _tell_links(running: Crew, setup: Setup) -> None:
    """Say where time and orders come in, where time goes out, and how punctual the engine can be."""
    opened = running.wait_opened()
    places = {port: place for one in opened.values() for port, place in one.sources.items()}
    for port, address in enumerate(setup.inlets):
        uses = ["timecode"] if address in setup.sources else []
        uses += ["orders"] if address in setup.triggers else []
        verb = "come" if "orders" in uses else "comes"
        console.print(f"{' and '.join(uses)} {verb} in at {places.get(port, address)}", highlight=False, markup=False)
    if setup.sync == "audio":
        console.print(f"the music plays on {places[len(setup.inlets)]}", highlight=False, markup=False)
    for target in setup.give:
        console.print(f"time goes out to {target}", highlight=False, markup=False)
    console.print(opened["engine"].timing, highlight=False)
