"""The SDL library, started for game controllers alone: no window, no sound, no signal handlers."""

import sys
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from sequencer.errors import LinkError

OLDEST = 2240  # SDL 2.24, as the binding counts: the first that tells where a pad is

_HINTS = {
    "SDL_NO_SIGNAL_HANDLERS": "1",  # Ctrl-C is ours
    "SDL_JOYSTICK_ALLOW_BACKGROUND_EVENTS": "1",  # there is no window of SDL's that could have the focus
    "SDL_JOYSTICK_THREAD": "1",  # where a system tells of pads through a window, SDL keeps a hidden one itself
    "SDL_GAMECONTROLLER_USE_BUTTON_LABELS": "0",  # buttons by where they sit, not by what is printed on them
}
# the kernel's own drivers let several programs hear one pad; SDL's would switch the pad over for all of them
_LINUX_HINTS = {"SDL_JOYSTICK_HIDAPI": "0"}
# sticks are read, not heard; as events they would only be thrown away, thousands a second
_UNHEARD = ("SDL_JOYAXISMOTION", "SDL_CONTROLLERAXISMOTION", "SDL_JOYBALLMOTION", "SDL_JOYBATTERYUPDATED")


def library() -> Any:
    """Return the binding to SDL. Error: LinkError where the package, or the library under it, is missing or too old."""
    try:
        with warnings.catch_warnings():
            # it warns of which library it takes, which is as it should be
            warnings.simplefilter("ignore")
            import sdl2
    except ImportError as error:
        if error.name == "sdl2":
            raise LinkError("game controllers need a package that is not here; pip install pysdl2") from error
        raise LinkError(
            "game controllers need the SDL2 library, which is not here; pip install pysdl2-dll, or where that has none "
            "for this machine, install the system's (on Debian: apt install libsdl2-2.0-0)"
        ) from error
    except OSError as error:
        raise LinkError(f"the SDL2 library for game controllers cannot be loaded ({error}); install it anew") from error
    if sdl2.dll.version < OLDEST:
        raise LinkError(
            "game controllers need SDL 2.24 or newer, and this machine has an older one; pip install pysdl2-dll"
        )
    return sdl2


@contextmanager
def started() -> Iterator[Any]:
    """Start SDL for game controllers, and end it. Error: LinkError where it does not start."""
    sdl = library()
    for hint, value in (_HINTS | (_LINUX_HINTS if sys.platform == "linux" else {})).items():
        sdl.SDL_SetHint(hint.encode(), value.encode())
    parts = sdl.SDL_INIT_JOYSTICK | sdl.SDL_INIT_GAMECONTROLLER
    if sdl.SDL_InitSubSystem(parts) != 0:
        why = text(sdl.SDL_GetError())
        raise LinkError(f"game controllers cannot be read on this machine ({why}); the program works without them")
    for event in _UNHEARD:
        sdl.SDL_EventState(getattr(sdl, event), sdl.SDL_IGNORE)
    try:
        yield sdl
    finally:
        sdl.SDL_QuitSubSystem(parts)


def text(said: bytes | None) -> str:
    """Return what SDL said as text that a terminal can show; a device may call itself anything."""
    return "".join(sign for sign in (said or b"").decode(errors="replace") if sign.isprintable()).strip()
