"""What may befall a simulated take, by its name: an ill of a rig or its link, a deed of the operator or of a stranger.

To add one, add it to `ACTS`. Words on why it may stop the rig belong in `why`.
"""

from collections.abc import Callable, Sequence

import numpy as np
from pythonosc.osc_message_builder import OscMessageBuilder

from sequencer.adapters.contract import Chunk
from sequencer.playback.state import UNARMED, Phase
from sequencer.rig.signals import TRIGGER_NAMES
from sequencer.shell.messages import Arm, Drive, Fire, Go, Punch, Quit, Reset, Start, TakeHands
from sequencer.shell.shoot import Plan
from sequencer.wire.pad import AXES, BUTTONS, PadRow, packed
from tests.trust.far_rig import FarRig
from tests.trust.masters import Player, timecode
from tests.trust.world import ORDERS, PADS, TIME, World

_MOST_S = 3.0  # that an ill lasts
Chance = np.random.Generator
Act = Callable[[World, Chance], object]
_HALTED = frozenset({Phase.LOCATING, Phase.GOING, Phase.DRIVING})
_STOP_BUTTON = BUTTONS.index("start")
_ENABLING = AXES.index("left trigger")


def arm(world: World, chance: Chance) -> None:
    project, run = world.project, world.project.run(world.scene.run)
    performs = chance.random() < 0.2
    joins = not performs and chance.random() < 0.45
    remote = not performs and chance.random() < 0.4
    plan = Plan(project=project, cue=project.move.cues[0], run=run, folder=world.disk.folder)
    path = plan.next_path() if chance.random() < 0.6 else None
    punched = bool(chance.random() < 0.5)
    world.rules.permit("arm", world.now_ns, *(["remote"] if remote else []), *(["joins"] if joins else []))
    if isinstance(world.master.desk, Player) and world.master.desk.plays:
        world.rules.thrown.add("music stops")  # it is placed anew while it plays
    world.tell(
        Arm(
            cue="turn" if path is not None or chance.random() < 0.7 else None,
            speed=str(chance.choice(("1", "1/2", "1"))),
            late="join" if joins else "refuse",
            preroll_s=0.2,
            remote=remote,
            by_hand=(project.rig.names[0],) if performs else (),
            punched=punched,
            take=None if path is None else str(path),
            heading=None if path is None else plan.heading(path.stem),
        )
    )
    if performs:
        _in_hand(world, chance, 3.0, range(0))
        world.at(float(chance.uniform(0.5, 3.0)), lambda: world.tell(Punch(not punched)))


def roll(
    world: World,
    chance: Chance,
    at_s: float | None = None,
    speed: float = 1.0,
    *,
    backward: bool = False,
    within_s: float = 0.2,
) -> None:
    """Have the master begin, `within_s`, a little before the cue, or at `at_s` of the project; one of ours starts."""
    if world.master.desk is not None:
        world.tell(Start())
        return
    cue = world.project.move.cues[0]
    begin_s = float(world.project.timebase.rate.seconds(cue.start)) - 1.2 if at_s is None else at_s
    begins_s = world.now_ns * 1e-9 + float(chance.uniform(0.0, within_s))
    world.wire.add(
        timecode(world.scene.sync, world.project, chance, begins_s, begin_s, TIME, speed=speed, backward=backward)
    )


def _at_once(
    world: World, chance: Chance, at_s: float | None = None, speed: float = 1.0, *, backward: bool = False
) -> None:
    """Have the master go on elsewhere or otherwise, from where it is where no place is given; seldom both are heard."""
    if chance.random() < 0.75:
        world.wire.arrivals = [chunk for chunk in world.wire.arrivals if chunk.port != TIME]
    where_s = world.timeline_s if at_s is None else at_s
    roll(world, chance, where_s, speed, backward=backward, within_s=0.0)


def _other_speed(world: World, chance: Chance) -> None:
    """Much too fast or slow, or just so fast that it is followed and the axes cannot."""
    _at_once(world, chance, None, float(chance.choice((chance.uniform(0.7, 1.3), chance.uniform(1.1, 1.14)))))


def _time_act(change: Callable[[list[Chunk], Chance], list[Chunk]]) -> Act:
    """Change the timecode that is still to come, of some seconds."""

    def act(world: World, chance: Chance) -> None:
        until_ns = world.now_ns + round(float(chance.uniform(0.1, _MOST_S)) * 1e9)
        mine = [chunk for chunk in world.wire.arrivals if chunk.port == TIME and chunk.stamp_ns < until_ns]
        others = [chunk for chunk in world.wire.arrivals if not (chunk.port == TIME and chunk.stamp_ns < until_ns)]
        world.wire.arrivals = []
        world.wire.add([*others, *change(mine, chance)])

    return act


