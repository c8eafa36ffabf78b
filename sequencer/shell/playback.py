"""The project's playback as a source of time: the music leaves through the sound card, and says where it is.

It starts nothing by itself, and does not end with the recording: silence goes on to carry time.
"""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sequencer.adapters.audio_ports.devices import find, outputs
from sequencer.adapters.audio_ports.player import Player
from sequencer.adapters.audio_ports.streams import AudioOut, best_rate, open_output
from sequencer.adapters.contract import Chunk, Source
from sequencer.project.audiofile import music
from sequencer.project.store import load
from sequencer.shell.desk import Halt, Place, Play, Wish, wishes
from sequencer.shell.kinds import laws
from sequencer.shell.memory import Ring
from sequencer.shell.messages import Setup

_LEAVES_S = 0.1  # more than the card has in hand


class Playback:
    """A player at work, as a source that first does what the engine wished. Its sample 0 belongs at `start_s`."""

    def __init__(self, player: Player, out: AudioOut, start_s: float, ring: Ring, warning: str) -> None:
        self.address = f"sound card {out.device.label}"
        self._player = player
        self._out = out
        self._start_s = start_s
        self._ring = ring
        self._notices = (warning,) if warning else ()

    def fileno(self) -> None:
        """Return None: a sound card has no descriptor to wait on."""

    def notices(self) -> tuple[str, ...]:
        """Return what happened to the card since the last call, in words for the operator."""
        said, self._notices = self._notices, ()
        return (*said, *self._out.notices())

    def read(self, heard_ns: int) -> tuple[Chunk, ...]:
        """Return where the music is, a record a block. Error: LinkError once the card has stopped."""
        for wish in wishes(self._ring):
            self._obey(wish)
        self._out.check()
        return self._player.read(heard_ns)

    def fade_out(self) -> None:
        """Fade out what plays, and wait until that has left: closing the card cuts off what is on its way."""
        self._player.halt()
        time.sleep(_LEAVES_S)

    def _obey(self, wish: Wish) -> None:
        match wish:
            case Play(at_ns, position_s):
                if position_s is not None:
                    self._player.locate(self._at(position_s))
                self._player.play(at_ns)
            case Halt():
                self._player.halt()
            case Place(position_s):
                self._player.locate(self._at(position_s))

    def _at(self, position_s: float) -> int:
        return round((position_s - self._start_s) * self._out.rate_hz)


@contextmanager
def open_playback(setup: Setup, ring: Ring) -> Iterator[Source]:
    """Open the sound card and load the project's music at its rate. Error: LinkError, ProjectError."""
    folder = Path(setup.project)
    rate_hz = best_rate(find(setup.audio_out, outputs(), "output"), "output")
    heard = music(folder, load(folder, laws()), rate_hz)
    player = Player(heard.samples, rate_hz)
    with open_output(setup.audio_out, rate_hz, player.channels, player.fill) as out:
        playback = Playback(player, out, heard.start_s, ring, heard.warning)
        yield playback
        playback.fade_out()
