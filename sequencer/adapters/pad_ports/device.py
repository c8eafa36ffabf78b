"""One open pad, read as a row: by where things sit where SDL knows the pad, else by number."""

import ctypes
from typing import Any

from sequencer.adapters.pad_ports.kernel import serial_and_socket
from sequencer.adapters.pad_ports.library import text
from sequencer.adapters.pad_ports.seats import Identity
from sequencer.errors import LinkError
from sequencer.wire.pad import AXES, BUTTONS, FULL, MOST_AXES, PadRow

MOST_BUTTONS = 32
LONGEST_NAME = 80

# what SDL calls them; Source: SDL 2.32, SDL_gamecontroller.h
_SDL_AXES = {
    "left x": "LEFTX",
    "left y": "LEFTY",
    "right x": "RIGHTX",
    "right y": "RIGHTY",
    "left trigger": "TRIGGERLEFT",
    "right trigger": "TRIGGERRIGHT",
}
_SDL_BUTTONS = {
    "lower": "A",
    "right": "B",
    "left": "X",
    "upper": "Y",
    "back": "BACK",
    "start": "START",
    "left stick": "LEFTSTICK",
    "right stick": "RIGHTSTICK",
    "left shoulder": "LEFTSHOULDER",
    "right shoulder": "RIGHTSHOULDER",
    "pad up": "DPAD_UP",
    "pad down": "DPAD_DOWN",
    "pad left": "DPAD_LEFT",
    "pad right": "DPAD_RIGHT",
}
_HAT_WAYS = ("UP", "DOWN", "LEFT", "RIGHT")


class Pad:
    """A pad that is open. `id` is SDL's number for it, until it is pulled.

    A button that was down at any time since the last row is held in the next one, however short the press.
    """

    def __init__(self, sdl: Any, index: int) -> None:
        """Open SDL's pad number `index`. Error: LinkError where it cannot be."""
        self._sdl = sdl
        # one that SDL knows is open twice, as a stick and as a controller, and both are closed
        self._stick = sdl.SDL_JoystickOpen(index)
        if not self._stick:
            raise LinkError(text(sdl.SDL_GetError()) or "no reason is told")
        self.id = int(sdl.SDL_JoystickInstanceID(self._stick))
        self.name = text(sdl.SDL_JoystickName(self._stick))[:LONGEST_NAME] or "a pad without a name"
        self._controller = _two_sticks(sdl, index)
        self._axes = _numbers(sdl, "SDL_CONTROLLER_AXIS_", _SDL_AXES, AXES)
        self._buttons = _numbers(sdl, "SDL_CONTROLLER_BUTTON_", _SDL_BUTTONS, BUTTONS)
        self._ways = tuple(getattr(sdl, f"SDL_HAT_{way}") for way in _HAT_WAYS)
        self._axis_count = min(sdl.SDL_JoystickNumAxes(self._stick), MOST_AXES)
        self._button_count = min(sdl.SDL_JoystickNumButtons(self._stick), MOST_BUTTONS)
        self._hat_count = sdl.SDL_JoystickNumHats(self._stick)
        self._pressed: set[int] = set()

    @property
    def known(self) -> bool:
        """Whether its sticks and buttons have names."""
        return self._controller is not None

    def identity(self) -> Identity:
        """Return what tells it from other pads."""
        sdl, guid = self._sdl, ctypes.create_string_buffer(33)
        sdl.SDL_JoystickGetGUIDString(sdl.SDL_JoystickGetGUID(self._stick), guid, len(guid))
        path = text(sdl.SDL_JoystickPath(self._stick))
        serial, socket = serial_and_socket(path) if path else ("", "")
        # the name too, since the kernel gives pads without maker and model the same GUID
        model = f"{text(guid.value)} {self.name}"
        return Identity(model, text(sdl.SDL_JoystickGetSerial(self._stick)) or serial, socket or path)

    def hear(self, event: Any) -> None:
        """Take note of a press that SDL tells of."""
        sdl = self._sdl
        if self.known and event.type == sdl.SDL_CONTROLLERBUTTONDOWN:
            if event.cbutton.button in self._buttons:
                self._pressed.add(self._buttons.index(event.cbutton.button))
        elif not self.known and event.type == sdl.SDL_JOYBUTTONDOWN:
            self._pressed.add(event.jbutton.button)
        elif not self.known and event.type == sdl.SDL_JOYHATMOTION:
            self._pressed.update(self._hat(event.jhat.hat, event.jhat.value))

    def row(self, number: int) -> PadRow:
        """Return what it says now, as pad `number`."""
        held = self._known_buttons() if self.known else self._raw_buttons()
        buttons = frozenset(one for one in held | self._pressed if one < MOST_BUTTONS)
        self._pressed.clear()
        axes = self._known_axes() if self.known else self._raw_axes()
        return PadRow(number, self.name, axes, buttons, self.known)

    def close(self) -> None:
        """Close it, here or gone."""
        if self._controller is not None:
            self._sdl.SDL_GameControllerClose(self._controller)
        self._sdl.SDL_JoystickClose(self._stick)

    def _known_axes(self) -> tuple[float, ...]:
        read = self._sdl.SDL_GameControllerGetAxis
        left_x, left_y, right_x, right_y, *triggers = (read(self._controller, one) for one in self._axes)
        # SDL counts down as positive
        return tuple(_part(step) for step in (left_x, -left_y, right_x, -right_y, *triggers))

    def _known_buttons(self) -> set[int]:
        read = self._sdl.SDL_GameControllerGetButton
        return {number for number, one in enumerate(self._buttons) if read(self._controller, one)}

    def _raw_axes(self) -> tuple[float, ...]:
        read = self._sdl.SDL_JoystickGetAxis
        return tuple(_part(read(self._stick, number)) for number in range(self._axis_count))

    def _raw_buttons(self) -> set[int]:
        read = self._sdl.SDL_JoystickGetButton
        held = {number for number in range(self._button_count) if read(self._stick, number)}
        for hat in range(self._hat_count):
            held.update(self._hat(hat, self._sdl.SDL_JoystickGetHat(self._stick, hat)))
        return held

    def _hat(self, hat: int, value: int) -> set[int]:
        """Return a hat's ways as buttons: four more for each, behind the pad's own."""
        first = self._button_count + 4 * hat
        return {first + number for number, way in enumerate(self._ways) if value & way}


def _two_sticks(sdl: Any, index: int) -> Any:
    """Return the open controller where SDL knows where everything sits on it and it has two sticks, else None."""
    if not sdl.SDL_IsGameController(index):
        return None
    controller = sdl.SDL_GameControllerOpen(index)
    if not controller:
        return None
    sticks = [f"SDL_CONTROLLER_AXIS_{_SDL_AXES[name]}" for name in AXES if name.endswith((" x", " y"))]
    if all(sdl.SDL_GameControllerHasAxis(controller, getattr(sdl, name)) for name in sticks):
        return controller
    sdl.SDL_GameControllerClose(controller)
    return None


def _numbers(sdl: Any, prefix: str, called: dict[str, str], names: tuple[str, ...]) -> tuple[int, ...]:
    return tuple(getattr(sdl, prefix + called[name]) for name in names)


def _part(step: int) -> float:
    """Return a step of SDL's as a part from -1 to 1. Its lowest is a step further; a row that travels holds it back."""
    return step / FULL