def _lose(chunks: list[Chunk], chance: Chance) -> list[Chunk]:
    part = float(chance.choice((0.1, 0.5, 1.0)))
    return [chunk for chunk in chunks if chance.random() >= part]


def _garble(chunks: list[Chunk], chance: Chance) -> list[Chunk]:
    def garbled(chunk: Chunk) -> Chunk:
        if chance.random() < 0.6:
            return chunk
        data = bytearray(chunk.data)
        data[int(chance.integers(len(data)))] ^= int(chance.integers(1, 256))
        return Chunk(chunk.stamp_ns, bytes(data), chunk.port)

    return [garbled(chunk) for chunk in chunks]


def _double(chunks: list[Chunk], chance: Chance) -> list[Chunk]:
    by_ns = int(chance.choice((0, 1_000_000, 30_000_000)))
    return [*chunks, *(Chunk(chunk.stamp_ns + by_ns, chunk.data, chunk.port) for chunk in chunks)]


def _drop_out(chunks: list[Chunk], chance: Chance) -> list[Chunk]:
    """A gap that freewheeling bridges."""
    begins_ns = chunks[0].stamp_ns if chunks else 0
    ends_ns = begins_ns + round(float(chance.uniform(0.15, 0.45)) * 1e9)
    return [chunk for chunk in chunks if chunk.stamp_ns >= ends_ns]


def _music_stops(world: World, chance: Chance) -> None:
    """The sound card takes no more, for a moment or for good, or the player halts by itself."""
    if not isinstance(player := world.master.desk, Player):
        return
    if chance.random() < 0.4:
        player.halt()
    else:
        player.lasts_to_ns = world.now_ns
        world.at(float(chance.choice((0.2, 0.4, 2.0))), lambda: setattr(player, "lasts_to_ns", 0))


def _ill(name: str) -> Act:
    def fall_ill(world: World, chance: Chance) -> None:
        lasts_s = float(chance.choice((chance.uniform(0.02, 0.4), chance.uniform(0.5, _MOST_S))))
        setattr(_one_of(world, chance).ills, name, world.now_ns + round(lasts_s * 1e9))

    return fall_ill


def _one_of(world: World, chance: Chance) -> FarRig:
    return world.rigs[int(chance.integers(len(world.rigs)))]


def _push(world: World, chance: Chance) -> None:
    far = _one_of(world, chance)
    far.push(float(chance.choice((-0.2, 0.02, 0.2, 2.0))) * np.array([axis.speed for axis in far.rig.axes]))


def _message(address: str, *arguments: str | float) -> bytes:
    built = OscMessageBuilder(address)
    for argument in arguments:
        built.add_arg(argument)
    return bytes(built.build().dgram)


def _order(world: World, chance: Chance) -> None:
    """Somebody on the network orders something, sensible or not."""
    frames = int(chance.integers(0, 100))
    messages: tuple[tuple[str, *tuple[str | float, ...]], ...] = (
        ("/run/start",),
        ("/run/stop",),
        ("/run/locate", str(world.project.timebase.label(frames))),
        ("/run/locate", "noon"),
        ("/run/locate", float("nan")),
        ("/mark/go", "quay"),
        ("/mark/go", "boats"),
        ("/mark/go", "nowhere"),
        ("/cue/take", "turn"),
        ("/cue/take", "x" * 5000),
        ("/rig/pan/position", 1e9),
    )
    chosen = messages[int(chance.integers(len(messages)))]
    data = _message(*chosen)
    spoils = chance.random() < 0.2
    # most clocks of senders are right, some were set anew
    stamp_ns = world.now_ns + round(float(chance.choice((0.0, 0.0, 0.0, 0.3, -5.0, 7200.0))) * 1e9)
    if chosen == ("/run/stop",) and not spoils and stamp_ns == world.now_ns:
        _asked_by_the_clock(world)
    if spoils:
        spoilt = bytearray(data)
        spoilt[int(chance.integers(len(spoilt)))] ^= int(chance.integers(1, 256))
        data = bytes(spoilt)
    world.wire.add([Chunk(stamp_ns, data, ORDERS)])


