"""The options of `twintake play`, in the order in which its help shows them."""

from typing import Annotated, Literal

import typer

from sequencer.shell.messages import Late

Sync = Annotated[
    Literal["internal", "mtc", "ltc", "clock", "audio", "osc"],
    typer.Option(
        help="What clocks the move: its own clock, MIDI timecode, linear timecode, MIDI clock, the music, or its own "
        "clock started by OSC."
    ),
]
MidiIn = Annotated[
    list[str] | None,
    typer.Option(
        help="Where MIDI timecode or clock comes in: a port's name, virtual:NAME, or pipe:PORT. The first one named is "
        "followed."
    ),
]
AudioIn = Annotated[
    list[str] | None,
    typer.Option(help="Where linear timecode comes in: a sound card's name, or file:PATH. The first is followed."),
]
AudioOut = Annotated[str, typer.Option(help="The sound card that plays the music, with --sync audio.")]
Trigger = Annotated[
    list[str] | None,
    typer.Option(
        help="Where orders come in: osc:PORT from this machine, a MIDI port, or what twintake ports shows, to hear "
        "other machines by OSC. --sync osc has osc:9001."
    ),
]
Remote = Annotated[bool, typer.Option("--remote", help="Let triggers choose the cue or marker; stay until Ctrl-C.")]
Give = Annotated[
    list[str] | None,
    typer.Option(help="Give time to other machines: mtc:midi:NAME, mtc:virtual:NAME, or ltc:CARD for a sound card."),
]
OffsetFrames = Annotated[
    str | None,
    typer.Option(
        help="Frames added to what the source says; above zero the move comes earlier. The project's if not said."
    ),
]
DelayMs = Annotated[
    float | None, typer.Option(help="Milliseconds that the source's time arrives late; the project's if not said.")
]
OneCue = Annotated[str | None, typer.Option("--cue", help="Play this cue only; else all, from the first cue or key.")]
Until = Annotated[str | None, typer.Option(help="End at this timecode, or where the move next rests.")]
Joins = Annotated[Late, typer.Option(help="Timecode that starts or jumps in mid-move: refuse it, or join there.")]
Preroll = Annotated[
    float | None,
    typer.Option("--preroll", min=0.0, help="Own clock or music: seconds before the start; 3, but 0 for --trigger."),
]
Freewheel = Annotated[
    float, typer.Option("--freewheel", min=0.0, max=10.0, help="Seconds to go on when timecode stops coming.")
]
Precise = Annotated[bool, typer.Option("--precise", help="Spin before each tick: more punctual, more CPU.")]
AtOnce = Annotated[bool, typer.Option("--arm", help="Arm at once; else the operator is asked.")]
Record = Annotated[bool, typer.Option("--record", help="Keep a take file (needs --cue).")]
Pads = Annotated[str, typer.Option("--pads", help="The game controllers: pads: for all that are here.")]
ByHand = Annotated[
    list[str] | None,
    typer.Option("--by-hand", help="An axis that the game controllers perform while the others play; may be repeated."),
]
PunchIn = Annotated[
    bool, typer.Option("--punch-in", help="The axes --by-hand play too, until punch in is pressed on a controller.")
]