def _halt(world: World, chance: Chance) -> None:
    """Somebody stops the clock in the midst of it, or sets it anew."""
    if chance.random() < 0.5:
        _asked_by_the_clock(world)
        message = _message("/run/stop")
    else:
        message = _message("/run/locate", str(world.project.timebase.label(int(chance.integers(0, 100)))))
    world.wire.add([Chunk(world.now_ns, message, ORDERS)])


def _asked_by_the_clock(world: World) -> None:
    """A clock that is stopped stops whatever moves without it; one that is not ours, all that is armed."""
    if world.phase in _HALTED or (world.master.desk is None and world.phase not in UNARMED):
        world.rules.asked_to_stop(world.now_ns)


def _choice(world: World, chance: Chance) -> None:
    """A trigger of the set chooses where the rig goes next."""
    chosen = (("/mark/go", "quay"), ("/mark/go", "boats"), ("/cue/take", "turn"))[int(chance.integers(3))]
    world.wire.add([Chunk(world.now_ns, _message(*chosen), ORDERS)])


def _stop_order(world: World, _: Chance) -> None:
    world.wire.add([Chunk(world.now_ns, _message("/stop"), ORDERS)])
    world.rules.asked_to_stop(world.now_ns)


def _flood(world: World, chance: Chance) -> None:
    """A stranger sends without end, nonsense and sense; a stop in the midst of it counts."""
    sensible = (_message("/run/start"), _message("/run/stop"), _message("/mark/go", "quay"))
    world.wire.add(
        [
            Chunk(
                world.now_ns,
                sensible[int(chance.integers(3))]
                if chance.random() < 0.3
                else chance.bytes(int(chance.integers(0, 80))),
                ORDERS,
            )
            for _ in range(300)
        ]
    )
    if chance.random() < 0.3:
        _stop_order(world, chance)


def _in_hand(world: World, chance: Chance, lasts_s: float, buttons: Sequence[int], *, stays: bool = True) -> None:
    """A pad comes, is taken in hand, and is pushed about; at the end it is let go, or pulled out."""
    world.tell(TakeHands(True))
    world.rules.hands = True
    count = round(lasts_s / 0.02)
    pushed = (0.0,) * len(AXES)
    for number in range(count):
        if number > 3 and number % 5 == 0:
            pushed = tuple(float(chance.uniform(-1, 1)) for _ in AXES)
            pushed = (*pushed[:_ENABLING], 1.0 if chance.random() < 0.9 else 0.0, *pushed[_ENABLING + 1 :])
        held = frozenset({buttons[int(chance.integers(len(buttons)))]}) if buttons and chance.random() < 0.3 else None
        row = PadRow(0, "Pad", pushed, held or frozenset(), here=stays or number < count - 1)
        world.wire.add([Chunk(world.now_ns + number * 20_000_000, packed(row), PADS)])


def _hands(world: World, chance: Chance) -> None:
    lasts_s = float(chance.uniform(0.3, 2.0))
    buttons = [number for number in range(len(BUTTONS)) if number != _STOP_BUTTON]
    _in_hand(world, chance, lasts_s, buttons, stays=bool(chance.integers(2)))

    def away() -> None:
        world.tell(TakeHands(False))
        world.rules.hands = False

    world.at(lasts_s + 0.1, away)


def _stop_on_a_pad(world: World, _: Chance) -> None:
    """Stop is pressed on a pad, be it in hand or not."""
    for number, held in enumerate((frozenset[int](), frozenset({_STOP_BUTTON}), frozenset[int]())):
        row = PadRow(1, "Other pad", (0.0,) * len(AXES), held)
        world.wire.add([Chunk(world.now_ns + number * 10_000_000, packed(row), PADS)])

    def asked() -> None:
        world.rules.asked_to_stop(world.now_ns)

    world.at(0.01, asked)


def drive(world: World, chance: Chance) -> None:
    """The screen's pad is pushed for a while; somebody lets go, or the program hangs with it held."""
    axes, range_deg = len(world.project.rig.axes), None if chance.random() < 0.5 else 30.0
    parts = tuple(float(chance.uniform(-1, 1)) for _ in range(axes))
    top = float(chance.choice((1.0, 0.1)))  # as slowly as an axis is homed
    count = int(chance.integers(2, 40))
    lets_go = chance.random() < 0.5

    def push(*, held: bool) -> None:
        world.rules.permit("drive", world.now_ns)
        world.rules.hand_ns = world.now_ns
        world.tell(Drive(parts if held else (0.0,) * axes, top=top, range_deg=range_deg, held=held))

    for number in range(count):
        world.at(number * 0.03, lambda: push(held=True))
    if lets_go:
        world.at(count * 0.03, lambda: push(held=False))


def go(world: World, chance: Chance) -> None:
    axes = world.project.rig.axes
    world.rules.permit("go", world.now_ns)
    far = float(chance.choice((0.05, 0.5, 1.5)))
    position = []
    for axis in axes:
        low, high = axis.travel or (-180.0, 180.0)
        wanted = float(chance.normal(0.0, far)) * axis.speed
        position.append((axis.name, wanted if chance.random() < 0.1 else float(np.clip(wanted, low, high))))
    part, lasts_s = (("", ""), ("1/2", ""), ("", "2"))[int(chance.integers(3))]
    world.tell(Go(name="there", position=tuple(position), part=part, lasts_s=lasts_s))


def _frame_by_frame(world: World, chance: Chance) -> None:
    """A timelapse: go on a little, stand, expose, and again."""
    for number in range(4):
        world.at(number * 0.9, lambda: go(world, chance))
        world.at(number * 0.9 + 0.7, lambda: world.tell(Fire("shutter")))


def _sleep(world: World, chance: Chance) -> None:
    world.sleep(float(chance.choice((0.03, 0.3, 5.0, 3600.0))))


def _slow_disk(world: World, chance: Chance) -> None:
    world.disk.slow_to_ns = world.now_ns + round(float(chance.uniform(0.5, 6.0)) * 1e9)


def _hang(world: World, chance: Chance) -> None:
    world.beats = False
    world.at(float(chance.uniform(0.3, 3.0)), lambda: setattr(world, "beats", True))


def reset(world: World, _: Chance) -> None:
    world.rules.reset = True
    world.tell(Reset())


def _writer_killed(world: World, _: Chance) -> None:
    """The process that writes is killed; the crew sees it, and ends the run."""
    world.disk.kill()
    world.at(0.2, world.leave)


ACTS: dict[str, Act] = {
    "stop": lambda world, _: world.press_stop(),
    "stop by a stranger": _stop_order,
    "stop on a pad": _stop_on_a_pad,
    "reset at any time": reset,
    "arm at any time": arm,
    "start at any time": lambda world, _: world.tell(Start()),
    "punch": lambda world, chance: world.tell(Punch(bool(chance.integers(2)))),
    "fire": lambda world, chance: world.tell(Fire(TRIGGER_NAMES[int(chance.integers(3))])),
    "go": go,
    "drive": drive,
    "hands": _hands,
    "frame by frame": _frame_by_frame,
    "order": _order,
    "clock halted": _halt,
    "trigger chooses": _choice,
    "flood": _flood,
    "quit": lambda world, _: world.tell(Quit()),
    "program ends": lambda world, _: world.leave(),
    "program hangs": _hang,
    "engine killed": lambda world, _: world.kill_engine(),
    "writer killed": _writer_killed,
    "timecode lost": _time_act(_lose),
    "timecode drops out": _time_act(_drop_out),
    "timecode garbled": _time_act(_garble),
    "timecode doubled": _time_act(_double),
    "timecode ends": _time_act(lambda *_: []),
    "timecode jumps": lambda world, chance: _at_once(world, chance, float(chance.uniform(-2, 6))),
    "timecode of another speed": _other_speed,
    "timecode backward": lambda world, chance: _at_once(world, chance, backward=True),
    "music stops": _music_stops,
    "link cut": _ill("cut"),
    "port vanished": _ill("vanished"),
    "link lossy": _ill("lossy"),
    "link slow": _ill("slow"),
    "answers doubled": _ill("doubled"),
    "rig mute": _ill("mute"),
    "rig deaf": _ill("deaf"),
    "axis stalled": _ill("stalled"),
    "rig lying": _ill("lying"),
    "rig mad": _ill("mad"),
    "rig reset": lambda world, chance: _one_of(world, chance).reset(),
    "rig pushed": _push,
    "machine sleeps": _sleep,
    "engine late": lambda world, chance: setattr(world, "late_ns", round(float(chance.uniform(0.001, 0.2)) * 1e9)),
    "disk full": lambda world, chance: setattr(world.disk, "room", int(chance.integers(0, 60_000))),
    "disk read-only": lambda world, _: setattr(world.disk, "read_only", True),
    "disk slow": _slow_disk,
}
